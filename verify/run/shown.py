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


def closed_step(composition: Composition, state: State, checks: tuple[Check, ...]) -> Step | None:
    """Return the first step with words that is taken, and that one of the checks should have come before."""
    wanted = {check.id for check in checks}
    asked = False
    for segment in composition.segments:
        asked = asked or any(check.id in wanted for check in segment.checks)
        if asked and segment.step.do is not None and segment.step.id in state.steps:
            return segment.step
    return None
