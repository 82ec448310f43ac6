import pytest

from verify.run.events import Opened
from verify.run.standing import hashed_marks, stands_on_machine

LARKSPUR = {"maker": "Fennel", "model": "Larkspur 15", "board": "L15"}
BENCH = {"maker": "Fennel", "model": "Bench 2", "board": "B2"}


def session(machine: dict[str, str], *marks: str, on_machine: bool | None) -> Opened:
    return Opened(
        tool="handback",
        read_by="linux",
        machine=machine,
        marks=hashed_marks("TW-1", {str(number): mark for number, mark in enumerate(marks)}),
        on_machine=on_machine,
        simulated=False,
        scripted=False,
    )


ARRIVED = session(LARKSPUR, "net 1", "drive 1", on_machine=True)
ON_BENCH = session(BENCH, "net 9", on_machine=False)


@pytest.mark.parametrize(
    ("sessions", "here", "stands"),
    [
        ([], session(LARKSPUR, "net 1", on_machine=None), None),
        ([ARRIVED], session(LARKSPUR, "net 1", "drive 1", on_machine=None), True),
        ([ARRIVED], session(LARKSPUR, "net 1", "drive 2", on_machine=None), True),
        ([ARRIVED], session(LARKSPUR, "net 7", "drive 7", on_machine=None), None),
        ([ARRIVED], session(LARKSPUR, on_machine=None), None),
        ([ARRIVED], session(BENCH, "net 9", on_machine=None), False),
        ([ARRIVED], session(BENCH, "net 9", "drive 1", on_machine=None), None),
        ([ON_BENCH], session(BENCH, "net 9", on_machine=None), False),
        ([ON_BENCH], session(LARKSPUR, "net 1", on_machine=None), None),
        ([ON_BENCH, ARRIVED], session(BENCH, "net 9", on_machine=None), False),
        ([ARRIVED, ON_BENCH], session(LARKSPUR, "drive 1", on_machine=None), True),
        ([session({}, on_machine=True)], session({}, on_machine=None), None),
        ([session(LARKSPUR, "net 1", on_machine=None)], session(LARKSPUR, "net 1", on_machine=None), None),
    ],
    ids=[
        "nothing known is asked",
        "the machine of arrival",
        "with its drive replaced",
        "another of the same model is asked",
        "no mark to be read is asked",
        "another model is elsewhere",
        "its drive in the bench computer is asked",
        "the bench computer that was asked once",
        "a new computer after the bench is asked",
        "the bench computer after both",
        "the machine after the bench",
        "no identity at all is asked",
        "a session that nobody placed says nothing",
    ],
)
def test_where_the_tool_stands(sessions: list[Opened], here: Opened, *, stands: bool | None) -> None:
    assert stands_on_machine(sessions, machine=here.machine, marks=here.marks) is stands


def test_marks_cannot_be_read_back_nor_compared_across_tickets() -> None:
    marks = {"network 1": "02:00:5e:10:00:01"}
    first, other = hashed_marks("TW-1", marks), hashed_marks("TW-2", marks)
    assert first == hashed_marks("TW-1", {"network 2": "02:00:5e:10:00:01"})
    assert not set(first) & set(other)
    assert "5e" not in " ".join(first) or "02:00" not in " ".join(first)
