"""The count of charge against what real cyclers counted themselves, on real cells.

Source of the recordings: tests/reference/cycler/README.md. A cycler integrates its own fast readings; what
is recorded is a look every 10 s or 30 s. A milliampere is read as an ampere: counting knows no size.
"""

import csv
import gzip
import io
import math
import random
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest

from verify.measure.charge_count import ChargeCount, Counted
from verify.measure.coverage import half_width
from verify.measure.point import Point

_FOLDER = Path(__file__).parents[1] / "reference" / "cycler"
_THINNINGS = 40


class HalfCycle(msgspec.Struct, frozen=True, kw_only=True):
    """Looks of one charge or discharge, and what the cycler had counted at each, into the cell positive."""

    points: tuple[Point, ...]
    cycler_ah: tuple[float, ...]

    def between(self, first: int, last: int) -> float:
        return self.cycler_ah[last] - self.cycler_ah[first]


def _rows(name: str) -> list[dict[str, str]]:
    text = gzip.decompress((_FOLDER / name).read_bytes()).decode()
    return list(csv.DictReader(io.StringIO(text)))


def _tapered(step: str) -> HalfCycle:
    rows = [row for row in _rows("tapered.csv.gz") if row["step"] == step]
    return HalfCycle(
        points=tuple(
            Point(
                at_s=float(row["time_s"]),
                current_a=float(row["current_ma"]),
                voltage_v=float(row["voltage_v"]),
            )
            for row in rows
        ),
        cycler_ah=tuple(float(row["charged_mah"]) - float(row["discharged_mah"]) for row in rows),
    )


def _at_constant_current(half_cycle: str) -> HalfCycle:
    rows = [row for row in _rows("cycles.csv.gz") if row["half_cycle"] == half_cycle]
    return HalfCycle(
        points=tuple(
            Point(
                at_s=float(row["time_s"]),
                power_w=float(row["power_uw"]) / 1000,
                voltage_v=float(row["voltage_v"]),
            )
            for row in rows
        ),
        cycler_ah=tuple(float(row["half_cycle_mah"]) for row in rows),
    )


_HALF_CYCLES: dict[str, Callable[[], HalfCycle]] = {
    "charge with a taper": lambda: _tapered("2"),
    "discharge with a taper": lambda: _tapered("3"),
    "charge at constant current": lambda: _at_constant_current("2"),
    "discharge at constant current": lambda: _at_constant_current("3"),
}


def _counted(points: Iterator[Point]) -> Counted:
    count = ChargeCount()
    for point in points:
        count.see(point)
    counted = count.result()
    assert counted is not None
    return counted


def _thinned(looks: HalfCycle, about_s: float, dice: random.Random) -> list[int]:
    """Return which looks remain at uneven times, half to one and a half times `about_s` apart."""
    chosen, next_s = [], -math.inf
    for at, point in enumerate(looks.points):
        if point.at_s >= next_s:
            chosen.append(at)
            next_s = point.at_s + about_s * dice.uniform(0.5, 1.5)
    return chosen


def _reach(counted: Counted) -> float:
    """Return what the count says of itself, 95 %; without gain and offset: both figures are of one sensor."""
    return half_width((counted.resolution_ah, *counted.gaps_ah), counted.sampling_ah)


@pytest.mark.parametrize(
    ("name", "tolerance"),
    [
        # Recorded to 0.1 µA of 120 µA: half a step is 0.04 %.
        ("charge with a taper", 0.0005),
        # The cycler's own two columns part, see the test below: 0.4 % over the later half.
        ("discharge with a taper", 0.0025),
        # Recorded finely, and the current is steady: the trapezoids miss next to nothing.
        ("charge at constant current", 0.00001),
        ("discharge at constant current", 0.00001),
    ],
)
def test_charge_counted_over_every_look_is_the_cyclers_own_figure(name: str, tolerance: float) -> None:
    looks = _HALF_CYCLES[name]()
    theirs = looks.between(0, len(looks.points) - 1)

    counted = _counted(iter(looks.points))

    assert abs(theirs) > 0.5
    assert counted.net_ah == pytest.approx(theirs, rel=tolerance)


def test_one_cyclers_counter_runs_slower_than_the_current_it_shows() -> None:
    """What the wider tolerance of that discharge is for: its current shows 0.1199 mA throughout."""
    looks = _HALF_CYCLES["discharge with a taper"]()
    rates = []
    for first, last in ((10, 230), (300, 540)):
        assert {point.current_a for point in looks.points[first:last]} <= {-0.1199, -0.1198, -0.12}
        hours = (looks.points[last].at_s - looks.points[first].at_s) / 3600
        rates.append(-looks.between(first, last) / hours)

    assert rates[0] == pytest.approx(0.1199, rel=0.0005)
    assert rates[1] == pytest.approx(0.1199 * 0.996, rel=0.0005)


@pytest.mark.parametrize("name", _HALF_CYCLES)
@pytest.mark.parametrize("about_s", [30.0, 60.0])
def test_count_over_a_few_uneven_looks_is_as_near_as_it_says(name: str, about_s: float) -> None:
    looks = _HALF_CYCLES[name]()
    # Where the cycler's own columns part, its counter is no reference: then the count over every look is.
    whole_ah = [0.0]
    count = ChargeCount()
    for point in looks.points:
        count.see(point)
        counted = count.result()
        whole_ah.append(0.0 if counted is None else counted.net_ah)
    reference = looks.cycler_ah if name != "discharge with a taper" else tuple(whole_ah[1:])
    dice = random.Random(20)

    within, reaches = 0, []
    for _ in range(_THINNINGS):
        chosen = _thinned(looks, about_s, dice)
        assert len(chosen) < 0.7 * len(looks.points)
        counted = _counted(looks.points[at] for at in chosen)
        reaches.append(_reach(counted))
        missed_ah = counted.net_ah - (reference[chosen[-1]] - reference[chosen[0]])
        within += abs(missed_ah) <= reaches[-1]

    # 95 % or better: a steady current is told better than it says, as it must not trust that it is steady.
    assert within >= 0.95 * _THINNINGS
    # And it says something: a thousandth of what was counted, not a tenth.
    assert max(reaches) < 0.002 * abs(looks.between(0, len(looks.points) - 1))
