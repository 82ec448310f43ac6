"""The technician at the terminal: single keys, one place at a time, never blocked.

What runs, runs in the owner's thread; here is only waited for a key, or to be woken when something changed.
"""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, assert_never

from rich.console import Console

from verify.ask import arriving
from verify.ask.answering import no_picture_line, note_line, span_line, tally_line, value_line
from verify.ask.canvas import Canvas, canvas_for
from verify.ask.dialogues import accept, made_safe, opened_again, picked, seen_beside
from verify.ask.keys import ANEW, END, ENTER, SUSPEND, Keys, Pasted
from verify.ask.lines import Notice, Prompt
from verify.ask.picturing import picture_line, picture_of
from verify.ask.trying import Trying
from verify.ask.words import counted, minutes_text
from verify.checklist import Check, Kind
from verify.checklist.answers import Answer, Hazard, Look, Photo, Seen
from verify.record.arrival import Picture
from verify.run import Owner, Shown, arrival, plan
from verify.run.events import Arrived
from verify.run.live import Live
from verify.values import Unit, Verdict
from verify.values.errors import HandbackError, JournalError, OrderError

_HAZARD = "!"
_SURPRISED_S = 0.5  # a finger on its way is not stopped faster; common practice, no source
_HELD_S = 0.1  # no finger presses one key twice as fast; a key held down comes faster [common practice]
_FEW = 2  # keys that a hurried hand is ahead of the screen [common practice, no source]
_NEWS_S = 3.0  # a finding stays on the screen so long at least: it may come while a finger is on its way
_TELL = {Verdict.DOES_NOT_CONFORM: "Not good:", Verdict.UNDECIDED: "Cannot tell yet:"}


class Terminal:
    """Asks the technician until they leave."""

    def __init__(
        self,
        live: Live,
        console: Console,
        *,
        folder: Path,
        sees: Callable[[Check], str] | None = None,
        leave_when: Callable[[plan.Due], bool] | None = None,
    ) -> None:
        """Show a run that is live.

        folder: the run's, for pictures. sees: what the eyes tell of a check, for learning; an empty text
        shows nothing. leave_when: leave by itself as soon as this is due.
        """
        self._live = live
        self._console = console
        self._folder = folder
        self._sees = sees
        self._leave_when = leave_when
        self._trying = Trying(folder, console)
        self._prompt: Prompt | None = None
        self._opened_for = ""
        self._found = 0
        self._message = ""
        self._news = ""
        self._news_s = float("-inf")
        self._key_before, self._key_before_s = "", float("-inf")
        self._leaving = False
        self._due: plan.Due | None = None
        self._pressed = True
        self._changed_s = float("-inf")

    def run(self) -> plan.Due:
        """Ask; return what is due when the technician leaves.

        Raises JournalError as soon as an answer cannot be kept: nothing is asked that would be lost; and
        whatever ended the run in the background.
        """
        shown = self._live.shown
        self._found = len(shown.state.found)
        self._message = _meanwhile(shown)
        try:
            return self._ask_until_left()
        finally:
            self._trying.close()

    def _ask_until_left(self) -> plan.Due:
        with Keys(self._live.woken) as keys, canvas_for(self._console) as canvas:
            while not self._leaving:
                self._live.rest()
                shown = self._live.shown
                self._notice_change(shown.due)
                self._tell_found(shown)
                self._drop_overtaken(shown.due)
                self._open_line(shown.due)
                if self._prompt is None and self._leave_when is not None and self._leave_when(shown.due):
                    break
                look_s = self._trying.attend(self._prompt)
                entry = None if self._prompt is None else self._prompt.entry
                keys.every = entry is not None and entry.every_key
                message = " ".join(word for word in (self._message, self._news) if word)
                again_s = canvas.show(shown, entry, message, self._seen(shown.due))
                key = keys.next(min((each for each in (again_s, look_s) if each is not None), default=None))
                if key in (ANEW, SUSPEND):
                    _draw_anew(canvas, keys, suspend=key == SUSPEND)
                elif key is not None and self._is_meant(key, shown.due, keys):
                    self._press(key, canvas, keys)
        return self._live.shown.due

    def _press(self, key: str, canvas: Canvas, keys: Keys) -> None:
        """Take the key; what was pressed before the screen moved on answers nothing on the next."""
        prompt, due = self._prompt, self._live.shown.due
        if prompt is not None:
            canvas.echo(key)
        self._key(key)
        moved_on = due != self._live.shown.due or (prompt is not None and self._prompt is not prompt)
        if moved_on:
            self._drop_early(keys)
        elif keys.by_hand and self._prompt is None and prompt is None and not self._message:
            self._message = "That key does nothing here."

    def _drop_early(self, keys: Keys) -> None:
        dropped = keys.forget()
        if _HAZARD in dropped and len(dropped) <= _FEW:
            # Nobody has to press that twice; among many keys it is part of a text.
            self._key(_HAZARD)
        elif dropped and not self._message:
            self._message = "What was pressed before this came up does not count."

    def _is_meant(self, key: str, drawn: plan.Due, keys: Keys) -> bool:
        """Tell whether the key answers what is on the screen: something may have come first meanwhile."""
        if key in (_HAZARD, END):
            return True
        if isinstance(key, Pasted) and self._prompt is None and self._opens_picture(drawn):
            return True
        if self._prompt is None and (isinstance(key, Pasted) or keys.burst()):
            keys.forget()
            self._message = "That was too much at once. Press one key for one answer."
            return False
        if keys.by_hand and self._prompt is None and self._is_held_down(key):
            self._message = "One press, one answer. Was a key held down? U takes the last answer back."
            return False
        if self._prompt is not None and self._prompt.still(self._live.shown.due):
            return True
        if self._live.shown.due != drawn:
            return False
        if time.monotonic() < self._changed_s + _SURPRISED_S:
            self._message = "The screen has just changed. Read it, then press again."
            return False
        return True

    def _opens_picture(self, drawn: plan.Due) -> bool:
        """Open the line for a file that was dragged in where a picture is asked for; tell whether it is."""
        if drawn != self._live.shown.due:
            return False
        if isinstance(drawn, plan.Arrive) and drawn.pending[0] == arrival.PICTURES:
            self._prompt = self._arrival_line(arrival.PICTURES)
            return True
        if not isinstance(drawn, plan.Ask):
            return False
        check = _asked(drawn)
        if check.kind is Kind.PHOTO:
            self._photo_key(check, ENTER, self._answer_with(check))
        return check.kind is Kind.PHOTO

    def _is_held_down(self, key: str) -> bool:
        now_s = time.monotonic()
        held = key == self._key_before and now_s < self._key_before_s + _HELD_S
        self._key_before, self._key_before_s = key, now_s
        return held

    def _notice_change(self, due: plan.Due) -> None:
        """Remember when something else came up without a key: a finger may be on its way."""
        if due != self._due and not self._pressed:
            self._changed_s = time.monotonic()
        self._due, self._pressed = due, False

    def _seen(self, due: plan.Due) -> str:
        if self._sees is None or not isinstance(due, plan.Ask):
            return ""
        return self._sees(_asked(due))

    def _tell_found(self, shown: Shown) -> None:
        for found in shown.state.found[self._found :]:
            # Said at once: it holds something later, and what it needs is at hand now.
            current = shown.state.current(found.check)
            if current is not None and current.judgement.verdict in _TELL:
                told = f"{_TELL[current.judgement.verdict]} {found.text}"
                self._news = f"{self._news} {told}" if self._news else told
                self._news_s = time.monotonic()
        self._found = len(shown.state.found)

    def _drop_overtaken(self, due: plan.Due) -> None:
        """Let go of a line that is being typed when what it answers is not asked any more."""
        if self._prompt is not None and not self._prompt.still(due):
            self._prompt = Notice("Something else comes first now. What was typed is not taken.")

    def _open_line(self, due: plan.Due) -> None:
        """Begin the line that is to be typed on arrival by itself: nobody types into single keys."""
        topic = due.pending[0] if isinstance(due, plan.Arrive) else ""
        if self._prompt is None and topic != self._opened_for:
            self._opened_for = topic
            if arriving.is_typed(topic):
                self._prompt = self._arrival_line(topic)

    # Keys.

    def _key(self, key: str) -> None:
        self._message = ""
        if self._prompt is None and time.monotonic() >= self._news_s + _NEWS_S:
            self._news = ""
        self._pressed = True
        due = self._live.shown.due
        try:
            if key == END:
                self._leaving = True
            elif key == _HAZARD and (self._prompt is None or self._prompt.empty):
                self._meet_hazard(due)
            elif self._prompt is not None:
                self._prompt = self._prompt.key(key)
            else:
                self._command(due, key.lower())
        except JournalError:
            raise
        except HandbackError as error:
            self._message = str(error)

    def _meet_hazard(self, due: plan.Due) -> None:
        """Stop everything first; words come later."""
        if isinstance(due, plan.Stopped):
            self._message = "Everything is stopped already."
            return
        self._prompt = None
        self._do(lambda owner: owner.meet_hazard(""))

    def _command(self, due: plan.Due, key: str) -> None:
        if key == "q":
            self._leaving = True
        elif key == "u":
            self._message = (
                "Taken back." if self._do(lambda owner: owner.undo()) else "There is nothing to take back."
            )
        elif key == "o" and not isinstance(due, plan.Stopped):
            self._prompt = seen_beside(self._say)
        elif key == "p" and self._may_be_pictured(due):
            self._prompt = picture_of(self._live.shown, self._add_picture)
        elif key == "r" and self._may_be_opened(due):
            self._prompt = opened_again(self._live.shown, self._say)
        else:
            self._due_key(due, key)

    def _may_be_opened(self, due: plan.Due) -> bool:
        if isinstance(due, plan.Stopped):
            raise OrderError("Say first how it was made safe.")
        return self._live.shown.state.started and not isinstance(due, plan.Declined)

    def _may_be_pictured(self, due: plan.Due) -> bool:
        # Those that are taken on arrival are a topic of their own.
        return not isinstance(due, plan.Arrive | plan.Stopped)

    def _due_key(self, due: plan.Due, key: str) -> None:
        match due:
            case plan.Ask():
                self._ask_key(_asked(due), key)
            case plan.Where():
                if key in ("y", "n"):
                    self._do(lambda owner: owner.stand(on_machine=key == "y"))
            case plan.Arrive():
                self._arrive_key(due, key)
            case plan.Do():
                if key == "d":
                    self._do(lambda owner: owner.take_step(due.step.id))
            case plan.Held() | plan.Watching() | plan.Elsewhere():
                self._number_key(due, key)
            case plan.Stopped():
                if key == "s":
                    self._prompt = made_safe(due, self._say)
            case plan.SayWork() | plan.Declined() | plan.Complete():
                pass
            case _:
                assert_never(due)

    def _number_key(self, due: plan.Due, key: str) -> None:
        if key == "a":
            self._prompt = accept(self._live.shown, self._say)
            return
        check = picked(due, key)
        if check is None:
            return
        if check not in [block.check for block in plan.may_be_asked_again(due)]:
            self._message = "That one waits for the repaired machine."
            return
        self._do(lambda owner: owner.ask_again(check.id))

    def _answer_with(self, check: Check) -> Callable[[Answer], None]:
        return lambda answer: self._do(lambda owner: owner.answer(check.id, answer))

    def _ask_key(self, check: Check, key: str) -> None:
        take = self._answer_with(check)
        match check.kind:
            case Kind.LOOK:
                self._look_key(check, key, take)
            case Kind.HAZARD:
                answers = {"n": False, "y": True, "c": None}
                if key in answers:
                    take(Hazard(present=answers[key]))
            case Kind.MEASURE:
                if key == ENTER:
                    by_leaves = check.unit is Unit.MILLIMETRE
                    self._prompt = span_line(check, take) if by_leaves else value_line(check, take)
            case Kind.COUNT:
                if key == ENTER:
                    self._prompt = tally_line(check, take)
            case Kind.PHOTO:
                self._photo_key(check, key, take)
            case Kind.PROBE | Kind.WAIT:
                pass
            case _:
                assert_never(check.kind)

    def _look_key(self, check: Check, key: str, take: Callable[[Answer], None]) -> None:
        if key == "g":
            take(Look(seen=Seen.GOOD))
        elif key in ("n", "c"):
            self._prompt = note_line(check, Seen.NOT_GOOD if key == "n" else Seen.CANNOT_SEE, take)
        elif key == "t" and check.shows is not None:
            self._prompt = self._trying.begin(self._live.shown, check)

    def _photo_key(self, check: Check, key: str, take: Callable[[Answer], None]) -> None:
        """Take the picture first; it judges nothing: then the technician says whether it is good."""
        state = self._live.shown.state
        if key == ENTER:
            none = None if state.has_picture(check.id) else lambda: no_picture_line(check, take)
            self._prompt = picture_line(check, self._add_picture, none=none)
        elif state.has_picture(check.id):
            if key == "g":
                take(Photo(seen=Seen.GOOD))
            elif key in ("n", "c"):
                self._prompt = note_line(check, Seen.NOT_GOOD if key == "n" else Seen.CANNOT_SEE, take)
        elif key == "-":
            self._prompt = no_picture_line(check, take)
        elif key in ("g", "n", "c"):
            self._message = "Give the picture first: press Enter. Without one: press -."

    def _arrive_key(self, due: plan.Arrive, key: str) -> None:
        topic = due.pending[0]
        said = arriving.said_by_key(topic, key)
        if said is not None:
            self._take_arrived(said)
        elif key == ENTER and arriving.is_typed(topic):
            self._prompt = self._arrival_line(topic)
        elif key == "p" and arrival.PICTURES not in due.pending:
            self._prompt = arriving.more_pictures(self._take_arrived, picture=self._picture)

    def _arrival_line(self, topic: str) -> Prompt:
        return arriving.line_for(topic, self._take_arrived, picture=self._picture)

    def _take_arrived(self, said: Arrived) -> None:
        self._do(lambda owner: owner.arrive(said))

    def _picture(self, source: Path) -> Picture:
        from verify.run.pictures import take_over

        return take_over(self._folder, source, number=self._do(lambda owner: owner.next_picture()))

    def _add_picture(self, check: Check, source: Path) -> None:
        picture = self._picture(source)
        self._do(lambda owner: owner.add_picture(check.id, picture))
        self._message = f"Picture {Path(picture.file).stem} is kept."

    # Commands.

    def _do(self, command: Callable[[Owner], Any]) -> Any:
        return self._live.do(command)

    def _say(self, command: Callable[[Owner], Any], words: str) -> None:
        self._do(command)
        self._message = words


def _draw_anew(canvas: Canvas, keys: Keys, *, suspend: bool) -> None:
    with canvas.left():
        if suspend:
            keys.suspend()


def _asked(due: plan.Ask) -> Check:
    return next(check for check in due.checks if check.id == due.pending[0])


def _meanwhile(shown: Shown) -> str:
    """Say, where something runs as the session begins, what can be done meanwhile."""
    if shown.strip is None or isinstance(shown.due, plan.Stopped):
        return ""
    if isinstance(shown.due, plan.Watching):
        return ""
    left = counted(max(0, shown.progress.screens - shown.progress.screens_done), "screen", "screens")
    return f"While that runs, go on here: {left}, {minutes_text(shown.progress.hands_min)} of work."
