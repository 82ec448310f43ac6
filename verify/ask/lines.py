"""What is being typed or chosen, and what becomes of it: a line, or numbers to press.

Each takes one key at a time and says what comes next: itself, another, or None when it is over.
"""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Protocol

import msgspec
from rich.console import RenderableType

from verify.ask.keys import BACK, ENTER, Pasted
from verify.run import plan
from verify.values.errors import HandbackError, JournalError

ESCAPE = "\x1b"

Still = Callable[[plan.Due], bool]
"""Tells whether what is asked for still has a use, whatever is due by now."""


def no_hazard(due: plan.Due) -> bool:
    """Tell whether no hazard stands: what can be said at any other moment."""
    return not isinstance(due, plan.Stopped)


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """What is shown of it. prompt: what is asked for; error: what was wrong with the last line.

    title: it is a screen of its own, with `about` above it. topic: of arrival, that it is typed for.
    keys: what can be pressed. every_key: each key counts, "!" too. field: fills the window instead of all.
    """

    prompt: str
    typed: str = ""
    error: str = ""
    done: tuple[str, ...] = ()
    title: str = ""
    about: tuple[str, ...] = ()
    topic: str = ""
    keys: str = "Enter take it   Esc back"
    every_key: bool = False
    field: RenderableType | None = None


class Prompt(Protocol):
    """Something that waits for keys of its own."""

    entry: Entry
    still: Still

    @property
    def empty(self) -> bool:
        """Whether nothing is typed yet."""
        ...

    def key(self, key: str) -> "Prompt | None":
        """Take one key; return what comes next, or None when it is over."""
        ...


class TypedLine:
    """A line that is being typed."""

    def __init__(self, entry: Entry, take: Callable[[str], Prompt | None], *, still: Still) -> None:
        """Begin. take: is handed the line without blanks around it; an error it raises is shown here."""
        self.entry = entry
        self.still = still
        self._take = take

    @property
    def empty(self) -> bool:
        """Whether nothing is typed yet."""
        return not self.entry.typed

    def key(self, key: str) -> Prompt | None:
        """Take one key; return what comes next."""
        typed = self.entry.typed
        if key == ESCAPE:
            return None
        if key == BACK:
            self.entry = msgspec.structs.replace(self.entry, typed=typed[:-1])
        elif key == ENTER:
            try:
                return self._take(typed.strip())
            except JournalError:
                raise
            except HandbackError as error:
                self.entry = msgspec.structs.replace(self.entry, typed="", error=str(error))
        elif isinstance(key, Pasted):
            self.entry = msgspec.structs.replace(self.entry, typed=typed + _plain(key), error="")
        elif key.isprintable():
            self.entry = msgspec.structs.replace(self.entry, typed=typed + key, error="")
        return self


def _plain(text: str) -> str:
    return "".join(character for character in text if character.isprintable())


class Notice:
    """Something to be read before any other key counts: what was being typed is not taken any more."""

    def __init__(self, words: str) -> None:
        """Show the words until Escape: it is no part of any line, so nobody presses it by going on typing."""
        self.entry = Entry(prompt=words, keys="Esc go on")
        self.still: Still = lambda _: True

    @property
    def empty(self) -> bool:
        """Always: nothing is typed."""
        return True

    def key(self, key: str) -> Prompt | None:
        """Wait for Escape."""
        return None if key == ESCAPE else self


class _Pressed:
    """Single keys: what one does says what is shown next, or what comes next; an error is shown here."""

    def __init__(self, entry: Entry, *, still: Still) -> None:
        self.entry = entry
        self.still = still

    @property
    def empty(self) -> bool:
        """Always: nothing is typed."""
        return True

    def key(self, key: str) -> Prompt | None:
        """Take one key; return what comes next."""
        if key == ESCAPE:
            return None
        do = self._what_does(key)
        if do is None:
            return self
        try:
            done = do()
        except JournalError:
            raise
        except HandbackError as error:
            self.entry = msgspec.structs.replace(self.entry, error=str(error))
            return self
        if isinstance(done, Entry):
            self.entry = done
            return self
        return done

    def _what_does(self, key: str) -> Callable[[], Entry | Prompt | None] | None:
        raise NotImplementedError


class Choice(_Pressed):
    """Single keys, each with what it does."""

    def __init__(
        self, entry: Entry, does: Mapping[str, Callable[[], Entry | Prompt | None]], *, still: Still
    ) -> None:
        """Begin. does: by key, in small letters: returns what is shown next, or what comes next."""
        super().__init__(entry, still=still)
        self._does = does

    def _what_does(self, key: str) -> Callable[[], Entry | Prompt | None] | None:
        return self._does.get(key.lower())


class Numbers(_Pressed):
    """Numbers to press, one key each; `press` says what is shown next, or what comes next."""

    def __init__(self, entry: Entry, press: Callable[[str], Entry | Prompt | None], *, still: Still) -> None:
        """Begin. press: is handed a digit or ENTER."""
        super().__init__(entry, still=still)
        self._press = press

    def _what_does(self, key: str) -> Callable[[], Entry | Prompt | None] | None:
        if key == ENTER or (key.isascii() and key.isdigit()):
            return partial(self._press, key)
        return None
