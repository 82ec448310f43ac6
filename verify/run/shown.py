"""What whoever asks the technician may show of a run, as one value; and what is closed by now. Pure."""

import msgspec

from verify.checklist import Check, Composition, Step
from verify.probe import Working
from verify.record.model import Ticket
from verify.run import plan
from verify.run.state import State


class Shown(msgspec.Struct, frozen=True, kw_only=True):
    """A run at one moment.

    on_machine: whether this computer is the repaired machine; None: not said yet. strip: what runs in the
    background. awake_note: what to set by hand so that the computer stays awake. loads: a load runs.
    """

    ticket: Ticket
    simulated: bool
    scripted: bool
    practice: bool
    on_machine: bool | None
    composition: Composition
    state: State
    due: plan.Due
    progress: plan.Progress
    strip: tuple[Check, Working] | None
    awake_note: str = ""
    loads: bool = False


def closed_step(
    composition: Composition, state: State, checks: tuple[Check, ...], *, known: tuple[Step, ...]
) -> Step | None:
    """Return the first step that was taken between where the checks begin and where the run stands.

    composition: with the checks. known: the steps before they came. None: the way to them is open.
    """
    wanted = {check.id for check in checks}
    were = {step.id for step in known}
    begun = False
    for segment in composition.segments:
        step = segment.step
        if step.id in were and step.id not in state.steps:
            return None
        begun = begun or any(check.id in wanted for check in segment.checks)
        if begun and step.do is not None and step.id in state.steps:
            return step
    return None
