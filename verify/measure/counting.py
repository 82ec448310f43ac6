"""Energy and charge from samples, by the trapezoidal rule over times that need not be even.

A gap that is too long, a missing value or fewer than two samples make the whole sum unknown: what
happened in between was not seen.
"""

from collections.abc import Sequence
from itertools import pairwise

from verify.values import Reading, Unit
from verify.values.errors import InvalidValueError

LONGEST_GAP_S = 30.0
"""The longest gap between samples that is bridged, in s [common practice, no source]."""

_SECONDS_IN_HOUR = 3600.0


def _why_not(times_s: Sequence[float], values: Sequence[float | None], gap_s: float) -> str | None:
    if len(times_s) != len(values):
        raise InvalidValueError("Every sample needs a time and a value.")
    if len(times_s) < 2:
        return "Fewer than two samples."
    for earlier, later in pairwise(times_s):
        if later < earlier:
            raise InvalidValueError("The samples' times run backwards.")
        if later - earlier > gap_s:
            return f"No sample for {later - earlier:.0f} s: what happened in between was not seen."
    if None in values:
        return "A sample in between gave no value."
    return None


def _integral(times_s: Sequence[float], values: Sequence[float | None]) -> float:
    known = [value for value in values if value is not None]
    return sum(
        (t1 - t0) * (v0 + v1) / 2
        for t0, t1, v0, v1 in zip(times_s, times_s[1:], known, known[1:], strict=False)
    )


def _counted(
    times_s: Sequence[float],
    values: Sequence[float | None],
    *,
    unit: Unit,
    source: str,
    gap_s: float,
) -> Reading:
    reason = _why_not(times_s, values, gap_s)
    if reason is not None:
        return Reading(value=None, unit=unit, source=source, reason=reason)
    return Reading(value=_integral(times_s, values) / _SECONDS_IN_HOUR, unit=unit, source=source)


def energy_in(
    times_s: Sequence[float],
    powers_w: Sequence[float | None],
    *,
    source: str,
    gap_s: float = LONGEST_GAP_S,
) -> Reading:
    """Integrate the power into the pack, in Wh.

    times_s: rising, in s, one clock. powers_w: into the pack positive, None where unknown. gap_s: above 0.
    Returns the energy without uncertainty (nobody stated the sensor's), or an unknown reading with the
    reason. Raises InvalidValueError if time runs backwards or the lengths differ. Source: trapezoidal rule.
    """
    return _counted(times_s, powers_w, unit=Unit.WATT_HOUR, source=source, gap_s=gap_s)


def charge_in(
    times_s: Sequence[float],
    currents_a: Sequence[float | None],
    *,
    source: str,
    gap_s: float = LONGEST_GAP_S,
) -> Reading:
    """Integrate the current into the pack, in Ah; arguments and answers as for `energy_in`."""
    return _counted(times_s, currents_a, unit=Unit.AMPERE_HOUR, source=source, gap_s=gap_s)


def level_after(*, start_level: float, charge_ah: float, capacity_ah: float) -> float:
    """Return the level, 0 to 1 where nothing was counted wrongly, after a charge went in; not clamped.

    charge_ah: into the pack positive. capacity_ah: above 0. Raises InvalidValueError otherwise.
    Source: coulomb counting, z(t) = z0 + (1/Q) ∫ I dt.
    """
    if capacity_ah <= 0:
        raise InvalidValueError("A capacity is above 0 Ah.")
    return start_level + charge_ah / capacity_ah
