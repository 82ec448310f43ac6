"""A current that is none is found out, and one that is real is left alone, however its pack is used.

A cell's resistance here is 30 mV for 1 C and more: the least over charges of eight published parameter sets,
by PyBaMM. The values that a real driver told at random, and one that never moved, are from public issue
threads.
"""

import random
from collections.abc import Callable

import pytest

from verify.measure.current_sense import CurrentSense
from verify.measure.pack_measurement import Gauge, PackMeasurement
from verify.measure.point import Point

_AH, _CELLS = 5.0, 3
_RANDOM_W = (0.8, 61.0, 3.0, 45.0, 0.4, 2.0, 52.0, 0.9, 1.2, 5.0)
_Told = Callable[[int, float], float]


def _charge(
    told: _Told,
    *,
    load: Callable[[int], float] = lambda _: 0.0,
    every_s: float = 10.0,
    v_c: float = 0.03,
    held: bool = True,
    level: float = 0.3,
) -> list[Point]:
    """Return a charge at 0.5 C to 4.2 V a cell, held there where `held`; told: of look and true current."""
    draw, points = random.Random(3), []
    for look in range(4000):
        open_v = 3.6 + 0.6 * level
        amps = _AH * 0.5 - load(look)
        if held:
            amps = min(amps, _AH * (4.2 - open_v) / v_c)
        if level >= 1 or (held and amps < 0.05 * _AH):
            break
        cell_v = open_v + v_c * amps / _AH
        volts = round(_CELLS * cell_v + draw.gauss(0, 0.001), 3)
        points.append(
            Point(at_s=look * every_s, current_a=told(look, amps), voltage_v=volts, level=round(level, 3))
        )
        level += amps * every_s / 3600 / _AH
    return points


def _nonsense(points: list[Point]) -> str | None:
    sense = CurrentSense(scale_ah=_AH, cells=_CELLS)
    for point in points:
        sense.see(point, point.current_a)
    return sense.nonsense


@pytest.mark.parametrize(
    ("told", "says"),
    [
        pytest.param(lambda look, _: _RANDOM_W[look % 10] / 11.4, "jumps", id="at-random"),
        pytest.param(lambda look, _: (look % 2) * (0.1 + 0.07 * (look % 9)), "jumps", id="flaps"),
        pytest.param(lambda *_: 0.7, "never changes", id="stands"),
    ],
)
def test_current_that_is_none_is_told(told: _Told, says: str) -> None:
    # The true charge is slow enough for the voltage to be held over a tenth of the range.
    said = _nonsense(_charge(told, v_c=0.12))
    assert said is not None
    assert says in said


@pytest.mark.parametrize(
    "points",
    [
        pytest.param(_charge(lambda _, amps: amps), id="held-at-the-end"),
        pytest.param(_charge(lambda _, amps: amps, held=False), id="one-current-to-the-end"),
        pytest.param(_charge(lambda _, amps: round(amps, 1), v_c=0.12), id="in-coarse-steps"),
        pytest.param(_charge(lambda _, amps: 0.8 * amps, v_c=0.12), id="a-fifth-too-low"),
        pytest.param(
            _charge(lambda _, amps: amps, load=lambda look: 2.0 * (look // 6 % 2)), id="load-comes-and-goes"
        ),
        pytest.param(
            _charge(lambda _, amps: amps, load=lambda look: 1.5 * (look % 2), v_c=0.45), id="cold-and-worn"
        ),
        pytest.param(_charge(lambda _, amps: amps, every_s=60.0), id="a-look-a-minute"),
        pytest.param(_charge(lambda look, _: _RANDOM_W[look % 10] / 11.4)[:15], id="too-few-to-tell"),
        pytest.param([Point(at_s=10.0 * i, level=i / 100) for i in range(100)], id="none-told"),
    ],
)
def test_current_that_can_be_is_left_alone(points: list[Point]) -> None:
    assert points
    assert _nonsense(points) is None


@pytest.mark.parametrize(
    "told", [lambda look, _: _RANDOM_W[look % 10] / 11.4, lambda *_: 0.7], ids=["at-random", "stands"]
)
def test_what_counts_such_a_current_is_no_lie_and_no_capacity(told: _Told) -> None:
    measurement = PackMeasurement(design_wh=57.0, design_voltage_v=11.4, claimed_wh=56.4, cells=_CELLS)
    for point in _charge(told, v_c=0.12):
        measurement.see(point)
    measured = measurement.result()
    assert measured.verdict is Gauge.UNDECIDED
    assert not any(one.shows_lie for one in measured.findings)
    assert measured.capacity_wh is None
    assert measured.least_wh is None
    assert "cannot be right" in measured.why_not
    assert "inline meter" in measured.next_step
    assert measurement.decides(51.3) is None
