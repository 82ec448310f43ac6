"""What the terminal shows: head, what runs, what is due, what is typed, keys. Pure.

One place at a time. A mark and a word for each answer: colour is never the only sign.
"""

import msgspec
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from verify.ask.bodies import body, hung
from verify.ask.legend import legend
from verify.ask.lines import Entry
from verify.ask.words import band_text, counted, left_text, minutes_text, shortened
from verify.checklist import Kind
from verify.record.visible import visible
from verify.run import Shown, plan

__all__ = ["lower", "screen", "strip_line", "strip_words", "upper"]

_BAR = 20
_TYPED_SHOWN, _TYPED_BRIEF = 240, 120
"""Signs of a line that is being typed, its end; more would push the keys off the screen. So of an error."""

_MESSAGE_SHOWN = 400


def screen(
    shown: Shown, entry: Entry | None, *, message: str = "", sees: str = "", brief: bool = False
) -> RenderableType:
    """Draw the whole screen for what is due. brief: only what is asked now, for a window with few rows."""
    return Group(
        upper(shown, entry, sees=sees, brief=brief), lower(shown, entry, message=message, brief=brief)
    )


def upper(shown: Shown, entry: Entry | None, *, sees: str = "", brief: bool = False) -> RenderableType:
    """Draw the head, what runs, and what is due."""
    mark = _mark(shown)
    if brief:
        # Whose machine it is stays on the screen, whatever has to go.
        named = f"{visible(shown.ticket.id)}  {mark}".rstrip()
        parts: list[RenderableType] = [Text(named, style="bold")]
    else:
        parts = [_head(shown), Rule(_quiet_note(shown, mark), style="dim")]
    strip = _strip(shown, brief=brief)
    if strip:
        parts += strip
        if not brief:
            parts.append(Rule(style="dim"))
    parts.append(Padding(_middle(shown, entry, brief=brief, sees=sees), (0, 2)))
    return Group(*parts)


def lower(shown: Shown, entry: Entry | None, *, message: str = "", brief: bool = False) -> RenderableType:
    """Draw what is typed, what there is to say, and the keys."""
    parts: list[RenderableType] = []
    if entry is not None:
        parts.append(Padding(_entry(entry, brief=brief), (0, 2)))
    if message:
        text = shortened(visible(message), _MESSAGE_SHOWN)
        parts.append(Padding(Text(text, style="bold"), (0, 2)))
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
    return _Head(
        identity=visible(shown.ticket.id),
        machine=visible(shown.ticket.model or "machine"),
        told=(
            f"{progress.screens_done} of {progress.screens} done",
            f"hands {minutes_text(progress.hands_min)}",
            f"waiting {minutes_text(progress.waiting_min)}",
        ),
        stage=visible(plan.stage_of(shown.composition, shown.state)),
    )


class _Head(msgspec.Struct, frozen=True, kw_only=True):
    """One line, however narrow: the machine's name is cut first, then the stage goes, then the times."""

    identity: str
    machine: str
    told: tuple[str, ...]
    stage: str

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        del console
        room = options.max_width - 2 - cell_len(self.identity)
        tries = ((self.stage, *self.told), self.told, self.told[:2], self.told[:1])
        texts = [" · ".join(words) for words in tries]
        right = next((text for text in texts if cell_len(text) <= room), "")
        left = Text(f"{self.identity}  {self.machine}", style="bold")
        left.truncate(max(0, options.max_width - 2 - cell_len(right)), overflow="ellipsis")
        gap = " " * max(1, options.max_width - left.cell_len - cell_len(right))
        yield Text.assemble(left, gap, (right, "dim"), no_wrap=True)


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


def strip_words(shown: Shown) -> tuple[str, str, str] | None:
    """Return the mark, what runs in the background, and how long it still takes; None where nothing runs."""
    if shown.strip is None:
        return None
    _, working = shown.strip
    if working.want is not None:
        return ">", f"{working.want.value}  {working.text}", ""
    left = []
    if working.seconds_band is not None:
        left.append(band_text(*working.seconds_band))
    elif working.seconds_left is not None:
        left.append(left_text(working.seconds_left))
    if working.fraction is not None:
        filled = round(_BAR * min(1.0, max(0.0, working.fraction)))
        left.append(f"[{'=' * filled}{'.' * (_BAR - filled)}]")
    return "~", working.text, "  ".join(left)


def strip_line(shown: Shown) -> RenderableType | None:
    """Write what runs in the background, the time left beside it; None where nothing does."""
    words = strip_words(shown)
    if words is None or shown.strip is None:
        return None
    mark, text, left = words
    style = "bold yellow" if shown.strip[1].want is not None else ""
    # What is waited for stands on its own screen whole; what hinders a check has to be read to its end here.
    is_wait = shown.strip[0].kind is Kind.WAIT
    table = Table.grid(padding=(0, 1, 0, 0))
    table.add_column(width=1, no_wrap=True)
    table.add_column()
    table.add_column(no_wrap=True)
    table.add_row(
        Text(mark, style=style),
        Text(visible(text), style=style, no_wrap=is_wait, overflow="ellipsis" if is_wait else None),
        Text(left and f" {left}", style="dim"),
    )
    return Padding(table, (0, 0, 0, 1))


def _middle(shown: Shown, entry: Entry | None, *, brief: bool, sees: str) -> RenderableType:
    if entry is None or not entry.title:
        return body(shown, brief=brief, sees=sees, typing_for="" if entry is None else entry.topic)
    about = [Text(visible(line)) for line in entry.about if line or not brief]
    return Group(Text(entry.title, style="bold"), *([] if brief else [Text("")]), *about)


def _entry(entry: Entry, *, brief: bool) -> RenderableType:
    done = 1 if brief else 6
    most = _TYPED_BRIEF if brief else _TYPED_SHOWN
    parts: list[RenderableType] = [hung("+", line, "green", indent=2) for line in entry.done[-done:]]
    if entry.error:
        parts.append(hung("!", shortened(entry.error, most), "bold red", indent=2))
    typed = visible(entry.typed)
    if len(typed) > most:
        typed = f"…{typed[-most:]}"
    parts.append(Text(f"{entry.prompt} ").append(f"{typed}_", style="bold"))
    return Group(*parts)
