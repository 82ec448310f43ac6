"""What the terminal shows for each thing that is due. Pure: state in, text out.

One place at a time. A mark and a word for each answer: colour is never the only sign.
"""

from typing import assert_never

import msgspec
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from verify.checklist import Check, Kind
from verify.record.visible import visible
from verify.run import Owner, plan
from verify.run.outcome import outcome_of
from verify.values import Outcome, Verdict

_WORDS = {
    Verdict.CONFORMS: ("+", "good", "green"),
    Verdict.DOES_NOT_CONFORM: ("x", "not good", "bold red"),
    Verdict.UNDECIDED: ("?", "cannot tell yet", "yellow"),
    Verdict.NOT_APPLICABLE: ("-", "does not apply", "dim"),
    Verdict.NOT_DONE: (" ", "not done", "dim"),
}

_HAZARD_ADVICE = (
    "Stop. Unplug the charger. Shut the machine down if you can do so without touching the battery.",
    "Do not charge, press, bend, pierce or open the battery. Do not fit it again.",
    "Keep it away from anything that burns.",
    "If it smokes, hisses or gets hot: leave, warn others, call the fire service.",
    "When it is cool and still, trained staff isolate it. Follow your local rules; never bin it.",
)


HELD_SHOWN = 5
"""A held step's checks on one screen of 24 rows."""


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """What is being typed. prompt: what is asked for; error: what was wrong with the last line."""

    prompt: str
    typed: str = ""
    error: str = ""
    done: tuple[str, ...] = ()


def minutes_text(minutes: float) -> str:
    """Write a duration as people say it: "under 1 min", "12 min", "1 h 20 min"."""
    if minutes <= 0:
        return "0 min"
    if minutes < 1:
        return "under 1 min"
    whole = round(minutes)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def screen(
    owner: Owner, due: plan.Due, entry: Entry | None, *, message: str = "", brief: bool = False
) -> RenderableType:
    """Draw the whole screen for what is due. brief: only what is asked now, for a window with few rows."""
    mark = _mark(owner)
    if brief:
        parts: list[RenderableType] = [Text(mark, style="bold")] if mark else []
    else:
        parts = [_head(owner), Rule(mark, style="dim")]
    strip = strip_line(owner)
    if strip is not None:
        parts.append(strip)
        if not brief:
            parts.append(Rule(style="dim"))
    parts.append(Padding(_body(owner, due, brief=brief), (0, 2)))
    if entry is not None:
        parts.append(Padding(_entry(entry, done=1 if brief else 6), (0, 2)))
    if message:
        parts.append(Padding(Text(message, style="bold"), (0, 2)))
    if not brief:
        parts.append(Rule(style="dim"))
    parts.append(_keys(due, entry, brief=brief))
    return Group(*parts)


def _mark(owner: Owner) -> str:
    """Say on every screen what nobody may take for the real thing."""
    if owner.simulated:
        return "SIMULATION: nothing real is read"
    return "SCRIPTED: never an acceptance" if owner.scripted else ""


def _hung(mark: str, text: str, style: str = "", *, indent: int = 0) -> RenderableType:
    """Write a line behind its mark; when it wraps it hangs under itself, not under the mark."""
    table = Table.grid(padding=(0, 1, 0, 0))
    table.add_column(width=max(1, len(mark)), no_wrap=True)
    table.add_column()
    table.add_row(Text(mark, style=style), Text(text, style=style))
    return Padding(table, (0, 0, 0, indent))


def _head(owner: Owner) -> RenderableType:
    progress = owner.progress()
    ticket = owner.ticket
    left = Text(visible(f"{ticket.id}  {ticket.model or 'machine'}"), style="bold")
    stage = plan.stage_of(owner.composition, owner.state)
    right = Text(
        f"{stage} · {progress.screens_done} of {progress.screens} done"
        f" · hands {minutes_text(progress.hands_min)} · waiting {minutes_text(progress.waiting_min)}",
        style="dim",
    )
    table = Table.grid(expand=True)
    table.add_column()
    table.add_column(justify="right")
    table.add_row(left, right)
    return table


def strip_line(owner: Owner) -> Text | None:
    """Write what runs in the background; None where nothing does."""
    if owner.strip is None:
        return None
    _, working = owner.strip
    if working.want is not None:
        return Text(f" > {working.want.value}  {working.text}", style="bold yellow")
    text = Text(f" ~ {working.text}")
    if working.seconds_left is not None:
        text.append(f"  about {minutes_text(working.seconds_left / 60)} left", style="dim")
    if working.fraction is not None:
        filled = round(20 * min(1.0, max(0.0, working.fraction)))
        text.append(f"  [{'=' * filled}{'.' * (20 - filled)}]", style="dim")
    return text


def _body(owner: Owner, due: plan.Due, *, brief: bool) -> RenderableType:
    match due:
        case plan.Ask():
            return _ask(owner, due, brief=brief)
        case plan.Do():
            parts: list[RenderableType] = [Text("Do this now", style="dim"), Text("")]
            parts.append(Text(due.step.do or due.step.name, style="bold"))
            if due.step.caution:
                parts.append(_caution(due.step.caution))
            return Group(*parts)
        case plan.Watching():
            names = [Text(f"  {check.ask}") for check in due.checks]
            return Group(
                Text(f"Nothing to do until this has ended. Then: {due.step.name}."), Text(""), *names
            )
        case plan.Held():
            return _held(due)
        case plan.Stopped():
            seen = [Text(f"  {hazard.what}", style="bold red") for hazard in due.hazards]
            advice = [_hung(f"{number}.", line, indent=2) for number, line in enumerate(_HAZARD_ADVICE, 1)]
            return Group(Text("STOP: a hazard", style="bold red"), *seen, Text(""), *advice)
        case plan.Complete():
            return _complete(owner)
        case _:
            assert_never(due)


def _ask(owner: Owner, due: plan.Ask, *, brief: bool) -> RenderableType:
    """Show the asked check whole, the others at this place in one line each: it fits 24 rows."""
    parts: list[RenderableType] = [Text(due.checks[0].place.upper(), style="bold")]
    asked = due.pending[0]
    for check in due.checks:
        if check.id != asked:
            if not brief:
                parts.append(_one_line(owner, check))
            continue
        parts += [Text(""), _hung(">", check.ask, "bold"), _hung("Good:", check.good, indent=4)]
        if check.caution:
            parts.append(_caution(check.caution))
        parts.append(Text(""))
    return Group(*parts)


def _one_line(owner: Owner, check: Check) -> Text:
    current = owner.state.current(check.id)
    mark = "." if current is None else _WORDS[current.judgement.verdict][0]
    return Text(f"{mark} {check.ask}", style="dim", no_wrap=True, overflow="ellipsis")


def _complete(owner: Owner) -> RenderableType:
    """Say what came of it: what could not be told holds nothing, and is not good either."""
    outcome, reasons = outcome_of(owner.composition, owner.state)
    if outcome is Outcome.HELD:
        return Group(Text("Not ready.", style="bold red"), *(_hung("x", reason) for reason in reasons))
    untold = [
        check for check in owner.composition.checks if owner.state.verdict(check.id) is Verdict.UNDECIDED
    ]
    parts: list[RenderableType] = [
        Text("Nothing holds the machine. What could not be told:", style="bold")
        if untold
        else Text("Everything is good.", style="bold green")
    ]
    for check in untold:
        current = owner.state.current(check.id)
        parts.append(_hung("?", f"{check.ask} {'' if current is None else current.judgement.because}"))
    return Group(*parts, Text(f"Sign the report with: handback sign {owner.ticket.id}"))


def _caution(caution: str) -> RenderableType:
    return _hung("!", caution, "bold yellow", indent=4)


def _held(due: plan.Held) -> RenderableType:
    parts: list[RenderableType] = [Text(f"Not yet: {due.step.name}", style="bold red"), Text("")]
    for number, block in enumerate(due.blocked[:HELD_SHOWN], start=1):
        mark, word, style = _WORDS[block.verdict]
        line = Text(f"{number}  {mark} ", style=style, no_wrap=True, overflow="ellipsis")
        parts += [line.append(block.check.ask), _hung("", f"{word}: {block.because}", "dim", indent=2)]
    more = len(due.blocked) - HELD_SHOWN
    if more > 0:
        parts.append(Text(f"   and {more} more; they come up when these are mended", style="dim"))
    parts += [Text(""), Text("Mend it, then press its number: it is asked again.")]
    return Group(*parts)


def _entry(entry: Entry, *, done: int) -> RenderableType:
    parts: list[RenderableType] = [Text(f"  + {line}", style="green") for line in entry.done[-done:]]
    if entry.error:
        parts.append(Text(f"  ! {entry.error}", style="bold red"))
    parts.append(Text(f"{entry.prompt} ").append(f"{entry.typed}_", style="bold"))
    return Group(*parts)


def _keys(due: plan.Due, entry: Entry | None, *, brief: bool) -> Text:
    if entry is not None:
        return Text(" Enter take it   Esc back", style="dim")
    match due:
        case plan.Ask():
            check = next(check for check in due.checks if check.id == due.pending[0])
            if check.kind is Kind.LOOK:
                keys = "G good   N not good   C cannot see   U undo   Q leave"
            elif check.kind is Kind.HAZARD:
                keys = "N no   Y yes   C cannot tell   Q leave"
            else:
                keys = "Enter type it in   U undo   Q leave"
        case plan.Do():
            keys = "D done   U undo   Q leave"
        case plan.Held():
            last = min(HELD_SHOWN, len(due.blocked))
            keys = f"{'1' if last == 1 else f'1-{last}'} ask again   U undo   Q leave"
        case plan.Stopped():
            keys = "S it is made safe   Q leave"
        case plan.Watching():
            keys = "U undo   Q leave"
        case plan.Complete():
            keys = "U undo   Q leave"
        case _:
            assert_never(due)
    return Text(f" {keys}{'' if brief else '   (everything is kept)'}", style="dim")
