"""Every ticket of a reports folder, and what each waits for; read from the journals, nothing stored."""

from pathlib import Path
from typing import assert_never

import msgspec

from verify.checklist import Composition, Kind
from verify.ledger.signing import signing_of
from verify.run import RunFolder, plan
from verify.run.fold import fold
from verify.run.outcome import outcome_of
from verify.run.reading import read_run
from verify.run.state import State
from verify.values import Outcome
from verify.values.errors import HandbackError


class TicketLine(msgspec.Struct, frozen=True, kw_only=True):
    """One ticket at a glance. folder: its name, as a copy may have another than the ticket's.

    waits_for: one sentence. problem: why it cannot be read, or empty.
    """

    ticket: str
    folder: str = ""
    machine: str = ""
    stage: str = ""
    outcome: Outcome = Outcome.HELD
    waits_for: str = ""
    reasons: tuple[str, ...] = ()
    done: int = 0
    screens: int = 0
    hands_min: float = 0.0
    waiting_min: float = 0.0
    simulated: bool = False
    scripted: bool = False
    complete: bool = False
    taken_in: bool = False
    problem: str = ""


def ticket_lines(reports: Path) -> tuple[TicketLine, ...]:
    """Read every ticket below `reports`, by name; a folder that is no run is passed over.

    A run that cannot be read is listed with its problem: one bad folder never hides the others.
    """
    if not reports.is_dir():
        return ()
    folders = sorted(path for path in reports.iterdir() if RunFolder(path).journal_path.is_file())
    return tuple(ticket_line(path) for path in folders)


def ticket_line(path: Path) -> TicketLine:
    """Read one run's folder."""
    try:
        run = read_run(path)
        if run is None:
            return TicketLine(ticket=path.name, problem="The journal is empty.")
        composition = run.composition
        state = _gone_on(composition, fold(run.lines, composition))
    except HandbackError as error:
        return TicketLine(ticket=path.name, problem=error.what)
    except OSError as error:
        return TicketLine(ticket=path.name, problem=f"It cannot be read: {error.strerror or error}.")
    outcome, reasons = outcome_of(composition, state)
    far = plan.progress(composition, state)
    # What it waits for on the repaired machine: where the reader stands does not matter.
    now_due = plan.due(composition, state, on_machine=True)
    ticket = state.ticket
    return TicketLine(
        ticket=ticket.id,
        folder=path.name,
        machine=" ".join(part for part in (ticket.maker, ticket.model) if part),
        stage=plan.stage_of(composition, state),
        outcome=outcome,
        waits_for=_waits_for(now_due)
        or signing_of(RunFolder(path).report_path, roles=composition.signers, head=run.head),
        reasons=reasons,
        done=far.screens_done,
        screens=far.screens,
        hands_min=far.hands_min,
        waiting_min=far.waiting_min,
        simulated=state.simulated,
        scripted=state.scripted,
        taken_in=isinstance(now_due, plan.SayWork),
        complete=isinstance(now_due, plan.Complete | plan.Declined),
    )


def _gone_on(composition: Composition, state: State) -> State:
    """Return the state as the next session finds it: steps that take themselves wait for nobody."""
    while isinstance(due := plan.due(composition, state, on_machine=True), plan.Do) and due.step.do is None:
        steps = {**state.steps, due.step.id: (0, state.last_at)}
        state = msgspec.structs.replace(state, steps=steps)
    return state


def _waits_for(now_due: plan.Due) -> str:
    """Say what the run itself waits for; empty where only signing is left."""
    match now_due:
        case plan.Stopped():
            return "A hazard: it must be made safe."
        case plan.Ask():
            return f"Someone to look: {now_due.checks[0].place}."
        case plan.Arrive():
            return f"Someone to take it in: {', '.join(now_due.pending)}."
        case plan.SayWork():
            return "Someone to say what is repaired: handback start."
        case plan.Watching() | plan.Elsewhere():
            first = now_due.checks[0]
            who = "Time to pass" if first.kind is Kind.WAIT else "The repaired machine"
            return f"{who}: {first.ask}"
        case plan.Do():
            return now_due.step.do or now_due.step.name
        case plan.Held():
            count = len(now_due.blocked)
            return f"{count} check{'s' if count > 1 else ''} before: {now_due.step.name}."
        case plan.Complete() | plan.Declined():
            return ""
        case plan.Where():
            return "Someone to say which computer this is."
        case _:
            assert_never(now_due)
