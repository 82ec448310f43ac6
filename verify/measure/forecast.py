"""How long a charge will still take: phases and taper together, look by look."""

from verify.measure.interval import Interval
from verify.measure.phases import CHARGING, PhaseKind, Phases
from verify.measure.point import Point
from verify.measure.taper import Taper, time_left

__all__ = ["ChargeForecast"]

_SMOOTH_S = 60.0  # the rate is the mean of about so long: load that is shared makes it jump


class ChargeForecast:
    """The forecast of one pack.

    capacity_ah: what C and the level are reckoned from, in Ah. cells: in series; full_cell_v: volts of a
    cell at constant voltage, where known. phases: fed by this class, to be read by others.
    """

    def __init__(
        self, *, capacity_ah: float | None, cells: int | None = None, full_cell_v: float | None = None
    ) -> None:
        self._capacity_ah = capacity_ah
        self._cells = cells
        self._full_cell_v = full_cell_v
        self.phases = Phases(capacity_ah=capacity_ah, cells=cells)
        self._taper = Taper()
        self._point: Point | None = None
        self._rate_a: float | None = None

    def see(self, point: Point) -> None:
        """Take in a look."""
        self.phases.see(point)
        current_a = point.current_a
        if current_a is None and point.power_w is not None and point.voltage_v:
            current_a = point.power_w / point.voltage_v
        kind = self.phases.kind
        if kind is PhaseKind.CONSTANT_VOLTAGE:
            if current_a is not None:
                self._taper.see(point.at_s, current_a)
        elif self._taper.begun:
            self._taper.clear()
        if kind not in CHARGING or current_a is None:
            self._rate_a = None
        elif self._rate_a is None or self._point is None:
            self._rate_a = current_a
        else:
            share = min(1.0, max(0.0, point.at_s - self._point.at_s) / _SMOOTH_S)
            self._rate_a += share * (current_a - self._rate_a)
        self._point = point

    def unseen(self, *, length_known: bool = True) -> None:
        """Say that nobody saw the time up to the next look; length_known: whether the clock tells it."""
        self.phases.unseen(length_known=length_known)
        self._taper.clear()
        self._rate_a = None

    def time_left(self) -> Interval | None:
        """Return the time to full, in s, with its band; None where it cannot be told."""
        point, capacity_ah = self._point, self._capacity_ah
        if point is None or capacity_ah is None or self._rate_a is None:
            return None
        if self.phases.kind is PhaseKind.CONSTANT_VOLTAGE:
            left = self._taper.time_left(capacity_ah, level=point.level)
            if left is not None:
                return left
        volts, cells = point.voltage_v, self._cells
        return time_left(
            point.level,
            self._rate_a / capacity_ah,
            cell_v=volts / cells if volts is not None and cells else None,
            full_cell_v=self._full_cell_v,
        )
