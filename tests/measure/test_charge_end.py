"""The end of a charge, however often the log looks."""

import pytest

from verify.measure.charge_end import ChargeEnd
from verify.measure.point import Point


def _ended(every_s: float, *, volts_after: float = 12.55, missed_s: float = 0.0) -> bool:
    end = ChargeEnd(scale_ah=4.0, cells=3)
    at_s = 0.0
    for i in range(20):
        end.see(Point(at_s=at_s, current_a=0.4, voltage_v=12.6, level=1.0, powered=True), 0.4)
        at_s += every_s + (missed_s if i == 19 else 0.0)
    reached = False
    for _ in range(3):
        end.see(Point(at_s=at_s, current_a=0.15, voltage_v=volts_after, level=1.0, powered=True), 0.15)
        reached = reached or end.is_full
        at_s += every_s
    return reached


@pytest.mark.parametrize("every_s", [30.0, 60.0, 120.0])
def test_full_by_level_and_taper_is_reached_by_slow_logs_too(every_s: float) -> None:
    assert _ended(every_s)


def test_voltage_that_fell_is_no_end_by_taper() -> None:
    assert not _ended(30.0, volts_after=11.4)


def test_time_that_nobody_saw_is_not_bridged() -> None:
    end = ChargeEnd(scale_ah=4.0, cells=3)
    for at_s in (*range(0, 200, 10), 500, 510):
        end.see(
            Point(at_s=float(at_s), current_a=0.15 if at_s >= 190 else 0.8, level=1.0, powered=True), 0.15
        )
    assert not end.is_full
