"""Colour fields that fill the terminal, one after the other, and what this terminal can show of them."""

import msgspec
from rich.color import Color
from rich.console import Console, ConsoleOptions, RenderResult
from rich.segment import Segment
from rich.style import Style

from verify.ask.keys import BACK
from verify.ask.lines import ESCAPE, Entry, Prompt, Still
from verify.report.try_page import COLOURS
from verify.values.errors import OrderError

ROUGH = (
    "This terminal has few colours and mixes them itself: white may be grey. The page (P) shows them right."
)


class Field(msgspec.Struct, frozen=True, kw_only=True):
    """Nothing but one colour, in every cell of the window."""

    colour: str

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        style = Style(bgcolor=Color.from_rgb(*COLOURS[self.colour]))
        for _ in range(options.height or console.height):
            yield Segment(" " * options.max_width, style)
            yield Segment.line()


def colour_note(console: Console) -> str:
    """Return what there is to say of this terminal's colours; empty where they are right.

    Raises OrderError where it shows none.
    """
    if (
        not console.is_terminal
        or console.is_dumb_terminal
        or console.no_color
        or console.color_system is None
    ):
        raise OrderError("This terminal shows no colours.", next_step="Use the page: press P.")
    return "" if console.color_system in ("truecolor", "256") else ROUGH


class ColourFields:
    """The fields, one key each; after the last one it is over."""

    def __init__(self, *, still: Still) -> None:
        """Show the first field."""
        self.still = still
        self._at = 0
        self.entry = self._drawn()

    @property
    def empty(self) -> bool:
        """Always: nothing is typed."""
        return True

    def key(self, key: str) -> Prompt | None:
        """Show the next field, or the one before; Escape ends it."""
        if key == ESCAPE:
            return None
        self._at = max(0, self._at - 1) if key == BACK else self._at + 1
        if self._at == len(COLOURS):
            return None
        self.entry = self._drawn()
        return self

    def _drawn(self) -> Entry:
        colour = tuple(COLOURS)[self._at]
        return Entry(title="COLOURS", prompt=f"{colour} now.", field=Field(colour=colour))
