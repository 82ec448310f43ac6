"""Where a count begins: the moment at which the level was known best, found while it goes on.

A leg is a level and the count since. The level of a pack is known from outside, from its voltage (at rest, or
less what the current does to it), or from its gauge. What counts is not how well the level is known but how
well the capacity will be, which is the error over the range that is left to charge: a low level is worth more
than a well-known high one. A new leg begins only where it is clearly better, so a watch begins a few at most.
"""

import math

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.capacity import PROVEN_WITHIN, EndHow, EndLevel, StartHow, StartLevel
from verify.measure.charge_count import ChargeCount
from verify.measure.point import Point
from verify.measure.voltage_level import VoltageLevel, VoltageLook

__all__ = ["Fall", "Leg", "Rise"]

_BETTER = 0.8  # a new leg must promise an error this much smaller
_LOOK_EVERY_S, _LOOK_CHARGING_S = 20.0, 120.0  # while it charges, levels only get worth less
_CHARGES_C = 0.03
_LEAST_FALL = 0.10  # of level: less gives no figure worth a line
_NEW = 0.005  # of level: what a rest must tell to be better known than a run down to the end


class Leg:
    """A start level and what was counted since.

    look, volts: what the start was told from, where it was a voltage: then it can be told anew.
    """

    def __init__(
        self,
        start: StartLevel,
        *,
        nominal_v: float | None,
        look: VoltageLook | None = None,
        volts: VoltageLevel | None = None,
    ) -> None:
        self.start = start
        self.count = ChargeCount(nominal_v=nominal_v)
        self._look, self._volts = look, volts

    @property
    def promise(self) -> float:
        """The relative error of the capacity that this start leads to at full."""
        return self.start.half_width / max(0.01, 1 - self.start.level)

    def start_for(self, capacity_ah: float) -> StartLevel:
        """Return the start where the pack holds about so much, in Ah, above 0: less than the claim, perhaps.

        A rate in C is then higher than it seemed, and the voltage tells the level less well.
        """
        volts, look = self._volts, self._look
        if volts is None or look is None or capacity_ah >= volts.scale_ah:
            return self.start
        return volts.level_of(look, capacity_ah=capacity_ah)

    def narrowed(self, rested: StartLevel, scale_ah: float) -> StartLevel | None:
        """Return what a rest after running down tells together with it; None where it tells nothing new.

        The rest is believed where they disagree: a loaded cell may be at its knee long before it is empty.
        """
        if self.start.how is not StartHow.DRAINED or rested.how is not StartHow.RESTED:
            return None
        now, width = self.start.level + self.count.net_ah / scale_ah, self.start.half_width
        if rested.level - rested.half_width > now + width:
            return rested
        if rested.level > now + width:
            # Hardly at one: neither narrows the other.
            return None
        low = max(0.0, now - width, rested.level - rested.half_width)
        high = min(1.0, now + width, rested.level + rested.half_width)
        if not low < high < low + 2 * width - _NEW:
            return None
        return StartLevel(level=(low + high) / 2, half_width=(high - low) / 2, how=StartHow.RESTED)


class Rise:
    """The legs that lead to full: the best without the gauge and the best with it.

    given: a start that is known from outside at the first look; None otherwise. volts: None where the voltage
    tells nothing of this pack. nominal_v: of the pack.
    """

    def __init__(
        self,
        *,
        given: StartLevel | None = None,
        volts: VoltageLevel | None,
        nominal_v: float | None,
        assumed: Assumed = ASSUMED,
    ) -> None:
        self._volts = volts
        self._nominal_v = nominal_v
        self._assumed = assumed
        self.without_gauge: Leg | None = None
        self.with_gauge: Leg | None = None
        self._looked_s = self._charged_s = -math.inf
        if given is not None:
            leg = Leg(given, nominal_v=nominal_v)
            if given.without_gauge:
                self.without_gauge = leg
            else:
                self.with_gauge = leg

    def see(self, point: Point, current_a: float | None) -> None:
        """Take in a look, and the current that it told or that follows from what it told."""
        if self._volts is not None and current_a is not None:
            self._volts.see(point.at_s, current_a, point.temperature_c)
        if point.at_s - self._looked_s >= _LOOK_EVERY_S:
            self._looked_s = point.at_s
            self._see_voltage(point, current_a)
            self._see_gauge(point)
        for leg in (self.without_gauge, self.with_gauge):
            if leg is not None:
                leg.count.see(point)

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look."""
        for leg in (self.without_gauge, self.with_gauge):
            if leg is not None:
                leg.count.unseen()

    def broken(self) -> None:
        """Begin anew with the next look: how long nobody looked is not known."""
        self.without_gauge = self.with_gauge = None
        self._looked_s = self._charged_s = -math.inf
        if self._volts is not None:
            self._volts.broken()

    def _see_voltage(self, point: Point, current_a: float | None) -> None:
        voltage_v, volts, leg = point.voltage_v, self._volts, self.without_gauge
        if volts is None or current_a is None or voltage_v is None or not 0 < voltage_v < math.inf:
            return
        charging = leg is not None and current_a > _CHARGES_C * volts.scale_ah
        if charging and point.at_s - self._charged_s < _LOOK_CHARGING_S:
            return
        self._charged_s = point.at_s
        look = volts.look(voltage_v, current_a)
        start = volts.level_of(look)
        if leg is not None:
            narrowed = leg.narrowed(start, volts.scale_ah)
            if narrowed is not None:
                self.without_gauge = Leg(narrowed, nominal_v=self._nominal_v)
                return
        if leg is None or _replaces(start, leg):
            self.without_gauge = Leg(start, nominal_v=self._nominal_v, look=look, volts=volts)

    def _see_gauge(self, point: Point) -> None:
        level = point.level
        if level is None or not 0 <= level <= 1:
            return
        start = StartLevel(level=level, half_width=self._assumed.unproven, how=StartHow.GAUGE)
        if self.with_gauge is None or _replaces(start, self.with_gauge):
            self.with_gauge = Leg(start, nominal_v=self._nominal_v)


def _replaces(start: StartLevel, leg: Leg) -> bool:
    """Tell whether to begin anew here."""
    drained = StartHow.DRAINED
    if start.how is drained and leg.start.how is drained and leg.count.net_ah <= 0:
        # It still runs down: the nearer to its end, the less can be left, whatever the width says.
        return True
    return start.half_width / max(0.01, 1 - start.level) < _BETTER * leg.promise


class Fall:
    """The leg that runs down: from full, or from the first look on battery, until something flows in.

    flows_a: a current into the pack above it is a charge.
    """

    def __init__(
        self,
        *,
        volts: VoltageLevel | None,
        nominal_v: float | None,
        flows_a: float,
        assumed: Assumed = ASSUMED,
    ) -> None:
        self._volts = volts
        self._nominal_v = nominal_v
        self._flows_a = flows_a
        self._assumed = assumed
        self._leg: Leg | None = None
        self.known: tuple[Leg, EndLevel] | None = None
        """The last leg that fell far enough to tell something, and where it is."""

    def see(self, point: Point, current_a: float | None, *, full: StartLevel | None) -> None:
        """Take in a look. full: the level where the charge has just ended, None elsewhere."""
        if full is not None:
            self._leg = Leg(full, nominal_v=self._nominal_v)
        if current_a is None:
            return
        if current_a > self._flows_a and full is None:
            self._leg = None
        elif self._leg is None and point.level is not None and 0 <= point.level <= 1:
            start = StartLevel(level=point.level, half_width=self._assumed.level, how=StartHow.BELIEVED)
            self._leg = Leg(start, nominal_v=self._nominal_v)
        leg = self._leg
        if leg is None:
            return
        leg.count.see(point)
        end = self._end(point, current_a)
        if end is not None and leg.start.level - end.level >= _LEAST_FALL:
            self.known = leg, end

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look."""
        if self._leg is not None:
            self._leg.count.unseen()

    def broken(self) -> None:
        """Begin anew with the next look; what fell before stays known."""
        self._leg = None

    def _end(self, point: Point, current_a: float) -> EndLevel | None:
        volts, level = point.voltage_v, point.level
        if self._volts is not None and volts is not None and 0 < volts < math.inf:
            known = self._volts.level(volts, current_a)
            if known.half_width <= PROVEN_WITHIN:
                return EndLevel(level=known.level, half_width=known.half_width, how=EndHow.VOLTAGE)
        if level is None or not 0 <= level <= 1:
            return None
        return EndLevel(level=level, half_width=self._assumed.level, how=EndHow.GAUGE)
