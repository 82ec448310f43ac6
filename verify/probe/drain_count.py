"""One pack while it is drained under a steady load: what went out, and whether its knee is reached.

At the knee the voltage of a loaded cell falls by far more for each point of charge than anywhere before: by
45 mV and more for a point only below 6 % of charge, in each published open-circuit curve of graphite
against NMC, NCA or LCO cells [read off the curves; the draw of a steady load shifts a curve, it does not
tilt it].
"""

from collections import deque
from statistics import median

from verify.machine import Pack
from verify.measure.assumed import Assumed
from verify.measure.capacity import EndHow, EndLevel, StartHow, StartLevel, capacity_ah
from verify.measure.charge_count import ChargeCount, Counted
from verify.measure.coverage import ONE_SIDED
from verify.measure.interval import Interval
from verify.probe.pack_point import capacity_ah_of, cells_of, point_of
from verify.probe.watching import trusted

__all__ = ["GAVE_WAY_LEVEL", "DrainCount"]

KNEE_MV_A_POINT = 45.0
"""So steep, and the pack is nearly empty, whatever its gauge says."""

_AT_KNEE = (0.03, 0.03)  # the level there, and how far it may be off
_OFF = (0.02, 0.02)  # where the machine went off by itself
_OVER_POINTS = 1.5  # the steepness is taken over so many points of the claimed capacity
GAVE_WAY_LEVEL = 0.15
"""A cell at its least volts above this level gave way under the load [common practice, no source]."""

_CONTRADICTS = 0.04  # a level further from the end that is known says something else [common practice]
_LEAST_CHANGE = 0.10  # fewer points drained tell nothing
_LOOKS = 3  # a single wrong value is no end (observed in the field)
_APART_S = 5.0
_SETTLES_S = 240.0  # so long a voltage falls because the load has come [common practice, no source]
_KNEE_BELOW_V = 3.5  # no loaded cell is at its knee above it [the same curves]
_EMPTY_V = 3.2  # a loaded cell that went off at or below it was empty [common practice, no source]


class DrainCount:
    """What the looks at one pack add up to.

    first_level, level: as its gauge told them, 0 to 1. cell_v: of a loaded cell, of the last looks' middle.
    weak: whether that was at the least volts when the load ended.
    """

    def __init__(self, pack: Pack, *, label_v: float | None, assumed: Assumed) -> None:
        self.pack = pack
        self.first_level = self.level = trusted(pack, "state_of_charge")
        self.claimed_ah = capacity_ah_of(pack, claimed=True)
        self.cells = cells_of(pack, label_v)
        self.steepest = self.weak = False
        self._assumed = assumed
        nominal_v = trusted(pack, "design_voltage_v")
        self._count = ChargeCount(nominal_v=nominal_v)
        self._volts: deque[float] = deque(maxlen=_LOOKS)
        self._loads: deque[tuple[float, float]] = deque(maxlen=_LOOKS)
        self._curve: deque[tuple[float, float]] = deque()
        self._told_s = -_APART_S
        self._loaded_s: float | None = None

    def see(self, pack: Pack, at_s: float, *, loaded: bool) -> None:
        """Take in a look; loaded: whether the steady load is on."""
        self.pack = pack
        level = trusted(pack, "state_of_charge")
        self.level = self.level if level is None else level
        self._count.see(point_of(pack, at_s, power_in=False))
        volts = trusted(pack, "voltage_v")
        if volts is None or self.cells is None:
            return
        self._volts.append(volts / self.cells)
        if not loaded:
            return
        current_a = trusted(pack, "current_a")
        if current_a is not None:
            self._loads.append((volts, current_a))
        self._loaded_s = at_s if self._loaded_s is None else self._loaded_s
        if at_s - self._loaded_s >= _SETTLES_S and at_s - self._told_s >= _APART_S:
            self._told_s = at_s
            self._follow(volts / self.cells)

    def _follow(self, cell_v: float) -> None:
        counted = self._count.result()
        if counted is None or not self.claimed_ah:
            return
        curve = self._curve
        curve.append((counted.out_ah / self.claimed_ah * 100, cell_v))
        while len(curve) > 2 and curve[-1][0] - curve[1][0] >= _OVER_POINTS:
            curve.popleft()
        passed = curve[-1][0] - curve[0][0]
        if passed >= _OVER_POINTS and len(curve) >= 2 * _LOOKS:
            looks = list(curve)
            first = median(volts for _, volts in looks[:_LOOKS])
            last = median(volts for _, volts in looks[-_LOOKS:])
            points = looks[-2][0] - looks[1][0]
            steep = 1000 * (first - last) / points >= KNEE_MV_A_POINT
            self.steepest = steep and cell_v < _KNEE_BELOW_V

    @property
    def cell_v(self) -> float | None:
        """Volts of a loaded cell, the middle of the last looks; None before three of them."""
        return median(self._volts) if len(self._volts) == _LOOKS else None

    @property
    def loaded(self) -> tuple[float, float] | None:
        """Volts of the pack and current into it, in A, of the last looks under load; None before three."""
        if len(self._loads) < _LOOKS:
            return None
        return median(volts for volts, _ in self._loads), median(current_a for _, current_a in self._loads)

    @property
    def counted(self) -> Counted | None:
        """What went out so far."""
        return self._count.result()

    def end(self, by_volts: Interval | None, *, went_off: bool) -> tuple[EndLevel, str] | None:
        """Return the level at the end and how it is known: its knee, its volts at rest, else its gauge.

        by_volts: the level at rest, 0 to 1, where it is known. went_off: the machine ended it by itself; that
        shows an empty pack only where its cells were low.
        """
        emptied = went_off and bool(self._volts) and median(self._volts) <= _EMPTY_V
        if emptied or self.steepest:
            level, half = _OFF if emptied else _AT_KNEE
            how = "it went off by itself" if emptied else "its volts fell off"
            return EndLevel(level=level, half_width=half, how=EndHow.VOLTAGE), how
        if by_volts is not None and by_volts.high <= 0.2:
            half = (by_volts.high - by_volts.low) / 2
            end = EndLevel(level=by_volts.value, half_width=half, how=EndHow.VOLTAGE)
            return end, "its volts at rest"
        if self.level is None:
            return None
        gauge = EndLevel(level=self.level, half_width=self._assumed.level, how=EndHow.GAUGE)
        return gauge, "its gauge alone"

    def share(self, end: EndLevel | None, *, gave_way: bool) -> Interval | str:
        """Return the counted capacity over the claimed one, one-sided 95 % bounds; or why it is unknown.

        From level to level by the gauge, whose error is small for a gauge that counts; where it contradicts
        what is known of the end, from its first level to that end. gave_way: it ended long before its level
        did.
        """
        counted, first, last = self.counted, self.first_level, self.level
        if not self.claimed_ah:
            return "The battery does not report its full capacity."
        if counted is None or counted.source is None:
            return "The battery does not report its current."
        if first is None or last is None or end is None:
            return "The battery does not report its level."
        width = self._assumed.level
        if gave_way:
            # What a machine cannot use is not there, whatever its cells still hold.
            end = EndLevel(level=_OFF[0], half_width=_OFF[1], how=EndHow.VOLTAGE)
        if abs(last - end.level) > end.half_width + width + _CONTRADICTS:
            width = self._assumed.unproven
        else:
            end = EndLevel(level=last, half_width=width, how=EndHow.GAUGE)
        if first - end.level < _LEAST_CHANGE:
            return (
                f"Only {100 * max(0.0, first - end.level):.0f} points were drained: too few to tell. "
                "Charge it above 30 %, then drain again."
            )
        start = StartLevel(level=first, half_width=width, how=StartHow.GAUGE)
        found = capacity_ah(counted, start=start, end=end, assumed=self._assumed, coverage=ONE_SIDED)
        return "What went out cannot be counted." if found is None else found.scaled(1 / self.claimed_ah)
