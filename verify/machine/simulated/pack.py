"""The physics of a simulated pack: charge, voltage, temperature and what its gauge says of them.

Constant-current, constant-voltage charging on an open-circuit curve with one series resistance; the taper
follows from the curve, it is not drawn. All magnitudes are common practice, no source, for a pack with
three cells in series; nothing here describes a real one.
"""

from bisect import bisect_right

import msgspec

from verify.machine.model import PackState
from verify.machine.simulated.faults import ParsedFaults

# Open-circuit voltage of one cell over its level [common practice, no source]. It ends a little under
# the charging voltage, where the taper current still drops across the resistance.
_LEVELS = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
_OPEN_V = (3.00, 3.42, 3.52, 3.63, 3.69, 3.73, 3.78, 3.85, 3.93, 4.01, 4.10, 4.19)

_FULL_CELL_V = 4.20  # charging voltage of a cell
_CELL_OHM, _CELL_AH = 0.05, 4.2  # of a cell of at least this size
_CHARGE_C = 0.7  # constant-current phase, of the design capacity
_TAPER_C = 0.05  # charging ends here
_HOLD_BAND = 0.001

_WARMING_K_PER_W = 4.0  # of heat in the pack's own resistance
_WARMING_TAU_S = 1200.0
_HOT_K_PER_S = 0.05

_GAUGE_STEP_WH = 0.01


class PackDesign(msgspec.Struct, frozen=True, kw_only=True):
    """What a pack is made to be, and what it truly holds where nothing is wrong with it."""

    design_wh: float
    holds_wh: float
    design_voltage_v: float
    cells: int
    cycle_count: int
    manufacturer: str
    model: str
    serial: str


def open_circuit_v(level: float) -> float:
    """Return the open-circuit voltage of one cell, in V, at a level 0 to 1 (clamped)."""
    level = min(max(level, 0.0), 1.0)
    i = min(bisect_right(_LEVELS, level), len(_LEVELS) - 1)
    share = (level - _LEVELS[i - 1]) / (_LEVELS[i] - _LEVELS[i - 1])
    return _OPEN_V[i - 1] + share * (_OPEN_V[i] - _OPEN_V[i - 1])


class SimulatedPack:
    """One pack: `advance` moves it on, the attributes are what is true, `gauge_*` what it says."""

    def __init__(self, design: PackDesign, faults: ParsedFaults, *, level: float, ambient_c: float) -> None:
        holds_wh = faults.value("pack-holds") or design.holds_wh
        self.design = design
        self.level = level
        self.current_a = 0.0
        self.state = PackState.HOLDING
        self.temperature_c = ambient_c
        self._faults = faults
        self._capacity_ah = holds_wh / design.design_voltage_v
        self._holds_wh = holds_wh
        # Smaller cells have more of it; without that their taper would never come to its end.
        self._ohm = design.cells * _CELL_OHM * max(1.0, _CELL_AH * design.design_voltage_v / design.design_wh)
        self._design_ah = design.design_wh / design.design_voltage_v
        unlearned = "pack-holds" in faults or "gauge-not-learned" in faults
        self._gauge_full_wh = design.design_wh if unlearned else holds_wh
        self.voltage_v = self._open_v()

    def _open_v(self) -> float:
        return self.design.cells * open_circuit_v(self.level)

    @property
    def gauge_full_wh(self) -> float:
        """What the gauge takes for a full charge, in Wh, in its steps of 10 mWh."""
        return round(self._gauge_full_wh / _GAUGE_STEP_WH) * _GAUGE_STEP_WH

    @property
    def gauge_remaining_wh(self) -> float:
        """What the gauge says is left, in Wh, in its steps of 10 mWh."""
        return round(self.level * self._gauge_full_wh / _GAUGE_STEP_WH) * _GAUGE_STEP_WH

    @property
    def gauge_voltage_v(self) -> float:
        """What the gauge says of the voltage, in V."""
        cell_v = self._faults.value("cell-voltage")
        return self.voltage_v if cell_v is None else cell_v * self.design.cells

    def advance(self, seconds: float, *, offered_w: float | None, load_w: float, ambient_c: float) -> None:
        """Move on by `seconds` (a few at most).

        offered_w: what the charger gives in all; None where it gives nothing. load_w: the machine's own draw.
        """
        if offered_w is None:
            self._draw(load_w)
            self.state = PackState.DISCHARGING
        elif offered_w < load_w:
            self._draw(load_w - offered_w)
            self.state = PackState.DISCHARGING
        else:
            self._charge(offered_w - load_w)
        self.level = min(max(self.level + self.current_a * seconds / 3600 / self._capacity_ah, 0.0), 1.0)
        self.voltage_v = self._open_v() + self.current_a * self._ohm
        self._warm(seconds, ambient_c)

    def lose(self, energy_wh: float) -> None:
        """Lose this energy at rest, in Wh, as far as it is there."""
        self.level = max(0.0, self.level - energy_wh / self._holds_wh)
        self.current_a, self.voltage_v = 0.0, self._open_v()

    def _draw(self, power_w: float) -> None:
        # The last voltage is close enough: steps are short.
        self.current_a = -power_w / self.voltage_v if self.level > 0 else 0.0

    def _charge(self, spare_w: float) -> None:
        self.current_a = 0.0
        if self.state is PackState.FULL:
            return
        if self._held():
            self.state = PackState.HOLDING
            return
        self.state = PackState.CHARGING
        constant_a = _CHARGE_C * self._design_ah
        taper_a = (self.design.cells * _FULL_CELL_V - self._open_v()) / self._ohm
        self.current_a = max(0.0, min(constant_a, taper_a, spare_w / self.voltage_v))
        # Only the taper ends a charge: a charger that can give no more does not.
        if taper_a <= _TAPER_C * self._design_ah:
            self._end()

    def _held(self) -> bool:
        if "cell-voltage" in self._faults:
            return True
        stops = [self._faults.value(name) for name in ("charge-limit", "charge-stops-at")]
        return any(stop is not None and self.level >= stop - _HOLD_BAND for stop in stops)

    def _end(self) -> None:
        self.state, self.current_a, self.level = PackState.FULL, 0.0, 1.0
        if "gauge-not-learned" not in self._faults:
            self._gauge_full_wh = self._holds_wh

    def _warm(self, seconds: float, ambient_c: float) -> None:
        hot_c = self._faults.value("pack-hot")
        if hot_c is not None and self.state is PackState.CHARGING:
            self.temperature_c = min(hot_c, self.temperature_c + _HOT_K_PER_S * seconds)
            return
        final_c = ambient_c + _WARMING_K_PER_W * self.current_a**2 * self._ohm
        self.temperature_c += (final_c - self.temperature_c) * seconds / _WARMING_TAU_S
