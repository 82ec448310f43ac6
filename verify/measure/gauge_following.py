"""Whether a level goes with the voltage at the terminals or with the charge, on the way down and up again.

A current holds the voltage of a pack down or up. A level that is counted is the same at the same charge, and
then the voltages differ; one that is made from the voltage is the same at the same voltage, and then the
charges differ.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

__all__ = ["VoltageFollowing"]

_SPACING = 0.015  # of level
_MOST = 120  # points of one way
_INNER = (0.03, 0.97)  # at either end of its range a level stands
_WITH, _APART = 0.02, 0.06  # of level: it goes with the one, and not with the other
_LEAST_POINTS = 4
_NEARLY_ALL = 0.8
_STILL_A = 0.05

_Way = list[tuple[float, float, float]]  # charge in Ah, voltage in V, level


class VoltageFollowing:
    """The last way down and the last way up, in constant memory."""

    def __init__(self) -> None:
        self._ways: dict[bool, _Way] = {False: [], True: []}
        self._up: bool | None = None
        self._found = False

    def see(self, level: float, net_ah: float, current_a: float | None, voltage_v: float | None) -> None:
        """Take in a look: level 0 to 1, charge counted and current (into the pack positive), voltage."""
        if current_a is None or voltage_v is None or not abs(current_a) > _STILL_A:
            return
        up = current_a > 0
        way = self._ways[up]
        if up is not self._up:
            self._found, self._up = self.by_voltage, up
            way.clear()
        if way and not abs(level - way[-1][2]) >= _SPACING:
            return
        if len(way) < _MOST:
            way.append((net_ah, voltage_v, level))

    def unseen(self) -> None:
        """Begin anew with the next look: charges before and after it cannot be compared."""
        self._found = self.by_voltage
        for way in self._ways.values():
            way.clear()

    @property
    def by_voltage(self) -> bool:
        """Whether the level goes with the voltage; False where the two ways do not show it."""
        if self._found:
            return True
        down = sorted(self._ways[False])
        by_charge = [(charge, level) for charge, _, level in down]
        by_volts = sorted((volts, level) for _, volts, level in down)
        compared = found = 0
        for charge, volts, level in self._ways[True]:
            if not _INNER[0] < level < _INNER[1]:
                continue
            at_charge, at_volts = _at(by_charge, charge), _at(by_volts, volts)
            if at_charge is None or at_volts is None:
                continue
            compared += 1
            found += abs(level - at_volts) <= _WITH and abs(level - at_charge) >= _APART
        return found >= _LEAST_POINTS and found >= _NEARLY_ALL * compared


def _at(curve: Sequence[tuple[float, float]], x: float) -> float | None:
    """Return the curve's value at x, straight between its points; None outside of them."""
    if not (curve and math.isfinite(x) and curve[0][0] <= x <= curve[-1][0]):
        return None
    for (x1, y1), (x2, y2) in pairwise(curve):
        if x <= x2:
            return y1 if x2 == x1 else y1 + (y2 - y1) * (x - x1) / (x2 - x1)
    return curve[-1][1]
