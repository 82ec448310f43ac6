"""Where a count begins: at the end of a run-down, and with what a rest after it tells."""

from collections.abc import Iterator

import pytest

from verify.measure.capacity import StartHow, StartLevel
from verify.measure.legs import Leg, Rise
from verify.measure.point import Point
from verify.measure.voltage_level import VoltageLevel

_AH = 4.0


def _rise(claimed_ah: float = _AH) -> Rise:
    volts = VoltageLevel(cells=3, claimed_ah=claimed_ah, charged_to_v=4.2)
    return Rise(volts=volts, nominal_v=11.1)


def _run_down(*, rest_cell_v: float | None = None, rest_s: int = 1200) -> Iterator[Point]:
    """Yield an hour at 0.2 C, its last 10 minutes from 3.1 to 3.0 V a cell; then a rest where asked."""
    for second in range(0, 3601, 20):
        cell_v = 3.6 - 0.5 * second / 3000 if second < 3000 else 3.1 - 0.1 * (second - 3000) / 600
        yield Point(at_s=float(second), current_a=-0.2 * _AH, voltage_v=3 * cell_v, temperature_c=25.0)
    if rest_cell_v is not None:
        for second in range(3620, 3620 + rest_s, 20):
            yield Point(at_s=float(second), current_a=0.0, voltage_v=3 * rest_cell_v, temperature_c=25.0)


def _leg(points: Iterator[Point], rise: Rise | None = None) -> Leg:
    rise = rise or _rise()
    for point in points:
        rise.see(point, point.current_a)
    assert rise.without_gauge is not None
    return rise.without_gauge


def test_start_by_running_down_is_the_last_look_not_the_first_at_the_knee() -> None:
    leg = _leg(_run_down())
    assert leg.start.how is StartHow.DRAINED
    # Nothing of the last ten minutes was counted.
    assert leg.count.result() is None


def test_start_by_running_down_stays_once_a_charge_goes_in() -> None:
    rise = _rise()
    before = _leg(_run_down(), rise)
    for second in range(3620, 3820, 20):
        rise.see(Point(at_s=float(second), current_a=0.1, voltage_v=9.3), 0.1)
    assert rise.without_gauge is before


def test_rest_that_shows_more_than_was_thought_left_is_believed() -> None:
    # 3.55 V at rest is 5 % or more by the published curves: it had not run to its end.
    leg = _leg(_run_down(rest_cell_v=3.55))
    assert leg.start.how is StartHow.RESTED
    assert leg.start.level - leg.start.half_width > 0.042
    assert not leg.start.proven


def test_rest_that_shows_less_narrows_what_may_be_left() -> None:
    drained = _leg(_run_down()).start
    leg = _leg(_run_down(rest_cell_v=3.1))
    assert leg.start.how is not StartHow.DRAINED
    assert leg.start.half_width < drained.half_width
    assert leg.start.level + leg.start.half_width < drained.level + drained.half_width


def test_rest_that_tells_nothing_new_leaves_the_start() -> None:
    assert _leg(_run_down(rest_cell_v=3.35)).start.how is StartHow.DRAINED


@pytest.mark.parametrize(("holds_ah", "wider"), [(2.0, True), (4.0, False), (5.0, False)])
def test_start_is_told_anew_for_a_pack_that_holds_less_than_its_claim(
    holds_ah: float, *, wider: bool
) -> None:
    leg = _leg(_run_down())
    assert (leg.start_for(holds_ah).half_width > leg.start.half_width) is wider


def test_start_from_outside_is_never_told_anew() -> None:
    given = StartLevel(level=0.02, half_width=0.02, how=StartHow.DRAINED)
    assert Leg(given, nominal_v=11.1).start_for(0.5) == given
