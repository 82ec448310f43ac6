"""The taper of a charge: at constant voltage the current falls about as I0 · exp(−t/τ).

ln I is fitted by a line: weighted least squares, each look weighed by the time that it stands for and
forgotten over half a time constant, as no cell's taper is one exponential throughout. The fit tells how
long it will take to a given current, and what charge comes until then.
"""

import math

import msgspec

from verify.measure.interval import Interval

__all__ = ["ENDS_C", "USUAL_END_C", "Taper", "TaperFit", "time_left"]

ENDS_C = (0.02, 0.1)
"""Where chargers end a charge, in C: nobody tells a given one's [cell specifications; common practice]."""

USUAL_END_C = 0.05
"""A common cell specification's cut-off, in C."""

_FORGOTTEN_S = (60.0, 420.0)  # at least and at most
_ANEW_S = 20.0
_LEAST_S = 120.0  # so long must a taper have been seen
_LEAST_FALL = 0.04  # and so much the current must have fallen
# What τ will be until the end, against what it is now, from a rate in C on: the open-circuit curve of some
# cells has a shoulder there, on which the current hardly falls. First in 90 % of looks, for a time that is
# shown and put right as it goes; then in 95 %, for a charge that is judged by. Published cells charged at
# 0.3 to 1 C.
_TAU_SOON = ((0.3, (0.2, 1.6)), (0.2, (0.4, 1.35)), (0.0, (0.72, 1.35)))
_TAU_LATER = ((0.2, (0.27, 1.8)), (0.0, (0.60, 1.6)))

_ENDS_WATCHED_C = (0.047, 0.056)
"""Where the watch for full ends it, and a usual charger, in C. One that ends earlier makes the wait
shorter.
"""

_WINDOWS_S = 80.0
"""Full is told two windows of 40 s after the current has fallen that far, at the latest."""

# Where constant voltage begins, as a level: 1 − (a + b · rate in C). Published cells at 0.3 to 1 C.
_BEGINS_EARLIEST, _BEGINS, _BEGINS_LATEST = (0.09, 0.17), (0.05, 0.11), (0.02, 0.05)
_VOLTS_A_LEVEL = (0.6, 2.0)
"""How fast the open-circuit voltage of a cell rises with its level from here on, in V [published cells]."""

_VOLTS_FROM = 0.6

_LEVEL_DOUBT = 0.01
_SHAPE_NOW, _SHAPE_AHEAD = (0.72, 1.05), (0.75, 1.0)
"""The time for a charge in the taper against that of an exponential: shoulders make it shorter."""
_RATE_DOUBT = 0.05  # a charge that is shared with the machine does not keep its rate


class TaperFit(msgspec.Struct, frozen=True, kw_only=True):
    """The line at the last look.

    current_a: on it, above 0. tau_s: above 0; tau_u_s: its standard uncertainty.
    """

    current_a: float
    tau_s: float
    tau_u_s: float


class Taper:
    """The fit, look by look, in constant memory.

    forgotten_s: what lies so long back counts 1/e; infinite for a plain fit; None: half of τ, 1 to 7
    minutes.
    """

    def __init__(self, *, forgotten_s: float | None = None) -> None:
        self._given_s = forgotten_s
        self.clear()

    def clear(self) -> None:
        """Begin anew: the constant voltage was left."""
        # Sums of w, w·t, w·t², w·y, w·t·y, w·y², w²; t counted from the last look.
        self._w = self._wt = self._wtt = self._wy = self._wty = self._wyy = self._ww = 0.0
        self._at_s: float | None = None
        self._seen_s = self._fitted_s = 0.0
        self._forgotten_s = _FORGOTTEN_S[1] if self._given_s is None else self._given_s

    @property
    def begun(self) -> bool:
        """Whether a current was seen since the taper began."""
        return self._at_s is not None

    def see(self, at_s: float, current_a: float) -> None:
        """Take in the current, in A, at a time in s, rising; one of 0 or less is passed over."""
        if current_a <= 0:
            return
        if self._at_s is None:
            passed_s = 1.0
        else:
            passed_s = at_s - self._at_s
            if passed_s <= 0:
                return
            self._seen_s += passed_s
            self._shift(passed_s)
        self._at_s = at_s
        weight, y = passed_s, math.log(current_a)
        self._w += weight
        self._wy += weight * y
        self._wyy += weight * y * y
        self._ww += weight * weight
        if self._given_s is None and self._seen_s - self._fitted_s >= _ANEW_S:
            self._fitted_s = self._seen_s
            fit = self.fit
            if fit is not None:
                self._forgotten_s = min(max(fit.tau_s / 2, _FORGOTTEN_S[0]), _FORGOTTEN_S[1])

    def _shift(self, passed_s: float) -> None:
        keep = math.exp(-passed_s / self._forgotten_s)
        self._wtt = keep * (self._wtt - 2 * passed_s * self._wt + passed_s * passed_s * self._w)
        self._wty = keep * (self._wty - passed_s * self._wy)
        self._wt = keep * (self._wt - passed_s * self._w)
        self._w *= keep
        self._wy *= keep
        self._wyy *= keep
        self._ww *= keep * keep

    def time_left(self, capacity_ah: float, *, level: float | None = None) -> Interval | None:
        """Return the time to full as the watch for it tells it, in s, with its band; None without a fit.

        capacity_ah: what C is reckoned from, above 0. level: as the gauge tells it, 0 to 1; where what it
        leaves to come agrees with the fit, it narrows the band. The value is for an end at 0.05 C. The band
        holds what becomes of τ, the error of the fit and an end at 0.047 to 0.056 C: a charger that ends
        its charge earlier says so by its own word, and is full before.
        """
        fit = self.fit
        if fit is None:
            return None
        first, last = _tau_later(fit, capacity_ah, _TAU_SOON)
        shortest, longest = (
            max(0.0, math.log(fit.current_a / (end_c * capacity_ah))) for end_c in reversed(_ENDS_WATCHED_C)
        )
        usual = max(0.0, math.log(fit.current_a / (USUAL_END_C * capacity_ah)))
        value, low, high = fit.tau_s * usual, first * shortest, last * longest
        told = None if level is None else _by_level(level, fit.current_a / capacity_ah)
        if told is not None:
            # What both allow; where they contradict each other, what either does.
            agree = told.low < high and told.high > low
            lows, highs = (low, told.low), (high, told.high)
            low, high = (max(lows), min(highs)) if agree else (min(lows), max(highs))
            value = (value + told.value) / 2
            value = value if low <= value <= high else (low + high) / 2
        return _ordered(value + _WINDOWS_S, low, high + 1.5 * _WINDOWS_S)

    def charge_to_come(self, capacity_ah: float, *, ends_c: tuple[float, float] = ENDS_C) -> Interval | None:
        """Return the charge that will still go in, in Ah, with its band; None without a fit.

        capacity_ah: what C is reckoned from, above 0. ends_c: where the charger may end it. The value is
        for an end at 0.05 C.
        """
        fit = self.fit
        if fit is None:
            return None
        first, last = _tau_later(fit, capacity_ah, _TAU_LATER)
        usual, least, most = (
            max(0.0, fit.current_a - end_c * capacity_ah) / 3600
            for end_c in (USUAL_END_C, max(ends_c), min(ends_c))
        )
        return _ordered(fit.tau_s * usual, first * least, last * most)

    @property
    def fit(self) -> TaperFit | None:
        """The line through what was seen; None in the first two minutes, before a fall of 4 %, or without."""
        if self._seen_s < _LEAST_S:
            return None
        spread = self._w * self._wtt - self._wt**2
        if spread <= 0:
            return None
        slope = (self._w * self._wty - self._wt * self._wy) / spread
        if slope >= 0 or -slope * min(self._seen_s, self._forgotten_s) < _LEAST_FALL:
            return None
        level = (self._wy - slope * self._wt) / self._w
        rest = max(0.0, self._wyy - level * self._wy - slope * self._wty) / self._w
        # As many looks as have the weight of one; two are spent on the line.
        many = max(self._w * self._w / self._ww - 2, 1.0)
        slope_u = math.sqrt(rest * self._w * self._w / spread / many)
        return TaperFit(current_a=math.exp(level), tau_s=-1 / slope, tau_u_s=slope_u / slope**2)


def time_left(
    level: float | None,
    rate_c: float | None,
    *,
    cell_v: float | None = None,
    full_cell_v: float | None = None,
    taper_c: float = USUAL_END_C,
) -> Interval | None:
    """Return the time to full before the taper, in s, with its band.

    level: 0 to 1. rate_c: the present rate, in C, of the capacity that the level is reckoned from. cell_v:
    volts of a cell now; full_cell_v: at constant voltage. Where both are told they narrow where the taper
    begins. taper_c: where it ends. None where level or rate is unknown, or the rate not above the taper's
    end. Source: constant current, then an exponential; where that begins by published cell models. Never
    for a verdict.
    """
    if level is None or rate_c is None or rate_c <= taper_c:
        return None
    earliest, usual, latest = (
        min(1.0, max(level, 1 - constant - slope * rate_c))
        for constant, slope in (_BEGINS_EARLIEST, _BEGINS, _BEGINS_LATEST)
    )
    if level >= _VOLTS_FROM and cell_v is not None and full_cell_v is not None:
        to_come_v = max(0.0, full_cell_v - cell_v)
        slow, fast = (min(1.0, level + to_come_v / slope) for slope in reversed(_VOLTS_A_LEVEL))
        if slow <= latest and fast >= earliest:
            earliest, latest = max(earliest, slow), min(latest, fast)
            usual = min(max(usual, earliest), latest)

    def seconds(begins: float, full: float, rate: float, shape: float = 1.0) -> float:
        # What remains is (rate − end) × τ for an exponential; so τ, and from it the time to its end.
        taper_h = shape * max(0.0, full - begins) * math.log(rate / taper_c) / (rate - taper_c)
        return 3600 * (max(0.0, begins - level) / rate + taper_h)

    fast_c, slow_c = rate_c * (1 + _RATE_DOUBT), max(rate_c * (1 - _RATE_DOUBT), 1.001 * taper_c)
    return _ordered(
        seconds(usual, 1.0, rate_c) + _WINDOWS_S,
        seconds(latest, 1.0 - _LEVEL_DOUBT, fast_c, _SHAPE_AHEAD[0]),
        seconds(earliest, 1.0 + _LEVEL_DOUBT, slow_c, _SHAPE_AHEAD[1]) + 1.5 * _WINDOWS_S,
    )


def _tau_later(
    fit: TaperFit, capacity_ah: float, table: tuple[tuple[float, tuple[float, float]], ...]
) -> tuple[float, float]:
    """Return what τ will be at least and at most, in s."""
    rate_c = fit.current_a / capacity_ah
    least, most = next(shares for from_c, shares in table if rate_c >= from_c)
    return least * max(fit.tau_s - 2 * fit.tau_u_s, fit.tau_s / 4), most * (fit.tau_s + 2 * fit.tau_u_s)


def _by_level(level: float, rate_c: float) -> Interval | None:
    """Return the time to 0.05 C that the charge left to come by the gauge takes, in s; None near full."""
    rest = 1 - level
    if rest < 2 * _LEVEL_DOUBT or rate_c <= 1.1 * USUAL_END_C:
        return None
    per_share_s = 3600 * math.log(rate_c / USUAL_END_C) / (rate_c - USUAL_END_C)
    low, high = (rest - _LEVEL_DOUBT) * _SHAPE_NOW[0], (rest + _LEVEL_DOUBT) * _SHAPE_NOW[1]
    return Interval(value=rest * per_share_s, low=low * per_share_s, high=high * per_share_s)


def _ordered(value: float, low: float, high: float) -> Interval:
    return Interval(value=min(max(value, low), max(low, high)), low=low, high=max(low, high))
