"""What a pack's own gauge says, held against what was counted and against its voltage.

A gauge that lies may be whole in itself: a level that is counted against a false capacity is consistent until
the charge ends. So several signs are watched, each for itself. A sign that shows a lie by itself says so; the
others only doubt. Nothing here is judged: `pack_measurement` does, beside the measured capacity.

The signs are common practice at the bench, no source; what each one compares is arithmetic.
"""

import math

import msgspec

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.coverage import half_width
from verify.measure.gauge_following import VoltageFollowing
from verify.measure.gauge_signs import DRAIN, GaugeFinding, GaugeSign
from verify.measure.open_circuit import level_at_rest
from verify.measure.point import Point
from verify.measure.theil_sen import theil_sen

__all__ = ["BOAST", "GaugeSign", "GaugeWatch"]

LEAP = 0.03
"""A level that moves by more from one look to the next, while next to nothing flowed, leaps."""

LEAP_WITHIN_S = 30.0
"""Longer between two looks is a gap, not a leap."""

STANDS = 0.05
"""So much of the claimed capacity flowed, and the level did not move: it stands."""

REST_C = 0.03
"""A current below this, in C, is rest [common practice]."""

REST_S = 600.0
"""So long at rest, and the voltage is that of a cell at rest, within the assumed error."""

LEAST_CHANGE = 0.20
"""Change of level from which its slope against counted charge tells something."""

MENDED = 0.15
"""So far a start level may have been off, and the gauge mends it on the way: beyond it, its claim is false
[common practice: a new pack's level, made from its rest voltage, is no better]."""

BOAST = 0.95
"""A capacity below this share of the claim is short of it."""

_LEAPS_ABOUT = 3
"""A level that fell at once so often is read wrong: it is no false count that shows itself at the end."""

_POINTS = 60
_STEP_C = 0.2
_FOLLOWS = 0.02
_REST = "Let it rest for 10 minutes, unplugged and idle, and compare its voltage again."


class _Look(msgspec.Struct, frozen=True):
    at_s: float
    net_ah: float
    level: float
    current_a: float | None
    powered: bool | None


class GaugeWatch:
    """The signs, look by look, in constant memory.

    claimed_ah: full capacity as the gauge says it, in Ah, above 0; None where unknown, and then only signs
    that need none are found. cells: in series; charged_to_v: as of `open_circuit.charge_end_v`.
    """

    def __init__(
        self,
        *,
        claimed_ah: float | None,
        cells: int | None = None,
        charged_to_v: float | None = None,
        voltage_tells: bool = True,
        assumed: Assumed = ASSUMED,
    ) -> None:
        self._claimed_ah = claimed_ah
        self._cells = cells
        self._charged_to_v = charged_to_v
        self._voltage_tells = voltage_tells
        self._assumed = assumed
        self._first: _Look | None = None
        self._before: _Look | None = None
        self._moved: _Look | None = None
        self._curve: list[tuple[float, float]] = []
        self._spacing_ah = 0.0 if claimed_ah is None else claimed_ah / _POINTS
        self._leap_up = 0.0
        self._leap_down = 0.0
        self._falls = 0
        self._before_leap: tuple[float, float] | None = None
        self._longest_stand_ah = 0.0
        self._stand_level = 0.0
        self._followed = self._steps = 0
        self._following = VoltageFollowing()
        self._rest_from_s: float | None = None
        self._rest_v: float | None = None
        self._against: tuple[float, float, float, float] | None = None
        self._full_from_ah: float | None = None
        self._after_full_ah = 0.0
        self._slope_before: GaugeFinding | None = None

    def unseen(self) -> None:
        """Begin anew with the next look: what flowed before it was not seen. What was found stays."""
        self._slope_before = self._slope()
        self._first = self._before = self._moved = None
        self._curve.clear()
        self._following.unseen()
        self._rest_from_s = self._rest_v = self._full_from_ah = None

    def claim(self, claimed_ah: float | None) -> None:
        """Say what is claimed where it came to be known only now, in Ah."""
        self._claimed_ah = claimed_ah
        if not self._spacing_ah and claimed_ah is not None:
            self._spacing_ah = claimed_ah / _POINTS

    def see(self, point: Point, net_ah: float | None, current_a: float | None) -> None:
        """Take in one look: with the charge counted so far, into the pack positive, and the current.

        Without a level or a count the look is passed over.
        """
        level = point.level
        if level is None or not math.isfinite(level) or net_ah is None:
            return
        look = _Look(point.at_s, net_ah, level, current_a, point.powered)
        if self._first is None:
            self._first = self._moved = look
        if self._before is not None:
            self._see_leap(self._before, look)
        self._see_stand(look)
        self._see_rest(point, look)
        self._see_full(look)
        self._see_curve(look)
        self._following.see(look.level, net_ah, current_a, point.voltage_v)
        self._before = look

    def _see_leap(self, one: _Look, two: _Look) -> None:
        claimed_ah = self._claimed_ah
        if claimed_ah is None or two.at_s - one.at_s > LEAP_WITHIN_S:
            return
        change = two.level - one.level
        unexplained = change - (two.net_ah - one.net_ah) / claimed_ah
        if one.current_a is not None and two.current_a is not None:
            jump_a = two.current_a - one.current_a
            if abs(jump_a) > _STEP_C * claimed_ah:
                self._steps += 1
                # A voltage rises with the current into the pack; a count does not.
                self._followed += unexplained * math.copysign(1.0, jump_a) > _FOLLOWS
        if abs(unexplained) <= LEAP or abs(change) <= LEAP:
            return
        if change > self._leap_up:
            counted_ah = 0.0 if self._first is None else one.net_ah - self._first.net_ah
            self._leap_up, self._before_leap = change, (one.level, counted_ah)
        self._leap_down = max(self._leap_down, -change)
        self._falls += change < 0

    def _see_stand(self, look: _Look) -> None:
        moved = self._moved
        if moved is None or abs(look.level - moved.level) > 0.0049:
            self._moved = look
            return
        # A level that stands at either end of its range is not a sign.
        if 0.03 < look.level < 0.97:
            stood_ah = abs(look.net_ah - moved.net_ah)
            if stood_ah > self._longest_stand_ah:
                self._longest_stand_ah, self._stand_level = stood_ah, look.level

    def _see_rest(self, point: Point, look: _Look) -> None:
        claimed_ah, volts, cells = self._claimed_ah, point.voltage_v, self._cells
        resting = (
            claimed_ah is not None
            and look.current_a is not None
            and abs(look.current_a) <= REST_C * claimed_ah
            and volts is not None
            and volts > 0
        )
        if not resting or (self._before is not None and look.at_s - self._before.at_s > REST_S):
            self._rest_from_s = None
            return
        if self._rest_from_s is None:
            self._rest_from_s = look.at_s
        # After full the charger may hold the voltage up: only a pack that nothing feeds is at rest.
        if cells is None or not self._voltage_tells or look.powered or look.at_s - self._rest_from_s < REST_S:
            return
        if volts is None or volts == self._rest_v:
            return
        self._rest_v = volts
        band = level_at_rest(volts / cells, error_v=self._assumed.cell_v, charged_to_v=self._charged_to_v)
        beyond = max(band.low - look.level, look.level - band.high)
        if beyond > self._assumed.unproven and (self._against is None or beyond > self._against[0]):
            self._against = beyond, look.level, band.low, band.high

    def _see_full(self, look: _Look) -> None:
        if look.level < 0.995:
            self._full_from_ah = None
        elif self._full_from_ah is None:
            self._full_from_ah = look.net_ah
        else:
            self._after_full_ah = max(self._after_full_ah, look.net_ah - self._full_from_ah)

    def _see_curve(self, look: _Look) -> None:
        if self._spacing_ah <= 0:
            return
        if self._curve:
            last = self._curve[-1][0]
            rising = self._curve[-1][0] >= self._curve[0][0]
            step_ah = look.net_ah - last
            if len(self._curve) > 1 and step_ah * (1 if rising else -1) < -2 * self._spacing_ah:
                # The charge turned: a new leg begins.
                self._curve.clear()
            elif abs(step_ah) < self._spacing_ah:
                return
        self._curve.append((look.net_ah, look.level))
        if len(self._curve) > _POINTS:
            del self._curve[1::2]
            self._spacing_ah *= 2

    @property
    def ah_a_level(self) -> float | None:
        """Charge that the gauge took for its whole range, in Ah, by the slope of its level (Theil-Sen).

        Over the last leg, charge or discharge; None where the level changed by less than 20 points.
        """
        inner = [one for one in self._curve if 0.02 < one[1] < 0.98]
        if len(inner) < 5 or abs(inner[-1][1] - inner[0][1]) < LEAST_CHANGE:
            return None
        slope = theil_sen(inner)
        return 1 / slope if slope is not None and slope > 0 else None

    @property
    def _full_early(self) -> bool:
        return self._claimed_ah is not None and self._after_full_ah > STANDS * self._claimed_ah

    def _slope(self) -> GaugeFinding | None:
        ah, claimed_ah = self.ah_a_level, self._claimed_ah
        if ah is None or claimed_ah is None:
            return self._slope_before
        inner = [one for one in self._curve if 0.02 < one[1] < 0.98]
        change = abs(inner[-1][1] - inner[0][1])
        share = ah / claimed_ah

        def short(mended: float) -> bool:
            # Each end of the level may be off, and what was wrong at the start is mended on the way.
            widths = (self._assumed.gain, mended / change, 2 * self._assumed.level / change)
            return share * (1 + half_width(widths)) < BOAST

        if not short(self._assumed.unproven):
            return None
        falling = inner[-1][0] < inner[0][0]
        return GaugeFinding(
            sign=GaugeSign.FALLS_TOO_FAST if falling else GaugeSign.PROPORTIONATE_BOAST,
            sentence=(
                f"Its level {'falls' if falling else 'rises'} as that of a pack of {ah:.2f} Ah, not of the "
                f"{claimed_ah:.2f} Ah that it claimed."
            ),
            next_step="Charge it to full in one go and measure again." if falling else DRAIN,
            # A level that was at 100 % long before the end ran ahead: its slope says nothing of the claim.
            shows_lie=not self._full_early and short(max(MENDED, self._assumed.unproven)),
        )

    def _leaps(self) -> list[GaugeFinding]:
        findings = []
        before, claimed_ah = self._before_leap, self._claimed_ah
        if self._leap_up > 0 and before is not None and claimed_ah is not None:
            level, counted_ah = before
            counted = counted_ah / claimed_ah
            ends = level + self._leap_up >= 0.99
            lies = (
                ends
                and self._falls < _LEAPS_ABOUT
                and self._leap_up > max(MENDED, self._assumed.unproven)
                and counted > LEAST_CHANGE
            )
            where = " when the charge ended" if ends else ""
            findings.append(
                GaugeFinding(
                    sign=GaugeSign.FALSE_COUNT if ends else GaugeSign.LEAPS,
                    sentence=f"Its level leapt by {100 * self._leap_up:.0f} points{where}.",
                    next_step=DRAIN,
                    shows_lie=lies,
                )
            )
        if self._leap_down > 0:
            findings.append(
                GaugeFinding(
                    sign=GaugeSign.LEAPS,
                    sentence=f"Its level fell by {100 * self._leap_down:.0f} points at once.",
                    next_step="Run it at full load for 3 minutes at 35 to 50 % and watch the level.",
                )
            )
        return findings

    def findings(self) -> tuple[GaugeFinding, ...]:
        """Return every sign seen so far."""
        found = self._leaps()
        slope = self._slope()
        if slope is not None:
            found.append(slope)
        claimed_ah = self._claimed_ah
        if claimed_ah is not None and self._longest_stand_ah > STANDS * claimed_ah:
            share = self._longest_stand_ah / claimed_ah
            found.append(
                GaugeFinding(
                    sign=GaugeSign.STANDS,
                    sentence=(
                        f"Its level stood at {100 * self._stand_level:.0f} % while {100 * share:.0f} % of "
                        "its charge flowed."
                    ),
                    next_step=DRAIN,
                )
            )
        jumps = self._steps >= 2 and self._followed >= max(2, (self._steps + 1) // 2)
        if jumps or self._following.by_voltage:
            how = "follows the current at once" if jumps else "goes with the voltage, not with the charge"
            found.append(
                GaugeFinding(
                    sign=GaugeSign.FROM_VOLTAGE,
                    sentence=f"Its level {how}: it is made from the voltage and cannot be believed.",
                    next_step=DRAIN,
                )
            )
        if self._against is not None:
            beyond, level, low, high = self._against
            found.append(
                GaugeFinding(
                    sign=GaugeSign.AGAINST_VOLTAGE,
                    sentence=(
                        f"It says {100 * level:.0f} %; its voltage at rest is that of {100 * low:.0f} to "
                        f"{100 * high:.0f} %."
                    ),
                    next_step=_REST,
                    # Only a level above what the cells can have claims too much.
                    shows_lie=level > high and beyond > self._assumed.unproven + LEAP,
                )
            )
        if claimed_ah is not None and self._full_early:
            found.append(
                GaugeFinding(
                    sign=GaugeSign.FULL_TOO_EARLY,
                    sentence=(
                        f"It said 100 % while {100 * self._after_full_ah / claimed_ah:.0f} % more went in."
                    ),
                    next_step="Unplug it right after full: a machine that dies was not full.",
                )
            )
        return tuple(found)
