"""Capacity from a count and two levels: against closed forms, propagation, the uncertainties library,
simulation."""

import csv
import math
import random
from pathlib import Path
from typing import Any

import msgspec
import pytest
from scipy import optimize
from uncertainties import ufloat

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.capacity import (
    EndHow,
    EndLevel,
    MeanVoltage,
    StartHow,
    StartLevel,
    at_least,
    capacity_ah,
    capacity_wh,
    full_level,
    mean_voltage,
)
from verify.measure.charge_count import Counted
from verify.measure.coverage import ONE_SIDED
from verify.measure.interval import Interval
from verify.values.errors import InvalidValueError


def _count(net_ah: float, *, hours: float = 2.0, sampling_ah: float = 0.0, **more: Any) -> Counted:
    figures: dict[str, Any] = {
        "in_ah": max(net_ah, 0.0),
        "out_ah": max(-net_ah, 0.0),
        "in_wh": None,
        "out_wh": None,
        "squared_a2h": net_ah * net_ah / hours,
        "time_s": hours * 3600,
        "bridged_s": 0.0,
        "sampling_ah": sampling_ah,
        "gaps_ah": (),
        "resolution_ah": 0.0,
        "extra_gain": 0.0,
        "source": "current",
        "gaps": (),
        "gap_count": 0,
        "ignored": 0,
        "pulled": 0,
        "put_back": 0,
    }
    return msgspec.structs.replace(Counted(**figures), **more)


def _start(level: float, half_width: float, how: StartHow = StartHow.RESTED) -> StartLevel:
    return StartLevel(level=level, half_width=half_width, how=how)


def _end(level: float, half_width: float, how: EndHow = EndHow.CHARGED, **more: Any) -> EndLevel:
    return EndLevel(level=level, half_width=half_width, how=how, **more)


_NO_ERROR = Assumed(gain=0.0, offset_a=0.0)


def test_exact_figures_give_the_bare_quotient() -> None:
    got = capacity_ah(_count(3.6), start=_start(0.1, 0.0), end=_end(0.9, 0.0), assumed=_NO_ERROR)
    assert got is not None
    assert [got.value, got.low, got.high] == pytest.approx([4.5] * 3)


def test_gain_alone_is_its_rectangle() -> None:
    got = capacity_ah(
        _count(4.0), start=_start(0.1, 0.0), end=_end(0.9, 0.0), assumed=Assumed(gain=0.03, offset_a=0.0)
    )
    assert got is not None
    assert got.low == pytest.approx(5.0 * (1 - 0.95 * 0.03))
    assert got.high == pytest.approx(5.0 * (1 + 0.95 * 0.03))


def test_normal_errors_only_give_fiellers_bounds() -> None:
    # E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175, by root search on charge - q x change = ± z u; here the
    # count is normal and the change exact, where the bounds are plain.
    got = capacity_ah(
        _count(3.0, sampling_ah=0.1), start=_start(0.2, 0.0), end=_end(0.8, 0.0), assumed=_NO_ERROR
    )
    assert got is not None
    assert got.high - got.value == pytest.approx(1.959964 * 0.1 / 0.6)


def test_level_errors_bend_the_interval_as_the_exact_inversion_does() -> None:
    # Two equal rectangles of the level: their sum reaches 2a(1 - √0.05). Then q = charge / (change ± that).
    got = capacity_ah(_count(1.0), start=_start(0.3, 0.05), end=_end(0.6, 0.05), assumed=_NO_ERROR)
    assert got is not None
    reach = 2 * 0.05 * (1 - math.sqrt(0.05))
    assert got.low == pytest.approx(1.0 / (0.3 + reach), rel=1e-4)
    assert got.high == pytest.approx(1.0 / (0.3 - reach), rel=1e-4)


def test_bounds_agree_with_scipys_root_search() -> None:
    from verify.measure.coverage import half_width

    counted = _count(2.0, sampling_ah=0.01, resolution_ah=0.002)
    got = capacity_ah(counted, start=_start(0.2, 0.04), end=_end(0.7, 0.01))
    assert got is not None

    def miss(q: float, side: float) -> float:
        widths = (2.0 * 0.03, 0.003 * 2, 0.002, q * 0.04, q * 0.01)
        return 2.0 - q * 0.5 - side * half_width(widths, 0.01)

    assert got.low == pytest.approx(optimize.brentq(miss, 1.0, 6.0, args=(1.0,)), rel=1e-5)
    assert got.high == pytest.approx(optimize.brentq(miss, 2.0, 20.0, args=(-1.0,)), rel=1e-5)


@pytest.mark.parametrize("span", [0.6, 0.3])
@pytest.mark.parametrize("level", [0.005, 0.01, 0.02])
def test_half_width_is_within_a_tenth_of_what_propagation_allows(span: float, level: float) -> None:
    # The law of propagation (JCGM 100:2008, 5.1.2) by the uncertainties library; with the coverage factor of
    # the very mix of rectangles taken by simulation.
    truth = 5.0
    counted = _count(truth * span)
    got = capacity_ah(counted, start=_start(0.3, level), end=_end(0.3 + span, level))
    assert got is not None
    root3 = math.sqrt(3)
    charge = ufloat(truth * span, truth * span * 0.03 / root3) + ufloat(0, 0.003 * 2 / root3)
    change = ufloat(0.3 + span, level / root3) - ufloat(0.3, level / root3)
    u = (charge / change).s
    draw = random.Random(3)
    widths = (truth * 0.03, 0.003 * 2 / span, truth * level / span, truth * level / span)
    sums = sorted(abs(sum(draw.uniform(-w, w) for w in widths)) for _ in range(15_000))
    factor = sums[int(0.95 * len(sums))] / math.sqrt(sum(w * w / 3 for w in widths))
    assert (got.high - got.low) / 2 == pytest.approx(factor * u, rel=0.1)


@pytest.mark.parametrize(
    ("start", "start_width", "end_width"),
    [(0.02, 0.015, 0.005), (0.10, 0.06, 0.005), (0.40, 0.06, 0.005), (0.30, 0.01, 0.01), (0.05, 0.0, 0.02)],
    ids=["drained", "gauge", "gauge, half full", "believed", "end poor"],
)
def test_truth_is_covered_in_94_to_96_of_100(start: float, start_width: float, end_width: float) -> None:
    draw = random.Random(f"{start} {start_width} {end_width}")
    draws, covered, above, below = 2000, 0, 0, 0
    for _ in range(draws):
        truth, end = draw.uniform(2, 8), draw.uniform(0.85, 0.97)
        change = (end + draw.uniform(-end_width, end_width)) - (
            start + draw.uniform(-start_width, start_width)
        )
        hours, sigma = draw.uniform(1, 3), draw.uniform(0, 0.02)
        charge = truth * change
        seen = (
            charge * (1 + draw.uniform(-0.03, 0.03))
            + hours * draw.uniform(-0.003, 0.003)
            + draw.gauss(0, sigma)
        )
        got = capacity_ah(
            _count(seen, hours=hours, sampling_ah=sigma),
            start=_start(start, start_width),
            end=_end(end, end_width),
        )
        assert got is not None
        covered += got.low <= truth <= got.high
        above += truth > got.high
        below += truth < got.low
    # One standard deviation of the count beyond the whole per cents asked for.
    spread = math.sqrt(0.95 * 0.05 / draws)
    assert 0.94 - spread < covered / draws < 0.96 + spread
    assert above / draws < 0.04
    assert below / draws < 0.04


def test_errors_twice_the_assumed_are_not_covered_so_often() -> None:
    draw = random.Random(5)
    missed = 0
    for _ in range(400):
        seen = 4.0 * (1 + draw.uniform(-0.06, 0.06))
        got = capacity_ah(_count(seen), start=_start(0.1, 0.0), end=_end(0.9, 0.0))
        assert got is not None
        missed += not got.low <= 5.0 <= got.high
    assert missed / 400 > 0.3


def test_discharge_gives_the_same_as_charge() -> None:
    up = capacity_ah(_count(3.0), start=_start(0.2, 0.01), end=_end(0.8, 0.02))
    down = capacity_ah(_count(-3.0), start=_start(0.8, 0.01), end=_end(0.2, 0.02))
    assert up == down


def test_small_change_is_not_bounded_from_above() -> None:
    got = capacity_ah(_count(0.4), start=_start(0.5, 0.06), end=_end(0.58, 0.06))
    assert got is not None
    assert math.isinf(got.high)
    assert got.low > 0.3


def test_it_holds_at_least_what_went_in() -> None:
    # The gauge says that 20 points took 4 Ah: whatever it says, they are in there.
    got = capacity_ah(_count(4.0), start=_start(0.0, 0.3), end=_end(1.0, 0.3), assumed=_NO_ERROR)
    assert got is not None
    assert got.low == pytest.approx(4.0)
    least = at_least(_count(4.0))
    assert least is not None
    assert least.low == pytest.approx(4.0 * (1 - 0.95 * 0.03), rel=2e-3)
    assert math.isinf(least.high)


def test_level_that_went_the_wrong_way_bounds_nothing() -> None:
    got = capacity_ah(_count(1.0), start=_start(0.6, 0.01), end=_end(0.4, 0.01))
    assert got is not None
    assert math.isinf(got.high)
    assert got.value == pytest.approx(1.0)


def test_charge_still_to_come_counts_with_its_band() -> None:
    to_come = Interval(value=0.5, low=0.4, high=0.7)
    end = _end(1.0, 0.0, EndHow.TAPER, to_come_ah=to_come)
    got = capacity_ah(_count(4.0), start=_start(0.1, 0.0), end=end, assumed=_NO_ERROR)
    assert got is not None
    assert got.value == pytest.approx(4.5 / 0.9)
    assert got.high == pytest.approx((4.5 + 0.95 * 0.15) / 0.9)


def test_one_sided_bounds_are_nearer() -> None:
    both = capacity_ah(_count(3.0), start=_start(0.2, 0.02), end=_end(0.8, 0.01))
    one = capacity_ah(_count(3.0), start=_start(0.2, 0.02), end=_end(0.8, 0.01), coverage=ONE_SIDED)
    assert both is not None
    assert one is not None
    assert both.low < one.low < one.value < one.high < both.high


def test_unknown_current_is_unknown_capacity() -> None:
    counted = _count(3.0, source=None)
    mean = MeanVoltage(value_v=11.0, half_widths_v=())
    assert capacity_ah(counted, start=_start(0.2, 0.0), end=_end(0.8, 0.0)) is None
    assert at_least(counted) is None
    assert capacity_wh(counted, start=_start(0.2, 0.0), end=_end(0.8, 0.0), mean=mean) is None


@pytest.mark.parametrize(
    ("how", "half_width", "proven"),
    [
        (StartHow.DRAINED, 0.015, True),
        (StartHow.RESTED, 0.04, True),
        (StartHow.RESTED, 0.05, False),
        (StartHow.BELIEVED, 0.01, False),
        (StartHow.GAUGE, 0.0, False),
    ],
)
def test_start_is_proven_only_without_the_gauge(how: StartHow, half_width: float, *, proven: bool) -> None:
    assert _start(0.05, half_width, how).proven is proven


@pytest.mark.parametrize(("level", "half_width"), [(-0.1, 0.0), (1.1, 0.0), (math.nan, 0.0), (0.5, -0.1)])
def test_levels_that_cannot_be_are_refused(level: float, half_width: float) -> None:
    with pytest.raises(InvalidValueError):
        _start(level, half_width)
    with pytest.raises(InvalidValueError):
        _end(level, half_width)


def test_charge_that_ends_at_a_smaller_current_is_fuller() -> None:
    sooner, later = full_level(0.10), full_level(0.02)
    assert sooner[0] < later[0] < 1
    assert sooner[1] > later[1] > ASSUMED.full
    assert full_level(0.0) == (1.0, ASSUMED.full)


# Energy.


def test_energy_at_rest_is_less_than_what_went_in_and_more_than_what_comes_out() -> None:
    # 3 cells, 4 Ah charged at 2 A from 10 to 90 %: terminals at 11.9 V, 0.15 V of it from 0.075 Ω.
    ohm = Interval(value=0.075, low=0.074, high=0.076)
    up = mean_voltage(
        _count(4.0, in_wh=4.0 * 11.9, out_wh=0.0), start=0.1, end=0.9, cells=3, resistance_ohm=ohm
    )
    down = mean_voltage(
        _count(-4.0, in_wh=0.0, out_wh=4.0 * 11.3), start=0.9, end=0.1, cells=3, resistance_ohm=ohm
    )
    assert up is not None
    assert down is not None
    # The slow part makes 1.3 to 2.6 of a step's resistance: 0.29 V either way.
    assert up.value_v < 11.9
    assert down.value_v > 11.3
    assert up.value_v == pytest.approx(down.value_v, abs=max(*up.half_widths_v, *down.half_widths_v))


def test_without_a_resistance_an_assumed_band_counts() -> None:
    counted = _count(4.0, in_wh=4.0 * 11.6, out_wh=0.0)
    known = mean_voltage(
        counted, start=0.1, end=0.9, cells=3, resistance_ohm=Interval(value=0.1, low=0.099, high=0.101)
    )
    assumed = mean_voltage(counted, start=0.1, end=0.9, cells=3, capacity_ah=5.0)
    assert known is not None
    assert assumed is not None
    assert assumed.half_widths_v[0] > known.half_widths_v[0]


def _means() -> list[float]:
    table = Path(__file__).parents[1] / "reference" / "open_circuit.csv"
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    curves = [[float(row[name]) for row in rows] for name in rows[0] if name != "level"]
    return [(sum(volts) - (volts[0] + volts[-1]) / 2) / (len(volts) - 1) for volts in curves]


def test_without_voltage_the_published_curves_give_a_band() -> None:
    mean = mean_voltage(_count(4.0), start=0.1, end=0.9, cells=3, capacity_ah=5.0)
    assert mean is not None
    # The lowest and the highest mean of tests/reference/open_circuit.csv, worn cells included.
    assert mean.value_v - mean.half_widths_v[0] == pytest.approx(3 * min(_means()), abs=0.03)
    assert mean.value_v + mean.half_widths_v[0] == pytest.approx(3 * max(_means()), abs=0.03)
    assert mean_voltage(_count(4.0), start=0.1, end=0.9, cells=None) is None


def test_unseen_part_of_the_range_widens() -> None:
    counted = _count(4.0, in_wh=4.0 * 11.6, out_wh=0.0)
    whole = mean_voltage(counted, start=0.02, end=1.0, cells=3, capacity_ah=5.0)
    upper = mean_voltage(counted, start=0.5, end=1.0, cells=3, capacity_ah=5.0)
    assert whole is not None
    assert upper is not None
    assert upper.half_widths_v[-1] > 5 * whole.half_widths_v[-1]
    assert upper.value_v < whole.value_v


def test_energy_carries_the_errors_of_the_charge_and_of_the_voltage() -> None:
    counted = _count(4.5)
    sharp = capacity_wh(
        counted,
        start=_start(0.1, 0.01),
        end=_end(1.0, 0.005),
        mean=MeanVoltage(value_v=11.0, half_widths_v=()),
    )
    blunt = capacity_wh(
        counted,
        start=_start(0.1, 0.01),
        end=_end(1.0, 0.005),
        mean=MeanVoltage(value_v=11.0, half_widths_v=(0.4,)),
    )
    charge = capacity_ah(counted, start=_start(0.1, 0.01), end=_end(1.0, 0.005))
    assert sharp is not None
    assert blunt is not None
    assert charge is not None
    assert sharp.low == pytest.approx(11.0 * charge.low, rel=1e-4)
    assert blunt.low < sharp.low
    assert blunt.high > sharp.high
