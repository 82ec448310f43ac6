"""Rounding for print, against the published rule and the `uncertainties` library."""

from decimal import Decimal

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from uncertainties import ufloat

from verify.measure.rounding import (
    Style,
    write_interval,
    write_limit,
    write_number,
    write_quantity,
    write_reading,
)
from verify.values import Quantity, Reading, Unit, parse_quantity
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
        pytest.param(1, 0, Unit.COUNT, "1 piece", id="one"),
        pytest.param(12346, 0, Unit.COUNT, "12346 pieces", id="an-exact-count-is-not-rounded"),
        pytest.param(-12345.6, None, Unit.WATT_HOUR, "-12346 Wh", id="all-before-the-point"),
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


@pytest.mark.parametrize(
    ("lower", "upper", "written"),
    [
        pytest.param("90 %", None, "at least 90 %", id="lower"),
        pytest.param(None, "0.30 mm", "at most 0.3 mm", id="upper"),
        pytest.param("1 pieces", None, "at least 1 piece", id="one-piece"),
        pytest.param("12 pieces", "12 pieces", "exactly 12 pieces", id="exact"),
        pytest.param("3 V", "4.45 V", "3 to 4.45 V", id="between"),
        pytest.param("100 mohm", "1 ohm", "100 to 1000 mohm", id="two-units"),
        pytest.param("90.0001 %", None, "at least 90.0001 %", id="a-given-number-is-not-rounded"),
        pytest.param("1234567 Wh", None, "at least 1234567 Wh", id="no-exponent"),
        pytest.param(None, None, "", id="none"),
    ],
)
def test_limit_is_written(lower: str | None, upper: str | None, written: str) -> None:
    bounds = [None if text is None else parse_quantity(text) for text in (lower, upper)]
    assert write_limit(*bounds) == written


def test_the_page_differs_in_signs_alone() -> None:
    style = Style(space="_", minus="~", units={Unit.OHM: "R"})
    assert write_reading(reading(-10.05762, 0.0135, Unit.OHM), style=style) == "~10.058_R_±_0.027_R"
    assert write_quantity(Quantity(value=-3.0, unit=Unit.OHM), style=style) == "~3_R"
    assert write_quantity(Quantity(value=0.5, unit=Unit.ONE), style=style) == "0.5"


def test_interval_is_written_to_the_place_of_its_uncertainty() -> None:
    assert write_interval(reading(93.60, 1.621)) == ("90.4", "96.8")
    assert write_interval(reading(3.0, 0.0)) == ("3", "3")
    assert write_interval(reading(3.0, None)) is None


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
