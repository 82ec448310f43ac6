"""How long a charge is likely to take until it decides whether a pack holds what it must.

Three ways to a decision, the first counts: what went in exceeds the limit by more than its error; the taper
shows how little is still to come; the charge has ended. An estimate for a screen, never for a verdict.
"""

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.coverage import ONE_SIDED, half_width
from verify.measure.interval import Interval
from verify.measure.taper import time_left

__all__ = ["expected_doubt", "minutes_to_decide"]

_STORED = 0.97  # of the energy at the terminals, what is there at rest [common practice, no source]
_STORED_DOUBT = 0.05  # of the energy counted, what the mean voltage is not known by yet
_TAPER_TELLS = 0.5  # of the taper's time: a fit stands by then
_RATE_DOUBT = 0.15
_CONSTANT_SHARE = 0.5  # of the time to full, before the taper [common practice, no source]


def expected_doubt(level: float, half_width_of_level: float, *, assumed: Assumed = ASSUMED) -> float:
    """Return the relative error, one-sided 95 %, that a charge from this level to full will leave.

    level: at the start, 0 to 1, ± half_width_of_level. Infinite where there is nothing left to charge.
    """
    left = 1 - level
    if left <= half_width_of_level:
        return float("inf")
    widths = (assumed.gain, half_width_of_level / left, assumed.full / left)
    return half_width(widths, coverage=ONE_SIDED)


def minutes_to_decide(
    *,
    limit_wh: float,
    expected_wh: float,
    level: float,
    rate_w: float,
    doubt: float,
    went_in_wh: float = 0.0,
    to_full_s: Interval | None = None,
    assumed: Assumed = ASSUMED,
) -> Interval | None:
    """Return the minutes until it is decided whether the pack holds limit_wh, with a band.

    expected_wh: what it is likely to hold, above 0 (label, or what is measured so far). level: now, 0 to 1.
    rate_w: into the pack. doubt: as of `expected_doubt`. went_in_wh: so far. to_full_s: time to full where it
    is known better than from level and rate. None where the charge is not likely to decide it, or where level
    and rate do not tell.
    """
    if limit_wh <= 0 or expected_wh <= 0 or rate_w <= 0:
        return None
    rate_c = rate_w / expected_wh
    full_s = to_full_s if to_full_s is not None else time_left(level, rate_c)
    by_count_s = _by_count(limit_wh, went_in_wh, expected_wh, level, rate_w, assumed)
    if by_count_s is not None and (full_s is None or by_count_s < full_s.value):
        minutes = by_count_s / 60
        doubt = 60 * _STORED_DOUBT * limit_wh / rate_w
        low = max(0.0, minutes * (1 - _RATE_DOUBT) - doubt)
        return Interval(value=minutes, low=low, high=minutes * (1 + 2 * _RATE_DOUBT) + doubt)
    if full_s is None:
        return None
    if expected_wh * (1 - doubt) < limit_wh <= expected_wh * (1 + doubt):
        return None
    early_s = full_s.low * (1 - _TAPER_TELLS * (1 - _CONSTANT_SHARE))
    return Interval(value=full_s.value / 60, low=min(early_s, full_s.value) / 60, high=full_s.high / 60)


def _by_count(
    limit_wh: float, went_in_wh: float, expected_wh: float, level: float, rate_w: float, assumed: Assumed
) -> float | None:
    """Return the time until what went in alone exceeds the limit, in s; None where it never will."""
    needs_wh = limit_wh * (1 + half_width((assumed.gain,), coverage=ONE_SIDED)) / _STORED - went_in_wh
    if needs_wh > (1 - level) * expected_wh * 0.85:
        # In the taper the rate is no longer what it is now: the end of the charge comes first.
        return None
    return max(0.0, 3600 * needs_wh / rate_w)
