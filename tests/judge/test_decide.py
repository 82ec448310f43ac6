"""Worked examples of published decision rules, and what must always hold of a judgement."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import integrate, stats

from verify.judge import Judgement, Limit, Rule, judge, judge_bracket, judge_tally
from verify.judge.probability import ONE_SIDED_Z, conformance_probability, normal_cdf
from verify.measure import combine, rectangular
from verify.values import Quantity, Reading, Unit, Verdict
from verify.values.errors import InvalidValueError, UnitMismatchError

GOOD, BAD, OPEN = Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED


def limit(
    lower: float | None = None,
    upper: float | None = None,
    *,
    unit: Unit = Unit.PERCENT,
    rule: Rule = Rule.GUARDED,
) -> Limit:
    return Limit(
        lower=None if lower is None else Quantity(value=lower, unit=unit),
        upper=None if upper is None else Quantity(value=upper, unit=unit),
        rule=rule,
        source="common practice, no source",
    )


def reading(
    value: float | None, u: float | None = None, *, unit: Unit = Unit.PERCENT, reason: str | None = None
) -> Reading:
    return Reading(value=value, unit=unit, standard_uncertainty=u, source="test", reason=reason)


# Published examples.


def test_single_limit_example_of_jcgm_106() -> None:
    # JCGM 106:2012, example with one limit: breakdown voltage, published p = 0.92 (value from memory).
    p = conformance_probability(-5.47, 0.05, upper=-5.40)
    assert p == pytest.approx(0.91924, abs=5e-6)
    assert p == pytest.approx(stats.norm.cdf(1.40), abs=1e-12)
    got = judge(reading(-5.47, 0.05, unit=Unit.VOLT), limit(upper=-5.40, unit=Unit.VOLT))
    assert got.verdict is OPEN
    assert got.probability == pytest.approx(0.92, abs=0.005)


def test_consumer_and_producer_risk_of_the_resistor_example_of_jcgm_106() -> None:
    # JCGM 106:2012, clause 9, resistor example: published about 1 % and 7 % (values from memory). The prior
    # and the integral are scipy's, the chance to be accepted is ours.
    prior = stats.norm(1500.0, 0.12)

    def accepted(true_ohm: float) -> float:
        return conformance_probability(true_ohm, 0.04, lower=1499.82, upper=1500.18)

    def area(weight: float, low: float, high: float, *, of_accepted: bool) -> float:
        def density(ohm: float) -> float:
            return float(prior.pdf(ohm)) * (accepted(ohm) if of_accepted else 1 - accepted(ohm)) * weight

        return float(integrate.quad(density, low, high, epsabs=1e-10)[0])

    consumer = area(1, 1499.0, 1499.80, of_accepted=True) + area(1, 1500.20, 1501.0, of_accepted=True)
    producer = area(1, 1499.80, 1500.20, of_accepted=False)
    # The same once more from the bivariate normal distribution of true value and reading.
    both = stats.multivariate_normal([0, 0], [[0.12**2, 0.12**2], [0.12**2, 0.12**2 + 0.04**2]])
    in_and_accepted = float(both.cdf([0.20, 0.18], lower_limit=[-0.20, -0.18]))
    all_accepted = float(stats.norm(0, math.hypot(0.12, 0.04)).cdf(0.18) * 2 - 1)
    assert consumer == pytest.approx(all_accepted - in_and_accepted, abs=1e-6)
    in_tolerance = conformance_probability(1500.0, 0.12, lower=1499.80, upper=1500.20)
    assert in_tolerance == pytest.approx(0.9044, abs=5e-5)
    assert consumer == pytest.approx(0.00988, abs=5e-6)
    assert producer == pytest.approx(0.0690, abs=5e-5)


@pytest.mark.parametrize(
    ("deviation_mm", "verdict"),
    [
        # A published calibration training example: +0.0017 mm passes, +0.0025 mm passes only conditionally,
        # limit ±0.0030 mm, U = 0.0010 mm (k = 2). There w = U; the ISO 14253-1:2017 band is narrower and
        # comes to the same.
        pytest.param(0.0017, GOOD, id="well-inside"),
        pytest.param(0.0025, OPEN, id="in-the-guard-band"),
    ],
)
def test_micrometer_example_of_ilac_g8(deviation_mm: float, verdict: Verdict) -> None:
    bounds = limit(-0.0030, 0.0030, unit=Unit.MILLIMETRE)
    assert judge(reading(deviation_mm, 0.0005, unit=Unit.MILLIMETRE), bounds).verdict is verdict


@pytest.mark.parametrize(
    ("full_wh", "ratio", "u", "p", "verdict", "said"),
    [
        pytest.param(
            46.80, 93.60, 1.621, 0.9868, GOOD, "93.6 % ± 3.2 % against at least 90 %: good.", id="sure"
        ),
        pytest.param(
            45.75,
            91.50,
            1.585,
            0.8280,
            OPEN,
            "91.5 % ± 3.2 % against at least 90 %: cannot tell yet. Leans to good, 82 % sure; 95 % is asked.",
            id="leans-to-good",
        ),
        pytest.param(
            44.50,
            89.00,
            1.542,
            0.2583,
            OPEN,
            "89.0 % ± 3.1 % against at least 90 %: cannot tell yet. "
            "Leans to not good, 74 % sure; 95 % is asked.",
            id="leans-to-not-good",
        ),
    ],
)
def test_capacity_near_its_limit(
    full_wh: float, ratio: float, u: float, p: float, verdict: Verdict, said: str
) -> None:
    # Arithmetic of JCGM 106:2012 and ISO 14253-1:2017; gauge ±3 % rectangular, design 50.00 Wh exact.
    percent = 100 * full_wh / 50.00
    uncertainty = percent * rectangular(0.03)
    assert percent == pytest.approx(ratio)
    assert uncertainty == pytest.approx(u, abs=5e-4)
    got = judge(reading(percent, uncertainty), limit(lower=90))
    assert got.verdict is verdict
    assert got.probability == pytest.approx(p, abs=5e-5)
    assert got.probability == pytest.approx(stats.norm.sf(90, percent, uncertainty), abs=1e-12)
    assert got.because == said


def test_acceptance_limit_lies_one_guard_band_inside() -> None:
    u = 1.621  # acceptance limit 92.667 % in the example above
    edge = 90 + ONE_SIDED_Z * u
    assert edge == pytest.approx(92.667, abs=1e-3)
    assert judge(reading(edge, u), limit(lower=90)).verdict is GOOD
    assert judge(reading(edge - 1e-6, u), limit(lower=90)).verdict is OPEN
    assert judge(reading(90 - ONE_SIDED_Z * u, u), limit(lower=90)).verdict is OPEN
    assert judge(reading(90 - ONE_SIDED_Z * u - 1e-6, u), limit(lower=90)).verdict is BAD


def test_two_sided_probability() -> None:
    # JCGM 106:2012, two limits: 0.10 to 0.40, y = 0.30, u = 0.05.
    assert conformance_probability(0.30, 0.05, lower=0.10, upper=0.40) == pytest.approx(0.97722, abs=5e-6)


@pytest.mark.parametrize(
    ("p", "z"),
    [(0.80, 0.8416), (0.90, 1.2816), (0.95, 1.6449), (0.975, 1.9600), (0.99, 2.3263), (0.999, 3.0902)],
)
def test_normal_table(p: float, z: float) -> None:
    # Table of the standard normal distribution, any statistics handbook.
    assert normal_cdf(z) == pytest.approx(p, abs=2e-5)


@pytest.mark.parametrize(
    ("band_in_u_expanded", "false_accept", "tolerance"),
    [
        # Guard bands of ILAC-G8:09/2019, table 1 (values from memory), k = 2.
        pytest.param(3.0, 9.9e-10, 1e-11, id="six-sigma"),
        pytest.param(1.5, 0.00135, 5e-6, id="three-sigma"),
        pytest.param(1.0, 0.02275, 5e-6, id="w-is-U"),
        pytest.param(0.83, 0.0485, 5e-5, id="iso-14253-1-2017"),
        pytest.param(0.0, 0.50, 1e-12, id="simple"),
    ],
)
def test_worst_false_accept_of_a_guard_band(
    band_in_u_expanded: float, false_accept: float, tolerance: float
) -> None:
    at_acceptance_limit = 10.0 - band_in_u_expanded * 2.0
    p = conformance_probability(-at_acceptance_limit, 1.0, upper=-10.0)
    assert p == pytest.approx(false_accept, abs=tolerance)


def test_a_wide_span_of_feeler_leaves_against_a_normal_curve() -> None:
    # 0.20 enters, 0.25 does not, limit 0.25: the interval says good where a normal curve says only 95.8 %.
    u = rectangular(0.025)
    assert u == pytest.approx(0.01443, abs=5e-6)
    assert conformance_probability(0.225, u, upper=0.25) == pytest.approx(0.958, abs=5e-4)
    assert combine(u, rectangular(0.005)) == pytest.approx(0.01472, abs=5e-6)
    bounds = limit(upper=0.25, unit=Unit.MILLIMETRE, rule=Rule.SIMPLE)
    assert judge_bracket(0.20, 0.25, bounds, Unit.MILLIMETRE).verdict is GOOD


# The order of the rules, and what is said.


@pytest.mark.parametrize("rule", [Rule.SIMPLE, Rule.GUARDED, Rule.COUNT])
def test_unknown_is_undecided_with_its_reason(rule: Rule) -> None:
    got = judge(reading(None, reason="The gauge does not answer."), limit(lower=90, rule=rule))
    assert got == Judgement(verdict=OPEN, because="Cannot tell yet: The gauge does not answer.")


@pytest.mark.parametrize("rule", [Rule.SIMPLE, Rule.GUARDED, Rule.COUNT])
def test_doubted_is_undecided_however_good(rule: Rule) -> None:
    got = judge(reading(240.0, 0.1, reason="Beyond what a pack can hold."), limit(lower=90, rule=rule))
    assert got.verdict is OPEN
    assert "240.00 % ± 0.20 %" in got.because
    assert "Beyond what a pack can hold." in got.because


@pytest.mark.parametrize(
    ("value", "rule", "verdict", "said"),
    [
        pytest.param(90.0, Rule.SIMPLE, GOOD, "90 % against at least 90 %: good.", id="at-the-limit"),
        pytest.param(
            89.9999, Rule.SIMPLE, BAD, "89.9999 % against at least 90 %: not good.", id="just-missed"
        ),
        pytest.param(
            95.0,
            Rule.GUARDED,
            OPEN,
            "95 % against at least 90 %: cannot tell yet. Nobody stated how sure the reading is.",
            id="nobody-said-how-sure",
        ),
        pytest.param(
            12.5,
            Rule.INFORM,
            Verdict.NOT_APPLICABLE,
            "12.5 %: recorded only, no limit judged.",
            id="inform-never-fails",
        ),
    ],
)
def test_value_alone(value: float, rule: Rule, verdict: Verdict, said: str) -> None:
    got = judge(reading(value), limit(lower=90, rule=rule))
    assert (got.verdict, got.because) == (verdict, said)


def test_inform_with_nothing_read_does_not_hold_and_does_not_pass() -> None:
    got = judge(reading(None, reason="No sensor."), limit(lower=90, rule=Rule.INFORM))
    assert got.verdict is Verdict.NOT_APPLICABLE
    assert got.because == "Not read (No sensor): recorded only, no limit judged."


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(13, GOOD), (12, BAD), (14, BAD), (12.5, OPEN)],
    ids=["all", "short", "over", "half"],
)
def test_count_is_exact(value: float, verdict: Verdict) -> None:
    bounds = limit(13, 13, unit=Unit.COUNT, rule=Rule.COUNT)
    got = judge(reading(value, 0, unit=Unit.COUNT), bounds)
    assert got.verdict is verdict
    assert "against exactly 13 pieces" in got.because


def test_a_measured_value_with_no_uncertainty_at_all_needs_no_guard() -> None:
    assert judge(reading(90.0, 0.0), limit(lower=90)).verdict is GOOD


@pytest.mark.parametrize("value", [0.0, 0.05, 0.1])
def test_a_method_wider_than_the_band_never_passes(value: float) -> None:
    bounds = limit(0.0, 0.1, unit=Unit.VOLT)
    got = judge(reading(value, 0.05, unit=Unit.VOLT), bounds)
    assert got.verdict is OPEN
    assert "The method is not good enough" in got.because


def test_a_method_wider_than_the_band_can_still_fail() -> None:
    assert judge(reading(0.3, 0.05, unit=Unit.VOLT), limit(0.0, 0.1, unit=Unit.VOLT)).verdict is BAD


def test_between_two_near_bounds_both_tails_count() -> None:
    # Inside both acceptance limits, and yet not 95 % sure: 3.9 u of band, a little off the middle.
    bounds = limit(0.0, 3.94, unit=Unit.VOLT)
    value = 3.94 - 1.65
    assert conformance_probability(value, 1.0, lower=0.0, upper=3.94) < 0.95
    assert judge(reading(value, 1.0, unit=Unit.VOLT), bounds).verdict is OPEN
    assert judge(reading(1.97, 1.0, unit=Unit.VOLT), bounds).verdict is GOOD


@pytest.mark.parametrize(
    ("value", "unit", "verdict"),
    [
        pytest.param(0.9, Unit.ONE, GOOD, id="fraction-at-the-limit"),
        pytest.param(0.07, Unit.ONE, BAD, id="fraction-below"),
        pytest.param(90.0, Unit.PERCENT, GOOD, id="same-unit"),
    ],
)
def test_units_are_converted_to_the_limit(value: float, unit: Unit, verdict: Verdict) -> None:
    got = judge(reading(value, unit=unit), limit(lower=90, rule=Rule.SIMPLE))
    assert got.verdict is verdict
    assert "% against at least 90 %" in got.because


def test_conversion_does_not_push_a_reading_over_its_limit() -> None:
    # 0.07 × 100 is 7.000000000000001 in binary.
    assert judge(reading(0.07, unit=Unit.ONE), limit(upper=7, rule=Rule.SIMPLE)).verdict is GOOD


@pytest.mark.parametrize("known", [True, False])
def test_a_rise_is_not_compared_with_a_temperature(*, known: bool) -> None:
    bounds = limit(upper=48, unit=Unit.CELSIUS, rule=Rule.SIMPLE)
    rise = reading(18.5, unit=Unit.KELVIN) if known else reading(None, unit=Unit.KELVIN, reason="none")
    with pytest.raises(UnitMismatchError):
        judge(rise, bounds)


@pytest.mark.parametrize(
    ("value", "lower", "upper", "probability"),
    [
        (5, 5, None, 1), (4.9, 5, None, 0), (5, None, 5, 1), (5.1, None, 5, 0),
        (5, 4, 6, 1), (7, 4, 6, 0), (3, 4, 6, 0),
    ],
)  # fmt: skip
def test_without_uncertainty_the_probability_is_0_or_1(
    value: float, lower: float | None, upper: float | None, probability: float
) -> None:
    assert conformance_probability(value, 0.0, lower=lower, upper=upper) == probability


# Spans and tallies.


@pytest.mark.parametrize(
    ("enters", "stops", "lower", "upper", "verdict"),
    [
        pytest.param(0.20, 0.25, None, 0.30, GOOD, id="wholly-under"),
        pytest.param(0.25, 0.30, None, 0.30, GOOD, id="upper-end-at-the-limit"),
        pytest.param(0.30, 0.35, None, 0.30, BAD, id="lower-end-at-the-limit"),
        pytest.param(0.20, 0.40, None, 0.30, OPEN, id="across-the-limit"),
        pytest.param(0.0, 0.05, None, 0.30, GOOD, id="not-even-the-thinnest"),
        pytest.param(1.00, None, None, 0.30, BAD, id="even-the-thickest"),
        pytest.param(0.20, None, None, 0.30, OPEN, id="too-few-leaves"),
        pytest.param(0.05, 0.10, 0.10, 0.30, BAD, id="wholly-below-a-lower-bound"),
        pytest.param(0.05, 0.20, 0.10, 0.30, OPEN, id="across-a-lower-bound"),
        pytest.param(0.10, 0.20, 0.10, 0.30, GOOD, id="within-both"),
        pytest.param(0.10, 0.20, 0.10, None, GOOD, id="no-upper-bound"),
        pytest.param(1.00, None, 0.10, None, GOOD, id="even-the-thickest-without-an-upper-bound"),
        pytest.param(0.05, 0.10, 0.10, None, BAD, id="wholly-below-without-an-upper-bound"),
    ],
)
@pytest.mark.parametrize("rule", [Rule.SIMPLE, Rule.GUARDED])
def test_span_is_judged_as_an_interval(
    enters: float,
    stops: float | None,
    lower: float | None,
    upper: float | None,
    verdict: Verdict,
    rule: Rule,
) -> None:
    bounds = limit(lower, upper, unit=Unit.MILLIMETRE, rule=rule)
    got = judge_bracket(enters, stops, bounds, Unit.MILLIMETRE)
    assert got.verdict is verdict
    assert ("Take the next leaf" in got.because) == (verdict is OPEN)


def test_span_with_the_leaves_swapped_is_refused() -> None:
    with pytest.raises(InvalidValueError, match="cannot be"):
        judge_bracket(0.25, 0.20, limit(upper=0.3, unit=Unit.MILLIMETRE), Unit.MILLIMETRE)


def test_span_in_another_dimension_is_refused() -> None:
    with pytest.raises(UnitMismatchError):
        judge_bracket(0.2, 0.25, limit(upper=48, unit=Unit.CELSIUS), Unit.MILLIMETRE)


def test_span_that_only_informs() -> None:
    bounds = limit(upper=0.3, unit=Unit.MILLIMETRE, rule=Rule.INFORM)
    assert judge_bracket(1.0, None, bounds, Unit.MILLIMETRE).verdict is Verdict.NOT_APPLICABLE


@pytest.mark.parametrize(
    ("missing", "verdict", "said"),
    [
        pytest.param(0, GOOD, "All accounted for: good.", id="all"),
        pytest.param(1, BAD, "1 missing: not good.", id="12-of-13"),
        pytest.param(-1, BAD, "1 more than came out: not good. Count again.", id="one-left-over"),
    ],
)
def test_tally(missing: int, verdict: Verdict, said: str) -> None:
    got = judge_tally(missing)
    assert (got.verdict, got.because, got.probability) == (verdict, said, None)


# What must always hold.

_ORDER = {BAD: 0, OPEN: 1, GOOD: 2}
_values = st.floats(-1e3, 1e3)
_rules = st.sampled_from([Rule.SIMPLE, Rule.GUARDED])


@given(_values, _values, st.floats(0, 100), _values, _rules)
def test_judgement_rises_with_the_reading_for_a_lower_limit(
    one: float, other: float, u: float, bound: float, rule: Rule
) -> None:
    low, high = sorted((one, other))
    bounds = limit(lower=bound, rule=rule)
    first, second = judge(reading(low, u), bounds), judge(reading(high, u), bounds)
    assert _ORDER[first.verdict] <= _ORDER[second.verdict]


@given(_values, _values, st.floats(0, 100), _values, _rules)
def test_judgement_falls_with_the_reading_for_an_upper_limit(
    one: float, other: float, u: float, bound: float, rule: Rule
) -> None:
    low, high = sorted((one, other))
    bounds = limit(upper=bound, rule=rule)
    first, second = judge(reading(low, u), bounds), judge(reading(high, u), bounds)
    assert _ORDER[first.verdict] >= _ORDER[second.verdict]


@given(_values, st.floats(0, 20), st.floats(0, 100), st.floats(-0.2, 1.2))
def test_a_guarded_pass_is_a_simple_pass_and_at_least_95_percent_sure(
    lower: float, u: float, width: float, share: float
) -> None:
    value, upper = lower + share * width, lower + width
    got = judge(reading(value, u), limit(lower, upper))
    simple = judge(reading(value, u), limit(lower, upper, rule=Rule.SIMPLE))
    if got.verdict is GOOD:
        assert simple.verdict is GOOD
        assert got.probability is not None
        assert got.probability >= 0.95 - 1e-9
    if simple.verdict is BAD:
        assert got.verdict is not GOOD


@given(_values, st.floats(1e-6, 100), _values, _values)
def test_probability_agrees_with_scipy(value: float, u: float, one: float, other: float) -> None:
    lower, upper = sorted((one, other))
    expected = stats.norm.cdf(upper, value, u) - stats.norm.cdf(lower, value, u)
    assert conformance_probability(value, u, lower=lower, upper=upper) == pytest.approx(expected, abs=1e-9)


@given(st.text(min_size=1), st.sampled_from(list(Rule)), _values)
def test_unknown_never_passes(reason: str, rule: Rule, bound: float) -> None:
    verdict = judge(reading(None, reason=reason), limit(lower=bound, rule=rule)).verdict
    assert verdict is (Verdict.NOT_APPLICABLE if rule is Rule.INFORM else OPEN)


@given(_values, st.floats(0, 100), _values)
def test_what_is_printed_is_on_the_side_that_was_judged(value: float, u: float, bound: float) -> None:
    got = judge(reading(value, u), limit(lower=bound, rule=Rule.SIMPLE))
    printed = float(got.because.split(" ", 1)[0])
    assume(abs(value - bound) > 1e-9 * max(1.0, abs(bound)))
    assert math.copysign(1, printed - bound) == math.copysign(1, value - bound)
