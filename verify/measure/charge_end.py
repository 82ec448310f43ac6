"""Whether a charge has ended at full, what still flowed then, and, in the taper, what is still to come.

Full is what `full` says by the pack's word, by level and taper; or a charge that fell off at constant voltage
to where chargers end one, whatever the gauge says, if the cells stood as high as full ones do.
"""

import math

from verify.measure.cells import USUAL_AH
from verify.measure.counting import LONGEST_GAP_S
from verify.measure.full import LEVEL_WITH_WORD, ChargePoint, FullWatch, advance
from verify.measure.interval import Interval
from verify.measure.phases import CHARGING, PhaseKind, Phases
from verify.measure.point import Point
from verify.measure.taper import USUAL_END_C, Taper

__all__ = ["ChargeEnd"]

_TOP_CELL_V = 4.15  # below it a charge was ended early, by a limit or by warmth [common practice]
_STILL_C, _MOST_END_C = 0.01, 0.15  # a charge ends somewhere in between


class ChargeEnd:
    """The watch for the end, look by look. scale_ah: what C is reckoned from. cells: in series."""

    def __init__(self, *, scale_ah: float | None, cells: int | None) -> None:
        self._scale_ah = scale_ah
        self._cells = cells
        self.phases = Phases(capacity_ah=scale_ah, cells=cells)
        self._taper = Taper()
        self._tapered = False
        self._highest_v = 0.0
        self._watch = FullWatch()
        self._last_s: float | None = None
        self.end_c = USUAL_END_C
        """Current at the end, in C: the last that flowed before it; the usual one until then."""
        self.is_full = False
        """Whether it is full at the last look."""

    def see(self, point: Point, current_a: float | None) -> None:
        """Take in a look, and the current that it told or that follows from what it told."""
        self._see_taper(point, current_a)
        rate_c = None if current_a is None else current_a / (self._scale_ah or USUAL_AH)
        if rate_c is not None and rate_c > _STILL_C and not self.is_full:
            self.end_c = min(rate_c, _MOST_END_C)
        passed_s = 0.0 if self._last_s is None else point.at_s - self._last_s
        self._last_s = point.at_s
        # A log with an even, slower pace has its own longest time between looks.
        self._watch = advance(
            self._watch,
            ChargePoint(
                at_s=point.at_s,
                powered=point.powered,
                says_full=point.says_full,
                level=point.level,
                rate_c=rate_c,
                voltage_v=point.voltage_v,
            ),
            gap_s=LONGEST_GAP_S if self.phases.after_gap else max(LONGEST_GAP_S, passed_s),
        )
        self.is_full = self._watch.reached or self._ended_by_taper(point.level)

    def unseen(self, *, length_known: bool = True) -> None:
        """Say that nobody saw the time up to the next look; length_known: whether the clock tells it."""
        self.phases.unseen(length_known=length_known)
        self._watch = FullWatch()
        self._taper.clear()
        self._tapered = False

    def _see_taper(self, point: Point, current_a: float | None) -> None:
        self.phases.see(point)
        volts = point.voltage_v
        if volts is not None and 0 < volts < math.inf:
            self._highest_v = max(self._highest_v, volts)
        if self.phases.kind is PhaseKind.CONSTANT_VOLTAGE:
            self._tapered = True
            if current_a is not None:
                self._taper.see(point.at_s, current_a)
            return
        if self.phases.kind in CHARGING:
            self._tapered = False
        if self._taper.begun:
            self._taper.clear()

    def _ended_by_taper(self, level: float | None) -> bool:
        if self.phases.kind is not PhaseKind.FULL or not self._tapered:
            return False
        if level is None or level >= LEVEL_WITH_WORD:
            return True
        return self._cells is not None and self._highest_v >= _TOP_CELL_V * self._cells

    @property
    def low_cell_v(self) -> float | None:
        """The highest voltage of a cell, in V, where that is below a full one's; else None."""
        if not self._cells or not self._highest_v:
            return None
        cell_v = self._highest_v / self._cells
        return cell_v if cell_v < _TOP_CELL_V else None

    @property
    def tapers(self) -> bool:
        """Whether the voltage is held, so that what is still to come can be told."""
        return self._taper.begun

    def to_come_ah(self, *, about_ah: float) -> Interval | None:
        """Return the charge that will still go in, with its band; None outside the taper.

        about_ah: what C is reckoned from where no capacity is claimed.
        """
        scale_ah = self._scale_ah or about_ah
        return self._taper.charge_to_come(scale_ah) if self._taper.begun and scale_ah > 0 else None

    def left_s(self, *, about_ah: float, level: float | None) -> Interval | None:
        """Return the time to full, in s, with its band; None outside the taper."""
        scale_ah = self._scale_ah or about_ah
        return self._taper.time_left(scale_ah, level=level) if self._taper.begun and scale_ah > 0 else None
