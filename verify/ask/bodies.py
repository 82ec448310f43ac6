"""What the middle of the screen shows for each thing that is due. Pure: what is shown in, text out."""

from typing import assert_never

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from verify.ask.arriving import answered
from verify.ask.dialogues import HELD_SHOWN, WAITING_SHOWN
from verify.ask.legend import can_be_tried
from verify.ask.picturing import pictures_words
from verify.ask.words import VERDICT_WORDS, shortened, verdict_text
from verify.checklist import COMPLAINT_GONE, Check, Kind
from verify.record.visible import on_one_line, visible
from verify.report.words import HAZARD_ADVICE
from verify.run import Shown, plan
from verify.run.outcome import outcome_of
from verify.values import Outcome, Verdict

_COMPLAINT_SHOWN, _COMPLAINT_BRIEF = 400, 200
"""Signs of the complaint, on a whole screen and on a brief one: about seven lines."""

_RUNNING_SHOWN, _RUNNING_BRIEF = 6, 2
"""Checks that run or wait to run, one line each, on a whole screen and on a brief one."""

NOT_HERE = "The tool shows this on the repaired machine. Here: take the page there (handback try FILE.html)."


def body(shown: Shown, *, brief: bool, sees: str = "", typing_for: str = "") -> RenderableType:
    """Draw what is due.

    sees: what the eyes tell of the asked check, for learning. typing_for: what a line is being typed for, on
    arrival. Empty: nothing.
    """
    due = shown.due
    match due:
        case plan.Ask():
            return _ask(shown, due, brief=brief, sees=sees)
        case plan.Where():
            return _where(shown)
        case plan.Arrive():
            return _arrive(shown, due, at=typing_for or due.pending[0], brief=brief)
        case plan.SayWork():
            return _say_work(shown)
        case plan.Do():
            return _do(due)
        case plan.Watching():
            return _watching(shown, due, brief=brief)
        case plan.Elsewhere():
            return _elsewhere(shown, due, brief=brief)
        case plan.Held():
            return _held(due, brief=brief)
        case plan.Stopped():
            return _stopped(due)
        case plan.Declined():
            return _declined(shown)
        case plan.Complete():
            return _complete(shown)
        case _:
            assert_never(due)


def hung(mark: str, text: str, style: str = "", *, indent: int = 0) -> RenderableType:
    """Write a line behind its mark; when it wraps it hangs under itself, not under the mark."""
    table = Table.grid(padding=(0, 1, 0, 0))
    table.add_column(width=max(1, len(mark)), no_wrap=True)
    table.add_column()
    table.add_row(Text(mark, style=style), Text(visible(text), style=style))
    return Padding(table, (0, 0, 0, indent))


def _ask(shown: Shown, due: plan.Ask, *, brief: bool, sees: str) -> RenderableType:
    """Show the asked check whole, the others at this place in one line each: it fits 24 rows."""
    parts: list[RenderableType] = [Text(due.checks[0].place.upper(), style="bold")]
    asked = due.pending[0]
    for check in due.checks:
        if check.id != asked:
            if not brief:
                parts.append(_one_line(shown, check))
            continue
        parts += [Text(""), hung(">", check.ask, "bold"), hung("Good:", check.good, indent=4)]
        if check.caution:
            parts.append(_caution(check.caution))
        if check.id == COMPLAINT_GONE:
            parts.append(_complaint(shown, most=_COMPLAINT_BRIEF if brief else _COMPLAINT_SHOWN))
        if check.shows is not None and not can_be_tried(shown):
            parts.append(hung("", NOT_HERE, "dim", indent=4))
        if pictures := pictures_words(shown, check):
            parts.append(hung("+", pictures, "green", indent=2))
        if sees:
            parts.append(hung("You see:", sees, "bold cyan", indent=2))
        parts.append(Text(""))
    return Group(*parts)


def _complaint(shown: Shown, *, most: int) -> RenderableType:
    """Show the owner's words where they are tried: nobody has to look for the ticket."""
    complaint = on_one_line(shown.state.ticket.complaint)
    if not complaint:
        return hung("", "No complaint was taken down. Ask whoever took the machine in.", indent=4)
    return hung("The owner says:", f'"{shortened(complaint, most)}"', "bold", indent=2)


def _one_line(shown: Shown, check: Check) -> Text:
    if check.id in shown.state.accepted:
        mark = "*"
    else:
        current = shown.state.current(check.id)
        mark = "." if current is None else VERDICT_WORDS[current.judgement.verdict][0]
    return _cut(f"{mark} {check.ask}", "dim")


def _cut(text: str, style: str = "") -> Text:
    """Write a line that is cut where the window ends: it stands there to be known again."""
    return Text(text, style=style, no_wrap=True, overflow="ellipsis")


def _where(shown: Shown) -> RenderableType:
    ticket = shown.ticket
    named = ", ".join(on_one_line(word) for word in (ticket.id, ticket.model) if word)
    return Group(
        Text("THIS COMPUTER", style="bold"),
        Text(""),
        hung(">", f"Is this computer the one that was brought in for repair ({named})?", "bold"),
        Text(""),
        hung("", "If it is: the tool reads its battery, charger and temperatures here.", indent=2),
        hung("", "If not: what hands and eyes find out is asked here, the rest on the machine.", indent=2),
        Text(""),
    )


def _arrive(shown: Shown, due: plan.Arrive, *, at: str, brief: bool) -> RenderableType:
    parts: list[RenderableType] = [Text("ON ARRIVAL, before the first screw", style="bold"), Text("")]
    width = max(map(len, due.topics))
    for topic in due.topics:
        said = answered(topic, shown.state)
        if topic == at:
            parts.append(_cut(f"> {topic:<{width}}  {said or ''}", "bold"))
        elif said is not None and not brief:
            parts.append(_cut(f"+ {topic:<{width}}  {said}", "green"))
        elif not brief:
            parts.append(Text(f". {topic}", style="dim"))
    return Group(*parts, Text(""))


def _say_work(shown: Shown) -> RenderableType:
    identity = shown.ticket.id
    return Group(
        Text(f"{identity} is taken in.", style="bold green"),
        Text(""),
        Text("Now say what is going to be repaired, for instance the battery:"),
        Text(""),
        Text(f"  handback start {identity} --work battery", style="bold"),
        Text(""),
        Text("Kinds of work: handback checklists list", style="dim"),
    )


def _do(due: plan.Do) -> RenderableType:
    parts: list[RenderableType] = [Text("DO THIS NOW", style="bold"), Text("")]
    parts.append(hung(">", due.step.do or due.step.name, "bold"))
    if due.step.caution:
        parts.append(_caution(due.step.caution))
    return Group(*parts, Text(""))


def _watching(shown: Shown, due: plan.Watching, *, brief: bool) -> RenderableType:
    parts: list[RenderableType] = [Text("NOTHING TO DO HERE NOW", style="bold")]
    parts.append(Text(f"Until this has ended. Then: {due.step.name}."))
    if not brief:
        parts.append(Text(""))
    most = _RUNNING_BRIEF if brief else _RUNNING_SHOWN
    for index, check in enumerate(due.checks[:most]):
        away = check.kind is Kind.PROBE and shown.on_machine is not True
        ask = f"{check.ask}{' (on the repaired machine)' if away else ''}"
        # The first is the one that runs: what it asks for has to be read to its end.
        parts.append(_cut(f"~ {ask}") if index else hung("~", ask))
    parts += _more(len(due.checks) - most, "")
    parts += _not_good_meanwhile(due.blocked, due.step.name, brief=brief)
    if not brief:
        parts += [Text(""), Text("Another ticket can go on meanwhile: handback status", style="dim")]
    return Group(*parts)


def _not_good_meanwhile(blocked: tuple[plan.Blocked, ...], step: str, *, brief: bool) -> list[RenderableType]:
    if not blocked:
        return []
    return [
        *([] if brief else [Text("")]),
        Text(f"Not good meanwhile. It will hold: {step}.", style="bold red"),
        *_blocked(blocked, brief=brief),
        *_mend(blocked, brief=brief),
    ]


def _elsewhere(shown: Shown, due: plan.Elsewhere, *, brief: bool) -> RenderableType:
    space: list[RenderableType] = [] if brief else [Text("")]
    first = len(due.blocked[:HELD_SHOWN]) + 1
    waiting: list[RenderableType] = [
        _cut(f"{number}  ~ {check.ask}")
        for number, check in enumerate(due.checks[:WAITING_SHOWN], start=first)
    ]
    return Group(
        Text("WAITS FOR THE REPAIRED MACHINE", style="bold"),
        hung("", f"Open this folder there: handback run {shown.ticket.id}"),
        *_not_good_meanwhile(due.blocked, due.step.name, brief=brief),
        *space,
        *waiting,
        *_more(len(due.checks) - WAITING_SHOWN, ""),
        *space,
    )


def _held(due: plan.Held, *, brief: bool) -> RenderableType:
    space: list[RenderableType] = [] if brief else [Text("")]
    return Group(
        Text(f"Not yet: {due.step.name}", style="bold red"),
        *space,
        *_blocked(due.blocked, brief=brief),
        *space,
        *_mend(due.blocked, brief=brief),
    )


def _blocked(blocked: tuple[plan.Blocked, ...], *, brief: bool) -> list[RenderableType]:
    parts: list[RenderableType] = []
    for number, block in enumerate(blocked[:HELD_SHOWN], start=1):
        mark, _, style = VERDICT_WORDS[block.verdict]
        parts.append(_cut(f"{number}  {mark} {block.check.ask}", style))
        because = _because(block)
        parts.append(_cut(f"     {because}", "dim") if brief else hung("", because, "dim", indent=3))
    return parts + _more(len(blocked) - HELD_SHOWN, "; they come up when these are mended")


def _more(number: int, what: str) -> list[RenderableType]:
    return [_cut(f"   and {number} more{what}", "dim")] if number > 0 else []


def _because(block: plan.Blocked) -> str:
    must = "" if block.check.may_be_accepted else " Nobody may accept it."
    return f"{verdict_text(block.verdict, block.because)}{must}"


def _mend(blocked: tuple[plan.Blocked, ...], *, brief: bool) -> list[RenderableType]:
    if brief:
        return []  # the keys say it
    one = "its number" if len(blocked) == 1 else "the number"
    return [Text(f"Mend it, then press {one}: it is asked again.")]


def _stopped(due: plan.Stopped) -> RenderableType:
    seen = [hung("", on_one_line(hazard.what), "bold red", indent=1) for hazard in due.hazards]
    advice = [hung(f"{number}.", line, indent=2) for number, line in enumerate(HAZARD_ADVICE, 1)]
    return Group(Text("STOP: a hazard", style="bold red"), *seen, Text(""), *advice, Text(""))


def _declined(shown: Shown) -> RenderableType:
    parts: list[RenderableType] = [Text("RETURNED UNREPAIRED", style="bold"), Text("")]
    if shown.state.given_back is not None:
        given = shown.state.given_back[1]
        parts += [
            hung("Why:", on_one_line(given.why)),
            hung("Risks told:", on_one_line(given.risks_told)),
            hung("Owner's signature:", on_one_line(given.owner_signed)),
            Text(""),
        ]
    return Group(*parts, _sign(shown))


def _sign(shown: Shown) -> Text:
    return Text(f"Sign the report with: handback sign {shown.ticket.id}")


def _complete(shown: Shown) -> RenderableType:
    """Say what came of it: what could not be told holds nothing, and is not good either."""
    outcome, reasons = outcome_of(shown.composition, shown.state)
    if outcome is Outcome.HELD:
        return Group(Text("Not ready.", style="bold red"), *(hung("x", reason) for reason in reasons))
    state = shown.state
    flaws = [check for check in shown.composition.checks if check.id in state.accepted]
    untold = [
        check
        for check in shown.composition.checks
        if state.verdict(check.id) is Verdict.UNDECIDED and check.id not in state.accepted
    ]
    parts: list[RenderableType] = []
    if flaws:
        parts.append(Text("Ready with a known flaw. Accepted:", style="bold yellow"))
        parts += [
            hung("*", f"{check.ask} By {on_one_line(state.accepted[check.id][1].by)}: "
                 f"{on_one_line(state.accepted[check.id][1].reason)}")
            for check in flaws
        ]  # fmt: skip
    if not flaws and not untold:
        parts.append(Text("Everything is good.", style="bold green"))
    if state.noticed:
        parts.append(Text("Seen, not repaired. Tell the owner:", style="bold"))
        parts += [hung("-", on_one_line(what)) for _, what in state.noticed]
    if untold:
        parts.append(Text("Nothing holds the machine. What could not be told:", style="bold"))
    for check in untold:
        current = state.current(check.id)
        because = "" if current is None else on_one_line(current.judgement.because)
        parts.append(hung("?", f"{check.ask} {because}"))
    return Group(*parts, Text(""), _sign(shown))


def _caution(caution: str) -> RenderableType:
    return hung("!", caution, "bold yellow", indent=4)
