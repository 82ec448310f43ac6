"""What the gauges told while a machine ran on its battery: did the level leap, and how far did cells sag."""

from statistics import median

from verify.machine import Pack
from verify.measure import cells_in_series
from verify.measure.resistance import StepResistance
from verify.probe.handed_on import CELL_RESISTANCE, hand_on
from verify.probe.pack_point import capacity_ah_of, cells_of, point_of
from verify.probe.watching import trusted
from verify.values import Reading, Unit

__all__ = ["LEAST_CELL_V", "PackUnderLoad"]

LEAST_CELL_V = 3.0
"""A cell on average below it, between 20 and 80 % of charge, gives way [trade knowledge, from memory]."""

_EXACT = 1e-9  # what a level in whole per cent is off by as a binary number

_LEAP, _LEAP_S = 0.03, 30.0
"""A level that moves further within so long was made up: 3.6 C, which no laptop draws [common practice]."""

_BEYOND_ENERGY = 0.03
"""A level may fall so much further than the energy that went out explains; steps of 1 % have two ends."""

_MANY_LOOKS = 5  # with fewer, each one counts
_LOW_LOOKS = 2  # a firmware's single wrong value is no sag (observed in the field)


class PackUnderLoad:
    """One pack while it carries the machine.

    least_v, rest_v: volts of a cell on average, the lowest and the first; None where that cannot be told.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.rest_v: float | None = None
        self.least_v: float | None = None
        self._levels: list[tuple[float, float]] = []
        self._lows: list[float] = []
        self._drawn_wh = 0.0
        self._full_wh: float | None = None
        self._untold = False
        self._steps: StepResistance | None = None

    def see(self, pack: Pack, at_s: float) -> None:
        """Take in a look. at_s: since the charger went, in s, rising."""
        if self._steps is None:
            self._steps = StepResistance(capacity_ah=capacity_ah_of(pack), cells=cells_of(pack))
        self._steps.see(point_of(pack, at_s, power_in=False))
        level = trusted(pack, "state_of_charge")
        power_w, self._full_wh = trusted(pack, "power_w"), trusted(pack, "full_charge_wh")
        if level is not None:
            before_s = self._levels[-1][0] if self._levels else at_s
            self._levels.append((at_s, level))
            if power_w is None:
                self._untold = True
            else:
                self._drawn_wh += max(0.0, -power_w) * (at_s - before_s) / 3600
        cell_v = _cell_v(pack)
        if cell_v is not None:
            self.rest_v = cell_v if self.rest_v is None else self.rest_v
            self._lows = [*self._lows, cell_v][-_LOW_LOOKS:]
            if len(self._lows) == _LOW_LOOKS:
                # What two looks say: the higher of them.
                held_v = max(self._lows)
                self.least_v = held_v if self.least_v is None else min(self.least_v, held_v)

    def resistance(self) -> Reading:
        """Return the resistance of a cell in mΩ by the steps of the load, with its time scale, or why not."""
        found = None if self._steps is None else self._steps.result()
        if found is None or found.cell_mohm is None:
            why = "" if found is None else found.reason or "How many cells stand in series is not known."
            why = why or "The load was not seen."
            return hand_on(self.name, CELL_RESISTANCE, None, Unit.MILLIOHM, reason=why)
        return hand_on(
            self.name,
            CELL_RESISTANCE,
            found.cell_mohm.value,
            Unit.MILLIOHM,
            standard_uncertainty=found.cell_mohm.standard_uncertainty,
            more=f"{found.time_scale_s or 0.0:.0f} s after the step",
        )

    def signs(self, *, by_volts: bool) -> list[str]:
        """Return what shows that the cells do not hold, a sentence each. by_volts: whether volts count."""
        found = []
        if by_volts and self.least_v is not None and self.least_v < LEAST_CELL_V:
            found.append(f"{self.name}: a cell fell to {self.least_v:.2f} V.")
        leap = _leap(self._levels)
        if leap is not None:
            found.append(f"{self.name}: its level leapt from {100 * leap[0]:.0f} to {100 * leap[1]:.0f} %.")
        elif self._beyond_energy():
            first, last = self._levels[0][1], self._levels[-1][1]
            found.append(
                f"{self.name}: {100 * first:.0f} to {100 * last:.0f} %, "
                f"while {self._drawn_wh:.1f} Wh went out."
            )
        return found

    def _beyond_energy(self) -> bool:
        if len(self._levels) < 2 or self._untold or not self._full_wh:
            return False
        fell = self._levels[0][1] - self._levels[-1][1]
        return fell > self._drawn_wh / self._full_wh + _BEYOND_ENERGY + _EXACT


def _leap(looks: list[tuple[float, float]]) -> tuple[float, float] | None:
    """Return the levels before and after the first leap; None where there is none."""
    if len(looks) >= _MANY_LOOKS:
        # One wrong value between two right ones is no leap.
        looks = [
            (looks[i][0], median(level for _, level in looks[i - 1 : i + 2]))
            for i in range(1, len(looks) - 1)
        ]
    for i, (earlier_s, earlier) in enumerate(looks):
        for j in range(i + 1, len(looks)):
            seconds, level = looks[j][0] - earlier_s, looks[j][1]
            if seconds > _LEAP_S and j > i + 1:
                break
            if abs(level - earlier) > _LEAP * max(1.0, seconds / _LEAP_S) + _EXACT:
                return earlier, level
    return None


def _cell_v(pack: Pack) -> float | None:
    cells = cells_in_series(trusted(pack, "design_voltage_v"))
    voltage_v = trusted(pack, "voltage_v")
    return None if cells is None or voltage_v is None else voltage_v / cells
