"""Bands of a pack's temperature while it charges, and a sensor that is none.

Source: guideline of JEITA and the Battery Association of Japan for portable lithium-ion packs, 20 April
2007, as datasheets of charging circuits describe it. Chargers differ: take the bands for their shape.
Edges: 0 and 10 °C belong to the band above, 45 °C too, 60 °C to the one below [common practice, no source].
"""

from enum import StrEnum

from verify.measure.look_intervals import LookIntervals
from verify.measure.point import Point

__all__ = ["EXPECTED", "NORMAL_FROM_C", "WHAT_TO_DO", "Band", "TemperatureStill", "band"]


class Band(StrEnum):
    """Where a pack's temperature lies."""

    COLD = "cold"
    COOL = "cool"
    NORMAL = "normal"
    WARM = "warm"
    HOT = "hot"


COOL_FROM_C, NORMAL_FROM_C, WARM_FROM_C, HOT_ABOVE_C = 0.0, 10.0, 45.0, 60.0

EXPECTED = {
    Band.COLD: "No charge goes in.",
    Band.COOL: "Little current goes in, and full may never be told.",
    Band.NORMAL: "Full current and full voltage.",
    Band.WARM: "It is charged to a lower voltage, and full may never be told.",
    Band.HOT: "No charge goes in.",
}
"""What a charger does in each band."""

WHAT_TO_DO = {
    Band.COLD: "Let the machine warm to the room, switched off, then charge again.",
    Band.COOL: "Let it warm to 10 °C or more, then charge again. This is no fault of the battery.",
    Band.NORMAL: "",
    Band.WARM: "Pause, free the vents, let it cool below 45 °C, then go on. This is no fault of the battery.",
    Band.HOT: "Pull the charger out. Do not press or open the battery. Keep what burns away. Stay near.",
}
"""What to do in each band; nothing where all is as it should be."""

STILL_K = 0.1
STILL_S = 1800.0
STILL_RATE_C = 0.2
"""A pack that is charged at 0.2 C or more for 30 min warms by more than 0.1 K [common practice, no
source].
"""

_EXACT = 1e-6


def band(temperature_c: float) -> Band:
    """Return the band of a pack's temperature, in °C."""
    if temperature_c < COOL_FROM_C:
        return Band.COLD
    if temperature_c < NORMAL_FROM_C:
        return Band.COOL
    if temperature_c < WARM_FROM_C:
        return Band.NORMAL
    return Band.WARM if temperature_c <= HOT_ABOVE_C else Band.HOT


class TemperatureStill:
    """Whether a pack's temperature stands still while it charges: a sensor that is none.

    capacity_ah: what C is reckoned from, in Ah, above 0. `still` is None until half an hour of charging at
    0.2 C or more was seen; then False once the temperature has moved further than 0.1 K from one value,
    True while it has not.
    """

    def __init__(self, *, capacity_ah: float) -> None:
        self._least_a = STILL_RATE_C * capacity_ah
        self._before_s: float | None = None
        self._charged_s = 0.0
        self._lowest_c = self._highest_c = 0.0
        self._moved = False
        self._intervals = LookIntervals()

    def see(self, point: Point) -> None:
        """Take in a look; without current or temperature it ends what was watched in one piece."""
        current_a, warmth_c = point.current_a, point.temperature_c
        if current_a is None or warmth_c is None or current_a < self._least_a:
            self._before_s = None
            return
        before_s, self._before_s = self._before_s, point.at_s
        if self._charged_s == 0.0 and before_s is None:
            self._lowest_c = self._highest_c = warmth_c
        passed_s = 0.0 if before_s is None else point.at_s - before_s
        # Asleep, or not looked at, it may not have been charged.
        if passed_s > 0 and not self._intervals.is_gap(passed_s):
            self._charged_s += passed_s
        self._lowest_c = min(self._lowest_c, warmth_c)
        self._highest_c = max(self._highest_c, warmth_c)
        # Within 0.1 K of one value: 0.2 K from end to end.
        self._moved = self._highest_c - self._lowest_c > 2 * STILL_K + _EXACT

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look: it does not count."""
        self._before_s = None

    @property
    def still(self) -> bool | None:
        """Whether it has stood still; None where too little charging was seen."""
        if self._moved:
            return False
        return True if self._charged_s >= STILL_S - _EXACT else None

    @property
    def sentence(self) -> str | None:
        """What to tell and do where it stood still; else None."""
        if not self.still:
            return None
        return (
            f"The battery's temperature has stood at {self._lowest_c:.1f} °C through 30 min of charging: "
            "it has no true sensor, "
            "and the charger cannot protect it. Pull the charger out. Warm it with a hand: "
            "if the figure does not move, do not hand it back with this battery."
        )
