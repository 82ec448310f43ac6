"""The response of two thermal masses to a step of load, fitted to means of readings.

T(t) = T∞ − a1·e^(−t/τ1) − a2·e^(−t/τ2): two masses in a row (chip and heat sink) answer a step of power so,
wherever they begin. For given time constants the rest is linear and solved exactly (variable projection:
Golub and Pereyra, SIAM J. Numer. Anal. 10 (1973) 413); the time constants are searched on a grid, twice. The
95 % interval of T∞ is that of its profile likelihood: every T∞ for which some pair of time constants fits
almost as well as the best (Venzon and Moolgavkar, Appl. Statist. 37 (1988) 87).
"""

import math
from collections.abc import Sequence
from itertools import pairwise

import msgspec

from verify.measure.interval import Interval

__all__ = ["Mean", "TwoMass", "fit_two_mass"]

FAST_S = (2.0, 45.0)
"""Where the time constant of a chip below its heat sink lies, in s [common practice, no source]."""

SLOW_S = (40.0, 1200.0)
"""Where that of a heat sink and its case lies, in s [common practice, no source]."""

_APART = 2.0  # the two are told apart only where one is so many times the other
_FAST_STEPS, _SLOW_STEPS = 8, 22
_SLACKS = (4.0, 2.0, 1.0)  # each search lies around what the one before kept, the last one's is the interval
_LEAST_MEANS = 12
_BY_CHANCE = 2.0  # standard deviations of a correlation that is none
_CHI2_95 = 3.841458820694124  # of one degree of freedom


class Mean(msgspec.Struct, frozen=True, kw_only=True):
    """Readings close in time as one: their mean time in s, mean in °C, and how many they are."""

    at_s: float
    celsius: float
    count: float


class TwoMass(msgspec.Struct, frozen=True, kw_only=True):
    """The fitted response. steady_c: T∞ in °C; fast_s, slow_s: the time constants, each with 95 % bounds.

    noise_k: standard deviation of one reading about the curve, in K. open_ended: whether the longest time
    constant searched fits as well, so that nothing bounds T∞ on the side where it goes.
    """

    steady_c: Interval
    fast_s: Interval
    slow_s: Interval
    noise_k: float
    open_ended: bool


class _Fit(msgspec.Struct, frozen=True):
    """One pair of time constants: sum of squares, T∞, its variance for a noise of 1, a1 and a2 negated."""

    squares: float
    fast_s: float
    slow_s: float
    steady_c: float
    variance: float
    fast_k: float
    slow_k: float


def fit_two_mass(
    means: Sequence[Mean], *, within_squares: float, within_freedom: float, least_noise_k: float
) -> TwoMass | None:
    """Fit the response to means in order of time; None where they are too few or tell nothing.

    within_squares, within_freedom: squares in K² of the readings about their means, and how many are free.
    least_noise_k: noise of one reading that is there at least, in K, above 0 (its display step).
    """
    if len(means) < _LEAST_MEANS:
        return None
    data = _Data(means)
    fast, slow = _spaced(*FAST_S, _FAST_STEPS), _spaced(*SLOW_S, _SLOW_STEPS)
    fits: list[_Fit] = []
    kept, variance = fits, 0.0
    for slack in _SLACKS:
        fits += data.fits(fast, slow)
        if not fits:
            return None
        left = data.residuals(min(fits, key=lambda fit: fit.squares))
        variance = _noise_squared(left, within_squares, within_freedom, least_noise_k)
        kept = _kept(fits, variance, slack=slack)
        fast = _around([fit.fast_s for fit in kept], fast, FAST_S)
        slow = _around([fit.slow_s for fit in kept], slow, SLOW_S)
    best = min(fits, key=lambda fit: fit.squares)
    spans = [
        (fit.steady_c, math.sqrt((_CHI2_95 * variance - (fit.squares - best.squares)) * fit.variance))
        for fit in kept
    ]
    return TwoMass(
        steady_c=Interval(
            value=best.steady_c,
            low=min(middle - half for middle, half in spans),
            high=max(middle + half for middle, half in spans),
        ),
        fast_s=_interval(best.fast_s, [fit.fast_s for fit in kept]),
        slow_s=_interval(best.slow_s, [fit.slow_s for fit in kept]),
        noise_k=math.sqrt(variance),
        open_ended=any(fit.slow_s >= SLOW_S[1] for fit in kept),
    )


class _Data:
    """The means as columns, weighted by their counts; the time begins at the first."""

    def __init__(self, means: Sequence[Mean]) -> None:
        self._times = [mean.at_s - means[0].at_s for mean in means]
        self._weights = [mean.count for mean in means]
        self._middle = means[-1].celsius  # keeps the sums of squares small against each other
        self._heights = [mean.celsius - self._middle for mean in means]
        self._weighted = [w * y for w, y in zip(self._weights, self._heights, strict=True)]
        self._ones = math.fsum(self._weights)
        self._sum = math.fsum(self._weighted)
        self._squares = math.fsum(v * y for v, y in zip(self._weighted, self._heights, strict=True))

    def fits(self, fast: Sequence[float], slow: Sequence[float]) -> list[_Fit]:
        """Return the best fit for each pair of time constants that can be told apart."""
        slow_columns = [(tau, *self._column(tau)) for tau in slow]
        found = []
        for fast_s in fast:
            column, _, *fast_sums = self._column(fast_s)
            for slow_s, _, weighted, *slow_sums in slow_columns:
                if slow_s < _APART * fast_s:
                    continue
                both = sum(map(float.__mul__, weighted, column))
                fit = self._solve(fast_s, slow_s, fast_sums, slow_sums, both)
                if fit is not None:
                    found.append(fit)
        return found

    def _column(self, tau_s: float) -> tuple[list[float], list[float], float, float, float]:
        column = [math.exp(-time / tau_s) for time in self._times]
        weighted = list(map(float.__mul__, self._weights, column))
        return (
            column,
            weighted,
            sum(weighted),
            sum(map(float.__mul__, weighted, column)),
            sum(map(float.__mul__, self._weighted, column)),
        )

    def _solve(
        self, fast_s: float, slow_s: float, fast: Sequence[float], slow: Sequence[float], both: float
    ) -> _Fit | None:
        """Solve the normal equations of 1, e^(−t/τ1) and e^(−t/τ2) with the first one eliminated last."""
        n = self._ones
        # Centred sums: the two columns against each other, without their means.
        aa = fast[1] - fast[0] * fast[0] / n
        bb = slow[1] - slow[0] * slow[0] / n
        ab = both - fast[0] * slow[0] / n
        ay = fast[2] - fast[0] * self._sum / n
        by = slow[2] - slow[0] * self._sum / n
        yy = self._squares - self._sum * self._sum / n
        determinant = aa * bb - ab * ab
        if bb <= 0 or aa <= 0:
            return None
        if determinant <= 1e-9 * aa * bb:
            # The two cannot be told apart here: the slower one alone.
            b = by / bb
            steady = (self._sum - b * slow[0]) / n
            variance = 1 / n + (slow[0] / n) ** 2 / bb
            return _Fit(max(0.0, yy - b * by), fast_s, slow_s, self._middle + steady, variance, 0.0, b)
        a = (ay * bb - by * ab) / determinant
        b = (by * aa - ay * ab) / determinant
        steady = (self._sum - a * fast[0] - b * slow[0]) / n
        ma, mb = fast[0] / n, slow[0] / n
        variance = 1 / n + (ma * ma * bb - 2 * ma * mb * ab + mb * mb * aa) / determinant
        return _Fit(max(0.0, yy - a * ay - b * by), fast_s, slow_s, self._middle + steady, variance, a, b)

    def residuals(self, fit: _Fit) -> list[float]:
        """Return what the fit leaves of each mean, in K, times the root of its weight."""
        steady_k = fit.steady_c - self._middle
        return [
            math.sqrt(weight)
            * (
                height
                - steady_k
                - fit.fast_k * math.exp(-at_s / fit.fast_s)
                - fit.slow_k * math.exp(-at_s / fit.slow_s)
            )
            for at_s, weight, height in zip(self._times, self._weights, self._heights, strict=True)
        ]


def _noise_squared(
    left: Sequence[float], within_squares: float, within_freedom: float, least_noise_k: float
) -> float:
    """Return the variance of one reading: about its mean, or of the means about the curve if that is more.

    The second is more where readings hang together, or the curve is not quite theirs (a fan that follows).
    """
    about_curve = sum(one * one for one in left) / max(1, len(left) - 5) * _hang_together(left)
    about_means = within_squares / within_freedom if within_freedom > 0 else 0.0
    return max(about_curve, about_means, least_noise_k**2)


def _hang_together(residuals: Sequence[float]) -> float:
    """Return by how much the variance is more than told, as neighbours are off to the same side.

    A curve that is not quite theirs (a load that wanders) leaves residuals like a first-order autoregression
    of coefficient r: as many as (1 − r)/(1 + r) of them count (Bartlett, J. R. Stat. Soc. 98 (1935) 536). 1
    where r is no more than chance makes it.
    """
    squares = sum(one * one for one in residuals)
    if squares <= 0:
        return 1.0
    r = sum(one * two for one, two in pairwise(residuals)) / squares
    by_chance = _BY_CHANCE / math.sqrt(len(residuals))
    return 1.0 if r <= by_chance else (1 + r) / max(1 - r, 1e-3)


def _kept(fits: Sequence[_Fit], variance: float, *, slack: float) -> list[_Fit]:
    best = min(fit.squares for fit in fits)
    return [fit for fit in fits if fit.squares - best <= slack * _CHI2_95 * variance]


def _spaced(low: float, high: float, steps: int) -> list[float]:
    """Return `steps` + 1 values from low to high, each the same times the one before."""
    return [low * (high / low) ** (step / steps) for step in range(steps + 1)]


def _around(kept: Sequence[float], grid: Sequence[float], bounds: tuple[float, float]) -> list[float]:
    """Return a grid over the kept values and a step of the old grid on both sides, within the bounds."""
    ratio = grid[1] / grid[0]
    return _spaced(max(bounds[0], min(kept) / ratio), min(bounds[1], max(kept) * ratio), len(grid) - 1)


def _interval(value: float, kept: Sequence[float]) -> Interval:
    return Interval(value=value, low=min(kept), high=max(kept))
