"""Answers from a script, or from a simulated bench: the run without a person.

Whatever is answered this way marks the run as scripted; it is never an acceptance.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Protocol, assert_never, runtime_checkable

from verify.ask.given import (
    parse_answer,
    parse_arrival,
    parse_pictures,
    refuse_unknown,
    refuse_unknown_arrival,
)
from verify.checklist import Check, Composition, Step
from verify.checklist.answers import Answer
from verify.probe import Want
from verify.record.arrival import FoundAs, Picture, Tried
from verify.run import Owner, plan
from verify.run.events import Arrived
from verify.run.sampling import Pace, Sampler
from verify.values.errors import FileFormatError, InvalidValueError

ANSWERS_FORMAT = "answers/1"


class Hands(Protocol):
    """What someone at the bench does to the machine; nothing for a machine that others handle."""

    def did(self, step: Step) -> None:
        """Do the step."""
        ...

    def give(self, want: Want) -> None:
        """Do what a running check needs."""
        ...

    def takes_s(self, check: Check) -> float:
        """Return how long answering the check takes, in s; samples are taken meanwhile."""
        ...


class NoHands:
    """Others handle the machine."""

    def did(self, step: Step) -> None:
        """Nothing."""

    def give(self, want: Want) -> None:
        """Nothing."""

    def takes_s(self, check: Check) -> float:
        """Return 0: a script answers at once."""
        del check
        return 0.0


class Answers(Protocol):
    """Where the answers come from."""

    def answer(self, check: Check) -> Answer | None:
        """Return the answer, or None where there is none."""
        ...

    def arrival(self, topic: str) -> Arrived | None:
        """Return what is said of a topic on arrival, or None where nothing is."""
        ...


@runtime_checkable
class Camera(Protocol):
    """Where pictures come from; answers that have none are no camera."""

    def pictures(self, check: Check, *, number: int) -> tuple[Picture, ...]:
        """Take over the pictures of a check that is asked, the first under this number; none: empty."""
        ...


class AnswerFile:
    """Answers read from a YAML file: `format: answers/1`; `answers:` and `pictures:` by check; `arrival:`.

    next_picture: number of the next picture that is taken over.
    """

    def __init__(self, path: Path, *, folder: Path | None = None) -> None:
        """Read the file.

        folder: the run's, where pictures are taken over; None: there are none.
        Raises FileFormatError where it is not one, or says something on arrival that is not asked.
        """
        import yaml

        try:
            data = yaml.safe_load(path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError, yaml.YAMLError, RecursionError) as error:
            raise FileFormatError(f"{path} cannot be read: {error}.", next_step="Mend the file.") from error
        if not isinstance(data, dict) or data.get("format") != ANSWERS_FORMAT:
            raise FileFormatError(
                f"{path} is not a file of answers.",
                next_step=f'It must begin with "format: {ANSWERS_FORMAT}".',
            )
        self._path = path
        self._folder = folder
        self._answers = self._part(data, "answers", "check", must="arrival" not in data)
        self._pictures = self._part(data, "pictures", "check", must=False)
        self._arrival = self._part(data, "arrival", "topic", must=False)
        self.next_picture = 1
        self._refuse(data, ("format", "answers", "pictures", "arrival"))
        try:
            refuse_unknown_arrival(self._arrival)
        except (InvalidValueError, TypeError) as error:
            raise FileFormatError(f"{path.name}, arrival: {error}") from error

    def _part(
        self, data: Mapping[object, object], name: str, what: str, *, must: bool
    ) -> Mapping[object, object]:
        part = data.get(name, None if must else {})
        if not isinstance(part, dict):
            raise FileFormatError(
                f'{self._path} has no "{name}:".', next_step=f"Put a line for each {what} below it."
            )
        return part

    def _refuse(self, given: Mapping[object, object], known: tuple[str, ...]) -> None:
        try:
            refuse_unknown(given, known)
        except InvalidValueError as error:
            raise FileFormatError(f"{self._path.name}: {error.what}", next_step=error.next_step) from error

    def refuse_strange(self, composition: Composition) -> None:
        """Raise FileFormatError for an answer to a check that no checklist has, the run's or a shipped one.

        One that this work does not call for may stand in the file.
        """
        known = {check.id for each in composition.checklists for check in each.checks}
        if not known.issuperset({**self._answers, **self._pictures}):
            # Read only where it is needed: it takes longer than a small run.
            from verify.checklist.shipped import shipped_checklists

            known |= {check.id for each in shipped_checklists() for check in each.checks}
        for part in (self._answers, self._pictures):
            self._refuse(part, tuple(sorted(known)))

    def answer(self, check: Check) -> Answer | None:
        """Return the answer to the check, or None where the file has none.

        Raises FileFormatError where the file's answer does not fit the check.
        """
        if check.id not in self._answers:
            return None
        given = self._answers[check.id]
        try:
            return parse_answer(check, given)
        except (InvalidValueError, TypeError, ValueError, KeyError) as error:
            raise FileFormatError(
                f'{self._path.name}: the answer to "{check.id}" does not fit a {check.kind}: {error}',
                next_step="Look, photo: good, not good, cannot see; a photo also none, with a note. "
                "Measure: place: [enters, stops]. Count: kind: {out: 6, back: 6}.",
            ) from error

    def arrival(self, topic: str) -> Arrived | None:
        """Return what the file says of a topic on arrival, or None where it says nothing.

        Raises FileFormatError where it does not fit the topic; what taking a picture over raises.
        """
        try:
            return parse_arrival(topic, self._arrival, picture=self._take_over)
        except (InvalidValueError, TypeError, ValueError, KeyError) as error:
            raise FileFormatError(
                f'{self._path.name}: what is said on arrival of "{topic}" does not fit: {error}',
                next_step=f"found_as: {', '.join(FoundAs)}. accessories, pictures: a list. "
                f"tried: function: {', '.join(Tried)}.",
            ) from error

    def pictures(self, check: Check, *, number: int) -> tuple[Picture, ...]:
        """Take over what the file has for the check, the first under this number.

        Raises FileFormatError where it is no list of pictures; what taking a picture over raises.
        """
        if check.id not in self._pictures:
            return ()
        self.next_picture = number
        try:
            return parse_pictures(self._pictures[check.id], picture=self._take_over)
        except (InvalidValueError, TypeError, KeyError) as error:
            raise FileFormatError(
                f'{self._path.name}: the pictures of "{check.id}" cannot be taken: {error}',
                next_step='Write a list of files: [open.jpg], or [{file: open.jpg, shows: "the lead"}].',
            ) from error

    def _take_over(self, file: str, shows: str, before: int) -> Picture:
        from verify.run.pictures import take_over

        if self._folder is None:
            raise InvalidValueError("There is no folder for pictures here.")
        return take_over(
            self._folder, self._path.parent / file, number=self.next_picture + before, shows=shows
        )


def play(owner: Owner, answers: Answers, sampler: Sampler, *, hands: Hands) -> plan.Due:
    """Go through the run until nothing is due that the script can answer; return what is due then.

    Raises FileFormatError where an answer does not fit its check, or a file answers what nobody asks.
    """
    if isinstance(answers, AnswerFile) and owner.state.started:
        answers.refuse_strange(owner.composition)
    while True:
        due = owner.due()
        match due:
            case plan.Ask():
                check = next(check for check in due.checks if check.id in due.pending)
                answer = answers.answer(check)
                if answer is None:
                    return due
                _spend(owner, sampler, hands, check)
                # Something in the background may have changed what is due.
                if owner.due() == due:
                    _take_pictures(owner, answers, check)
                    owner.answer(check.id, answer)
            case plan.Arrive():
                if isinstance(answers, AnswerFile):
                    answers.next_picture = owner.next_picture()
                said = answers.arrival(due.pending[0])
                if said is None:
                    return due
                _feed(owner, sampler, hands, timeout_s=0)
                owner.arrive(said)
            case plan.Do():
                hands.did(due.step)
                owner.take_step(due.step.id)
            case plan.Watching():
                _feed(owner, sampler, hands, timeout_s=1.0)
            case (
                plan.Where()
                | plan.SayWork()
                | plan.Elsewhere()
                | plan.Held()
                | plan.Stopped()
                | plan.Declined()
                | plan.Complete()
            ):
                return due
            case _:
                assert_never(due)


def _take_pictures(owner: Owner, answers: Answers, check: Check) -> None:
    """Take the check's pictures first, but for those that an interrupted run took already."""
    if isinstance(answers, Camera) and not owner.state.has_picture(check.id):
        for picture in answers.pictures(check, number=owner.next_picture()):
            owner.add_picture(check.id, picture)


def _spend(owner: Owner, sampler: Sampler, hands: Hands, check: Check) -> None:
    """Let the hands' time pass, and feed what runs meanwhile."""
    start_s = owner.now().elapsed_s
    while True:
        _feed(owner, sampler, hands, timeout_s=0)
        passed_s = owner.now().elapsed_s - start_s
        if passed_s >= hands.takes_s(check):
            return


def _feed(owner: Owner, sampler: Sampler, hands: Hands, *, timeout_s: float) -> None:
    if sampler.by_itself and not owner.wants_samples():
        # Nobody wants to know: the machine is not read, least of all before the first question.
        return
    sampler.pace(Pace.FAST if owner.often else Pace.USUAL)
    sample = sampler.next(timeout_s)
    if sample is not None and owner.wants_samples():
        owner.take_sample(sample)
    if owner.strip is not None and (want := owner.strip[1].want) is not None:
        hands.give(want)
