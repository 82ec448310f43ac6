"""Numbers in print: rounded once, by the published rule, unknown never a number."""

import math
from collections.abc import Callable

import pytest

from verify.judge import Limit, Rule, judge
from verify.report.numbers import about, given, interval, likelihood, limit_written, moment, plain, written
from verify.values import Quantity, Reading, Unit


def _r(value: float | None, unit: Unit, u: float | None = None, reason: str | None = None) -> Reading:
    return Reading(value=value, unit=unit, standard_uncertainty=u, source="meter", reason=reason)


@pytest.mark.parametrize(
    ("reading", "text"),
    [
        # JCGM 100:2008 7.2.6: the value is rounded to the place of its uncertainty, here U = 2 u.
        (_r(100.02147, Unit.GRAM, 0.00035), "100.02147 g ± 0.00070 g"),
        (_r(10.05762, Unit.OHM, 0.0135), "10.058 Ω ± 0.027 Ω"),
        (_r(27.4737, Unit.MILLIOHM, 0.6), "27.5 mΩ ± 1.2 mΩ"),
        (_r(55.1234, Unit.WATT_HOUR, 0.6), "55.1 Wh ± 1.2 Wh"),
        (_r(2754.0, Unit.RPM, 61.0), "2750 rpm ± 120 rpm"),
        (_r(-0.0004, Unit.AMPERE, 0.01), "0.000 A ± 0.020 A"),
        (_r(-54.2, Unit.DBM, 1.0), "−54.2 dBm ± 2.0 dBm"),
        (_r(1.0, Unit.COUNT, 0.0), "1\u00a0piece"),
        (_r(12.0, Unit.COUNT, 0.0), "12\u00a0pieces"),
        (_r(0.97, Unit.ONE), "0.97 (uncertainty not stated)"),
        (_r(39.0294, Unit.WATT_HOUR), "39.03\u00a0Wh (uncertainty not stated)"),
        (_r(-12345.6, Unit.WATT_HOUR), "−12346\u00a0Wh (uncertainty not stated)"),
        (_r(None, Unit.WATT, reason="no sensor"), "unknown: no sensor"),
    ],
)
def test_readings_are_written_by_the_rule(reading: Reading, text: str) -> None:
    # Only between words may a line end.
    inside = text.replace(" ± ", "\u00a0±\u00a0").replace(" g", "\u00a0g")
    for unit in ("Ω", "mΩ", "Wh", "rpm", "A", "dBm"):
        inside = inside.replace(f" {unit}", f"\u00a0{unit}")
    assert written(reading) == inside


AT_LEAST_90 = Limit(lower=Quantity(value=90.0, unit=Unit.PERCENT), rule=Rule.GUARDED, source="x")


@pytest.mark.parametrize(
    "reading",
    [
        _r(89.97, Unit.PERCENT, 1.6),
        _r(0.8997, Unit.ONE, 0.016),
        _r(89.9999, Unit.PERCENT, 0.0),
        _r(93.6, Unit.PERCENT, 1.621),
    ],
    ids=["just missed", "just missed, as a ratio", "an exact one", "far off"],
)
def test_the_column_tells_the_number_that_the_judges_sentence_tells(reading: Reading) -> None:
    column = written(reading, AT_LEAST_90)
    assert judge(reading, AT_LEAST_90).because.startswith(f"{column.replace(chr(0xA0), ' ')} against")
    assert not column.startswith("90")


def test_a_reading_beside_a_limit_of_another_kind_is_written_by_itself() -> None:
    assert written(_r(89.9999, Unit.WATT_HOUR, 1.0), AT_LEAST_90) == "90.0\u00a0Wh\u00a0±\u00a02.0\u00a0Wh"


def test_figures_at_the_end_of_what_a_double_holds_still_make_a_page() -> None:
    text = written(_r(1e308, Unit.WATT, 1e308))
    assert [float(part) for part in text.replace("\u00a0W", "").split("\u00a0±\u00a0")] == [1e308, math.inf]
    assert "inf" not in text
    assert interval(_r(1e308, Unit.WATT, 1e308)) is None


def test_an_interval_needs_a_value_and_an_uncertainty() -> None:
    assert interval(_r(55.1, Unit.WATT_HOUR, 0.6)) == ("53.9", "56.3")
    assert interval(_r(55.1, Unit.WATT_HOUR)) is None
    assert interval(_r(None, Unit.WATT_HOUR, reason="gone")) is None


@pytest.mark.parametrize(
    ("lower", "upper", "text"),
    [
        (90.0, None, "at least 90\u00a0%"),
        (None, 0.3, "at most 0.3\u00a0%"),
        (0.0, 0.3, "0 to 0.3\u00a0%"),
        (0.0, 0.0, "exactly 0\u00a0%"),
    ],
)
def test_limits_are_written_in_words(lower: float | None, upper: float | None, text: str) -> None:
    def quantity(value: float | None) -> Quantity | None:
        return None if value is None else Quantity(value=value, unit=Unit.PERCENT)

    limit = Limit(lower=quantity(lower), upper=quantity(upper), rule=Rule.SIMPLE, source="x")
    assert limit_written(limit) == text


@pytest.mark.parametrize(
    ("write", "value", "text"),
    [
        (about, 9.96, "10"),
        (about, 9.94, "9.9"),
        (about, -12.3, "\u221212"),
        (about, -0.04, "0.0"),
        (plain, 53.216, "53.22"),
        (plain, 12345.6, "12346"),
        (plain, -0.5, "\u22120.5"),
        (plain, 1.2e-17, "0"),
        (given, 99.995, "99.995"),
        (given, 105 - 0.1, "104.9"),
    ],
)
def test_a_number_alone_has_the_pages_signs_and_no_exponent(
    write: Callable[[float], str], value: float, text: str
) -> None:
    assert write(value) == text


@pytest.mark.parametrize(
    ("probability", "text"),
    [(1.0, "above 99.9\u00a0%"), (0.0, "below 0.1\u00a0%"), (0.91924, "91.9\u00a0%"), (0.5, "50.0\u00a0%")],
)
def test_a_likelihood_never_claims_certainty(probability: float, text: str) -> None:
    assert likelihood(probability) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("2026-03-10T09:02:00Z", "2026-03-10 09:02 UTC"),
        ("2026-03-10T09:02:00.123+00:00", "2026-03-10 09:02 UTC"),
        ("2026-03-10T09:02:00+01:00", "2026-03-10T09:02:00+01:00"),
        ("yesterday", "yesterday"),
    ],
)
def test_a_time_is_never_shown_in_a_zone_it_is_not_in(text: str, shown: str) -> None:
    assert moment(text) == shown
