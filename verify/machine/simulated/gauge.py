"""What a simulated pack's gauge says, apart from what is true: its steps, its errors, and its lies.

The gauge counts the charge that its own sensor shows. A sound one counts against what the pack truly holds,
as its sensor has shown it; one that lies counts against, or tells, what it claims.
"""

from enum import Enum

import msgspec

from verify.machine.model import PackState
from verify.machine.simulated.cell import curve

__all__ = ["Gauge", "GaugeDesign", "Lie"]

_DEAD_A = 0.005  # a gauge takes less for no current [common practice, no source]
_LEARNS_BELOW = 0.6  # a charge that began higher teaches nothing [common practice, no source]


class Lie(Enum):
    """How a gauge treats the capacity that it claims."""

    NONE = "none"
    """It claims what it has learned."""

    BOASTS = "boasts"
    """It claims more, and tells a level in proportion to what is true."""

    LEAPS = "leaps"
    """It counts from the true level against what it claims; the end of a charge makes it leap to full."""

    SINCE_FULL = "since full"
    """It has counted against what it claims since the pack was last full: it agrees with itself."""

    VOLTS = "volts"
    """It makes its level from the voltage at the terminals, and counts nothing."""


class GaugeDesign(msgspec.Struct, frozen=True, kw_only=True):
    """A gauge. Steps and errors are of what it tells; an error of 0 is none.

    update_s: how often it tells anew. gain: of its current sensor, a share. offset_a: of the same, in A.
    voltage_gain: a share. level_error: at the start, added to the level. full_error: of the full capacity
    that it has learned, a share beside the gain. full_wh: what it takes for full before it has learned; None:
    it has learned. claims_wh: the full capacity that it claims under a lie, or where it never learns.
    """

    update_s: float = 1.0
    current_step_a: float = 0.001
    voltage_step_v: float = 0.001
    energy_step_wh: float = 0.01
    level_step: float = 0.0001
    temperature_step_c: float = 0.1
    gain: float = 0.0
    offset_a: float = 0.0
    voltage_gain: float = 0.0
    level_error: float = 0.0
    full_error: float = 0.0
    full_wh: float | None = None
    claims_wh: float | None = None
    lie: Lie = Lie.NONE
    learns: bool = True


def stepped(value: float, step: float) -> float:
    """Return the value in whole steps; as it is where the step is 0."""
    return round(round(value / step) * step, 6) if step else value


class Gauge:
    """A gauge at work: `see` each step of the pack; the properties are what it tells.

    capacity_ah, holds_wh: what is true. level: true at the start. rest_v: of a cell at the start.
    """

    def __init__(
        self,
        design: GaugeDesign,
        *,
        capacity_ah: float,
        holds_wh: float,
        level: float,
        rest_v: float,
        series: int,
    ) -> None:
        self.design = design
        self._series = series
        seen = 1 + design.gain
        self._wh_per_ah = holds_wh / capacity_ah
        learned_wh = holds_wh * seen * (1 + design.full_error)
        self._full_wh = design.claims_wh or design.full_wh or learned_wh
        against_ah = capacity_ah * seen
        if design.lie in (Lie.LEAPS, Lie.SINCE_FULL) and design.claims_wh is not None:
            against_ah = design.claims_wh / self._wh_per_ah
            if design.lie is Lie.SINCE_FULL:
                level = 1 - (1 - level) * holds_wh / design.claims_wh
        self._per_ah = 1 / against_ah
        self.level = min(max(level + design.level_error, 0.0), 1.0)
        self._from_volts = design.lie is Lie.VOLTS
        if self._from_volts:
            self.level = curve().level(rest_v)
        self._lowest, self._since_lowest_ah = self.level, 0.0
        self._at_s = self._due_s = 0.0
        self._told = (0.0, rest_v * series, 0.0, self.level, PackState.HOLDING)

    def see(
        self, seconds: float, current_a: float, voltage_v: float, celsius: float, state: PackState
    ) -> None:
        """Take in a step: its length, the current during it; voltage, temperature and state at its end.

        A step of no length is told at once.
        """
        design = self.design
        if -_DEAD_A < current_a < _DEAD_A:
            seen_a = 0.0
        else:
            seen_a = current_a * (1 + design.gain) + design.offset_a
            if seconds and not self._from_volts:
                counted_ah = seen_a * seconds / 3600
                self._since_lowest_ah += counted_ah
                level = self.level + counted_ah * self._per_ah
                self.level = level = 0.0 if level < 0 else 1.0 if level > 1 else level
                if level < self._lowest:
                    self._lowest, self._since_lowest_ah = level, 0.0
        if self._from_volts:
            self.level = curve().level(voltage_v / self._series)
        self._at_s += seconds
        if not seconds or self._at_s >= self._due_s:
            self._told = (seen_a, voltage_v, celsius, self.level, state)
            every = design.update_s
            self._due_s = (self._at_s // every + 1) * every if every else 0.0

    def end(self) -> None:
        """Take the end of a charge for full, and learn from a charge that began low enough."""
        design = self.design
        if design.learns and design.lie is Lie.NONE and self._lowest <= _LEARNS_BELOW:
            learned_ah = self._since_lowest_ah / (1 - self._lowest)
            self._full_wh = learned_ah * self._wh_per_ah
        self.level = self._lowest = 1.0
        self._since_lowest_ah = 0.0

    def slept(self, lost: float) -> None:
        """Lose a share of the true level at rest: the gauge has slept, and knows it by the voltage."""
        self.level = self._lowest = max(0.0, self.level - lost)
        self._since_lowest_ah = 0.0

    # What it tells.

    @property
    def state(self) -> PackState:
        """What the pack does."""
        return self._told[4]

    @property
    def current_a(self) -> float:
        """The current, in A, into the pack positive."""
        return stepped(self._told[0], self.design.current_step_a)

    @property
    def voltage_v(self) -> float:
        """The voltage, in V."""
        return stepped(self._told[1] * (1 + self.design.voltage_gain), self.design.voltage_step_v)

    @property
    def temperature_c(self) -> float:
        """The pack's temperature, in °C."""
        return stepped(self._told[2], self.design.temperature_step_c)

    @property
    def full_wh(self) -> float:
        """What it takes for a full charge, in Wh."""
        return stepped(self._full_wh, self.design.energy_step_wh)

    @property
    def remaining_wh(self) -> float:
        """What it says is left, in Wh."""
        return stepped(self._told[3] * self._full_wh, self.design.energy_step_wh)

    @property
    def told_level(self) -> float:
        """The level, 0 to 1."""
        return stepped(self._told[3], self.design.level_step)
