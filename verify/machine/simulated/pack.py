"""A simulated pack: its cells, its charger's share, its warmth, and a gauge that tells of them what it tells.

`advance` moves it on; `level`, `current_a`, `voltage_v`, `temperature_c` are what is true, `gauge` what is
told. All magnitudes are common practice, no source, except where a module names one; nothing here describes
a real pack.
"""

import math

import msgspec

from verify.machine.model import PackState
from verify.machine.simulated.cell import CellDesign, Cells, mean_open_v, open_circuit_v
from verify.machine.simulated.charger import Charger, Flow, power_current_a
from verify.machine.simulated.gauge import Gauge, GaugeDesign

__all__ = ["PackDesign", "PackHabits", "SimulatedPack", "open_circuit_v"]

SHUTS_OFF_V = 2.8
"""Voltage of a cell at which a machine on its battery goes off, in V [common practice, no source]."""

_HOLD_BAND = 0.001
_WARMING_K_PER_W, _WARMING_TAU_S = 4.0, 1200.0  # of heat in the pack's own resistance
_HOT_K_PER_S = 0.05


class PackDesign(msgspec.Struct, frozen=True, kw_only=True):
    """What a pack is made to be, and what it truly holds at rest where nothing is wrong with it."""

    design_wh: float
    holds_wh: float
    design_voltage_v: float
    cells: int
    cycle_count: int
    manufacturer: str
    model: str
    serial: str

    @property
    def design_ah(self) -> float:
        """The charge that its design energy stands for at its nominal voltage, in Ah."""
        return self.design_wh / self.design_voltage_v

    def sound_cells(self, *, holds_wh: float | None = None, ohm: float | None = None) -> CellDesign:
        """Return its cells; holds_wh: at rest, empty to full; ohm: of one cell, whole; None where sound."""
        return CellDesign(
            series=self.cells,
            capacity_ah=(holds_wh or self.holds_wh) / (self.cells * mean_open_v()),
            ohm=ohm or CellDesign.sound_ohm(self.design_ah),
        )


class PackHabits(msgspec.Struct, frozen=True, kw_only=True):
    """What a pack or its machine does that others do not.

    stops_at: the told level at which charging is held. refuses: takes no charge. says_full: has the word.
    heats_to_c: what it warms to while the charger is in. told_c: the only temperature that its sensor knows.
    """

    stops_at: float | None = None
    refuses: bool = False
    says_full: bool = True
    heats_to_c: float | None = None
    told_c: float | None = None


class SimulatedPack:
    """One pack at work.

    cells, gauge: a sound pack's, with a gauge without errors, where not given. level: 0 to 1. ambient_c:
    what it stood in before.
    """

    def __init__(
        self,
        design: PackDesign,
        *,
        cells: CellDesign | None = None,
        gauge: GaugeDesign | None = None,
        charger: Charger | None = None,
        habits: PackHabits | None = None,
        level: float,
        ambient_c: float,
    ) -> None:
        self.design = design
        self.cells = Cells(cells or design.sound_cells(), level=level)
        self.holds_wh = self.capacity_ah * design.cells * mean_open_v()
        volts = self.cells.see(0.0)[0]
        self.gauge = Gauge(
            gauge or GaugeDesign(),
            capacity_ah=self.capacity_ah,
            holds_wh=self.holds_wh,
            level=level,
            rest_v=volts / design.cells,
            series=design.cells,
        )
        self.charger = charger or Charger(design_ah=design.design_ah)
        self.habits = habits or PackHabits()
        self.state = PackState.HOLDING
        self.current_a, self.voltage_v = 0.0, volts
        self.temperature_c = ambient_c
        self._full = False
        self._cooling: dict[float, float] = {}

    @property
    def level(self) -> float:
        """The true level; a little above 1 or below 0 is possible."""
        return self.cells.level

    @property
    def capacity_ah(self) -> float:
        """The true charge between level 0 and 1, in Ah."""
        return self.cells.design.capacity_ah

    @property
    def spent(self) -> bool:
        """Whether it can carry nothing more."""
        return self.cells.level <= 0 or self.voltage_v <= SHUTS_OFF_V * self.design.cells

    def advance(self, seconds: float, *, offered_w: float | None, load_w: float, ambient_c: float) -> None:
        """Move on by `seconds`, with one current; seconds of 0 let it answer at once.

        A few seconds follow every bend; a minute is close enough for a study. offered_w: what the charger
        gives in all; None where it gives nothing. load_w: the machine's own draw.
        """
        cells = self.cells
        volts, highest_v, ohm = cells.see(seconds)
        pack_ohm = self.design.cells * ohm
        spare_w = -load_w if offered_w is None else offered_w - load_w
        if offered_w is None or spare_w < 0:
            self._full = False
            self.state = PackState.DISCHARGING
            # One that is spent gives nothing: whoever asks has gone off.
            current_a = 0.0 if cells.level <= 0 else power_current_a(spare_w, volts=volts, ohm=pack_ohm)
        else:
            current_a = self._charge(spare_w, volts, highest_v, ohm)
        cells.move(current_a)
        self.current_a = current_a
        self.voltage_v = volts = volts + current_a * pack_ohm
        told_c = self._warm(seconds, ambient_c, powered=offered_w is not None)
        self.gauge.see(seconds, current_a, volts, told_c, self.state)

    def lose(self, energy_wh: float, *, ambient_c: float) -> None:
        """Lose this energy in a long rest, in Wh, as far as it is there."""
        share = min(energy_wh / self.holds_wh, max(self.cells.level, 0.0))
        self.cells.level -= share
        self.cells.lag_v = self.cells.slow_v = self.current_a = 0.0
        self.voltage_v = self.cells.see(0.0)[0]
        self.temperature_c = ambient_c
        self.gauge.slept(share)

    def _charge(self, spare_w: float, volts: float, highest_v: float, ohm: float) -> float:
        if self._full:
            return 0.0
        habits = self.habits
        if habits.refuses or (
            habits.stops_at is not None and self.gauge.level >= habits.stops_at - _HOLD_BAND
        ):
            self.state = PackState.HOLDING
            return 0.0
        celsius = self.temperature_c if habits.told_c is None else habits.told_c
        current_a, flow = self.charger.current(
            spare_w, series=self.design.cells, volts=volts, highest_v=highest_v, ohm=ohm, celsius=celsius
        )
        if flow is Flow.CHARGES:
            self.state = PackState.CHARGING
        elif flow is Flow.HELD:
            self.state = PackState.HOLDING
        else:
            self._full = True
            self.state = PackState.FULL if habits.says_full else PackState.CHARGING
            self.gauge.end()
        return current_a

    def _warm(self, seconds: float, ambient_c: float, *, powered: bool) -> float:
        """Warm or cool for a step, and return what the sensor says."""
        hot_c = self.habits.heats_to_c
        if hot_c is not None and powered and not self._full:
            self.temperature_c = min(hot_c, self.temperature_c + _HOT_K_PER_S * seconds)
        elif seconds:
            share = self._cooling.get(seconds)
            if share is None:
                share = self._cooling[seconds] = -math.expm1(-seconds / _WARMING_TAU_S)
            final_c = ambient_c + _WARMING_K_PER_W * self.cells.heat_w(self.current_a)
            self.temperature_c += (final_c - self.temperature_c) * share
        return self.temperature_c if self.habits.told_c is None else self.habits.told_c
