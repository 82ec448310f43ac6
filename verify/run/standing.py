"""Whether this computer is the repaired machine itself: from what earlier sessions said of theirs. Pure.

Sure only where a mark of one machine alone agrees: two of one model in one shop are common. Where nothing
decides, somebody has to be asked, once for each computer.
"""

import hashlib
from collections.abc import Iterable, Mapping

import msgspec

from verify.machine import Machine
from verify.record.model import Ticket
from verify.run.events import Opened

_MODEL = ("maker", "model", "board")


def who_this_is(machine: Machine, ticket: Ticket) -> dict[str, str]:
    """Return who this computer is, as `Opened` holds it; what is unknown is left out."""
    identity = msgspec.structs.asdict(machine.identity())
    # The machine's serial is told only where the ticket has it: then the owner agreed.
    left_out = {"reasons"} if ticket.serial else {"reasons", "serial"}
    return {
        name: str(value) for name, value in identity.items() if value is not None and name not in left_out
    }


def hashed_marks(ticket: str, marks: Mapping[str, str]) -> tuple[str, ...]:
    """Return the marks so that they can be compared within this ticket, and not be read."""
    return tuple(
        sorted({hashlib.sha256(f"{ticket}\n{mark}".encode()).hexdigest()[:32] for mark in marks.values()})
    )


def stands_on_machine(
    sessions: Iterable[Opened], *, machine: Mapping[str, str], marks: tuple[str, ...]
) -> bool | None:
    """Tell whether this computer is the repaired machine; None: it has to be asked.

    sessions: earlier ones, oldest first. machine, marks: who this computer is, as `Opened` holds it.
    """
    elsewhere: bool | None = None
    for session in reversed(tuple(sessions)):
        if session.on_machine is None:
            continue
        same = _same(session, machine, marks)
        if same is True:
            return session.on_machine
        if same is False and session.on_machine:
            elsewhere = False
    return elsewhere


def _same(session: Opened, machine: Mapping[str, str], marks: tuple[str, ...]) -> bool | None:
    known = [name for name in _MODEL if name in session.machine and name in machine]
    model_differs = any(session.machine[name] != machine[name] for name in known)
    shared = set(session.marks) & set(marks)
    if shared:
        # A drive that was moved into another computer, or a new main board: not decided by one mark.
        return None if model_differs else True
    if model_differs:
        return False
    return None
