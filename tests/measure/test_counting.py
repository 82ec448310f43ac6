"""Counting charge and energy over uneven samples."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from verify.measure import Integral, cells_in_series
from verify.measure.counting import LONGEST_GAP_S
from verify.values import Reading, Unit
from verify.values.errors import InvalidValueError


def counted(
    times_s: list[float],
    values: list[float | None],
    *,
    unit: Unit = Unit.WATT_HOUR,
    gap_s: float = LONGEST_GAP_S,
) -> Reading:
    total = Integral(gap_s=gap_s)
    for at_s, value in zip(times_s, values, strict=True):
        total.add(at_s, value)
    return total.per_hour(unit=unit, source="test")


def test_108_s_at_a_third_of_c() -> None:
    # A note in the text of ISO 12405 (published excerpt): 108 s of discharge at C/3 is 1 % of charge.
    got = counted([0, 108], [-5 / 3, -5 / 3], unit=Unit.AMPERE_HOUR, gap_s=108)
    assert got.value == pytest.approx(-0.01 * 5.0)
    assert got.unit is Unit.AMPERE_HOUR


def test_falling_current_by_trapezoids() -> None:
    got = counted([0, 600, 1200, 1800], [2.0, 1.5, 1.0, 0.5], unit=Unit.AMPERE_HOUR, gap_s=600)
    assert got.value == pytest.approx(0.625)


def test_72_wh_at_36_w_take_two_hours() -> None:
    # Handbook arithmetic: 14.40 V × 5 Ah = 72 Wh; at a steady 36 W two hours.
    times = [30.0 * i for i in range(241)]
    got = counted(times, [36.0] * 241)
    assert times[-1] == 7200
    assert got.value == pytest.approx(14.40 * 5)


@pytest.mark.parametrize(
    ("times", "powers", "reason"),
    [
        pytest.param([0, 10, 45], [5.0, 5.0, 5.0], "No sample for 35 s", id="gap"),
        pytest.param([0, 10, 20], [5.0, None, 5.0], "gave no value", id="missing-value"),
        pytest.param([0], [5.0], "Fewer than two", id="one-sample"),
        pytest.param([], [], "Fewer than two", id="no-sample"),
    ],
)
def test_what_was_not_seen_is_unknown(times: list[float], powers: list[float | None], reason: str) -> None:
    got = counted(times, powers)
    assert got.value is None
    assert got.reason is not None
    assert reason in got.reason


def test_gap_at_the_edge_is_bridged() -> None:
    assert counted([0, 30], [12.0, 12.0]).value == pytest.approx(0.1)


def test_energy_is_not_claimed_to_be_sure() -> None:
    assert counted([0, 10], [5.0, 5.0]).standard_uncertainty is None


def test_time_that_runs_backwards_is_refused() -> None:
    with pytest.raises(InvalidValueError, match="backwards"):
        counted([0, 10, 5], [1.0, 1.0, 1.0])


@given(st.lists(st.tuples(st.floats(0.1, 30), st.floats(-150, 150)), min_size=2, max_size=50))
def test_agrees_with_the_reference_library(steps: list[tuple[float, float]]) -> None:
    times, at = [], 0.0
    for step, _ in steps:
        at += step
        times.append(at)
    powers: list[float | None] = [power for _, power in steps]
    # Differences of a running sum may pass the longest gap by rounding.
    got = counted(times, powers, gap_s=30.001)
    assert got.value == pytest.approx(float(integrate.trapezoid(powers, times)) / 3600, abs=1e-9)


@pytest.mark.parametrize(
    ("design_v", "cells"),
    [
        (3.7, 1), (3.85, 1), (7.2, 2), (7.4, 2), (7.7, 2), (10.8, 3), (11.1, 3), (11.4, 3), (11.55, 3),
        (14.4, 4), (14.8, 4), (15.4, 4), (18.5, 5), (22.2, None), (None, None), (0.0, None), (12.6, None),
        (5.0, None), (48.0, None),
    ],
)  # fmt: skip
def test_cells_from_the_nominal_voltage(design_v: float | None, cells: int | None) -> None:
    # Nominal voltages of laptop packs as they are sold; common practice, no source.
    assert cells_in_series(design_v) == cells
