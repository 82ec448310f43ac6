"""Whether a pack has reached full, and how long it will take.

Full is: power from outside all the time, and either the pack says so, or its level is at least 99 % and the
mean charging rate stayed at or below the taper over each of two consecutive windows of 40 s (the shape of
a gauge's own end-of-charge detection as gauge manuals describe it; the numbers are common practice). A
charger that goes, a gap between samples or an unknown rate starts the windows again.

"100 %" while charging goes on is not full: gauges clamp.
"""

import math
from itertools import pairwise

import msgspec

from verify.measure.counting import LONGEST_GAP_S

TAPER_C = 0.05
"""The rate at or below which a charge counts as ended, in C [a common cell specification's cut-off]."""

LEVEL_WITHOUT_WORD = 0.99
"""Level from which a tapered charge is full without the pack's own word [common practice, no source]."""

LEVEL_WITH_WORD = 0.95
"""Below this level "full" means a limit was reached, not the pack [common practice, no source]."""

WINDOW_S = 40.0
"""Length of each of the two windows, in s [gauge manuals]."""

_LEVEL_OF_TAPER = 0.8  # where constant voltage usually begins [common practice, no source]


class ChargePoint(msgspec.Struct, frozen=True, kw_only=True):
    """One look at a charging pack.

    at_s: on a clock that only rises. powered: power from outside; None where unknown, which counts as no.
    says_full: the pack's own word. level: 0 to 1. rate_c: into the pack positive, in C.
    """

    at_s: float
    powered: bool | None
    says_full: bool = False
    level: float | None = None
    rate_c: float | None = None


class FullWatch(msgspec.Struct, frozen=True, kw_only=True):
    """What the last samples add up to. recent: enough of them to cover both windows."""

    reached: bool = False
    recent: tuple[ChargePoint, ...] = ()


def _mean_rate(points: tuple[ChargePoint, ...], start_s: float, end_s: float) -> float | None:
    """Return the mean rate over the window by trapezoids; None where the points do not cover it."""
    if not points or points[0].at_s > start_s or points[-1].at_s < end_s:
        return None
    area = 0.0
    for one, two in pairwise(points):
        left, right = max(one.at_s, start_s), min(two.at_s, end_s)
        if right <= left:
            continue
        if one.rate_c is None or two.rate_c is None:
            return None
        slope = (two.rate_c - one.rate_c) / (two.at_s - one.at_s)
        middle = one.rate_c + slope * ((left + right) / 2 - one.at_s)
        area += middle * (right - left)
    return area / (end_s - start_s)


def _tapered(points: tuple[ChargePoint, ...], taper_c: float) -> bool:
    end_s = points[-1].at_s
    means = (
        _mean_rate(points, end_s - WINDOW_S, end_s),
        _mean_rate(points, end_s - 2 * WINDOW_S, end_s - WINDOW_S),
    )
    # The sum of many small products: equality at the taper must not hang on the last bit.
    return all(mean is not None and mean <= taper_c + 1e-9 for mean in means)


def advance(watch: FullWatch, point: ChargePoint, *, taper_c: float = TAPER_C) -> FullWatch:
    """Take in one more point and return the watch after it; `reached` holds for this point only.

    taper_c: in C, above 0. A point that is not powered, that follows a gap of more than 30 s or whose
    time does not rise starts the windows again.
    """
    if point.powered is not True:
        return FullWatch()
    recent = watch.recent
    if recent and not 0 < point.at_s - recent[-1].at_s <= LONGEST_GAP_S:
        recent = ()
    recent = (*recent, point)
    # One point at or before the start of the first window is enough.
    start_s = point.at_s - 2 * WINDOW_S
    while len(recent) > 1 and recent[1].at_s <= start_s:
        recent = recent[1:]
    by_word = point.says_full and (point.level is None or point.level >= LEVEL_WITH_WORD)
    by_taper = point.level is not None and point.level >= LEVEL_WITHOUT_WORD and _tapered(recent, taper_c)
    return FullWatch(reached=by_word or by_taper, recent=recent)


def seconds_to_full(level: float | None, rate_c: float | None, *, taper_c: float = TAPER_C) -> float | None:
    """Estimate the time to full, in s: constant rate up to 80 %, then an exponential taper to taper_c.

    level: 0 to 1. rate_c: the present rate, in C. None where either is unknown or the rate is not above
    the taper. Source: constant-current, constant-voltage charging; where the taper begins is common
    practice, no source. An estimate for a screen, never for a verdict.
    """
    if level is None or rate_c is None or rate_c <= taper_c:
        return None
    begins = max(level, _LEVEL_OF_TAPER)
    constant_h = (begins - level) / rate_c
    # What remains is (rate - taper) × τ for an exponential; so τ, and from it the time to the taper.
    tau_h = max(0.0, 1 - begins) / (rate_c - taper_c)
    return 3600 * (constant_h + tau_h * math.log(rate_c / taper_c))
