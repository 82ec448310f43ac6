"""Where the screens go: a terminal that can be drawn over, or plain lines one after the other."""

import time
from types import TracebackType
from typing import Protocol, Self

from rich.console import Console, RenderableType
from rich.live import Live

from verify.ask.keys import BACK, ENTER
from verify.ask.lines import Entry
from verify.ask.view import screen, strip_line
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
        strip = strip_line(shown)
        moving = strip and strip.plain, shown.awake_note
        # Held apart: what a person did is shown at once, a bar may take its time.
        still = shown.due, shown.state.noticed, entry, message, sees, self._console.size
        if still == self._shown:
            if moving == self._moving:
                return None
            wait_s = self._drawn_s + _BETWEEN_S - time.monotonic()
            if wait_s > 0:
                return wait_s
        self._live.update(fitting(self._console, shown, entry, message, sees), refresh=True)
        self._shown, self._moving, self._drawn_s = still, moving, time.monotonic()
        return None

    def echo(self, key: str) -> None:
        del key  # the entry is drawn with what was typed


def fitting(
    console: Console, shown: Shown, entry: Entry | None, message: str = "", sees: str = ""
) -> RenderableType:
    """Return the whole screen where the console has the rows for it, else the brief one."""
    whole = screen(shown, entry, message=message, sees=sees)
    if len(console.render_lines(whole, pad=False)) <= console.height:
        return whole
    return screen(shown, entry, message=message, sees=sees, brief=True)


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
