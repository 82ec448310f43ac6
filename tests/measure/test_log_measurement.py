"""What a log tells: against published worked examples, SciPy, and courses whose truth is known."""

import math
import random
from array import array
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from verify.measure.log_findings import Weight
from verify.measure.log_measurement import LogMeasurement, cells_of, measure_log
from verify.measure.pack_measurement import Gauge
from verify.measure.phases import PhaseKind


def measured(
    times_s: Sequence[float],
    *,
    cells: int | None = None,
    claimed_wh: float | None = None,
    **columns: Sequence[float],
) -> LogMeasurement:
    series = {name: array("d", column) for name, column in columns.items()}
    return measure_log(array("d", times_s), series, cells=cells, claimed_wh=claimed_wh)


def test_worked_example_of_coulomb_counting() -> None:
    # z(t) = z0 + (1/Q) ∫ I dt by trapezoids: 2.0, 1.5, 1.0, 0.5 A at 0, 600, 1200, 1800 s are 0.625 Ah, and
    # 80 % becomes 92.5 % of 5 Ah.
    found = measured(
        [0, 600, 1200, 1800],
        current_a=[2.0, 1.5, 1.0, 0.5],
        state_of_charge=[0.80, 0.84375, 0.8875, 0.925],
    )
    capacity = found.pack.capacity_ah
    assert capacity is not None
    assert capacity.value == pytest.approx(5.0, rel=1e-3)
    assert capacity.low < 5.0 < capacity.high


@pytest.mark.parametrize(
    ("before", "after", "mohm"),
    [
        # (V1 - V2) / (I2 - I1): a published textbook problem, emf 12.0 V and 11.5 V at 3.00 A: 0.1667 Ω.
        pytest.param((12.0, 0.0), (11.5, -3.0), 166.7, id="textbook, no load to 3 A"),
        # The two-level method of IEC 61960-3: 11.90 V at 0.80 A, 11.55 V at 4.00 A are 0.1094 Ω.
        pytest.param((11.90, -0.80), (11.55, -4.00), 109.4, id="two levels"),
    ],
)
def test_resistance_is_voltage_over_current(
    before: tuple[float, float], after: tuple[float, float], mohm: float
) -> None:
    course = [before] * 60 + [after] * 60
    # A gauge's last digit moves.
    volts = [one + 0.001 * (row % 2) for row, (one, _) in enumerate(course)]
    found = measured(
        range(120),
        cells=3,
        current_a=[amps for _, amps in course],
        voltage_v=volts,
        state_of_charge=[0.6] * 120,
    )
    resistance = found.resistance
    assert resistance.pack_mohm is not None
    assert resistance.cell_mohm is not None
    assert resistance.pack_mohm.value == pytest.approx(mohm, rel=0.02)
    assert resistance.pack_mohm.low < mohm < resistance.pack_mohm.high
    assert resistance.cell_mohm.value == pytest.approx(resistance.pack_mohm.value / 3)
    assert resistance.time_scale_s is not None


def test_resistance_from_power_and_voltage_alone() -> None:
    course = [(11.9, -0.8)] * 60 + [(11.55, -4.0)] * 60
    found = measured(
        range(120),
        cells=3,
        power_w=[volts * amps for volts, amps in course],
        voltage_v=[volts + 0.001 * (row % 2) for row, (volts, _) in enumerate(course)],
    )
    assert found.resistance.pack_mohm is not None
    assert found.resistance.pack_mohm.value == pytest.approx(109.4, rel=0.02)


def warming(*, steady_c: float, tau_s: float, seconds: int, load: float | None) -> LogMeasurement:
    chance = random.Random(2)
    celsius = [
        round(steady_c - 30 * math.exp(-second / tau_s) + chance.gauss(0, 0.2), 1)
        for second in range(seconds)
    ]
    if load is None:
        return measured(range(seconds), cpu_c=celsius)
    return measured(range(seconds), cpu_c=celsius, load=[load] * seconds)


@pytest.mark.parametrize("load", [1.0, 0.5, None], ids=["full load", "half load", "no load told"])
def test_where_the_temperature_ends_and_its_time_constant(load: float | None) -> None:
    found = warming(steady_c=71.0, tau_s=150.0, seconds=500, load=load)
    assert found.steady_c is not None
    assert found.time_constant_s is not None
    assert found.steady_c.low <= 71.0 <= found.steady_c.high
    assert found.time_constant_s.low <= 150.0 <= found.time_constant_s.high
    assert found.steady_c.value == pytest.approx(71.0, abs=1.0)


def test_where_the_temperature_ends_is_that_of_a_fit_by_scipy() -> None:
    found = warming(steady_c=66.0, tau_s=100.0, seconds=600, load=1.0)
    chance = random.Random(2)
    celsius = [round(66.0 - 30 * math.exp(-at_s / 100.0) + chance.gauss(0, 0.2), 1) for at_s in range(600)]

    def miss(guess: Sequence[float]) -> list[float]:
        end_c, rise_k, tau_s = guess
        return [end_c - rise_k * math.exp(-at_s / tau_s) - one for at_s, one in enumerate(celsius)]

    fitted = optimize.least_squares(miss, [60.0, 20.0, 60.0]).x
    assert found.steady_c is not None
    assert found.steady_c.value == pytest.approx(fitted[0], abs=0.3)


def test_too_early_is_undecided_with_its_reason() -> None:
    found = warming(steady_c=71.0, tau_s=300.0, seconds=45, load=1.0)
    assert found.steady_c is None
    assert "Too early" in found.unknown["Steady temperature"]


def test_a_sign_turned_round_is_a_contradiction() -> None:
    level = [0.9 - 0.0002 * second for second in range(2000)]
    turned = measured(range(2000), current_a=[3.0] * 2000, voltage_v=[11.4] * 2000, state_of_charge=level)
    right = measured(range(2000), current_a=[-3.0] * 2000, voltage_v=[11.4] * 2000, state_of_charge=level)
    assert any(one.weight is Weight.FAULT and "against the current" in one.what for one in turned.findings)
    assert not any("against the current" in one.what for one in right.findings)


def test_power_of_something_else_is_a_contradiction() -> None:
    other = measured(range(100), current_a=[2.0] * 100, voltage_v=[12.0] * 100, power_w=[40.0] * 100)
    own = measured(range(100), current_a=[2.0] * 100, voltage_v=[12.0] * 100, power_w=[24.2] * 100)
    assert any("power_w differs" in one.what for one in other.findings)
    assert not any("power_w differs" in one.what for one in own.findings)


@pytest.mark.parametrize(
    ("celsius", "told", "weight"),
    [
        (61.0, "Pull the charger out.", Weight.FAULT),
        (48.0, "let it cool", Weight.DOUBT),
        (5.0, "Let it warm", Weight.DOUBT),
        (-4.0, "warm to the room", Weight.FAULT),
        (30.0, "", None),
    ],
    ids=["hot", "warm", "cool", "frozen", "normal"],
)
def test_a_pack_that_was_too_hot_or_too_cold(celsius: float, told: str, weight: Weight | None) -> None:
    found = measured(
        range(600),
        current_a=[2.0] * 600,
        voltage_v=[11.4] * 600,
        temperature_c=[celsius + 0.1 * (row % 2) for row in range(600)],
    )
    heat = [one for one in found.findings if "°C" in one.what]
    assert [one.weight for one in heat] == ([] if weight is None else [weight])
    assert all(told in one.next_step for one in heat)


def test_no_further_charge_is_asked_of_a_pack_that_was_too_hot() -> None:
    course: dict[str, Any] = {
        "current_a": [2.0] * 600,
        "voltage_v": [11.4] * 600,
        "state_of_charge": [0.2 + row / 6000 for row in range(600)],
    }
    cool = measured(range(600), temperature_c=[30.0] * 600, claimed_wh=57.0, **course)
    hot = measured(range(600), temperature_c=[30.0] * 300 + [63.0] * 300, claimed_wh=57.0, **course)
    assert any("charge" in one.next_step for one in cool.findings)
    steps = [one.next_step for one in hot.findings if one.next_step]
    assert any(one.startswith("Pull the charger out.") for one in steps)
    assert not any("charge on" in one or "charge it" in one or "go on" in one for one in steps)


def test_a_sensor_that_stands_still_is_doubted() -> None:
    found = measured(
        range(2000), current_a=[2.0] * 2000, voltage_v=[11.4] * 2000, temperature_c=[25.0] * 2000
    )
    assert any("stood at 25.0 °C" in one.what for one in found.findings)


@pytest.mark.parametrize(
    ("volts", "cells"),
    [
        ((3.2, 4.2), 1),
        ((7.0, 8.4), 2),
        ((9.6, 12.6), 3),
        ((11.5, 13.05), 3),
        ((12.4, 16.8), 4),
        ((11.4, 11.5), 3),
        ((17.2, 17.6), None),
        ((5.5, 12.6), None),
        ((), None),
    ],
    ids=str,
)
def test_cells_are_told_by_the_voltage_where_only_one_number_fits(
    volts: Sequence[float], cells: int | None
) -> None:
    assert cells_of(volts) == cells


def test_a_claim_beside_another_claim_is_said() -> None:
    found = measured(range(10), claimed_wh=70.0, state_of_charge=[0.5] * 10, remaining_wh=[28.5] * 10)
    assert found.claimed_wh == 70.0
    assert any("claims 57.0 Wh; 70 Wh were given" in one.what for one in found.findings)


def test_the_claim_is_read_where_rounding_is_least() -> None:
    found = measured([0, 1, 2], state_of_charge=[0.06, 0.5, 1.0], remaining_wh=[3.15, 28.7, 57.0])
    assert found.claimed_wh == pytest.approx(57.0)


def test_a_log_without_anything_to_measure_establishes_nothing() -> None:
    found = measured([0, 1, 2], load=[0.1, 0.1, 0.1])
    assert not found.established
    assert set(found.unknown) == {"Capacity", "Gauge", "Phases", "Resistance", "Steady temperature"}
    assert all(found.unknown.values())
    assert found.gauge is None


def test_charge_and_rest_are_phases() -> None:
    found = measured(range(1200), current_a=[2.0] * 600 + [0.0] * 600, voltage_v=[11.4] * 1200)
    assert found.phases[0].kind is PhaseKind.CONSTANT_CURRENT
    assert found.phases[0].charge_ah == pytest.approx(2.0 * 600 / 3600, rel=0.01)
    assert len(found.phases) == 2


NAMES = [
    "power_w",
    "current_a",
    "voltage_v",
    "state_of_charge",
    "remaining_wh",
    "temperature_c",
    "cpu_c",
    "load",
]
VALUES = {
    "power_w": (-1000.0, 1000.0),
    "current_a": (-100.0, 100.0),
    "voltage_v": (0.5, 100.0),
    "state_of_charge": (-0.01, 1.1),
    "remaining_wh": (0.0, 1000.0),
    "temperature_c": (-60.0, 200.0),
    "cpu_c": (-60.0, 200.0),
    "load": (-0.01, 1.1),
}


def drawn(chance: random.Random, rows: int, low: float, high: float) -> "array[float]":
    """Return a column that stands, wanders or jumps, with holes."""
    kind, value = chance.randrange(4), chance.uniform(low, high)
    column = array("d")
    for _ in range(rows):
        if kind == 1:
            value = min(high, max(low, value + chance.gauss(0, (high - low) / 300)))
        elif kind == 2:
            value = chance.choice((low, high, 0.0 if low < 0 else low, chance.uniform(low, high)))
        column.append(math.nan if kind == 3 and chance.random() < 0.3 else value)
    return column


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    rows=st.integers(1, 200),
    step_s=st.sampled_from([0.01, 1.0, 20.0, 600.0, 6e5]),
    names=st.sets(st.sampled_from(NAMES)),
    claimed_wh=st.sampled_from([None, 0.1, 57.0, 999.0]),
)
def test_any_columns_give_an_answer(
    seed: int, rows: int, step_s: float, names: set[str], claimed_wh: float | None
) -> None:
    chance = random.Random(seed)
    times = array("d")
    for _ in range(rows):
        times.append((times[-1] if times else 0.0) + step_s * chance.choice((1.0, 1.0, 1.0, 0.1, 30.0)))
    columns = {name: drawn(chance, rows, *VALUES[name]) for name in sorted(names)}
    found = measure_log(times, columns, claimed_wh=claimed_wh)
    assert found.gauge in (None, *Gauge)
    for interval in (
        found.pack.capacity_ah,
        found.pack.capacity_wh,
        found.steady_c,
        found.resistance.pack_mohm,
    ):
        assert interval is None or interval.low <= interval.value <= interval.high


def test_charge_that_stopped_and_one_that_was_weak_are_told_with_its_rate() -> None:
    times_s = [20.0 * i for i in range(300)]
    amps = [0.5 if at_s < 4000 else 0.0 for at_s in times_s]
    volts = [11.1 + 0.6 * min(at_s, 4000.0) / 4000 for at_s in times_s]
    level = [round(0.30 + 0.5 * min(at_s, 4000.0) / 3600 / 4.5, 2) for at_s in times_s]
    found = measured(
        times_s, current_a=amps, voltage_v=volts, state_of_charge=level, claimed_wh=50.0, cells=3
    )
    told = " ".join(one.what for one in found.findings)
    assert "The charge stopped early" in told
    assert "Less than 0.2 C" in told
    assert "0.11 C into the battery" in told
    assert all(one.next_step for one in found.findings if one.weight is not Weight.NOTE)


def test_claim_is_the_last_at_the_highest_level() -> None:
    # It learns at full: what it says then is compared, not what it said when 100 % was new.
    found = measured(
        [0.0, 60.0, 120.0, 180.0],
        current_a=[1.0] * 4,
        voltage_v=[12.5] * 4,
        state_of_charge=[0.98, 1.0, 1.0, 1.0],
        remaining_wh=[58.8, 60.0, 60.0, 50.0],
    )
    assert found.claimed_wh == 50.0


def test_a_sign_turned_round_shows_in_the_voltage_where_no_level_is_told() -> None:
    # From 3.4 to 4.15 V a cell, straight.
    volts = [10.2 + 2.25 * second / 3600 for second in range(3600)]
    turned = measured(range(3600), current_a=[-3.0] * 3600, voltage_v=volts)
    right = measured(range(3600), current_a=[3.0] * 3600, voltage_v=volts)
    assert any(one.weight is Weight.FAULT and "voltage moves against" in one.what for one in turned.findings)
    assert not any("against the current" in one.what for one in right.findings)


def test_a_voltage_that_recovers_under_a_smaller_load_is_no_turned_sign() -> None:
    volts = [11.4 - 0.3 * math.exp(-second / 300) for second in range(1200)]
    found = measured(range(1200), current_a=[-0.3] * 1200, voltage_v=volts)
    assert not any("against the current" in one.what for one in found.findings)


def test_times_in_milliseconds_make_no_capacity_and_no_verdict() -> None:
    found = measured(
        range(0, 3_600_000, 1000),
        current_a=[3.0 + 0.01 * (second % 7) for second in range(3600)],
        voltage_v=[11.4] * 3600,
        state_of_charge=[0.2 + 0.6 * second / 3600 for second in range(3600)],
        claimed_wh=57.0,
    )
    assert found.pack.capacity_wh is None
    assert found.gauge is Gauge.UNDECIDED
    faults = [one.what for one in found.findings if one.weight is Weight.FAULT]
    assert any("no laptop's battery does" in one for one in faults)


def test_a_claim_of_next_to_nothing_is_none() -> None:
    found = measured(
        range(50), state_of_charge=[0.5] * 50, remaining_wh=[1e-300] * 50, current_a=[1.0] * 50, cells=3
    )
    assert found.claimed_wh is None


def test_a_gauge_that_claims_nothing_is_proved_by_no_further_charge() -> None:
    found = measured(range(100), current_a=[2.0] * 100, state_of_charge=[0.5] * 100)
    doubt = next(one for one in found.findings if "Whether the gauge" in one.what)
    assert "--claimed-wh" in doubt.next_step


@pytest.mark.parametrize(
    ("columns", "why"),
    [
        pytest.param({"current_a": [0.0] * 60 + [3.0] * 60}, "no voltage", id="current alone"),
        pytest.param({"voltage_v": [11.4] * 120}, "no current", id="voltage alone"),
    ],
)
def test_why_no_resistance_is_known_is_true(columns: dict[str, Any], why: str) -> None:
    assert why in measured(range(120), **columns).unknown["Resistance"]


def test_a_pack_whose_current_changed_has_no_steady_temperature() -> None:
    # It warms while much goes in, and cools as the charge falls off: neither end is where it would settle.
    celsius = [31.0 - 5 * math.exp(-second / 300) for second in range(1200)]
    celsius += [28.0 + 3 * math.exp(-second / 300) for second in range(1800)]
    current = [3.0] * 1200 + [3.0 * math.exp(-second / 900) for second in range(1800)]
    found = measured(range(3000), temperature_c=[round(one, 1) for one in celsius], current_a=current)
    assert found.steady_c is None
    assert "current changed" in found.unknown["Steady temperature"]


def test_the_coldest_of_a_charge_is_told() -> None:
    course = [-8.0 + row / 100 for row in range(600)]
    found = measured(range(600), current_a=[2.0] * 600, voltage_v=[11.4] * 600, temperature_c=course)
    assert any("(-8 °C)" in one.what for one in found.findings)


def limited_charge(top_cell_v: float) -> LogMeasurement:
    """Return what is told of a sound pack of 5 Ah whose charger holds it at so much a cell.

    Its rest voltage is that of Chen et al., J. Electrochem. Soc. 167 (2020) 080534; 25 mΩ a cell.
    """
    levels = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 1.0)
    curve = (3.0, 3.233, 3.392, 3.507, 3.605, 3.682, 3.767, 3.852, 3.958, 4.048, 4.083, 4.097, 4.125, 4.2)
    level, told, full_s = 0.05, 0.05, None
    times, amps, volts, gauge = [], [], [], []
    for second in range(0, 20000, 5):
        rest_v = float(np.interp(level, levels, curve))
        flow = min(2.5, max(0.0, (top_cell_v - rest_v) / 0.025)) if second > 900 and full_s is None else 0.0
        if second > 900 and flow < 0.1 and full_s is None:
            full_s, flow, told = second, 0.0, 1.0
        level += flow * 5 / 3600 / 5.0
        told = min(1.0, told + flow * 5 / 3600 / 5.0)
        times.append(float(second))
        amps.append(round(flow, 3))
        volts.append(round(3 * (rest_v + 0.025 * flow), 3))
        gauge.append(round(told, 2))
        if full_s is not None and second > full_s + 600:
            break
    return measured(times, cells=3, claimed_wh=57.0, current_a=amps, voltage_v=volts, state_of_charge=gauge)


@pytest.mark.parametrize("top_cell_v", [4.05, 4.10, 4.2], ids=str)
def test_a_charge_that_a_limit_ends_low_is_not_taken_for_a_small_pack(top_cell_v: float) -> None:
    found = limited_charge(top_cell_v)
    capacity = found.pack.capacity_ah
    assert found.pack.reached_full
    assert capacity is not None
    assert capacity.low <= 5.0 <= capacity.high
    assert found.gauge is not Gauge.BOASTFUL
    assert any("The charge ended at" in one.what for one in found.findings) == (top_cell_v < 4.15)
