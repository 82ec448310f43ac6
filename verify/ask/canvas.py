"""Where the screens go: a terminal that can be drawn over, or plain lines one after the other."""

from types import TracebackType
from typing import Protocol, Self

from rich.console import Console, RenderableType
from rich.live import Live

from verify.ask.keys import BACK, ENTER
from verify.ask.view import Entry, screen, strip_line
from verify.run import Owner, plan


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

    def show(self, owner: Owner, due: plan.Due, entry: Entry | None, message: str) -> None:
        """Show what is due, what is being typed and what there is to say."""
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

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._live.stop()

    def show(self, owner: Owner, due: plan.Due, entry: Entry | None, message: str) -> None:
        strip = strip_line(owner)
        now = due, entry, message, strip and strip.plain, self._console.size
        if now != self._shown:
            self._live.update(fitting(self._console, owner, due, entry, message), refresh=True)
            self._shown = now

    def echo(self, key: str) -> None:
        del key  # the entry is drawn with what was typed


def fitting(
    console: Console, owner: Owner, due: plan.Due, entry: Entry | None, message: str
) -> RenderableType:
    """Return the whole screen where the console has the rows for it, else the brief one."""
    whole = screen(owner, due, entry, message=message)
    if len(console.render_lines(whole, pad=False)) <= console.height:
        return whole
    return screen(owner, due, entry, message=message, brief=True)


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

    def show(self, owner: Owner, due: plan.Due, entry: Entry | None, message: str) -> None:
        asked = None if entry is None else (entry.prompt, entry.done, entry.error)
        wanted = None if owner.strip is None else (owner.strip[0].id, owner.strip[1].want)
        now = due, asked, message, wanted
        if now != self._shown:
            self._console.print(screen(owner, due, entry, message=message))
            self._shown = now

    def echo(self, key: str) -> None:
        shown = {BACK: "\b \b", ENTER: "\n"}.get(key, key if key.isprintable() else "")
        self._console.out(shown, end="", highlight=False)
