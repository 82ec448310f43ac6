"""From the journal to the record."""

import itertools
from datetime import datetime
from pathlib import Path

from verify import TOOL
from verify.checklist import Check, Composition
from verify.machine.inventory import without_marks
from verify.record.arrival import Arrival
from verify.record.model import (
    RECORD_FORMAT,
    Accepted,
    Attempt,
    Gap,
    GivenBack,
    Growth,
    HazardSeen,
    Record,
    Reopening,
    RequiredSigner,
    Result,
    SeenBeside,
    StepTaken,
    Trace,
)
from verify.run.beginning import checklists_of
from verify.run.events import Line, Opened
from verify.run.fold import fold
from verify.run.folder import ticket_folder
from verify.run.outcome import first_pass_outcome, outcome_of
from verify.run.plan import blocked_by
from verify.run.reading import read_run
from verify.run.state import State, Try, first_verdicts
from verify.values import Verdict
from verify.values.errors import WrongUseError

# A wall clock and the boot clock that part by more than this within a run are remarked on.
_CLOCKS_APART_S = 5.0
# No run of this tool is older: a wall clock before this stands at its epoch.
_FIRST_YEAR = 2024


def wall_text(wall: datetime) -> str:
    """Write a wall clock time as records do: UTC, whole seconds."""
    return wall.strftime("%Y-%m-%dT%H:%M:%SZ")


def load_record(reports: Path, ticket: str) -> Record:
    """Make the record of a ticket's run from its journal, as it stands on disk.

    Raises WrongUseError where there is no such run; JournalError where its journal is broken.
    """
    try:
        run = read_run(ticket_folder(reports, ticket))
    except FileNotFoundError:
        raise WrongUseError(
            f"There is no run for {ticket} in {reports}.", next_step=f"Open it with: handback start {ticket}"
        ) from None
    if run is None:
        raise WrongUseError(f"The run for {ticket} has not begun.", next_step="Open it again.")
    return record_of(run.lines, run.composition, head=run.head)


def record_of(lines: tuple[Line, ...], composition: Composition, *, head: str) -> Record:
    """Make the record from the journal's lines. head: SHA-256 of the last one."""
    state = fold(lines, composition)
    outcome, reasons = outcome_of(composition, state)
    origin = {check.id: checklist.id for checklist in composition.checklists for check in checklist.checks}
    session = _session_on_machine(state)
    return Record(
        format=RECORD_FORMAT,
        tool=TOOL,
        ticket=state.ticket,
        shop=state.began.shop,
        simulated=state.simulated,
        scripted=state.scripted,
        practice=state.practice,
        began=wall_text(state.began_at.wall),
        ended=wall_text(state.last_at.wall),
        clock_note=clock_note(lines),
        outcome=outcome,
        reasons=reasons,
        machine={} if session is None else session.machine,
        read_by="" if session is None else session.read_by,
        results=tuple(_result(check, origin[check.id], state) for check in composition.checks),
        steps=_steps(composition, state),
        hazards=tuple(
            HazardSeen(
                at=wall_text(hazard.at.wall),
                what=hazard.what,
                made_safe=hazard.made_safe or "",
                made_safe_by=hazard.made_safe_by,
                made_safe_at=None if hazard.made_safe_at is None else wall_text(hazard.made_safe_at.wall),
            )
            for hazard in state.hazards
        ),
        arrival=_arrival(state),
        inventory=None if state.inventory is None else without_marks(state.inventory),
        reopenings=tuple(
            Reopening(at=wall_text(one.at.wall), opened=one.opened, why=one.why, voided=one.voided)
            for one in state.reopened
        ),
        growths=tuple(Growth(at=wall_text(at.wall), work=work) for at, work in state.growths),
        seen_beside=tuple(SeenBeside(at=wall_text(at.wall), what=what) for at, what in state.noticed),
        given_back=_given_back(state),
        gaps=tuple(
            Gap(
                at=wall_text(at.wall),
                check=missed.check,
                seconds=missed.seconds,
                asleep_s=missed.asleep_s,
                lid_closed=missed.lid_closed,
            )
            for at, missed in state.missed
        ),
        first_pass=first_verdicts(state),
        first_pass_outcome=first_pass_outcome(composition, state),
        checklists=checklists_of(lines),
        traces=tuple(
            Trace(name=found.trace, check=found.check, sha256=found.sha256, samples=found.samples)
            for found in state.found
        ),
        signers=tuple(
            RequiredSigner(order=order, role=role) for order, role in enumerate(composition.signers, start=1)
        ),
        journal_head=head,
        journal_count=len(lines),
    )


def _session_on_machine(state: State) -> Opened | None:
    """Return the last session on the repaired machine: looks may have been answered elsewhere since."""
    candidates = [state.read_by] if state.read_by is not None else []
    candidates += [session for session in reversed(state.sessions) if session.on_machine]
    return next((session for session in candidates if session.on_machine), None)


def _arrival(state: State) -> Arrival | None:
    if state.arrived_at is None:
        return None
    said = state.arrival
    return Arrival(
        at=wall_text(state.arrived_at.wall),
        found_as=said.found_as,
        accessories=said.accessories,
        tried=said.tried or {},
        pictures=said.pictures,
        readings=said.readings or (),
        inventory=None if said.inventory is None else without_marks(said.inventory),
        readings_note=said.readings_note or ("" if said.readings else "Nothing was read on arrival."),
    )


def _given_back(state: State) -> GivenBack | None:
    if state.given_back is None:
        return None
    at, event = state.given_back
    return GivenBack(
        at=wall_text(at.wall), why=event.why, risks_told=event.risks_told, owner_signed=event.owner_signed
    )


def _accepted(check: Check, state: State) -> Accepted | None:
    if check.id not in state.accepted:
        return None
    at, event = state.accepted[check.id]
    return Accepted(at=wall_text(at.wall), by=event.by, reason=event.reason, owner_agreed=event.owner_agreed)


def _result(check: Check, checklist: str, state: State) -> Result:
    current = state.current(check.id)
    verdict = state.verdict(check.id)
    return Result(
        check=check.id,
        checklist=checklist,
        kind=check.kind.value,
        stage=check.stage,
        place=check.place,
        ask=check.ask,
        good=check.good,
        about=check.about,
        verdict=verdict,
        because=current.judgement.because if current is not None else "Not done.",
        probability=current.judgement.probability if current is not None else None,
        limit=check.limit,
        shipped_limit=check.shipped_limit,
        shop_options=check.shop_options,
        options_source=check.options_source,
        caution=check.caution,
        why=check.why,
        note_only=check.note_only,
        accepted=_accepted(check, state),
        attempts=tuple(_attempt(attempt) for attempt in state.tries.get(check.id, ())),
        pictures=state.pictures.get(check.id, ()),
    )


def _attempt(attempt: Try) -> Attempt:
    return Attempt(
        at=wall_text(attempt.at.wall),
        verdict=attempt.judgement.verdict,
        because=attempt.judgement.because,
        readings=attempt.readings,
        note=attempt.note,
        out_of_date=attempt.out_of_date,
    )


def _steps(composition: Composition, state: State) -> tuple[StepTaken, ...]:
    taken = []
    for step in composition.steps:
        at = state.steps.get(step.id)
        held = () if at is not None else blocked_by(composition, state, step)
        taken.append(
            StepTaken(
                step=step.id,
                name=step.name,
                stage=step.stage,
                at=None if at is None else wall_text(at[1].wall),
                held_because=tuple(
                    f"{block.check.ask} {block.because}"
                    for block in held
                    if block.verdict is not Verdict.NOT_DONE
                ),
            )
        )
    return tuple(taken)


def clock_note(lines: tuple[Line, ...]) -> str:
    """Say what the run's wall clock is worth: own clock, jumps, steps back, epoch."""
    notes = ["Times are from this computer's own clock; nobody else vouches for them."]
    if any(line.at.wall.year < _FIRST_YEAR for line in lines):
        notes.append("It stood at its epoch: the dates are wrong.")
    for earlier, later in itertools.pairwise(lines):
        passed_s = (later.at.wall - earlier.at.wall).total_seconds()
        if earlier.at.boot_id == later.at.boot_id and not (
            later.at.boot_id is None and isinstance(later.event, Opened)
        ):
            drift_s = passed_s - (later.at.elapsed_s - earlier.at.elapsed_s)
            if abs(drift_s) > _CLOCKS_APART_S:
                notes.append(f"It jumped by {drift_s:+.0f} s before {wall_text(later.at.wall)}.")
        elif passed_s < -_CLOCKS_APART_S:
            notes.append(
                f"After a restart, or on another computer, it stood {-passed_s:.0f} s back, "
                f"at {wall_text(later.at.wall)}."
            )
    return " ".join(notes)
