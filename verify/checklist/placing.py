"""Where in a run a check is asked: in which segment, and in which place there."""

from verify.checklist.blame import blame
from verify.checklist.model import COMPLAINT_GONE, Check, Checklist, Kind, Step
from verify.values.errors import ChecklistError


def segment_of(
    check: Check, steps: tuple[Step, ...], stages: tuple[str, ...], picked: tuple[Checklist, ...]
) -> int:
    """Return the index of the segment in which the check is asked.

    Raises ChecklistError where its stage is never reached, or it would guard a step that is over by then.
    """

    def wrong(what: str, next_step: str) -> ChecklistError:
        return blame(_asker(picked, check.id), check.id, what, next_step)

    in_stage = [index for index, stage in enumerate(stages) if stage == check.stage]
    if not in_stage:
        raise wrong(
            f'The check "{check.id}" is asked in "{check.stage}", which this job never reaches.',
            f'A step must have "leads_to: {check.stage}".',
        )
    ids = [step.id for step in steps]
    earliest = 0 if check.after is None else ids.index(check.after) + 1
    guarded = [ids.index(step_id) for step_id in check.before]
    chosen = min((index for index in guarded if index in in_stage), default=in_stage[-1])
    for index in guarded:
        if index < max(chosen, earliest):
            raise wrong(
                f'"{ids[index]}" waits for the check "{check.id}", which is asked only after it:'
                " a hold that can never be lifted.",
                'Correct "before", "after" or "stage".',
            )
    if chosen < earliest:
        raise wrong(
            f'The check "{check.id}" comes after "{check.after}", when "{check.stage}" is over.',
            'Correct "after" or "stage".',
        )
    return chosen


def ordered(checks: list[Check]) -> tuple[Check, ...]:
    """Order one segment: the hazard, what runs by itself, then place by place, the complaint last.

    At one place, what follows a step comes first: it may move what the rest then finds good.
    """
    places = list(dict.fromkeys(check.place for check in checks if not needs_nobody(check)))

    def rank(check: Check) -> tuple[int, int, bool]:
        if check.kind is Kind.HAZARD:
            return (0, 0, False)
        if needs_nobody(check):
            return (1, 0, False)
        return (3 if check.id == COMPLAINT_GONE else 2, places.index(check.place), check.after is None)

    return tuple(sorted(checks, key=rank))


def needs_nobody(check: Check) -> bool:
    """Return whether the check goes on by itself (a probe or a wait)."""
    return check.kind in {Kind.PROBE, Kind.WAIT}


def _asker(picked: tuple[Checklist, ...], check_id: str) -> Checklist:
    return next(each for each in picked if any(check.id == check_id for check in each.checks))
