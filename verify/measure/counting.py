"""Energy and charge from samples, by the trapezoidal rule over times that need not be even.

A gap that is too long, a missing value or fewer than two samples make the whole sum unknown: what
happened in between was not seen.
"""

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
