"""How far a sum of independent errors reaches: its exact 95 % quantile, not 1.96 standard deviations.

An error that is as likely anywhere within bounds (rectangular) and that dominates makes the normal factor
wrong: one rectangle alone reaches 1.65 of its standard deviations, no more.

Source: inversion of the characteristic function, J. Gil-Pelaez, Biometrika 38 (1951) 481; what it stands in
for is the propagation of distributions of JCGM 101:2008, done there by simulation (from memory).
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist

from verify.values.errors import InvalidValueError

__all__ = ["COVERAGE", "ONE_SIDED", "ONE_SIDED_Z", "half_width"]

COVERAGE = 0.95
"""Of an interval with two bounds."""

ONE_SIDED = 0.90
"""Coverage whose one bound alone is crossed in 5 % of cases."""

ONE_SIDED_Z = 1.6448536269514722
"""The same in standard deviations of a normal error: what a judge takes a reading's uncertainty times."""

# A trace of normal error is put into every sum, so that the series ends: it moves the quantile by less than
# a ten-thousandth of the standard deviation.
_TRACE = 0.004
_ENDS_BELOW = 1e-7
_NORMAL_REACH = 5.5
_DIGITS = 4  # of each part over the whole


def _series(rectangles: Sequence[float], normal: float, length: float) -> tuple[tuple[float, float], ...]:
    """Return (angular frequency, weight) of E[sign(x - S)] as a sine series of half period `length`."""
    terms = []
    k = 1
    while True:
        t = k * math.pi / length
        weight = math.exp(-((normal * t) ** 2) / 2)
        bound = weight
        for a in rectangles:
            angle = a * t
            if angle > 1e-9:
                weight *= math.sin(angle) / angle
            if angle > 1:
                bound /= angle
        terms.append((t, weight / k))
        if bound / k < _ENDS_BELOW:
            return tuple(terms)
        k += 2


@lru_cache(maxsize=4096)
def _standard(rectangles: tuple[float, ...], normal: float, coverage: float) -> float:
    """Return the quantile of a sum whose standard deviation is about 1."""
    normal = max(normal, _TRACE)
    reach = sum(rectangles) + _NORMAL_REACH * normal
    series = _series(rectangles, normal, 2 * reach)
    low, high = 0.0, reach
    x = min(NormalDist().inv_cdf((1 + coverage) / 2), reach)
    # Newton's method, held between bounds that close in: the density may be flat or fall to nothing.
    for _ in range(60):
        within = density = 0.0
        for t, weight in series:
            within += weight * math.sin(t * x)
            density += weight * t * math.cos(t * x)
        miss = 4 / math.pi * within - coverage
        low, high = (low, x) if miss > 0 else (x, high)
        if abs(miss) < 1e-9 or high - low < 1e-9:
            break
        step = miss / (4 / math.pi * density) if density > 0 else math.inf
        x = x - step if low < x - step < high else (low + high) / 2
    return x


def half_width(rectangles: Sequence[float], normal: float = 0.0, *, coverage: float = COVERAGE) -> float:
    """Return h so that a sum of independent errors lies within ±h with probability `coverage`.

    rectangles: half-widths of rectangular errors, 0 or more. normal: standard deviation of a normal error,
    0 or more; the unit is the same. coverage: above 0, below 1. Exact to a ten-thousandth of h.
    Raises InvalidValueError otherwise.
    """
    if not 0 < coverage < 1:
        raise InvalidValueError(f"A coverage is between 0 and 1, not {coverage:g}.")
    if not all(math.isfinite(one) and one >= 0 for one in (*rectangles, normal)):
        raise InvalidValueError("An error's width is a number of 0 or more.")
    scale = math.hypot(*(a / math.sqrt(3) for a in rectangles), normal)
    if scale == 0:
        return 0.0
    # What is below a thousandth of the whole only lengthens the sum: it joins the normal part.
    small = sum((a / scale) ** 2 for a in rectangles if a < 1e-3 * scale) / 3
    # Rounded, so that a watch that goes on finds what it has computed before.
    large = tuple(sorted(round(a / scale, _DIGITS) for a in rectangles if a >= 1e-3 * scale))
    if not large:
        return scale * NormalDist().inv_cdf((1 + coverage) / 2)
    return scale * _standard(large, round(math.sqrt((normal / scale) ** 2 + small), _DIGITS), coverage)
