"""One pack measured while it charges: capacity, gauge, phases, events, time left; and what is handed on."""

import math

from verify.machine import Pack
from verify.measure.assumed import Assumed
from verify.measure.capacity import StartHow, StartLevel
from verify.measure.charge_events import ChargeEvents
from verify.measure.forecast import ChargeForecast
from verify.measure.interval import Interval
from verify.measure.jeita import TemperatureStill
from verify.measure.open_circuit import charge_end_v
from verify.measure.pack_measurement import Gauge, Measured, PackMeasurement
from verify.measure.point import Point
from verify.probe import handed_on
from verify.probe.handed_on import hand_on, hand_on_interval, hand_on_level, handed
from verify.probe.model import Context
from verify.probe.pack_point import capacity_ah_of, cells_of, label_volts, point_of
from verify.probe.watching import trusted
from verify.values import Reading, Unit

__all__ = ["ChargeMeasure", "start_from"]

_EVERY_S = 30.0  # what costs milliseconds is asked so often
_DECIDE_EVERY_S = 120.0  # and a decision, which costs most; at the end it is asked once more in any case
_LATER = 0.05  # of the time so far: a watch of hours is taken up again in about a second
_SAME_S = 20.0  # figures that stand still are taken in so often: a watch of a day is taken up again
_FOREIGN = 0.15  # a change of level between two checks, by a gauge that may be so far off
_MOST_BRIDGED = 0.30


def start_from(context: Context, pack: Pack) -> StartLevel | None:
    """Return the level now by what an earlier check proved, carried here by the gauge; None where none did.

    A drain tells it better than a rest. What the gauge counted in between may be off by 15 % of itself.
    """
    level = trusted(pack, "state_of_charge")
    for check, what, how in (
        ("drain", handed_on.LEVEL_AT_END, StartHow.DRAINED),
        ("rest-level", handed_on.LEVEL_BY_VOLTS, StartHow.RESTED),
    ):
        known = handed(context.earlier, pack.name, what, checks=(check,))
        then = handed(context.earlier, pack.name, handed_on.GAUGE_LEVEL, checks=(check,))
        if known is None or known.value is None or then is None or then.value is None or level is None:
            continue
        by_gauge = "gauge" in handed_on.told_by(known)
        moved = level - then.value / 100
        if by_gauge or abs(moved) > _MOST_BRIDGED:
            continue
        # Independent errors: one rectangle with the spread of all.
        half = math.hypot(
            math.sqrt(3) * (known.standard_uncertainty or 0.0) / 100, _FOREIGN * abs(moved), 0.002
        )
        return StartLevel(level=min(1.0, max(0.0, known.value / 100 + moved)), half_width=half, how=how)
    return None


class ChargeMeasure:
    """The measurement of one pack. base_wh: what the label says, else design; None where neither is known."""

    def __init__(self, pack: Pack, *, context: Context, assumed: Assumed, least: float) -> None:
        self.name = pack.name
        self._least = least
        cells = cells_of(pack, label_volts(context.label))
        design_wh = trusted(pack, "design_wh")
        claimed_wh = trusted(pack, "full_charge_wh")
        self.base_wh = context.label_wh or design_wh
        self._capacity_ah = capacity_ah_of(pack, claimed=True) or capacity_ah_of(pack)
        nominal_v = trusted(pack, "design_voltage_v")
        ends_v = charge_end_v(nominal_v / cells) if nominal_v and cells else None
        self.start = start_from(context, pack)
        self._packed = PackMeasurement(
            assumed=assumed,
            design_wh=design_wh,
            design_voltage_v=nominal_v,
            claimed_wh=claimed_wh,
            label_wh=context.label_wh,
            cells=cells,
            technology=pack.technology,
            start=self.start,
        )
        self._forecast = ChargeForecast(capacity_ah=self._capacity_ah, cells=cells, full_cell_v=ends_v)
        self._events = ChargeEvents(capacity_ah=self._capacity_ah)
        self._fed: Point | None = None
        self._anew = False
        self._held: Point | None = None
        self._left: Interval | None = None
        self._decided: bool | None = None
        self._asked_s, self._decide_s = -math.inf, 0.0
        self._asked_of: tuple[float | None, float | None] | None = None
        self._still = None if self._capacity_ah is None else TemperatureStill(capacity_ah=self._capacity_ah)

    def see(self, pack: Pack, at_s: float, *, power_in: bool | None) -> None:
        """Take in a look. Figures that stand still are taken in every 20 s only: nothing is lost by it."""
        point = point_of(pack, at_s, power_in=power_in)
        fed = self._fed
        if fed is not None and not self._anew and at_s - fed.at_s < _SAME_S and _same(fed, point):
            self._held = point
            return
        self._take_held()
        self._take(point)
        self._fed, self._anew = point, False
        told = point.current_a, point.level
        if at_s - self._asked_s >= _EVERY_S and told != self._asked_of:
            self._asked_s, self._asked_of = at_s, told
            self._left = self._forecast.time_left()
            # What is decided stays so: nothing that goes in later takes it back.
            if self._decided is None and self.base_wh is not None and at_s >= self._decide_s:
                self._decide_s = at_s + max(_DECIDE_EVERY_S, _LATER * at_s)
                self._decided = self._packed.decides(self._least * self.base_wh)

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look: between nothing and all may have flowed."""
        self._lose(length_known=True)
        self._packed.unseen()

    def broken(self) -> None:
        """Say that nobody saw the time up to the next look, nor knows how long it was: it counts anew."""
        self._lose(length_known=False)
        self._packed.broken()

    def _lose(self, *, length_known: bool) -> None:
        self._take_held()
        self._anew = True
        self._forecast.unseen(length_known=length_known)
        if self._still is not None:
            self._still.unseen()

    def _take_held(self) -> None:
        if self._held is not None:
            self._take(self._held)
            self._held = None

    def _take(self, point: Point) -> None:
        self._packed.see(point)
        self._forecast.see(point)
        if self._forecast.phases.after_gap:
            self._events.unseen()
        self._events.see(point, self._forecast.phases.kind)
        if self._still is not None:
            self._still.see(point)

    @property
    def warmth_stands(self) -> str | None:
        """Return what to do where its temperature has not moved for half an hour of charging, else None."""
        return None if self._still is None else self._still.sentence

    @property
    def seconds_left(self) -> Interval | None:
        """The time to full with its band, in s; None where it cannot be told."""
        return self._left

    @property
    def decided(self) -> str | None:
        """Return in a sentence what is decided already, or None."""
        if self._decided is None or self.base_wh is None:
            return None
        word = "at least" if self._decided else "less than"
        return f"Decided: it holds {word} {100 * self._least:.0f} % of {self.base_wh:.1f} Wh."

    def begins(self) -> str:
        """Say before the charge what it can decide, and how well the start is known."""
        if self.base_wh is None:
            return ""
        if self.start is not None and self.start.proven:
            return " A decision on the capacity: near the end of this charge, within 5 %."
        return (
            " A decision on the capacity: near the end of this charge, within 15 %; after a drain within 5 %."
        )

    @property
    def result(self) -> Measured:
        """What is measured by now."""
        self._take_held()
        return self._packed.result()

    def said(self, measured: Measured) -> str:
        """Say what it holds, how sure that is, and what is seen of its gauge."""
        wh = measured.capacity_wh
        parts = []
        if wh is not None and wh.wider_than_itself:
            parts.append(f"By counting it holds {wh.ends(1)} Wh: too wide to tell.")
        elif wh is not None:
            parts.append(f"It holds {wh.value:.1f} Wh by counting ({wh.ends(1)}).")
        elif measured.least_wh is not None:
            parts.append(f"It holds at least {measured.least_wh.low:.1f} Wh.")
        if measured.verdict is Gauge.BOASTFUL:
            parts.append("Its gauge boasts.")
        parts += [finding.sentence for finding in measured.findings if finding.shows_lie]
        return " ".join(parts)

    def aside(self, measured: Measured) -> tuple[Reading, ...]:
        """Return what is handed on, and what is for the record only."""
        found: list[Reading] = []
        for what, capacity, unit in (
            (handed_on.CAPACITY_AH, measured.capacity_ah, Unit.AMPERE_HOUR),
            (handed_on.CAPACITY_WH, measured.capacity_wh, Unit.WATT_HOUR),
        ):
            if capacity is not None and not capacity.wider_than_itself:
                found.append(hand_on_interval(self.name, what, capacity, unit))
        sure = measured.sure_wh
        low = None if sure is None or sure.wider_than_itself else sure.low
        if measured.least_wh is not None:
            low = measured.least_wh.low if low is None else max(low, measured.least_wh.low)
        if low is not None:
            found.append(hand_on(self.name, handed_on.LEAST_WH, low, Unit.WATT_HOUR))
        if sure is not None and sure.bounded:
            found.append(hand_on(self.name, handed_on.MOST_WH, sure.high, Unit.WATT_HOUR))
        if self.base_wh is not None and self._packed.decides(self._least * self.base_wh) is not None:
            found.append(hand_on(self.name, handed_on.DECIDED, 1.0, Unit.COUNT, standard_uncertainty=0.0))
        start, end = measured.start, measured.end
        if start is not None:
            how = f"{'proven' if start.proven else 'not proven'}, {start.how.value}"
            found.append(
                hand_on_level(
                    self.name, handed_on.START_LEVEL, start.level, half_width=start.half_width, more=how
                )
            )
        if end is not None:
            found.append(
                hand_on_level(
                    self.name, handed_on.END_LEVEL, end.level, half_width=end.half_width, more=end.how.value
                )
            )
        undecided = measured.verdict is Gauge.UNDECIDED
        found.append(
            hand_on(
                self.name,
                handed_on.GAUGE_VERDICT,
                None if undecided else float(measured.verdict is Gauge.BOASTFUL),
                Unit.COUNT,
                standard_uncertainty=0.0,
                more=measured.verdict.value,
                reason=_undecided(measured) if undecided else None,
            )
        )
        for finding in measured.findings:
            lie = float(finding.shows_lie)
            found.append(
                hand_on(
                    self.name,
                    handed_on.GAUGE_SIGN,
                    lie,
                    Unit.COUNT,
                    standard_uncertainty=0.0,
                    more=finding.sentence,
                    reason=finding.next_step,
                )
            )
        return (*found, *self._course())

    def _course(self) -> list[Reading]:
        """Return the phases of the charge and its events, in minutes."""
        found = [
            hand_on(
                self.name,
                handed_on.PHASE,
                (phase.end_s - phase.start_s) / 60 if phase.length_known else None,
                Unit.MINUTE,
                more=phase.kind.value + ("" if phase.charge_ah is None else f": {phase.charge_ah:+.3f} Ah"),
                reason=None if phase.length_known else _LENGTH_UNKNOWN,
            )
            for phase in self._forecast.phases.result()[-_MOST_TOLD:]
        ]
        for event in self._events.result()[-_MOST_TOLD:]:
            ended_s = (
                event.end_s if event.end_s is not None else (self._fed.at_s if self._fed else event.start_s)
            )
            found.append(
                hand_on(
                    self.name,
                    handed_on.EVENT,
                    (ended_s - event.start_s) / 60,
                    Unit.MINUTE,
                    more=event.sentence,
                )
            )
        return found


_MOST_TOLD = 12
"""So many phases and events are told; the trace holds all."""

_LENGTH_UNKNOWN = "The machine was started anew, and its clock does not tell how long that took."


def _undecided(measured: Measured) -> str:
    """Say why its gauge was neither proven nor shown to be wrong, and what to do next."""
    why = measured.why_not if measured.capacity_ah is None and measured.least_wh is None else ""
    return f"{why} {measured.next_step}".strip() or "Its claim could not be proven."


def _same(one: Point, two: Point) -> bool:
    return (
        one.current_a == two.current_a
        and one.power_w == two.power_w
        and one.voltage_v == two.voltage_v
        and one.level == two.level
        and one.powered == two.powered
        and one.says_full == two.says_full
        and one.temperature_c == two.temperature_c
    )
