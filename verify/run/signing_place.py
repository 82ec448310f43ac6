"""Whether a run that lies on disk is signed where it should be: not on the repaired machine."""

from pathlib import Path

from verify.machine import Machine
from verify.run.fold import fold
from verify.run.reading import read_run
from verify.run.standing import hashed_marks, stands_on_machine, who_this_is


def is_repaired_machine(folder: Path, machine: Machine) -> bool | None:
    """Tell whether this computer is the one that was repaired, by the sessions of the folder's run.

    machine: this computer. None: it cannot be told, though somebody worked on the repaired machine itself;
    where nobody did, there is nothing that this one could be taken for.
    Raises as `read_run` does.
    """
    run = read_run(folder)
    if run is None:
        return False
    state = fold(run.lines, run.composition)
    # A simulated machine is none that this computer could be.
    alike = tuple(session for session in state.sessions if session.simulated == machine.simulated)
    if not any(session.on_machine for session in alike):
        return False
    return stands_on_machine(
        alike,
        machine=who_this_is(machine, state.ticket),
        marks=hashed_marks(state.ticket.id, machine.marks()),
    )
