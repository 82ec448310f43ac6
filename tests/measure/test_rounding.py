"""Rounding for print, against the published rule and the `uncertainties` library."""

from decimal import Decimal

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from uncertainties import ufloat

from verify.measure import write_number, write_reading
from verify.values import Reading, Unit
from verify.values.errors import InvalidValueError


def reading(value: float | None, u: float | None, unit: Unit = Unit.PERCENT) -> Reading:
    reason = "none" if value is None else None
    return Reading(value=value, unit=unit, standard_uncertainty=u, source="test", reason=reason)


@pytest.mark.parametrize(
    ("value", "u", "unit", "written"),
    [
        # JCGM 100:2008, 7.2.6 (from memory): 10.057 62 Ω with 27 mΩ is written 10.058 Ω.
        pytest.param(10.05762, 0.027 / 2, Unit.OHM, "10.058 ohm ± 0.027 ohm", id="example-of-the-gum"),
        pytest.param(93.60, 1.621, Unit.PERCENT, "93.6 % ± 3.2 %", id="percent"),
        pytest.param(18.5, 0.6455, Unit.KELVIN, "18.5 K ± 1.3 K", id="rise"),
        pytest.param(100.0, 4.98, Unit.PERCENT, "100 % ± 10 %", id="rounding-up-drops-a-place"),
        pytest.param(1234.5, 60.0, Unit.RPM, "1230 rpm ± 120 rpm", id="place-above-the-point"),
        pytest.param(-0.001, 0.5, Unit.WATT, "0.0 W ± 1.0 W", id="no-negative-zero"),
        pytest.param(12.345678, None, Unit.VOLT, "12.35 V", id="nobody-said-how-sure"),
        pytest.param(13, 0, Unit.COUNT, "13 pieces", id="count"),
        pytest.param(120000.0, None, Unit.ONE, "120000", id="no-exponent"),
        pytest.param(None, None, Unit.VOLT, "unknown", id="unknown"),
    ],
)
def test_reading_is_written(value: float | None, u: float | None, unit: Unit, written: str) -> None:
    assert write_reading(reading(value, u, unit)) == written


@pytest.mark.parametrize(
    ("value", "apart_from", "written"),
    [
        pytest.param(89.9999, [90.0], "89.9999", id="below-stays-below"),
        pytest.param(90.0001, [90.0], "90.0001", id="above-stays-above"),
        pytest.param(90.0, [90.0], "90", id="at-it"),
        pytest.param(89.9999, [], "90", id="nothing-to-stay-apart-from"),
    ],
)
def test_a_number_is_not_rounded_onto_its_limit(value: float, apart_from: list[float], written: str) -> None:
    assert write_number(value, apart_from=apart_from) == written


def test_a_reading_is_not_rounded_onto_its_limit() -> None:
    assert write_reading(reading(89.97, 1.6), apart_from=[90.0]) == "89.97 % ± 3.2 %"


def test_not_a_number_is_refused() -> None:
    with pytest.raises(InvalidValueError):
        write_number(float("nan"))


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 45))
@example(0.0, 4.026)
def test_agrees_with_the_reference_library(value: float, u: float) -> None:
    # A tie ("8.05") is broken to even here and by the binary number there.
    digits = Decimal(repr(2 * u)).normalize().as_tuple().digits
    assume(len(digits) != 3 or digits[2] != 5)
    written = write_reading(reading(value, u))
    # From 100 on the library shows all digits before the point, and we show two.
    value_text, u_text = (part.removesuffix(" %") for part in written.split(" ± "))
    reference = f"{ufloat(value, 2 * u):.2ufP}".strip("()").split("±")
    assert float(u_text) == pytest.approx(float(reference[1]), rel=1e-9)
    # The library and we may break a tie differently: one step of the last place at most.
    assert float(value_text) == pytest.approx(float(reference[0]), abs=0.1 * 2 * u)
