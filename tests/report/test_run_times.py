"""When what happened in a run: from the record, and never by a clock that was set."""

import msgspec
import pytest

from verify.record.model import (
    Attempt,
    Gap,
    Growth,
    HazardSeen,
    Record,
    Reopening,
    StepTaken,
    Trace,
)
from verify.report.run_times import Kind, RunTimes, run_times
from verify.testing.sample_times import at_minute, record_of, result_at
from verify.values import Verdict


def _step(name: str, stage: str, minute: float | None) -> StepTaken:
    return StepTaken(step=name, name=name, stage=stage, at=None if minute is None else at_minute(minute))


def _times(record: Record, **lengths_s: float) -> RunTimes:
    return run_times(record, lambda name: lengths_s.get(name.replace("-", "_")))


def _stretches(times: RunTimes) -> list[tuple[str, float, float]]:
    return [(one.stage, one.start_s / 60, one.end_s / 60) for one in times.stretches]


def test_stages_follow_one_another_without_a_hole() -> None:
    times = _times(
        record_of(
            results=(
                result_at("a", "arrived", 1),
                result_at("b", "open", 5, 9),
                result_at("c", "closed", 20),
            ),
            steps=(_step("open up", "arrived", 2), _step("close", "open", 10)),
        )
    )
    assert _stretches(times) == [("arrived", 0, 2), ("open", 2, 10), ("closed", 10, 20)]
    assert times.end_s == 3600


def test_a_machine_opened_again_goes_back_to_its_stage() -> None:
    times = _times(
        record_of(
            results=(result_at("a", "open", 5, 40, stale=1), result_at("b", "closed", 20, 50, stale=1)),
            reopenings=(Reopening(at=at_minute(30), opened=("base",), why="A lead lay loose."),),
        )
    )
    assert _stretches(times) == [("open", 0, 5), ("closed", 5, 30), ("open", 30, 40), ("closed", 40, 50)]
    assert [(mark.kind, mark.what) for mark in times.marks] == [(Kind.AGAIN, ("base", "A lead lay loose."))]


def test_what_happened_stands_in_order_of_time() -> None:
    times = _times(
        record_of(
            steps=(_step("later", "open", 30), _step("never", "open", None)),
            hazards=(
                HazardSeen(
                    at=at_minute(10), what="Smoke.", made_safe="It is out.", made_safe_at=at_minute(20)
                ),
            ),
            growths=(Growth(at=at_minute(40), work=("fan",)),),
            gaps=(Gap(at=at_minute(50), check="charge-to-full", seconds=120),),
        )
    )
    assert [(mark.kind, mark.at_s / 60) for mark in times.marks] == [
        (Kind.HAZARD, 10),
        (Kind.MADE_SAFE, 20),
        (Kind.STEP, 30),
        (Kind.GREW, 40),
        (Kind.UNSEEN, 50),
    ]
    assert times.not_taken == ("never",)
    assert [(one.start_s / 60, one.end_s / 60) for one in times.unseen] == [(48, 50)]


def test_a_watch_lasted_as_long_as_its_trace_tells_and_no_longer() -> None:
    traces = tuple(
        Trace(name=name, check="drain", sha256="0" * 64, samples=9) for name in ("first", "second")
    )
    record = record_of(results=(result_at("drain", "closed", 20, 50, stale=1, kind="probe"),), traces=traces)
    known = _times(record, first=600.0, second=1200.0)
    assert [(one.start_s, one.end_s, one.stale) for one in known.watches] == [
        (600, 1200, True),
        (1800, 3000, False),
    ]
    unknown = _times(record, second=1200.0)
    assert [one.start_s for one in unknown.watches] == [None, 1800], "a length that nobody told was made up"


def test_a_check_of_a_moment_is_no_watch() -> None:
    trace = Trace(name="first", check="pack-present", sha256="0" * 64, samples=1)
    record = record_of(results=(result_at("pack-present", "closed", 20, kind="probe"),), traces=(trace,))
    assert _times(record, first=3.0).watches == ()
    assert _times(record).watches == ()


def test_a_wait_lasted_as_long_as_it_says() -> None:
    record = record_of(
        results=(result_at("feet-wait", "finished", 30, kind="wait", because="20 min have passed."),)
    )
    assert [(one.start_s, one.end_s) for one in _times(record).watches] == [(600, 1800)]
    record = record_of(results=(result_at("feet-wait", "finished", 30, kind="wait", because="Well."),))
    assert [(one.start_s, one.end_s) for one in _times(record).watches] == [(None, 1800)]


@pytest.mark.parametrize(
    "changes",
    [
        {"clock_note": "Times. It jumped by -3600 s before 2026-03-10T08:30:00Z."},
        {"clock_note": "After a restart, or elsewhere, it stood 90 s back, at 2026-03-10T08:30:00Z."},
        {"results": (result_at("a", "arrived", 1), result_at("b", "open", -20))},
        {"results": (result_at("a", "arrived", 1), result_at("b", "open", 90))},
        {"began": at_minute(60), "ended": at_minute(0)},
    ],
    ids=["a jump that was seen", "back after a restart", "before the start", "after the end", "ends first"],
)
def test_a_clock_that_was_set_back_is_not_drawn_as_time(changes: dict[str, object]) -> None:
    assert _times(record_of(**changes)).by_order


def test_by_order_each_moment_stands_at_its_stage_and_no_length_is_told() -> None:
    record = record_of(
        results=(
            result_at("a", "arrived", 50),
            result_at("b", "open", -20, -15),
            result_at("feet-wait", "finished", 10, kind="wait", because="20 min have passed."),
        ),
        steps=(_step("open up", "arrived", 55),),
    )
    times = _times(record)
    assert [one.stage for one in times.stretches] == ["arrived", "open", "finished"]
    assert [one.start_s for one in times.watches] == [None]
    assert times.stretches[0].end_s < times.stretches[1].end_s < times.stretches[2].end_s


def test_a_clock_set_forward_is_said() -> None:
    note = "Times. It jumped by +3600 s before 2026-03-10T10:30:00Z."
    times = _times(record_of(clock_note=note))
    assert (times.forward, times.by_order) == (True, False)


@pytest.mark.parametrize(
    "text", ["", "yesterday", "2026-13-40T25:61:00Z", "2026-03-10 09:00", "٢٠٢٦-03-10T09:00:00Z"]
)
def test_a_time_that_cannot_be_read_is_counted_and_left_out(text: str) -> None:
    attempt = Attempt(at=text, verdict=Verdict.CONFORMS, because="Good.")
    record = record_of(results=(msgspec.structs.replace(result_at("a", "open"), attempts=(attempt,)),))
    times = _times(record)
    assert (times.unread, times.checks_s, times.stretches) == (1, (), ())


def test_a_record_without_a_time_has_no_axis() -> None:
    times = _times(record_of(began="", ended="soon"))
    assert (times.origin, times.unread) == (None, 2)
