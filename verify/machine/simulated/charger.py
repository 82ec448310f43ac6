"""How a simulated machine charges its pack: bands of temperature, trickle, current, voltage, and the end.

The bands follow the guideline of JEITA and the Battery Association of Japan of 20 April 2007 for portable
lithium packs; by how much current and voltage fall in them is a charger's own [common practice, no source].
"""

import math
from enum import Enum

import msgspec

__all__ = ["Charger", "Flow"]

_TRICKLE_BELOW_V = 3.0
_TRICKLE_C, _CONSTANT_C, _TAPER_C = 0.10, 0.70, 0.05  # of the design capacity [common practice, no source]
_CELL_V, _WARM_CELL_V = 4.20, 4.10
_COLD_C, _COOL_C, _WARM_C, _HOT_C = 0.0, 10.0, 45.0, 60.0
_COOL_SHARE, _WARM_SHARE = 0.20, 0.50  # of the constant current
_NOTHING_C = 0.01


class Flow(Enum):
    """What comes of an offer: a current, none as the pack may take none, or the end of the charge."""

    CHARGES = "charges"
    HELD = "held"
    ENDS = "ends"


class Charger(msgspec.Struct, frozen=True, kw_only=True):
    """A charger for a pack of this design capacity, in Ah. taper_c: where it ends, in C of the design."""

    design_ah: float
    constant_c: float = _CONSTANT_C
    taper_c: float = _TAPER_C

    def current(
        self, spare_w: float, *, series: int, volts: float, highest_v: float, ohm: float, celsius: float
    ) -> tuple[float, Flow]:
        """Return the current, in A, and what comes of it.

        spare_w: what the machine leaves of the offer. volts, highest_v: of the pack and of its highest group
        without current; ohm: of one group. celsius: what the pack's sensor says.
        """
        if not _COLD_C <= celsius < _HOT_C:
            return 0.0, Flow.HELD
        constant_a, cell_v = self.constant_c * self.design_ah, _CELL_V
        normal = _COOL_C <= celsius < _WARM_C
        if celsius < _COOL_C:
            constant_a *= _COOL_SHARE
        elif celsius >= _WARM_C:
            constant_a, cell_v = constant_a * _WARM_SHARE, _WARM_CELL_V
        taper_a = (cell_v - highest_v) / ohm
        # Only the taper ends a charge: not a charger that gives no more, nor a cool or warm pack.
        if normal and taper_a <= self.taper_c * self.design_ah:
            return 0.0, Flow.ENDS
        if taper_a <= _NOTHING_C * self.design_ah:
            return 0.0, Flow.HELD
        if highest_v + constant_a * ohm < _TRICKLE_BELOW_V:
            constant_a = min(constant_a, _TRICKLE_C * self.design_ah)
        current_a = min(taper_a, constant_a)
        pack_ohm = series * ohm
        if current_a * (volts + current_a * pack_ohm) > spare_w:
            current_a = power_current_a(spare_w, volts=volts, ohm=pack_ohm)
        return current_a, Flow.CHARGES


def power_current_a(power_w: float, *, volts: float, ohm: float) -> float:
    """Return the current at which this power goes in (above 0) or out, in A.

    More than the pack can give at all: the current of the most that it can. Source: P = I (V + I R).
    """
    inside = volts * volts + 4 * ohm * power_w
    return (math.sqrt(inside if inside > 0 else 0.0) - volts) / (2 * ohm)
