"""The answers, told at the end of an exercise: each planted fault, and each alarm without one. Pure."""

from collections.abc import Iterable

import msgspec

from verify.ask.closing import OUTCOME_WORDS
from verify.ask.practice import Exercise, Planted
from verify.ask.practice_follow import WITHOUT_ASKING, Followed, follow
from verify.ask.sight import what_is_seen
from verify.checklist import Check, Composition, Kind
from verify.checklist.answers import Look, Photo, Seen
from verify.checklist.specimens import answer_for
from verify.run import Owner, plan
from verify.run.outcome import outcome_of
from verify.values import Outcome

PRACTICE_FORMAT = "practice/1"


class Ending(msgspec.Struct, frozen=True, kw_only=True):
    """How an exercise ended. how: in a sentence; to_the_end: whether that is an end; said: the outcome."""

    exercise: Exercise
    composition: Composition
    followed: Followed
    how: str
    to_the_end: bool
    said: Outcome

    @property
    def never(self) -> tuple[Planted, ...]:
        """The faults that nobody came to."""
        known = {*self.followed.caught, *self.followed.missed}
        return tuple(fault for fault in self.exercise.planted if fault.name not in known)

    @property
    def passed(self) -> bool:
        """Whether every planted fault was caught and nothing sound was refused.

        A machine without a fault has to be gone through to the end for that.
        """
        planted = self.exercise.planted
        caught = all(fault.name in self.followed.caught for fault in planted)
        return caught and not self.followed.refused and (bool(planted) or self.to_the_end)


def ending_of(exercise: Exercise, owner: Owner) -> Ending:
    """Tell how the exercise stands that the owner was left with."""
    outcome, _ = outcome_of(owner.composition, owner.state)
    how = _how(owner)
    return Ending(
        exercise=exercise,
        composition=owner.composition,
        followed=follow(exercise, owner.composition, owner.lines),
        how=how or "You left before the end.",
        to_the_end=bool(how),
        said=outcome,
    )


def _how(owner: Owner) -> str:
    """Say which end it came to; empty where it came to none. On a hold no machine is handed back, either."""
    match owner.due():
        case plan.Complete() | plan.Declined():
            return "You came to the end."
        case plan.Held(step=step):
            return f'You left it on "not yet: {step.name}". That is an end, too.'
        case plan.Stopped():
            return "You stopped for a hazard. That is an end, too."
        case _:
            if owner.state.hazards:
                return "You stopped for a hazard, and it was made safe. An exercise may end there."
            return ""


def answers_told(ending: Ending) -> tuple[str, ...]:
    """Tell what was planted and what became of it, what was refused though sound, and the outcome."""
    return (
        ending.how,
        "",
        *_planted(ending),
        *_refused(ending),
        *_false_stops(ending.followed),
        "",
        *_outcome(ending),
    )


def practice_json(ending: Ending) -> bytes:
    """Return the answers as a file for whoever teaches."""
    followed = ending.followed
    answers = {
        "format": PRACTICE_FORMAT,
        "seed": ending.exercise.seed,
        "work": ending.exercise.work,
        "machine": ending.exercise.design.model,
        "planted": [
            {
                "fault": fault.name,
                "in_fact": fault.plainly,
                "shows_at": fault.catches,
                "caught_at": followed.caught.get(fault.name),
                "missed_at": followed.missed.get(fault.name, ()),
            }
            for fault in ending.exercise.planted
        ],
        "refused_though_sound": followed.refused,
        "outcome": ending.said,
        "still_inside": [fault.name for fault in followed.inside],
        "to_the_end": ending.to_the_end,
        "passed": ending.passed,
    }
    return msgspec.json.format(msgspec.json.encode(answers), indent=2) + b"\n"


def _planted(ending: Ending) -> Iterable[str]:
    planted = ending.exercise.planted
    if not planted:
        yield "Nothing was planted: the machine was sound."
        return
    yield "Planted was:"
    for number, fault in enumerate(planted, start=1):
        yield f"  {number}. {fault.name}. In fact: {fault.plainly}."
        yield from (f"     {line}" for line in _became(ending, fault))


def _became(ending: Ending, fault: Planted) -> Iterable[str]:
    checks = {check.id: check for check in ending.composition.checks}
    caught = ending.followed.caught.get(fault.name)
    missed = [checks[check_id] for check_id in ending.followed.missed.get(fault.name, ())]
    for check in missed:
        yield f"x Missed here: {check.ask}"
    if caught == WITHOUT_ASKING:
        yield "+ Caught: you stopped everything."
    elif caught is not None:
        who = "The tool caught it" if checks[caught].kind is Kind.PROBE else "Caught here"
        yield f"+ {who}: {checks[caught].ask}"
    elif not missed:
        yield f"? You never came to it. It shows here: {checks[fault.catches[0]].ask}"
    at = checks.get(caught or "") or (missed[0] if missed else checks[fault.catches[0]])
    yield f"  Good is: {at.good}{_right(ending, fault, at)}"
    if at.why is not None:
        yield f"  Why: {' '.join(at.why.split())}"


def _right(ending: Ending, fault: Planted, check: Check) -> str:
    """Say so where neither good nor not good was the right answer."""
    if check.id not in ending.exercise.sees:
        return ""
    answer = answer_for(check, ending.exercise.facts_with([fault]), ending.exercise.sees)
    cannot = isinstance(answer, Look | Photo) and answer.seen is Seen.CANNOT_SEE
    return " Right is: cannot see." if cannot else ""


def _refused(ending: Ending) -> Iterable[str]:
    if not ending.followed.refused:
        return
    yield "Sound, and you did not call it good:"
    checks = {check.id: check for check in ending.composition.checks}
    for check_id in ending.followed.refused:
        check = checks[check_id]
        yield f"  x {check.ask}"
        yield f"    There was: {_sound(ending.exercise, check)}. Good is: {check.good}"


def _sound(exercise: Exercise, check: Check) -> str:
    return what_is_seen(check, exercise.facts, exercise.sees)


def _false_stops(followed: Followed) -> Iterable[str]:
    if followed.false_stops:
        yield "You stopped everything where no hazard was planted. A stop too many costs only time."


def _outcome(ending: Ending) -> Iterable[str]:
    """Say what the run came to, and what is true of the machine as it was left."""
    planted, followed = ending.exercise.planted, ending.followed
    inside = [fault.name for fault in followed.inside]
    if planted:
        caught, refused = len(followed.caught), len(followed.refused)
        yield f"Caught: {caught} of {len(planted)}. Sound, and refused: {refused}."
    yield f"Your run says: {OUTCOME_WORDS[ending.said]}."
    if inside:
        yield f"In truth: not ready. Still in it: {', '.join(inside)}."
    elif ending.said is Outcome.HELD:
        yield "In truth: no planted fault is left in it. It is ready once every check is good."
    else:
        yield "In truth: ready. No planted fault is left in it."
    if ending.passed:
        yield "Well done."
