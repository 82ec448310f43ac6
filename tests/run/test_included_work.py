"""Work of a shop's own that includes shipped work: what a run makes of it."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from verify.checklist import Checklist
from verify.checklist.compose import compose
from verify.checklist.loader import parse_checklist
from verify.checklist.shipped import shipped_checklists
from verify.machine.simulated import SimulatedMachine
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, begin, commands
from verify.run.events import Began, Line, Stepped
from verify.run.fold import Fold
from verify.values import Instant, VirtualClock
from verify.values.errors import WrongUseError

AT = Instant(wall=datetime(2026, 3, 2, 9, 0, tzinfo=UTC), elapsed_s=0.0)
# Heard with the base closed; to get there the base was open.
SOCKET = parse_checklist(
    """\
format: checklist/1
id: socket
revision: 1
title: Audio socket
for_work: [socket]
includes: [base-cover]
checks:
  - id: socket-plays
    kind: look
    ask: Plug a headset in. Turn the plug slowly.
    good: Sound on both sides, no crackle.
    place: running machine
    stage: closed
    minutes: 0.3
    after: charge
    before: [fit-feet, finish]
    voided_by: [base]
""",
    name="socket.yaml",
)
SHIPPED = shipped_checklists()


def grown(step: str, checklists: tuple[Checklist, ...]) -> list[str]:
    """Let the work on a fan grow by the socket after this step; return the checklists that this brings."""
    composition = compose(SHIPPED, ["cooling"])
    ticket = Ticket(id="TW-1", work=(Work(kind="cooling"),))
    fold = Fold(
        Line(n=0, before="", at=AT, event=Began(format="journal/1", tool="", ticket=ticket, checklists=())),
        composition,
    )
    steps = [each.id for each in composition.steps]
    for n, step_id in enumerate(steps[: steps.index(step) + 1], start=1):
        fold.take(Line(n=n, before="", at=AT, event=Stepped(step=step_id)))
    event, _ = commands.work_added(
        fold.state(), composition, (Work(kind="socket"),), checklists=checklists, signers=()
    )
    return [each.id for each in event.checklists]


def test_work_that_opens_the_base_cannot_come_after_the_base_was_closed() -> None:
    assert grown("open-up", (*SHIPPED, SOCKET)) == ["touchpad", "socket"]
    with pytest.raises(WrongUseError, match="done already") as caught:
        grown("screw-base", (*SHIPPED, SOCKET))
    assert "--opened base" in caught.value.next_step


def test_a_run_is_read_back_with_all_that_its_work_includes(tmp_path: Path) -> None:
    clock = VirtualClock(start=AT.wall)
    with RunFolder(tmp_path / "TW-1") as held:
        ticket = Ticket(id="TW-1", work=(Work(kind="socket"),))
        begin(held, ticket=ticket, checklists=(*SHIPPED, SOCKET), clock=clock)
        owner = Owner(held, machine=SimulatedMachine(clock=clock), scripted=True, on_machine=True)
        owner.close()
    assert owner.composition.segments == compose((*SHIPPED, SOCKET), ["socket"]).segments
    assert [each.id for each in owner.composition.checklists] == [
        "every-repair",
        "base-opened",
        "touchpad",
        "socket",
    ]
