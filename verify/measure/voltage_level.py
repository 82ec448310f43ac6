"""The level that a cell's voltage stands for, under a current or at rest, and how well it tells it.

A loaded cell at its knee has run to its end; how much it still holds then hangs on its voltage and, through
what the current does to it, on rate and cold. What is C hangs on the capacity: where that comes out smaller
than what was claimed, a look is judged anew (`VoltageLevel.level_of`).
"""

import math

import msgspec

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.capacity import StartHow, StartLevel
from verify.measure.cells import USUAL_AH
from verify.measure.open_circuit import level_at_rest

__all__ = ["VoltageLevel", "VoltageLook"]

# What a current does to the voltage of a cell, V for 1 C: at once, and in the course of minutes; how long the
# latter stays [the overvoltages of published parameter sets, and their diffusion times; rounded up].
_AT_ONCE = (0.01, 0.30)
_SLOWLY = 0.20
_KNEE_CELL_V = 3.15  # a loaded cell below it has run to its end, wherever its system stops [common practice]
_KNEE_C = 0.05
# What may be left at the knee: at 3.0 V and no current, more for each V above and for each C of current. By
# PyBaMM, over seven published cells and 5 to 35 °C: 0.3 to 4.2 % at 3.0 V and 0.2 C, 6.5 % at 3.1 V, 12 % at
# 0.7 C and 5 °C.
_LEFT, _LEFT_A_V, _LEFT_A_C = 0.03, 0.30, 0.06
_SYSTEM_ENDS_V = 3.0
# Cold makes all of it more, about twice at 5 °C; a temperature that is not told counts as 15 °C [assumption].
_COLD_A_K, _WARM_C, _UNTOLD_C, _COLD_AT_MOST = 0.04, 25.0, 15.0, 3.0
_STAYS_S = 300.0
_UNSEEN_V = 0.05  # what may be left of a load before the first look
_RESTED_C = 0.03
_RESTED_V = 0.010


class VoltageLook(msgspec.Struct, frozen=True, kw_only=True):
    """One look as the level is found from it.

    cell_v: V a cell. current_a: into the pack positive. after_a: the current before, in A, times what cold
    adds, as far as it still stands against the voltage. unseen_v: the same of what flowed before the first
    look, in V. cold: 1 at 25 °C and above, more below.
    """

    cell_v: float
    current_a: float
    after_a: float
    unseen_v: float
    cold: float


class VoltageLevel:
    """The level that the voltage stands for, with what the current now and before does to it.

    cells: in series. claimed_ah: what C is reckoned from. charged_to_v: as of `open_circuit.charge_end_v`.
    """

    def __init__(
        self,
        *,
        cells: int,
        claimed_ah: float | None,
        charged_to_v: float | None,
        assumed: Assumed = ASSUMED,
    ) -> None:
        self._cells = cells
        self.scale_ah = claimed_ah if claimed_ah is not None and claimed_ah > 0 else USUAL_AH
        self._charged_to_v = charged_to_v
        self._assumed = assumed
        self._unseen_v = _UNSEEN_V
        self._after_a = 0.0
        self._cold = 1.0
        self._last_s: float | None = None

    def see(self, at_s: float, current_a: float, temperature_c: float | None = None) -> None:
        """Take in current and temperature at a time in s, rising."""
        celsius = temperature_c if temperature_c is not None and -40 < temperature_c < 90 else _UNTOLD_C
        self._cold = min(_COLD_AT_MOST, math.exp(max(0.0, _COLD_A_K * (_WARM_C - celsius))))
        if self._last_s is not None:
            share = 1 - math.exp(-(at_s - self._last_s) / _STAYS_S)
            self._after_a += (self._cold * abs(current_a) - self._after_a) * share
            self._unseen_v *= 1 - share
        self._last_s = at_s

    def broken(self) -> None:
        """Forget what flowed: how long nobody looked is not known."""
        self._unseen_v, self._after_a, self._last_s = _UNSEEN_V, 0.0, None

    def look(self, voltage_v: float, current_a: float) -> VoltageLook:
        """Return what is to be known of this moment. voltage_v: of the pack, above 0."""
        return VoltageLook(
            cell_v=voltage_v / self._cells,
            current_a=current_a,
            after_a=self._after_a,
            unseen_v=self._unseen_v,
            cold=self._cold,
        )

    def level(self, voltage_v: float, current_a: float) -> StartLevel:
        """Return the level now; ± what curves, current and assumed error leave open. voltage_v: above 0."""
        return self.level_of(self.look(voltage_v, current_a))

    def level_of(self, look: VoltageLook, *, capacity_ah: float | None = None) -> StartLevel:
        """Return the level at a look. capacity_ah: what C is reckoned from, above 0; None: the claim."""
        scale_ah = self.scale_ah if capacity_ah is None else capacity_ah
        rate_c = look.current_a / scale_ah
        if rate_c < -_KNEE_C and look.cell_v <= _KNEE_CELL_V:
            above_v = max(0.0, look.cell_v - _SYSTEM_ENDS_V)
            left = min(1.0, _LEFT + _LEFT_A_V * above_v - _LEFT_A_C * look.cold * rate_c)
            return StartLevel(level=left / 2, half_width=left / 2, how=StartHow.DRAINED)
        least, most = (look.cold * rate_c * one for one in _AT_ONCE)
        left_v = look.unseen_v + _SLOWLY * look.after_a / scale_ah
        error_v = self._assumed.cell_v + left_v + abs(most - least) / 2
        band = level_at_rest(
            max(look.cell_v - (least + most) / 2, 0.1), error_v=error_v, charged_to_v=self._charged_to_v
        )
        rested = abs(rate_c) <= _RESTED_C and left_v <= _RESTED_V
        return StartLevel(
            level=band.value,
            half_width=(band.high - band.low) / 2,
            how=StartHow.RESTED if rested else StartHow.LOADED,
        )
