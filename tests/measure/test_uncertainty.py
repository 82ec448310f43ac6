"""Uncertainty arithmetic against published examples and the `uncertainties` library."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from verify.measure import combine, quotient, rectangular, resolution, triangular
from verify.values.errors import InvalidValueError


def test_voltmeter_specification_of_the_gum() -> None:
    # JCGM 100:2008, 4.3.7 example 2 (from memory): half-width 15 µV; published u = 8.7 µV.
    assert rectangular(15) == pytest.approx(8.660, abs=5e-4)
    # 5.1.5 example: with a repeatability of 12 µV; published 15 µV.
    assert combine(rectangular(15), 12) == pytest.approx(14.799, abs=5e-4)


def test_digital_step_of_the_gum() -> None:
    # JCGM 100:2008, F.2.2.1: u = 0.29 δ.
    assert resolution(1.0) == pytest.approx(0.289, abs=5e-4)
    # Two readings subtracted each carry a step: 0.408 δ.
    assert combine(resolution(1.0), resolution(1.0)) == pytest.approx(0.408, abs=5e-4)


def test_triangular_is_a_over_root_six() -> None:
    assert triangular(1.0) == pytest.approx(1 / math.sqrt(6))
    assert triangular(1.0) < rectangular(1.0)


def test_rise_over_ambient() -> None:
    # 41.5 ± 1.0 °C over 23.0 ± 0.5 °C, both rectangular.
    u = combine(rectangular(1.0), rectangular(0.5))
    assert u == pytest.approx(0.6455, abs=5e-5)
    rise = ufloat(41.5, rectangular(1.0)) - ufloat(23.0, rectangular(0.5))
    assert rise.n == pytest.approx(18.5)
    assert rise.s == pytest.approx(u)
    assert 2 * u == pytest.approx(1.29, abs=5e-3)


@pytest.mark.parametrize(
    ("full_wh", "ratio", "u"), [(46.80, 0.9360, 0.01621), (45.75, 0.9150, 0.01585), (44.50, 0.8900, 0.01542)]
)
def test_capacity_ratio(full_wh: float, ratio: float, u: float) -> None:
    got = quotient(full_wh, rectangular(0.03 * full_wh), 50.00)
    assert got[0] == pytest.approx(ratio)
    assert got[1] == pytest.approx(u, abs=5e-6)


def test_load_step_resistance() -> None:
    # IEC 61960-3 direct-current method, R = (U1 - U2)/(I2 - I1): 11.90 V at 0.80 A, 11.55 V at 4.00 A, with
    # 10 mV steps and the currents exact.
    drop_u = combine(resolution(0.010), resolution(0.010))
    value, u = quotient(11.90 - 11.55, drop_u, 4.00 - 0.80)
    assert value == pytest.approx(0.1094, abs=5e-5)
    assert u == pytest.approx(0.00128, abs=5e-6)


def test_internal_resistance_of_a_textbook() -> None:
    # A college physics problem on electromotive force and terminal voltage: 12.0 V, 11.5 V at 3.00 A.
    assert quotient(12.0 - 11.5, 0, 3.00)[0] == pytest.approx(0.1667, abs=5e-5)
    assert quotient(11.5, 0, 3.00)[0] == pytest.approx(3.833, abs=5e-4)


@given(
    st.floats(-1e3, 1e3),
    st.floats(1e-6, 10),
    st.floats(0.1, 1e3),
    st.floats(1e-6, 10),
    st.sampled_from([-1, 1]),
)
def test_quotient_agrees_with_the_reference_library(
    numerator: float, numerator_u: float, denominator: float, denominator_u: float, sign: int
) -> None:
    value, u = quotient(numerator, numerator_u, sign * denominator, denominator_u)
    expected = ufloat(numerator, numerator_u) / ufloat(sign * denominator, denominator_u)
    assert value == pytest.approx(expected.n)
    assert u == pytest.approx(expected.s)


@given(st.lists(st.floats(1e-6, 1e3), min_size=1, max_size=5))
def test_sum_agrees_with_the_reference_library(uncertainties_of_terms: list[float]) -> None:
    expected = sum(ufloat(1.0, u) for u in uncertainties_of_terms)
    assert combine(*uncertainties_of_terms) == pytest.approx(expected.s)


@pytest.mark.parametrize("half_width", [-0.1, math.nan, math.inf])
def test_a_half_width_that_cannot_be_is_refused(half_width: float) -> None:
    with pytest.raises(InvalidValueError, match="0 or more"):
        rectangular(half_width)


def test_division_by_nothing_is_refused() -> None:
    with pytest.raises(InvalidValueError):
        quotient(1.0, 0.1, 0.0)
