"""The run's outcome: hands what the state holds to `verify.judge`."""

from verify.checklist import Composition
from verify.judge import Settled, decide_outcome
from verify.run.plan import first_question
from verify.run.state import State, first_verdicts
from verify.values import Outcome, Verdict


def outcome_of(composition: Composition, state: State) -> tuple[Outcome, tuple[str, ...]]:
    """Return the outcome as it stands now, and the reasons where it is not fit."""
    settled = [
        Settled(
            check=check.id,
            verdict=state.verdict(check.id),
            note_only=check.note_only,
            conceded=check.id in state.accepted,
        )
        for check in composition.checks
    ]
    hazards = [
        f"{hazard.check}: {hazard.what}" if hazard.check else hazard.what for hazard in state.hazards_open
    ]
    # Nothing goes back before somebody has looked whether it is a hazard.
    returned = state.given_back is not None and first_question(composition, state) is None
    outcome, reasons = decide_outcome(settled, hazards_open=hazards, returned_unrepaired=returned)
    if not state.started and outcome is not Outcome.RETURNED_UNREPAIRED:
        # What is repaired is not said: nothing can have been found good.
        return Outcome.HELD, (*reasons, "It is not said what is repaired.")
    return outcome, reasons


def first_pass_outcome(composition: Composition, state: State) -> Outcome:
    """Return what the outcome would be had each check been answered once: a hazard met holds, too."""
    first = first_verdicts(state)
    settled = [
        Settled(
            check=check.id,
            verdict=first.get(check.id, Verdict.NOT_DONE),
            note_only=check.note_only,
            conceded=check.id in state.accepted and check.id not in first,
        )
        for check in composition.checks
    ]
    outcome, _ = decide_outcome(
        settled, hazards_open=[hazard.what for hazard in state.hazards], returned_unrepaired=False
    )
    return outcome
