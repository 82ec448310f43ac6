"""The quantile of a sum of errors, against closed forms, SciPy and simulation."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from verify.measure.coverage import half_width
from verify.values.errors import InvalidValueError


def test_one_rectangle_is_its_share() -> None:
    assert half_width([2.0]) == pytest.approx(1.9, rel=1e-4)
    assert half_width([2.0], coverage=0.9) == pytest.approx(1.8, rel=1e-4)


def test_two_equal_rectangles_are_a_triangle() -> None:
    # The sum of two equal rectangles is triangular (JCGM 101:2008, 6.4.5, from memory): P(|x| > h) = (1 -
    # h/2a)².
    assert half_width([1.0, 1.0]) == pytest.approx(2 * (1 - math.sqrt(0.05)), rel=1e-4)


@pytest.mark.parametrize(("a", "b"), [(1.0, 0.5), (1.0, 0.2), (3.0, 0.6), (1.0, 0.01), (0.03, 1.0)])
def test_two_unequal_rectangles_are_a_trapezoid(a: float, b: float) -> None:
    # The trapezoid of JCGM 101:2008, 6.4.4 (from memory): its tails are parabolas, its top is flat.
    wide, narrow = max(a, b), min(a, b)
    tail = a + b - math.sqrt(0.2 * a * b)
    exact = tail if tail >= wide - narrow else 0.95 * wide
    assert half_width([a, b]) == pytest.approx(exact, rel=1e-4)


def test_only_normal_errors_take_the_normal_factor() -> None:
    assert half_width([], 2.0) == pytest.approx(2 * stats.norm.ppf(0.975))
    assert half_width([0.0], 2.0, coverage=0.9) == pytest.approx(2 * stats.norm.ppf(0.95))


def test_no_error_reaches_nowhere() -> None:
    assert half_width([]) == 0
    assert half_width([0.0, 0.0], 0.0) == 0


@pytest.mark.parametrize(
    ("a", "sigma"), [(1.0, 0.1), (1.0, 0.5), (1.0, 2.0), (1.0, 0.02), (0.001, 1.0)], ids=str
)
def test_rectangle_with_normal_agrees_with_numeric_integration(a: float, sigma: float) -> None:
    h = half_width([a], sigma)

    def beyond(at: float) -> float:
        return float(stats.norm.sf((h - at) / sigma) + stats.norm.cdf((-h - at) / sigma))

    share, _ = integrate.quad(beyond, -a, a, limit=400, points=[0.0, min(a, h) * 0.999])
    assert 1 - share / (2 * a) == pytest.approx(0.95, abs=2e-5)


@pytest.mark.parametrize("n", [3, 5, 12])
def test_many_equal_rectangles_agree_with_irwin_hall(n: int) -> None:
    # SciPy's Irwin-Hall: the sum of n rectangles on 0 to 1.
    exact = stats.irwinhall(n).ppf(0.975) - n / 2
    assert half_width([0.5] * n) == pytest.approx(exact, rel=1e-4)


@pytest.mark.parametrize(
    ("rectangles", "sigma"),
    [((0.03, 0.06, 0.005, 0.002), 0.001), ((5.0, 1.0, 0.2), 0.7), ((1.0, 0.9, 0.8, 0.05), 0.0)],
    ids=["capacity", "one dominates", "three alike"],
)
def test_a_simulation_is_covered_in_95_of_100(rectangles: tuple[float, ...], sigma: float) -> None:
    draws = 400_000
    generator = stats.uniform
    total = stats.norm.rvs(scale=1.0, size=draws, random_state=7) * sigma
    for seed, a in enumerate(rectangles):
        total = total + generator.rvs(-a, 2 * a, size=draws, random_state=100 + seed)
    share = float((abs(total) <= half_width(rectangles, sigma)).mean())
    assert share == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / draws))


_WIDTH = st.floats(0, 1e3, allow_subnormal=False)


@settings(max_examples=60, deadline=None)
@given(rectangles=st.lists(_WIDTH, min_size=1, max_size=7), sigma=_WIDTH)
def test_it_lies_between_what_the_widest_part_and_all_together_reach(
    rectangles: list[float], sigma: float
) -> None:
    h = half_width(rectangles, sigma)
    assert h <= 0.9501 * sum(rectangles) + 4 * sigma + 1e-9 or h <= sum(rectangles) + 1.9601 * sigma
    assert h >= 0.949 * max(rectangles) * (1 - 1e-3)
    assert h >= 1.9599 * sigma * (1 - 1e-3)
    assert half_width([*reversed(rectangles)], sigma) == pytest.approx(h, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(rectangles=st.lists(st.floats(0.01, 1), min_size=1, max_size=5), factor=st.floats(1e-6, 1e6))
def test_the_unit_does_not_matter(rectangles: list[float], factor: float) -> None:
    scaled = half_width([factor * one for one in rectangles], 0.1 * factor)
    assert scaled == pytest.approx(factor * half_width(rectangles, 0.1), rel=1e-4)


@pytest.mark.parametrize(
    ("rectangles", "sigma", "coverage"),
    [
        ([-1.0], 0.0, 0.95),
        ([math.nan], 0.0, 0.95),
        ([1.0], -1.0, 0.95),
        ([1.0], math.inf, 0.95),
        ([1.0], 0.0, 1.0),
    ],
)
def test_widths_that_cannot_be_are_refused(rectangles: list[float], sigma: float, coverage: float) -> None:
    with pytest.raises(InvalidValueError):
        half_width(rectangles, sigma, coverage=coverage)
