"""Numbers in print: rounded once, by the published rule, unknown never a number."""

import pytest

from verify.judge import Limit, Rule
from verify.report.numbers import interval, likelihood, limit_written, moment, written
from verify.values import Quantity, Reading, Unit


def _r(value: float | None, unit: Unit, u: float | None = None, reason: str | None = None) -> Reading:
    return Reading(value=value, unit=unit, standard_uncertainty=u, source="meter", reason=reason)


@pytest.mark.parametrize(
    ("reading", "text"),
    [
        # JCGM 100:2008 7.2.6: the value is rounded to the place of its uncertainty, here U = 2 u.
        (_r(100.02147, Unit.GRAM, 0.00035), "100.02147 ± 0.00070\u00a0g"),
        (_r(10.05762, Unit.OHM, 0.0135), "10.058 ± 0.027\u00a0Ω"),
        (_r(55.1234, Unit.WATT_HOUR, 0.6), "55.1 ± 1.2\u00a0Wh"),
        (_r(2750.0, Unit.RPM, 61.0), "2750 ± 122\u00a0rpm"),
        (_r(-0.0004, Unit.AMPERE, 0.01), "0.000 ± 0.020\u00a0A"),
        (_r(-54.2, Unit.DBM, 1.0), "−54.2 ± 2.0\u00a0dBm"),
        (_r(1.0, Unit.COUNT, 0.0), "1\u00a0piece"),
        (_r(12.0, Unit.COUNT, 0.0), "12\u00a0pieces"),
        (_r(0.97, Unit.ONE), "0.97 (uncertainty not stated)"),
        (_r(39.0294, Unit.WATT_HOUR), "39.03\u00a0Wh (uncertainty not stated)"),
        (_r(-12345.6, Unit.WATT_HOUR), "−12346\u00a0Wh (uncertainty not stated)"),
        (_r(None, Unit.WATT, reason="no sensor"), "unknown: no sensor"),
    ],
)
def test_readings_are_written_by_the_rule(reading: Reading, text: str) -> None:
    assert written(reading) == text


def test_figures_at_the_end_of_what_a_double_holds_still_make_a_page() -> None:
    assert written(_r(1e308, Unit.WATT, 1e308)).endswith(" ± inf\u00a0W")


def test_an_interval_needs_a_value_and_an_uncertainty() -> None:
    assert interval(_r(55.1, Unit.WATT_HOUR, 0.6)) == ("53.9", "56.3")
    assert interval(_r(55.1, Unit.WATT_HOUR)) is None
    assert interval(_r(None, Unit.WATT_HOUR, reason="gone")) is None


@pytest.mark.parametrize(
    ("lower", "upper", "text"),
    [
        (90.0, None, "at least 90\u00a0%"),
        (None, 0.3, "at most 0.3\u00a0%"),
        (0.0, 0.3, "from 0\u00a0% to 0.3\u00a0%"),
        (0.0, 0.0, "exactly 0\u00a0%"),
    ],
)
def test_limits_are_written_in_words(lower: float | None, upper: float | None, text: str) -> None:
    def quantity(value: float | None) -> Quantity | None:
        return None if value is None else Quantity(value=value, unit=Unit.PERCENT)

    limit = Limit(lower=quantity(lower), upper=quantity(upper), rule=Rule.SIMPLE, source="x")
    assert limit_written(limit) == text


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
