"""The steps of a run, in one order, and the stage in which each is taken."""

from verify.checklist.blame import blame, refuse_unknown_step
from verify.checklist.model import HAND_BACK, STAGES, Checklist, Step
from verify.checklist.step_order import ContradictionError, merge_orders
from verify.checklist.work import called_for
from verify.values.errors import ChecklistError


def steps_in_order(
    known: tuple[Checklist, ...], picked: tuple[Checklist, ...], kinds: tuple[str, ...], *, whole: bool
) -> tuple[tuple[Step, ...], dict[str, str]]:
    """Return the steps that the work calls for, in the order that all the checklists keep.

    With them, for each step that has nothing to do here, the one that stands for it.

    whole: as for `compose`.
    Raises ChecklistError where they describe a step differently, contradict each other's order, name a
    step that none of the known ones has, or lack hand-back.
    """
    defined: dict[str, Step] = {}
    for checklist in picked:
        for step in checklist.steps:
            if defined.setdefault(step.id, step) != step:
                raise blame(
                    checklist,
                    step.id,
                    f'The step "{step.id}" is described otherwise in another checklist.',
                    f"Here, write only its name: - {step.id}",
                )
    anywhere = {step.id for checklist in known for step in checklist.steps}
    orders = [checklist.order or tuple(step.id for step in checklist.steps) for checklist in picked]
    for checklist, order in zip(picked, orders, strict=True):
        for step_id in order if whole else ():
            refuse_unknown_step(checklist, step_id, anywhere)
    try:
        merged = merge_orders(orders)
    except ContradictionError as error:
        # The last one that orders some of them is the one that most likely was just written.
        named = [[step_id for step_id in order if step_id in error.steps] for order in orders]
        last = max(index for index, some in enumerate(named) if len(some) > 1)
        raise blame(
            picked[last],
            named[last][0],
            f"The checklists contradict each other on the order of: {', '.join(error.steps)}.",
            "Put these steps in the same order everywhere.",
        ) from error
    steps = tuple(
        defined[step_id]
        for step_id in merged
        if step_id in defined and called_for(defined[step_id].work, kinds)
    )
    if HAND_BACK not in {step.id for step in steps}:
        name = picked[0].id if picked else "checklists"
        raise ChecklistError(
            f'No checklist for this work has the step "{HAND_BACK}".',
            where=f"{name}:1",
            next_step="Add it to the steps of the checklist for every repair.",
        )
    return _without_empty_ones(steps)


def _without_empty_ones(steps: tuple[Step, ...]) -> tuple[tuple[Step, ...], dict[str, str]]:
    """Leave out steps without words of their own that would open a stage which is open by then.

    The step that opened it stands for such a one: what holds the one holds the other.
    """
    kept: list[Step] = []
    instead: dict[str, str] = {}
    stage, opener = 0, ""
    for step in steps:
        opens = STAGES.index(step.leads_to) if step.leads_to is not None else None
        if step.do is None and opens is not None and opens <= stage:
            instead[step.id] = opener
            continue
        kept.append(step)
        if opens is not None and opens > stage:
            stage, opener = opens, step.id
    return tuple(kept), instead


def stages_of(steps: tuple[Step, ...], picked: tuple[Checklist, ...]) -> tuple[str, ...]:
    """Return the stage in which each step is taken.

    A step's own stage is the earliest in which it may come; a job that needs no charge to full fits the
    feet in "closed", another one in "charged".
    """
    stages: list[str] = []
    stage = STAGES[0]
    for step in steps:
        if STAGES.index(step.stage) > STAGES.index(stage):
            raise blame(
                _definer(picked, step.id),
                step.id,
                f'The step "{step.id}" belongs to "{step.stage}", but the job stands at "{stage}" by then.',
                f'Give an earlier step "leads_to: {step.stage}".',
            )
        stages.append(stage)
        if step.leads_to is not None:
            if STAGES.index(step.leads_to) <= STAGES.index(stage):
                raise blame(
                    _definer(picked, step.id),
                    step.id,
                    f'The step "{step.id}" leads to "{step.leads_to}", where the job stands already.',
                    "Put it earlier, or take its leads_to out.",
                )
            stage = step.leads_to
    return tuple(stages)


def _definer(picked: tuple[Checklist, ...], step_id: str) -> Checklist:
    return next(each for each in picked if any(step.id == step_id for step in each.steps))
