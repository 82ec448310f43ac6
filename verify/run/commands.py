"""What a person tells a run: each command checked against what is due, and turned into its journal event.

Pure. A command that cannot be is refused before anything is written. One function for each kind of event.
"""

from collections.abc import Iterable

from verify.checklist import (
    BASE,
    OPENINGS,
    PACK_UNPLUGGED,
    Check,
    Checklist,
    Composition,
    Concession,
    Step,
)
from verify.checklist.answers import Answer, Photo
from verify.checklist.compose import compose
from verify.checklist.work import with_included
from verify.record.arrival import Picture
from verify.record.model import Work
from verify.run import plan
from verify.run.beginning import refuse_impossible, used
from verify.run.events import (
    Accepted,
    Answered,
    AskedAgain,
    GivenBack,
    HazardMet,
    MadeSafe,
    Noticed,
    Pictured,
    Reopened,
    Stepped,
    Undone,
    WorkAdded,
)
from verify.run.findings import judge_answer
from verify.run.state import State
from verify.values.errors import OrderError, WrongUseError


def answered(state: State, due: plan.Due, check_id: str, answer: Answer) -> Answered:
    """Answer a check that is due.

    Raises OrderError where it is not due, or is not an answer to such a check; or where a picture is called
    good or not good and there is none, or said not to be there and is.
    """
    if not isinstance(due, plan.Ask) or check_id not in {check.id for check in due.checks}:
        raise OrderError(f'"{check_id}" is not asked now.')
    judge_answer(next(check for check in due.checks if check.id == check_id), answer)
    if isinstance(answer, Photo) and (answer.seen is not None) is not state.has_picture(check_id):
        if answer.seen is not None:
            raise OrderError("There is no picture yet.", next_step="Take one, then give its file.")
        raise OrderError("There is a picture.", next_step="Say whether it is good, or take it back.")
    return Answered(check=check_id, answer=answer)


def pictured(
    composition: Composition, state: State, due: plan.Due, check_id: str, picture: Picture
) -> Pictured:
    """Add a picture, taken over already, to a check that is asked now, or to the answer that counts.

    Raises OrderError where it is neither asked nor answered, where the answer is that there is no picture, or
    while a hazard stands.
    """
    if state.hazards_open:
        raise OrderError("A hazard stands.", next_step="Say first how it was made safe.")
    if check_id not in {check.id for check in plan.may_be_pictured(composition, state, due)}:
        raise OrderError(
            f'No picture can be added to "{check_id}" now.', next_step="Add it while the check is asked."
        )
    return Pictured(check=check_id, picture=picture)


def stepped(due: plan.Due, step_id: str) -> Stepped:
    """Take a step whose hold is lifted.

    Raises OrderError where it is not due.
    """
    if not isinstance(due, plan.Do) or due.step.id != step_id:
        raise OrderError(f'"{step_id}" is not due now.')
    return Stepped(step=step_id)


def asked_again(due: plan.Due, check_id: str) -> AskedAgain:
    """Ask a check again after something was mended.

    Raises OrderError where it is not among what is shown as not good.
    """
    if check_id not in {block.check.id for block in plan.may_be_asked_again(due)}:
        raise OrderError(f'"{check_id}" does not hold anything now.')
    return AskedAgain(check=check_id)


def accepted(due: plan.Due, check_id: str, *, by: str, reason: str, owner_agreed: str) -> Accepted:
    """Accept a check that is not good as a known flaw.

    Raises OrderError where it does not hold anything now, or nobody may accept it; WrongUseError where
    something is not said.
    """
    check = next((check for check in plan.may_be_accepted(due) if check.id == check_id), None)
    if check is None:
        if check_id in {block.check.id for block in plan.may_be_asked_again(due)}:
            raise OrderError(f'Nobody may accept "{check_id}": it has to be mended.')
        raise OrderError(f'"{check_id}" does not hold anything.')
    by, reason, owner_agreed = by.strip(), reason.strip(), owner_agreed.strip()
    if not by or not reason:
        raise WrongUseError("Say who accepts it, and why.")
    if check.concession is Concession.OWNER and not owner_agreed:
        raise WrongUseError("The owner will notice it. Say how and when the owner agreed.")
    return Accepted(check=check_id, by=by, reason=reason, owner_agreed=owner_agreed)


def undone(state: State) -> Undone | None:
    """Take back the last thing that a hand did, and what followed by itself; None where there is nothing.

    Raises OrderError while a hazard is open: only making it safe ends it.
    """
    if state.hazards_open:
        raise OrderError("A hazard cannot be taken back.", next_step="Say how it was made safe.")
    return Undone(lines=state.last_by_hand) if state.last_by_hand else None


def openings(composition: Composition, state: State, opened: Iterable[str]) -> tuple[str, ...]:
    """Return what was opened again, each once.

    Raises WrongUseError for an opening that there is not, where nothing is named, or where the way to it
    is closed and not named as well.
    """
    named = tuple(dict.fromkeys(opened))
    strange = [one for one in named if one not in OPENINGS]
    if strange or not named:
        raise WrongUseError(
            f'"{strange[0]}" cannot be opened.' if strange else "Nothing was named.",
            next_step=f"Name one or more of: {', '.join(OPENINGS)}.",
        )
    if PACK_UNPLUGGED in named and BASE not in named and _base_closed(composition, state):
        raise WrongUseError(
            "The battery is plugged in behind the base.",
            next_step="Name the base as well: what opening it may have disturbed is asked again, too.",
        )
    return named


def _base_closed(composition: Composition, state: State) -> bool:
    return any(BASE in step.voided_by and step.id in state.steps for step in composition.steps)


def reopened(composition: Composition, state: State, opened: Iterable[str], *, why: str) -> Reopened:
    """Say what was opened again, and why.

    Raises WrongUseError as `openings` does, or where it is not said why; OrderError while a hazard is open,
    or before it is said what is repaired: nothing was opened then that could be opened again.
    """
    named = openings(composition, state, opened)
    if not why.strip():
        raise WrongUseError("Say why it was opened again.")
    if state.hazards_open:
        raise OrderError("A hazard stands.", next_step="Say first how it was made safe.")
    if not state.started:
        raise OrderError(
            "It is not said yet what is repaired.", next_step=f"Say it: handback start {state.ticket.id}"
        )
    return Reopened(opened=named, why=why.strip())


def noticed(what: str) -> Noticed:
    """Keep something that was seen outside the work.

    Raises WrongUseError where nothing is said.
    """
    if not what.strip():
        raise WrongUseError("Say what was seen.")
    return Noticed(what=what.strip())


def hazard_met(what: str) -> HazardMet:
    """Tell a hazard. what: may be empty, as nobody should type first and stop afterwards."""
    return HazardMet(what=what.strip() or "A hazard was seen.")


def made_safe(state: State, how: str, *, by: str) -> MadeSafe:
    """End every open hazard: which part was isolated and where it is now, and by whom.

    Raises OrderError where no hazard is open; WrongUseError where something is not said.
    """
    if not state.hazards_open:
        raise OrderError("No hazard is open.")
    if not how.strip() or not by.strip():
        raise WrongUseError("Say who made it safe, and where the part is now.")
    return MadeSafe(how=how.strip(), by=by.strip())


def given_back(
    composition: Composition, state: State, *, why: str, risks_told: str, owner_signed: str
) -> GivenBack:
    """Return the machine unrepaired.

    Raises OrderError while a hazard is open, as it has to be removed first, or where nobody looked for one;
    WrongUseError where something is not said.
    """
    if state.hazards_open:
        raise OrderError(
            "A hazard stands: the machine cannot go back with it.",
            next_step="Isolate the part, then say how it was made safe.",
        )
    why, risks_told, owner_signed = why.strip(), risks_told.strip(), owner_signed.strip()
    if not (why and risks_told and owner_signed):
        raise WrongUseError("Say why, which risks were told, and where the owner signed or why not.")
    first = plan.first_question(composition, state)
    if first is not None:
        raise OrderError(
            f"It is not answered yet: {first.ask}",
            next_step=f"Look, and answer it first: handback run {state.ticket.id}",
        )
    return GivenBack(why=why, risks_told=risks_told, owner_signed=owner_signed)


def work_added(
    state: State,
    composition: Composition,
    work: tuple[Work, ...],
    *,
    checklists: Iterable[Checklist],
    signers: tuple[str, ...],
    whole: bool = True,
) -> tuple[WorkAdded, tuple[Check, ...]]:
    """Say what is repaired, or let the work grow; return the event and the checks that it brings.

    checklists: all that are known. Those in use keep the text that they began with. whole: as for `begin`.
    Raises WrongUseError for work that is known already, is not known at all, or would be done behind
    something that is closed by now: that has to be opened again first.
    """
    ticket = state.ticket
    again = [one.kind for one in work if one in ticket.work]
    if state.started and (again or not work):
        raise WrongUseError(
            f"{ticket.id} has that work already: {', '.join(again) or 'nothing was named'}.",
            next_step="Name other work, or go on with: handback run",
        )
    held = {each.id for each in composition.checklists}
    together = [*composition.checklists, *(each for each in checklists if each.id not in held)]
    kinds = [one.kind for one in (*ticket.work, *work)]
    grown = compose(sorted(together, key=lambda each: bool(each.for_work)), kinds, whole=whole)
    refuse_impossible(grown)
    known = {check.id for check in composition.checks}
    new = tuple(check for check in grown.checks if check.id not in known)
    fresh = {one.kind for one in work} - {one.kind for one in ticket.work}
    wanted = {check.id for check in new} | _called_for_by(grown, fresh)
    closed = _closed_step(grown, state, wanted, known=composition.steps)
    if closed is not None:
        way = closed.voided_by[:1]
        if way == (PACK_UNPLUGGED,) and _base_closed(composition, state):
            way = (BASE, PACK_UNPLUGGED)
        options = " ".join(f"--opened {one}" for one in way) or "--opened …"
        raise WrongUseError(
            f"That work comes before: {closed.name}. This is done already.",
            next_step=f"Open it again, then: handback rework {ticket.id} {options} --why … --work …",
        )
    added = tuple(used(each) for each in grown.checklists if each.id not in held)
    return WorkAdded(work=work, checklists=added, signers=signers), new


def _called_for_by(composition: Composition, kinds: set[str]) -> set[str]:
    """Return the checks that such work calls for: other work may have brought them before."""
    kinds = set(with_included(composition.checklists, kinds))
    called = {check.id for check in composition.checks if kinds & set(check.work)}
    for each in composition.checklists:
        if kinds & set(each.for_work):
            called |= {check.id for check in each.checks}
    return called


def _closed_step(
    composition: Composition, state: State, wanted: set[str], *, known: tuple[Step, ...]
) -> Step | None:
    """Return the first step that was taken between where the wanted checks begin and where the run stands.

    composition: with the checks. known: the steps before they came. None: the way to them is open.
    """
    were = {step.id for step in known}
    begun = False
    for segment in composition.segments:
        step = segment.step
        if step.id in were and step.id not in state.steps:
            return None
        begun = begun or any(check.id in wanted for check in segment.checks)
        if begun and (step.do is not None or step.voided_by) and step.id in state.steps:
            return step
    return None
