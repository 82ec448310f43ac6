"""What the terminal shows: head, what runs, what is due, what is typed, keys. Pure.

One place at a time. A mark and a word for each answer: colour is never the only sign.
"""

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from verify.ask.bodies import body, hung
from verify.ask.legend import legend
from verify.ask.lines import Entry
from verify.ask.words import counted, minutes_text
from verify.record.visible import visible
from verify.run import Shown, plan

__all__ = ["screen", "strip_line"]

_BAR = 20


def screen(
    shown: Shown, entry: Entry | None, *, message: str = "", sees: str = "", brief: bool = False
) -> RenderableType:
    """Draw the whole screen for what is due. brief: only what is asked now, for a window with few rows."""
    mark = _mark(shown)
    if brief:
        parts: list[RenderableType] = [Text(mark, style="bold")] if mark else []
    else:
        parts = [_head(shown), Rule(_quiet_note(shown, mark), style="dim")]
    strip = _strip(shown, brief=brief)
    if strip:
        parts += strip
        if not brief:
            parts.append(Rule(style="dim"))
    parts.append(Padding(_middle(shown, entry, brief=brief, sees=sees), (0, 2)))
    if entry is not None:
        parts.append(Padding(_entry(entry, done=1 if brief else 6), (0, 2)))
    if message:
        parts.append(Padding(Text(visible(message), style="bold"), (0, 2)))
    if not brief:
        parts.append(Rule(style="dim"))
    parts += [Text(f" {line}", style="dim") for line in legend(shown, entry, brief=brief)]
    return Group(*parts)


def _mark(shown: Shown) -> str:
    """Say on every screen what nobody may take for the real thing."""
    if shown.practice:
        return "PRACTICE: nothing here is real"
    if shown.simulated:
        return "SIMULATION: nothing real is read"
    return "SCRIPTED: never an acceptance" if shown.scripted else ""


def _quiet_note(shown: Shown, mark: str) -> str:
    """Add to the mark what waits for the repaired machine, where this is another computer."""
    waiting = len(plan.waiting_for_machine(shown.composition, shown.state))
    if shown.on_machine is not False or not waiting or not shown.state.started:
        return mark
    checks = counted(waiting, "automatic check waits", "automatic checks wait")
    note = f"not on the machine: {checks}"
    return f"{mark} · {note}" if mark else note


def _head(shown: Shown) -> RenderableType:
    progress = shown.progress
    ticket = shown.ticket
    left = Text(visible(f"{ticket.id}  {ticket.model or 'machine'}"), style="bold")
    stage = plan.stage_of(shown.composition, shown.state)
    right = Text(
        f"{stage} · {progress.screens_done} of {progress.screens} done"
        f" · hands {minutes_text(progress.hands_min)} · waiting {minutes_text(progress.waiting_min)}",
        style="dim",
    )
    table = Table.grid(expand=True, padding=(0, 1, 0, 0))
    table.add_column(no_wrap=True, overflow="ellipsis", min_width=10)
    table.add_column(justify="right")
    table.add_row(left, right)
    return table


def _strip(shown: Shown, *, brief: bool) -> list[RenderableType]:
    """Return what runs in the background, and what to set by hand meanwhile; empty where nothing runs."""
    strip = strip_line(shown)
    if strip is None:
        return []
    note = shown.awake_note
    if not note:
        return [strip]
    short = Text(f" ! {visible(note)}", style="yellow", no_wrap=True, overflow="ellipsis")
    return [strip, short if brief else hung("!", note, "yellow", indent=1)]


def strip_line(shown: Shown) -> Text | None:
    """Write what runs in the background; None where nothing does."""
    if shown.strip is None:
        return None
    _, working = shown.strip
    if working.want is not None:
        return Text(f" > {working.want.value}  {working.text}", style="bold yellow")
    text = Text(f" ~ {working.text}")
    if working.seconds_left is not None:
        text.append(f"  about {minutes_text(working.seconds_left / 60)} left", style="dim")
    if working.fraction is not None:
        filled = round(_BAR * min(1.0, max(0.0, working.fraction)))
        text.append(f"  [{'=' * filled}{'.' * (_BAR - filled)}]", style="dim")
    return text


def _middle(shown: Shown, entry: Entry | None, *, brief: bool, sees: str) -> RenderableType:
    if entry is None or not entry.title:
        return body(shown, brief=brief, sees=sees, typing_for="" if entry is None else entry.topic)
    about = [Text(visible(line)) for line in entry.about if line or not brief]
    return Group(Text(entry.title, style="bold"), *([] if brief else [Text("")]), *about)


def _entry(entry: Entry, *, done: int) -> RenderableType:
    parts: list[RenderableType] = [hung("+", line, "green", indent=2) for line in entry.done[-done:]]
    if entry.error:
        parts.append(hung("!", entry.error, "bold red", indent=2))
    parts.append(Text(f"{entry.prompt} ").append(f"{visible(entry.typed)}_", style="bold"))
    return Group(*parts)
