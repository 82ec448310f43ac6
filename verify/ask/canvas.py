"""Where the screens go: a terminal that can be drawn over, or plain lines one after the other."""

import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from types import TracebackType
from typing import Protocol, Self

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.segment import Segment, Segments
from rich.text import Text

from verify.ask.keys import BACK, ENTER
from verify.ask.lines import Entry
from verify.ask.view import lower, screen, strip_words, upper
from verify.run import Shown

_BETWEEN_S = 1.0
"""A bar that moves on is drawn anew this often at most, in s: nobody reads faster."""


class Canvas(Protocol):
    """Shows the run. Draws only when something on it changed."""

    def __enter__(self) -> Self:
        """Begin to draw."""
        ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Leave the terminal as it was."""
        ...

    def show(self, shown: Shown, entry: Entry | None, message: str, sees: str) -> float | None:
        """Show what is due, what is being typed and what there is to say.

        Returns the time after which to show again, in s, where something was not drawn yet; else None.
        """
        ...

    def echo(self, key: str) -> None:
        """Take note of a key that was typed into an entry."""
        ...

    def left(self) -> AbstractContextManager[None]:
        """Leave the terminal to somebody else meanwhile; afterwards everything is drawn anew."""
        ...


def canvas_for(console: Console) -> Canvas:
    """Return the canvas that the console can bear."""
    drawable = console.is_terminal and not console.is_dumb_terminal
    return _Drawn(console) if drawable else _Plain(console)


class _Drawn:
    """The whole terminal, drawn over. Tells less where it would not fit: what is asked always shows."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._live = Live(console=console, auto_refresh=False, screen=True)
        self._shown: object = None
        self._moving: object = None
        self._drawn_s = 0.0

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()

    def show(self, shown: Shown, entry: Entry | None, message: str, sees: str) -> float | None:
        moving = strip_words(shown), shown.awake_note
        # Held apart: what a person did is shown at once, a bar may take its time.
        still = shown.due, shown.state.noticed, shown.state.pictures, entry, message, sees, self._console.size
        if still == self._shown:
            if moving == self._moving:
                return None
            wait_s = self._drawn_s + _BETWEEN_S - time.monotonic()
            if wait_s > 0:
                return wait_s
        field = None if entry is None else entry.field
        drawn = fitting(self._console, shown, entry, message, sees) if field is None else field
        self._live.update(drawn, refresh=True)
        self._shown, self._moving, self._drawn_s = still, moving, time.monotonic()
        return None

    def echo(self, key: str) -> None:
        del key  # the entry is drawn with what was typed

    @contextmanager
    def left(self) -> Iterator[None]:
        self._live.stop()
        try:
            yield
        finally:
            self._live.start()
            self._shown = None


def fitting(
    console: Console, shown: Shown, entry: Entry | None, message: str = "", sees: str = ""
) -> RenderableType:
    """Return the whole screen where the console has the rows for it, else the brief one.

    Where even that has too many rows, it is cut above what is typed and the keys, and says so.
    """
    whole = screen(shown, entry, message=message, sees=sees)
    if _rows(console, whole) <= console.height:
        return whole
    above = upper(shown, entry, sees=sees, brief=True)
    below = lower(shown, entry, message=message, brief=True)
    left = console.height - _rows(console, below)
    if _rows(console, above) <= left:
        return Group(above, below)
    lines = console.render_lines(above, pad=False)[: max(0, left - 1)]
    shown_lines = Segments([part for line in lines for part in (*line, Segment.line())])
    return Group(shown_lines, Text("  … Make the window larger to read on.", style="bold"), below)


def _rows(console: Console, part: RenderableType) -> int:
    return len(console.render_lines(part, pad=False))


class _Plain:
    """Lines one after the other: a pipe, or a terminal that cannot be drawn over.

    Nothing is said again because a bar moved on; only when something is to be done or read.
    """

    def __init__(self, console: Console) -> None:
        self._console = console
        self._shown: object = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass

    def show(self, shown: Shown, entry: Entry | None, message: str, sees: str) -> float | None:
        asked = None if entry is None else (entry.title, entry.about, entry.prompt, entry.done, entry.error)
        wanted = None if shown.strip is None else (shown.strip[0].id, shown.strip[1].want)
        now = shown.due, asked, message, sees, wanted, shown.awake_note
        if now != self._shown:
            self._console.print(screen(shown, entry, message=message, sees=sees))
            self._shown = now
        return None

    def echo(self, key: str) -> None:
        shown = {BACK: "\b \b", ENTER: "\n"}.get(key, key if key.isprintable() else "")
        self._console.out(shown, end="", highlight=False)

    @contextmanager
    def left(self) -> Iterator[None]:
        yield
        self._shown = None
