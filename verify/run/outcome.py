"""The run's outcome: hands what the state holds to `verify.judge`."""

from verify.checklist import Composition
from verify.judge import Settled, decide_outcome
from verify.run.state import State
from verify.values import Outcome


def outcome_of(composition: Composition, state: State) -> tuple[Outcome, tuple[str, ...]]:
    """Return the outcome as it stands now, and the reasons where it is not fit."""
    settled = [
        Settled(
            check=check.id,
            verdict=state.verdict(check.id),
            note_only=check.note_only,
        )
        for check in composition.checks
    ]
    hazards = [f"{hazard.check}: {hazard.what}" for hazard in state.hazards_open]
    return decide_outcome(settled, hazards_open=hazards, returned_unrepaired=False)
