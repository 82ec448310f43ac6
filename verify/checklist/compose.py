"""Put checklists together for a ticket's work.

(1) Pick the checklists that the work calls for, in them the steps and checks. (2) Merge the steps into one
order. (3) Walk it: each step closes a segment, `leads_to` sets the stage of the next. (4) Unite checks
that several checklists have. (5) Give each check to a segment. (6) Order the checks inside each.

A check goes to the segment of the earliest step of its own stage that it guards; else to the last segment
of its stage; never before the step that it comes after.
"""

from collections.abc import Iterable, Mapping

import msgspec

from verify.checklist.blame import blame, refuse_unknown_step
from verify.checklist.model import Check, Checklist, Composition, Segment
from verify.checklist.placing import needs_nobody, ordered, segment_of
from verify.checklist.stages import stages_of, steps_in_order
from verify.checklist.work import (
    called_for,
    refuse_unknown_included,
    refuse_unknown_work,
    with_included,
)


def compose(checklists: Iterable[Checklist], work: Iterable[str], *, whole: bool = True) -> Composition:
    """Compose the checks and steps for a ticket's work, nothing twice, in an order that protects it.

    checklists: all that are known, those for every repair first. work: kinds of work; may be empty.
    whole: a step that none of them has is a mistake. False where they are a part of what was put together
    before: a step of another part is none of this run.
    Raises WrongUseError for a kind of work that no checklist knows; ChecklistError where the checklists
    contradict each other, name a step that none has, or hold a step that could never be taken.
    """
    known = tuple(checklists)
    said = tuple(dict.fromkeys(work))
    refuse_unknown_work(known, said)
    kinds = with_included(known, said)
    for checklist in known if whole else ():
        refuse_unknown_included(checklist, known)
    picked = tuple(each for each in known if called_for(each.for_work, kinds))
    steps, instead = steps_in_order(known, picked, kinds, whole=whole)
    stages = stages_of(steps, picked)
    checks = _united(
        known, picked, kinds, steps=tuple(step.id for step in steps), instead=instead, whole=whole
    )
    segments: list[list[Check]] = [[] for _ in steps]
    for check in checks:
        segments[segment_of(check, steps, stages, picked)].append(check)
    return Composition(
        checklists=picked,
        work=said,
        signers=tuple(dict.fromkeys(role for each in picked for role in each.signers)),
        segments=tuple(
            Segment(stage=stage, checks=ordered(found), step=step)
            for stage, found, step in zip(stages, segments, steps, strict=True)
        ),
    )


def hands_minutes(composition: Composition) -> float:
    """Return the minutes that somebody must be at the machine."""
    return sum(check.minutes for check in composition.checks if not needs_nobody(check))


def waiting_minutes(composition: Composition) -> float:
    """Return the minutes that the tool reads or time passes, were it all done one after the other."""
    return sum(check.minutes for check in composition.checks if needs_nobody(check))


def _united(
    known: tuple[Checklist, ...],
    picked: tuple[Checklist, ...],
    kinds: tuple[str, ...],
    *,
    steps: tuple[str, ...],
    instead: Mapping[str, str],
    whole: bool,
) -> tuple[Check, ...]:
    """Return the checks that the work calls for, each once, naming only steps of this run."""
    anywhere = {step.id for checklist in known for step in checklist.steps}
    found: dict[str, Check] = {}
    for checklist in picked:
        for check in checklist.checks:
            named = (*check.before, *((check.after,) if check.after is not None else ()))
            for step_id in named if whole else ():
                refuse_unknown_step(checklist, step_id, anywhere)
            if not called_for(check.work, kinds):
                continue
            first = found.get(check.id)
            found[check.id] = check if first is None else _unite(first, check, checklist)
    return tuple(
        msgspec.structs.replace(
            check,
            note_only=check.note_only and not (check.held_for and called_for(check.held_for, kinds)),
            before=_of_this_run(check.before, steps, instead),
            after=next(iter(_of_this_run((check.after,) if check.after else (), steps, instead)), None),
        )
        for check in found.values()
    )


def _of_this_run(
    named: tuple[str, ...], steps: tuple[str, ...], instead: Mapping[str, str]
) -> tuple[str, ...]:
    """Return the steps of this run that are named, or stand for a named one that has nothing to do here."""
    meant = dict.fromkeys(instead.get(step, step) for step in named)
    return tuple(step for step in meant if step in steps)


def _unite(first: Check, second: Check, checklist: Checklist) -> Check:
    united = msgspec.structs.replace(
        first,
        before=_union(first.before, second.before),
        voided_by=_union(first.voided_by, second.voided_by),
        work=_union(first.work, second.work) if first.work and second.work else (),
        held_for=_union(first.held_for, second.held_for),
    )
    same = msgspec.structs.replace(
        second,
        before=united.before,
        voided_by=united.voided_by,
        work=united.work,
        held_for=united.held_for,
    )
    for field in Check.__struct_fields__:
        if getattr(united, field) != getattr(same, field):
            raise blame(
                checklist,
                second.id,
                f'The check "{second.id}" has another "{field}" in another checklist.',
                "Make both agree, or give this one an id of its own.",
            )
    return united


def _union(first: tuple[str, ...], second: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*first, *second)))
