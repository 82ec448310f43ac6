"""What became of each planted fault, from the journal of an exercise. Pure.

A fault that was found counts as mended as soon as its check is asked again, whatever asks it: "ask again",
something opened again, a hazard made safe. Answers that were taken back do not count.
"""

from collections.abc import Iterable, Mapping

import msgspec

from verify.ask.practice import Exercise, Planted
from verify.ask.sight import is_bad, stops_all, truth_is_bad
from verify.checklist import Check, Composition
from verify.checklist.answers import Answer, Photo
from verify.run.events import Answered, AskedAgain, Found, HazardMet, Line, MadeSafe, Reopened, Undone
from verify.run.findings import judge_answer, judge_readings
from verify.values import Verdict

WITHOUT_ASKING = "any screen"
"""Where a hazard was told at that nothing asked for."""


class Followed(msgspec.Struct, frozen=True, kw_only=True):
    """Where an exercise stands.

    inside: faults that are still in the machine. caught: by fault, the check that first found it, or
    `WITHOUT_ASKING`. missed: by fault, the checks that would have shown it and were answered as good.
    refused: sound things that were called not good or not seen, by check. false_stops: hazards told at
    which nothing was wrong.
    """

    inside: tuple[Planted, ...]
    caught: Mapping[str, str]
    missed: Mapping[str, tuple[str, ...]]
    refused: tuple[str, ...]
    false_stops: int


def follow(exercise: Exercise, composition: Composition, lines: Iterable[Line]) -> Followed:
    """Follow the planted faults through the lines."""
    lines = tuple(lines)
    undone = {n for line in lines if isinstance(line.event, Undone) for n in line.event.lines}
    following = _Following(exercise, composition)
    for line in lines:
        if line.n not in undone:
            following.take(line)
    return following.followed()


class _Following:
    def __init__(self, exercise: Exercise, composition: Composition) -> None:
        self._exercise = exercise
        self._checks = {check.id: check for check in composition.checks}
        self._inside = list(exercise.planted)
        # By check: the faults that its last answer found, and that are mended when it is asked again.
        self._found_at: dict[str, list[Planted]] = {}
        # Where a hazard was met: what was found there is mended when it is made safe.
        self._stopped_at = {WITHOUT_ASKING} | {check.id for check in composition.checks if stops_all(check)}
        self._caught: dict[str, str] = {}
        self._missed: dict[str, list[str]] = {}
        self._refused: list[str] = []
        self._false_stops = 0

    def followed(self) -> Followed:
        return Followed(
            inside=tuple(self._inside),
            caught=dict(self._caught),
            missed={name: tuple(dict.fromkeys(checks)) for name, checks in self._missed.items()},
            refused=tuple(dict.fromkeys(self._refused)),
            false_stops=self._false_stops,
        )

    def take(self, line: Line) -> None:
        match line.event:
            case Answered(check=check_id, answer=answer):
                self._answered(self._checks[check_id], answer)
            case Found():
                self._found_out(self._checks[line.event.check], line.event)
            case HazardMet():
                self._met_hazard()
            case AskedAgain(check=check_id):
                self._asked_again([check_id])
            case Reopened(opened=opened):
                self._asked_again(
                    [check.id for check in self._checks.values() if set(opened) & set(check.voided_by)]
                )
            case MadeSafe():
                self._made_safe()
            case _:
                pass

    def _behind(self, check_id: str) -> list[Planted]:
        return [fault for fault in self._inside if check_id in fault.catches]

    def _answered(self, check: Check, answer: Answer) -> None:
        if isinstance(answer, Photo) and answer.seen is None:
            return  # nobody has to have a camera in an exercise
        said_bad = is_bad(judge_answer(check, answer))
        true_bad = truth_is_bad(check, self._exercise.facts_with(self._inside), self._exercise.sees)
        if said_bad and true_bad:
            self._catch(self._behind(check.id), check.id)
        elif said_bad:
            self._refused.append(check.id)
        elif true_bad:
            for fault in self._behind(check.id):
                self._missed.setdefault(fault.name, []).append(check.id)

    def _found_out(self, check: Check, event: Found) -> None:
        if event.stop is not None:
            self._stopped_at.add(check.id)
        judgement = judge_readings(check, event.readings, event.text)
        if event.stop is None and not is_bad(judgement):
            return
        # A dead charger fails more checks than those that are for it. What is only told may be so on a
        # sound machine, too.
        told_only = check.note_only and judgement.verdict is Verdict.UNDECIDED
        self._catch(
            [
                fault
                for fault in self._inside
                if check.id in fault.catches or (fault.machine and not told_only)
            ],
            check.id,
        )

    def _met_hazard(self) -> None:
        hazards = [fault for fault in self._inside if fault.hazard]
        self._catch(hazards, WITHOUT_ASKING)
        self._false_stops += not hazards

    def _catch(self, faults: list[Planted], where: str) -> None:
        for fault in faults:
            self._caught.setdefault(fault.name, where)
        self._found_at[where] = faults

    def _asked_again(self, check_ids: Iterable[str]) -> None:
        mended = [fault for check_id in check_ids for fault in self._found_at.pop(check_id, ())]
        self._inside = [fault for fault in self._inside if fault not in mended]

    def _made_safe(self) -> None:
        self._asked_again(
            [
                check_id
                for check_id, faults in self._found_at.items()
                if check_id in self._stopped_at or any(fault.hazard for fault in faults)
            ]
        )
