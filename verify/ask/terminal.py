"""The technician at the terminal: single keys, one place at a time, never blocked.

Between keys the samples go to the owner, so that a watch goes on while looks are asked.
"""

from collections.abc import Callable
from typing import assert_never

import msgspec
from rich.console import Console

from verify.ask.canvas import canvas_for
from verify.ask.entry import parse_numbers, parse_span, parse_tally
from verify.ask.keys import BACK, END, ENTER, Keys
from verify.ask.view import HELD_SHOWN, Entry
from verify.checklist import Check, Kind
from verify.checklist.answers import Answer, Counted, Hazard, Look, Measured, Seen, Span, Tally
from verify.run import Owner, plan
from verify.run.sampling import Sampler
from verify.values import Verdict
from verify.values.errors import HandbackError, InvalidValueError, JournalError

_KEY_WAIT_S = 0.1
_ESCAPE = "\x1b"
_TELL = {Verdict.DOES_NOT_CONFORM: "Not good:", Verdict.UNDECIDED: "Cannot tell yet:"}


class _Typing:
    """A line that is being typed, and what becomes of it."""

    def __init__(
        self, prompt: str, take: Callable[[str], "_Typing | None"], done: tuple[str, ...] = ()
    ) -> None:
        self.entry = Entry(prompt=prompt, done=done)
        self._take = take

    def key(self, key: str) -> "_Typing | None":
        """Take one key; return what is typed next, itself, or None when it is over."""
        typed = self.entry.typed
        if key == _ESCAPE:
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
        elif key.isprintable():
            self.entry = msgspec.structs.replace(self.entry, typed=typed + key, error="")
        return self


class Terminal:
    """Asks the technician until they leave or everything is good."""

    def __init__(self, owner: Owner, sampler: Sampler, console: Console) -> None:
        self._owner = owner
        self._sampler = sampler
        self._console = console
        self._typing: _Typing | None = None
        self._typing_for: plan.Due | None = None
        self._message = ""
        self._leaving = False

    def run(self) -> plan.Due:
        """Ask; return what is due when the technician leaves.

        Raises JournalError as soon as an answer cannot be kept: nothing is asked that would be lost.
        """
        with Keys() as keys, canvas_for(self._console) as canvas:
            while not self._leaving:
                self._feed()
                due = self._owner.due()
                self._drop_overtaken(due)
                canvas.show(self._owner, due, self._entry, self._message)
                key = keys.next(_KEY_WAIT_S)
                if key is not None:
                    if self._typing is not None:
                        canvas.echo(key)
                    self._key(due, key)
        return self._owner.due()

    @property
    def _entry(self) -> Entry | None:
        return None if self._typing is None else self._typing.entry

    def _drop_overtaken(self, due: plan.Due) -> None:
        """Let go of a line that is being typed when what it answers is not asked any more."""
        if self._typing is not None and due != self._typing_for:
            self._typing = None
            self._message = "Something else comes first now. What was typed is not taken."

    def _feed(self) -> None:
        known = len(self._owner.state.found)
        while (sample := self._sampler.next(0)) is not None:
            if self._owner.wants_samples():
                self._owner.take_sample(sample)
        for found in self._owner.state.found[known:]:
            # Said at once: it holds something later, and what it needs is at hand now.
            current = self._owner.state.current(found.check)
            if current is not None and current.judgement.verdict in _TELL:
                self._message = f"{_TELL[current.judgement.verdict]} {found.text}"

    def _key(self, due: plan.Due, key: str) -> None:
        self._message = ""
        if key == END:
            self._leaving = True
            return
        try:
            if self._typing is not None:
                self._typing = self._typing.key(key)
                return
            self._typing_for = due
            self._command(due, key.lower())
        except JournalError:
            raise
        except HandbackError as error:
            self._message = str(error)

    def _command(self, due: plan.Due, key: str) -> None:
        if key == "q":
            self._leaving = True
        elif key == "u":
            self._message = "Taken back." if self._owner.undo() else "There is nothing to take back."
        else:
            self._due_key(due, key)

    def _due_key(self, due: plan.Due, key: str) -> None:
        match due:
            case plan.Ask():
                self._ask_key(next(check for check in due.checks if check.id == due.pending[0]), key)
            case plan.Do():
                if key == "d":
                    self._owner.take_step(due.step.id)
            case plan.Held():
                shown = due.blocked[:HELD_SHOWN]
                if key in map(str, range(1, len(shown) + 1)):
                    self._owner.ask_again(shown[int(key) - 1].check.id)
            case plan.Stopped():
                if key == "s":
                    self._typing = _Typing("Who made it safe, and where is the part now?", self._made_safe)
            case plan.Watching() | plan.Complete():
                pass
            case _:
                assert_never(due)

    def _made_safe(self, text: str) -> None:
        self._owner.made_safe(text)

    def _ask_key(self, check: Check, key: str) -> None:
        match check.kind:
            case Kind.LOOK:
                self._look_key(check, key)
            case Kind.HAZARD:
                answers = {"n": False, "y": True, "c": None}
                if key in answers:
                    self._owner.answer(check.id, Hazard(present=answers[key]))
            case Kind.MEASURE:
                if key == ENTER:
                    self._typing = self._type_span(check, {})
            case Kind.COUNT:
                if key == ENTER:
                    self._typing = self._type_tally(check, {})
            case Kind.PROBE | Kind.WAIT:
                pass
            case _:
                assert_never(check.kind)

    def _look_key(self, check: Check, key: str) -> None:
        if key == "g":
            self._owner.answer(check.id, Look(seen=Seen.GOOD))
        elif key == "n":
            self._typing = self._type_note(check, Seen.NOT_GOOD, "What is wrong?")
        elif key == "c":
            self._typing = self._type_note(check, Seen.CANNOT_SEE, "Why can it not be seen?")

    def _type_note(self, check: Check, seen: Seen, prompt: str) -> _Typing:
        def take(text: str) -> None:
            if seen is Seen.CANNOT_SEE and not text:
                raise InvalidValueError("It needs a reason.")
            self._answer(check, Look(seen=seen, note=text))

        return _Typing(prompt, take)

    def _answer(self, check: Check, answer: Answer) -> None:
        self._owner.answer(check.id, answer)

    def _type_span(self, check: Check, spans: dict[str, Span]) -> _Typing:
        station = check.stations[len(spans)]

        def take(text: str) -> _Typing | None:
            more = {**spans, station: parse_span(text)}
            if len(more) < len(check.stations):
                return self._type_span(check, more)
            self._answer(check, Measured(spans=more))
            return None

        done = tuple(f"{name}: {span.enters_mm:g} to {_end(span)} mm" for name, span in spans.items())
        return _Typing(f"{station}, leaf that enters, leaf that does not (mm):", take, done)

    def _type_tally(self, check: Check, tallies: dict[str, Tally]) -> _Typing:
        left = [kind for kind in check.counts if kind not in tallies]
        fixed = f"{left[0]}: " if left else ""

        def take(text: str) -> _Typing | None:
            if not text and not left and tallies:
                self._answer(check, Counted(tallies=tallies))
                return None
            kind, tally = (left[0], parse_numbers(text)) if left else parse_tally(text)
            more = {**tallies, kind: tally}
            if check.counts and len(more) == len(check.counts):
                self._answer(check, Counted(tallies=more))
                return None
            return self._type_tally(check, more)

        done = tuple(f"{kind}: {tally.out} out, {tally.back} back" for kind, tally in tallies.items())
        asked = "out and back" if left else "kind, out, back (empty line: that is all)"
        return _Typing(f"{fixed}{asked}:", take, done)


def _end(span: Span) -> str:
    return "?" if span.stops_mm is None else f"{span.stops_mm:g}"
