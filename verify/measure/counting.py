"""Energy and charge from samples, by the trapezoidal rule over times that need not be even.

A gap that is too long, a missing value or fewer than two samples make the whole sum unknown: what
happened in between was not seen.
"""

from collections.abc import Sequence

from verify.values import Reading, Unit
from verify.values.errors import InvalidValueError

LONGEST_GAP_S = 30.0
"""The longest gap between samples that is bridged, in s [common practice, no source]."""

_SECONDS_IN_HOUR = 3600.0


class Integral:
    """The sum so far, sample by sample: a watch of hours keeps no list of them.

    gap_s: the longest gap that is bridged, in s, above 0.
    """

    def __init__(self, *, gap_s: float = LONGEST_GAP_S) -> None:
        self._gap_s = gap_s
        self._sum = 0.0
        self._samples = 0
        self._before: tuple[float, float | None] | None = None
        self._gap = ""
        self._hole = False

    def add(self, at_s: float, value: float | None) -> None:
        """Take in a sample: its time in s, rising, and its value; None where unknown.

        Raises InvalidValueError if time runs backwards.
        """
        if self._before is not None:
            earlier_s, earlier = self._before
            if at_s < earlier_s:
                raise InvalidValueError("The samples' times run backwards.")
            if at_s - earlier_s > self._gap_s and not self._gap:
                self._gap = f"No sample for {at_s - earlier_s:.0f} s: what happened in between was not seen."
            if earlier is not None and value is not None:
                self._sum += (at_s - earlier_s) * (earlier + value) / 2
        self._hole = self._hole or value is None
        self._samples += 1
        self._before = at_s, value

    def lose(self, reason: str) -> None:
        """Say that what came before the next sample was not seen; reason: a sentence."""
        self._gap = self._gap or reason
        self._before = None

    def per_hour(self, *, unit: Unit, source: str) -> Reading:
        """Return the sum in `unit`, an hour's unit (Wh, Ah), or an unknown reading with the reason."""
        reason = self._gap
        if self._samples < 2:
            reason = "Fewer than two samples."
        elif not reason and self._hole:
            reason = "A sample in between gave no value."
        if reason:
            return Reading(value=None, unit=unit, source=source, reason=reason)
        return Reading(value=self._sum / _SECONDS_IN_HOUR, unit=unit, source=source)


def _counted(
    times_s: Sequence[float],
    values: Sequence[float | None],
    *,
    unit: Unit,
    source: str,
    gap_s: float,
) -> Reading:
    if len(times_s) != len(values):
        raise InvalidValueError("Every sample needs a time and a value.")
    total = Integral(gap_s=gap_s)
    for at_s, value in zip(times_s, values, strict=True):
        total.add(at_s, value)
    return total.per_hour(unit=unit, source=source)


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
