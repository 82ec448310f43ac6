"""What whoever asks the technician may show of a run, as one value."""

import msgspec

from verify.checklist import Check, Composition
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
