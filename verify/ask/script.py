"""Answers from a script, or from a simulated bench: the run without a person.

Whatever is answered this way marks the run as scripted; it is never an acceptance.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Protocol, assert_never

import msgspec

from verify.checklist import Check, Kind, Step
from verify.checklist.answers import Answer, Counted, Hazard, Look, Measured, Seen, Span, Tally
from verify.probe import Want
from verify.run import Owner, plan
from verify.run.events import Arrived
from verify.run.sampling import Sampler
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


class AnswerFile:
    """Answers read from a YAML file: `format: answers/1`, then `answers:` by check."""

    def __init__(self, path: Path) -> None:
        """Read the file.

        Raises FileFormatError where it is not one.
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
        answers = data.get("answers")
        if not isinstance(answers, dict):
            raise FileFormatError(
                f'{path} has no "answers:".', next_step="Put a line for each check below it."
            )
        self._name = path.name
        self._answers: Mapping[object, object] = answers

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
                f'{self._name}: the answer to "{check.id}" does not fit a {check.kind}: {error}',
                next_step="Look: good, not good, cannot see. Measure: place: [enters, stops]. "
                "Count: kind: {out: 6, back: 6}.",
            ) from error


def parse_answer(check: Check, given: object) -> Answer:
    """Turn what a file says into an answer of the check's kind.

    Raises InvalidValueError, ValueError, TypeError or KeyError where it does not fit.
    """
    match check.kind:
        case Kind.LOOK:
            seen, note = _with_note(given)
            return Look(seen=Seen(str(seen)), note=note)
        case Kind.HAZARD:
            seen, note = _with_note(given)
            # YAML reads a bare no and yes as false and true.
            present = {"false": False, "no": False, "true": True, "yes": True, "cannot tell": None}
            return Hazard(present=present[str(seen).lower()], note=note)
        case Kind.MEASURE:
            return Measured(spans={str(place): _span(span) for place, span in _mapping(given).items()})
        case Kind.COUNT:
            return Counted(
                tallies={str(kind): msgspec.convert(tally, Tally) for kind, tally in _mapping(given).items()}
            )
        case Kind.PROBE | Kind.WAIT:
            raise InvalidValueError("The tool establishes it by itself.")
        case _:
            assert_never(check.kind)


def _mapping(given: object) -> Mapping[object, object]:
    if not isinstance(given, dict):
        raise TypeError(f"{given!r} is not a list of names and values")
    return given


def _with_note(given: object) -> tuple[object, str]:
    if isinstance(given, dict):
        return given["answer"], str(given.get("note", ""))
    return given, ""


def _span(given: object) -> Span:
    if not isinstance(given, list) or len(given) != 2:
        raise TypeError(f"{given!r} is not two leaves")
    enters, stops = given
    return Span(enters_mm=float(enters), stops_mm=None if stops is None else float(stops))


def play(owner: Owner, answers: Answers, sampler: Sampler, *, hands: Hands) -> plan.Due:
    """Go through the run until nothing is due that the script can answer; return what is due then.

    Raises FileFormatError where an answer does not fit its check.
    """
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
                    owner.answer(check.id, answer)
            case plan.Arrive():
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


def _spend(owner: Owner, sampler: Sampler, hands: Hands, check: Check) -> None:
    """Let the hands' time pass, and feed what runs meanwhile."""
    start_s = owner.now().elapsed_s
    while True:
        _feed(owner, sampler, hands, timeout_s=0)
        passed_s = owner.now().elapsed_s - start_s
        if passed_s >= hands.takes_s(check):
            return


def _feed(owner: Owner, sampler: Sampler, hands: Hands, *, timeout_s: float) -> None:
    sample = sampler.next(timeout_s)
    if sample is not None and owner.wants_samples():
        owner.take_sample(sample)
    if owner.strip is not None and (want := owner.strip[1].want) is not None:
        hands.give(want)
