"""What went into or out of a battery over time, counted by the report from the looks of a trace."""

from array import array
from collections.abc import Sequence
from math import nan

__all__ = ["counted_wh"]

_HOUR_S = 3600.0


def counted_wh(times_s: Sequence[float], power_w: Sequence[float], *, pause_s: float) -> "array[float]":
    """Return the energy so far at each look, in Wh, by the trapezoidal rule; NaN where the power is unknown.

    times_s: not falling. power_w: NaN unknown. pause_s: across a longer step nothing is counted, nor next to
    a power that is not known.
    """
    found = array("d")
    append = found.append
    total, before_s, before_w = 0.0, 0.0, nan
    for at_s, watts in zip(times_s, power_w, strict=True):
        step_s = at_s - before_s
        both = before_w + watts
        if step_s <= pause_s and both == both:  # NaN is not itself
            total += step_s * both
        append(total / (2 * _HOUR_S) if watts == watts else nan)
        before_s, before_w = at_s, watts
    return found
