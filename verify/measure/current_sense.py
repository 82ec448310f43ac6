"""Whether the current that a pack tells can be one: a count of a current that is none is no count.

Two things show that it is not. Its steps leave the voltage where it is, time after time: every cell gives way
to a current. Or it is one and the same to the last digit while the voltage stands at its highest and the
level rises: a charge at a voltage that is held falls off. A gauge that counts such a current is not shown to
lie, nor is its pack.
"""

from verify.measure.point import Point

__all__ = ["CurrentSense"]

_STEP_C = 0.05  # above the steps in which any gauge tells its current
_WITHIN_S = 30.0  # in which a charge that falls off by itself makes no such step
_LEAST_V_C = 0.005  # V a cell for 1 C: a sixth of the least of eight published parameter sets, by PyBaMM
_LEAST_STEPS = 20
_MOST_FOLLOWED = 0.4
_STANDS_V = 0.005  # V a cell: a voltage that is held
_LEAST_RISE = 0.05  # of level, while it is
_LEAST_LOOKS = 60
_USUAL_AH, _USUAL_CELLS = 3.0, 3  # where neither is known: a small laptop pack's


class CurrentSense:
    """The watch, look by look, in constant memory. scale_ah: what C is reckoned from. cells: in series."""

    def __init__(self, *, scale_ah: float | None, cells: int | None) -> None:
        self._scale_ah, self._cells = scale_ah or _USUAL_AH, cells or _USUAL_CELLS
        self._before: tuple[float, float, float] | None = None
        self._steps = self._followed = 0
        self._rates: dict[str, float | None] = {}
        self._looks = 0
        self._top: tuple[float, float] | None = None
        self._rise = 0.0

    def see(self, point: Point, current_a: float | None) -> None:
        """Take in a look, and the current that it told or that follows from what it told."""
        if current_a is None:
            self._before = None
            return
        self._see_step(point, current_a)
        if current_a > 0:
            self._see_charge(point)

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look: what changed in it is no step."""
        self._before = None

    def _see_charge(self, point: Point) -> None:
        self._looks += 1
        for name, told in (("current", point.current_a), ("power", point.power_w)):
            if self._rates.setdefault(name, told) != told:
                self._rates[name] = None
        volts, level = point.voltage_v, point.level
        if volts is None or level is None:
            return
        within_v = _STANDS_V * self._cells
        if self._top is None or volts > self._top[0] + within_v:
            self._top, self._rise = (volts, level), 0.0
        elif volts >= self._top[0] - within_v:
            self._rise = max(self._rise, level - self._top[1])

    def _see_step(self, point: Point, current_a: float) -> None:
        if point.voltage_v is None:
            self._before = None
            return
        before, self._before = self._before, (point.at_s, current_a, point.voltage_v)
        if before is None or point.at_s - before[0] > _WITHIN_S:
            return
        step_a, step_v = current_a - before[1], point.voltage_v - before[2]
        step_c = abs(step_a) / self._scale_ah
        if step_c < _STEP_C:
            return
        self._steps += 1
        self._followed += (step_v if step_a > 0 else -step_v) >= _LEAST_V_C * step_c * self._cells

    @property
    def nonsense(self) -> str | None:
        """Return in a sentence why what it tells can be no current; None while nothing shows that."""
        if self._steps >= _LEAST_STEPS and self._followed <= _MOST_FOLLOWED * self._steps:
            return "The current that it tells jumps, and its voltage does not follow: it cannot be right."
        same = any(rate is not None for rate in self._rates.values())
        if same and self._looks >= _LEAST_LOOKS and self._rise >= _LEAST_RISE:
            return "The current that it tells never changes, not even near full: it cannot be right."
        return None
