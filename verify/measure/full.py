"""Whether a pack has reached full.

Full is: power from outside all the time, and either the pack says so, or its level is at least 99 % and the
mean charging rate stayed at or below the taper over each of two consecutive windows of 40 s (the shape of
a gauge's own end-of-charge detection as gauge manuals describe it; the numbers are common practice). A
charger that goes, a gap between samples or an unknown rate starts the windows again.

"100 %" while charging goes on is not full: gauges clamp. Nor is a current that was cut off: a taper falls
to its end by and by, a protection that trips does not; and where the voltage is told, it must not have
fallen from its highest by more than rest explains.
"""

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

CUT_OFF_C = 0.15
"""A rate above it that is nothing at the next look was cut off: no charger ends so early [common
practice].
"""

_NOTHING_C = 0.01
_FALLEN = (
    0.025  # of the highest voltage: 0.1 V a cell, as gauge manuals set their taper voltage [from memory]
)


class ChargePoint(msgspec.Struct, frozen=True, kw_only=True):
    """One look at a charging pack.

    at_s: on a clock that only rises. powered: power from outside; None where unknown, which counts as no.
    says_full: the pack's own word. level: 0 to 1. rate_c: into the pack positive, in C. voltage_v: of the
    pack; None where unknown, and then it is not asked.
    """

    at_s: float
    powered: bool | None
    says_full: bool = False
    level: float | None = None
    rate_c: float | None = None
    voltage_v: float | None = None


class FullWatch(msgspec.Struct, frozen=True, kw_only=True):
    """What the last samples add up to.

    recent: enough of them to cover both windows. cut_off: the current ended at once, not by a taper.
    highest_v: of the pack while the charger was in; None where unknown.
    """

    reached: bool = False
    recent: tuple[ChargePoint, ...] = ()
    cut_off: bool = False
    highest_v: float | None = None


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


def _was_cut_off(watch: FullWatch, point: ChargePoint) -> bool:
    """Tell whether the current has ended at once; that holds until one flows again."""
    before = watch.recent[-1].rate_c if watch.recent else None
    now = point.rate_c
    if now is None:
        return watch.cut_off
    if now > _NOTHING_C:
        return False
    return watch.cut_off or (before is not None and before > CUT_OFF_C)


def _stands(point: ChargePoint, highest_v: float | None) -> bool:
    """Tell whether the voltage, where it is told, still stands near its highest."""
    volts = point.voltage_v
    return volts is None or highest_v is None or volts >= highest_v * (1 - _FALLEN)


def advance(
    watch: FullWatch, point: ChargePoint, *, taper_c: float = TAPER_C, gap_s: float = LONGEST_GAP_S
) -> FullWatch:
    """Take in one more point and return the watch after it; `reached` holds for this point only.

    taper_c: in C, above 0. gap_s: the longest time between two points that is bridged, in s. A point that
    is not powered, that follows a longer gap or whose time does not rise starts the windows again.
    """
    if point.powered is not True:
        return FullWatch()
    recent = watch.recent
    cut_off = _was_cut_off(watch, point)
    volts = [one for one in (watch.highest_v, point.voltage_v) if one is not None]
    highest_v = max(volts, default=None)
    if recent and not 0 < point.at_s - recent[-1].at_s <= gap_s:
        recent = ()
    recent = (*recent, point)
    # One point at or before the start of the first window is enough.
    start_s = point.at_s - 2 * WINDOW_S
    while len(recent) > 1 and recent[1].at_s <= start_s:
        recent = recent[1:]
    by_word = point.says_full and (point.level is None or point.level >= LEVEL_WITH_WORD)
    high = point.level is not None and point.level >= LEVEL_WITHOUT_WORD
    by_taper = high and not cut_off and _stands(point, highest_v) and _tapered(recent, taper_c)
    return FullWatch(reached=by_word or by_taper, recent=recent, cut_off=cut_off, highest_v=highest_v)
