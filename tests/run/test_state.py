from datetime import UTC, datetime, timedelta

import pytest

from verify.checklist.answers import Counted, Hazard, Look, Seen
from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.record.model import Ticket
from verify.run.conclude import clock_note
from verify.run.events import (
    JOURNAL_FORMAT,
    Answered,
    AskedAgain,
    Began,
    Event,
    Found,
    Line,
    Opened,
    Stepped,
    Undone,
)
from verify.run.fold import fold
from verify.run.state import witnessed_s
from verify.values import Instant
from verify.values.errors import BrokenJournalError

JOB = compose(shipped_checklists(), ["battery", "feet"])
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(elapsed_s: float, *, wall_s: float | None = None, boot: str | None = "one") -> Instant:
    wall = START + timedelta(seconds=elapsed_s if wall_s is None else wall_s)
    return Instant(wall=wall, elapsed_s=elapsed_s, boot_id=boot)


def journal(*told: Event | tuple[Event, Instant]) -> tuple[Line, ...]:
    began = Began(format=JOURNAL_FORMAT, tool="handback test", ticket=Ticket(id="T-1"), checklists=())
    lines = [Line(n=0, before="", at=at(0), event=began)]
    for one in told:
        event, when = one if isinstance(one, tuple) else (one, at(len(lines)))
        lines.append(Line(n=len(lines), before="", at=when, event=event))
    return tuple(lines)


OPENED = Opened(tool="handback test", read_by="linux", machine={}, simulated=True, scripted=False)
NO_HAZARD = Answered(check="first-look", answer=Hazard(present=False))


@pytest.mark.parametrize(
    "event",
    [
        Answered(check="no-such-check", answer=Look(seen=Seen.GOOD)),
        Answered(check="pack-flat", answer=Counted(tallies={})),
        Stepped(step="no-such-step"),
        Found(check="no-such-check", readings=(), text="", trace="t", samples=0, sha256=""),
        Undone(lines=(0,)),
        Undone(lines=(1,)),
        Undone(lines=(3,)),
        Undone(lines=(99,)),
        Undone(lines=(-1,)),
    ],
    ids=[
        "a check that is none",
        "an answer of another kind",
        "a step that is none",
        "a finding for none",
        "the beginning taken back",
        "the mark of a simulation taken back",
        "itself",
        "a line to come",
        "a line before all",
    ],
)
def test_a_line_that_does_not_fit_is_refused_by_its_number(event: Event) -> None:
    with pytest.raises(BrokenJournalError, match="Line 4"):
        fold(journal(OPENED, NO_HAZARD, event), JOB)


def test_an_answer_taken_back_does_not_count_and_the_one_before_it_can_be_taken_back_next() -> None:
    lines = journal(
        OPENED,
        NO_HAZARD,
        Stepped(step="open-up", by_itself=True),
        Answered(check="pack-flat", answer=Look(seen=Seen.GOOD)),
        Undone(lines=(4,)),
    )
    state = fold(lines, JOB)
    assert state.current("pack-flat") is None
    assert state.last_by_hand == (2, 3)
    assert state.simulated


def test_what_was_asked_again_is_not_taken_back() -> None:
    bad = Answered(check="pack-label", answer=Look(seen=Seen.NOT_GOOD))
    state = fold(journal(OPENED, NO_HAZARD, bad, AskedAgain(check="pack-label")), JOB)
    assert state.last_by_hand == ()
    assert state.tries["pack-label"][0].out_of_date == "asked again"


@pytest.mark.parametrize(
    ("told", "now", "seconds"),
    [
        (((Stepped(step="charge"), at(10)),), at(70), 60),
        (((Stepped(step="charge"), at(10)),), at(70, boot="two"), 0),
        (((Stepped(step="charge"), at(10)), (OPENED, at(5, boot="two"))), at(65, boot="two"), 60),
        (((Stepped(step="charge"), at(10)), (OPENED, at(40))), at(70), 60),
        (((Stepped(step="charge"), at(10, boot=None)),), at(70, boot=None), 60),
        (((Stepped(step="charge"), at(10, boot=None)), (OPENED, at(900, boot=None))), at(930, boot=None), 30),
        (((Stepped(step="charge"), at(70)),), at(10), 0),
        (((Stepped(step="charge"), at(10, wall_s=10)),), at(70, wall_s=9e6), 60),
    ],
    ids=[
        "one session",
        "started again, nobody there since",
        "started again, and somebody there",
        "left and taken up in one boot",
        "no boot named, one session",
        "no boot named, two sessions",
        "time that runs backwards",
        "a wall clock that jumped",
    ],
)
def test_only_time_that_was_witnessed_counts(
    told: tuple[tuple[Event, Instant], ...], now: Instant, seconds: float
) -> None:
    lines = journal((OPENED, at(1, boot=told[0][1].boot_id)), *told)
    assert witnessed_s(lines, since=2, now=now) == pytest.approx(seconds)


@pytest.mark.parametrize(
    ("second", "says"),
    [
        ((NO_HAZARD, at(100, wall_s=3700)), "jumped by +3600 s"),
        ((NO_HAZARD, at(100, wall_s=-3500)), "jumped by -3600 s"),
        ((OPENED, at(5, wall_s=-86400, boot="two")), "86401 s back"),
        ((OPENED, at(5, wall_s=-1e9, boot="two")), "epoch"),
    ],
    ids=["an hour on", "an hour back", "back across a restart", "at its epoch"],
)
def test_a_wall_clock_that_is_not_to_be_trusted_is_told(second: tuple[Event, Instant], says: str) -> None:
    assert says in clock_note(journal(OPENED, second))


@pytest.mark.parametrize(
    "second",
    [
        (NO_HAZARD, at(100)),
        (OPENED, at(5, wall_s=90000, boot="two")),
        # Where no boot is named, another session may be another boot: its elapsed time tells nothing.
        (OPENED, at(0.5, wall_s=90000, boot=None)),
    ],
    ids=["in step", "a day later, another boot", "a day later, no boot named"],
)
def test_a_sound_wall_clock_is_not_accused(second: tuple[Event, Instant]) -> None:
    first = (OPENED, at(1, boot="one" if second[1].boot_id else None))
    note = clock_note(journal(first, second))
    assert "jumped" not in note
    assert "back" not in note
