"""The spans of one pack: from each start that is known to full, or as far as it has come, and down again."""

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.capacity import EndHow, EndLevel, StartHow, StartLevel, full_level
from verify.measure.cells import USUAL_AH
from verify.measure.charge_count import ChargeCount, Counted
from verify.measure.charge_end import ChargeEnd
from verify.measure.coverage import COVERAGE
from verify.measure.interval import Interval
from verify.measure.legs import Fall, Leg, Rise
from verify.measure.open_circuit import FULL_CELL_V
from verify.measure.point import Point
from verify.measure.resistance import StepResistance
from verify.measure.spans import Span, Spanner
from verify.measure.taper import USUAL_END_C
from verify.measure.voltage_level import VoltageLevel

__all__ = ["PackSpans"]

_FLOWS_C = 0.02
_MOST_CELL_V = 4.5  # no lithium-ion cell is charged higher [common practice, no source]
_MOST_KEPT = 4
_ROUNDS = 3


class PackSpans:
    """The spans, look by look; `whole` and `steps` are fed by who made them.

    scale_ah: what C is reckoned from. start, volts, nominal_v: as of `legs.Rise`. cells, charged_to_v: as of
    `spans.Spanner`.
    """

    def __init__(
        self,
        *,
        whole: ChargeCount,
        steps: StepResistance,
        scale_ah: float | None,
        start: StartLevel | None,
        volts: VoltageLevel | None,
        nominal_v: float | None,
        cells: int | None,
        charged_to_v: float | None = FULL_CELL_V,
        assumed: Assumed = ASSUMED,
    ) -> None:
        self._assumed = assumed
        self._whole, self._steps = whole, steps
        self._cells = cells
        self._told_by_volts = volts is not None
        self.rise = Rise(given=start, volts=volts, nominal_v=nominal_v, assumed=assumed)
        self.end = ChargeEnd(scale_ah=scale_ah, cells=cells)
        flows_a = _FLOWS_C * (scale_ah or USUAL_AH)
        self._fall = Fall(volts=volts, nominal_v=nominal_v, flows_a=flows_a, assumed=assumed)
        self._spanner = Spanner(cells=cells, charged_to_v=charged_to_v, assumed=assumed)
        self._closed: tuple[tuple[Leg, Counted], ...] = ()
        # From before a time of unknown length: charges that ended at full, and the most that went in.
        self._kept: tuple[tuple[Leg, Counted], ...] = ()
        self._most: Counted | None = None
        self._level: float | None = None
        self._known: list[Span] | None = None

    def see(self, point: Point, current_a: float | None) -> None:
        """Take in a look, and the current that it told or that follows from what it told."""
        self._known, self._level = None, point.level
        self.rise.see(point, current_a)
        was = self.end.is_full
        self.end.see(point, current_a)
        full = None
        if self.end.is_full:
            level = self._full(EndHow.CHARGED)
            full = StartLevel(level=level.level, half_width=level.half_width, how=StartHow.CHARGED)
            if not was:
                closed = tuple(one for one in self._counted_legs() if one[1].net_ah > 0)
                # A second charge from the same starts only adds to their errors.
                if [one[0].start for one in closed] != [one[0].start for one in self._closed]:
                    self._closed = closed or self._closed
        self._fall.see(point, current_a, full=full)

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look."""
        self.rise.unseen()
        self._fall.unseen()
        self.end.unseen()

    def broken(self, whole: ChargeCount) -> None:
        """Begin anew with the next look, and with `whole`; what ended before it stays."""
        counts = (self._most, self._whole.result(), *(one for _, one in self._counted_legs()))
        self._most = max((one for one in counts if one is not None), key=lambda one: one.net_ah, default=None)
        kept = sorted((*self._kept, *self._closed), key=lambda one: one[1].net_ah)
        self._kept, self._closed = tuple(kept[-_MOST_KEPT:]), ()
        self._known, self._whole = None, whole
        self.rise.broken()
        self._fall.broken()
        self.end.unseen(length_known=False)

    def _counted_legs(self) -> list[tuple[Leg, Counted]]:
        legs = (self.rise.without_gauge, self.rise.with_gauge)
        return [
            (leg, counted) for leg in legs if leg is not None and (counted := leg.count.result()) is not None
        ]

    @property
    def reached_full(self) -> bool:
        """Whether a charge ended while it was watched."""
        return bool(self._closed or self._kept)

    def _resistance_ohm(self) -> Interval | None:
        mohm = self._steps.result().pack_mohm
        return None if mohm is None else mohm.scaled(1e-3)

    def all(self) -> list[Span]:
        """Return all spans that give a bounded capacity, those of the rise first."""
        if self._known is None:
            self._known = self._find()
        return self._known

    def may_decide(self, limit_wh: float) -> bool:
        """Tell whether it is worth asking whether it holds `limit_wh`: cheap, and never no too early."""
        if self.reached_full or self._fall.known is not None or self.end.tapers:
            return True
        if self._cells is None:
            return True
        # No charge stands for more energy at rest than this; the errors of the count are far below.
        most_ah = max(self._whole.net_ah, 0.0 if self._most is None else self._most.net_ah)
        return most_ah * self._cells * _MOST_CELL_V >= limit_wh

    @property
    def low_cell_v(self) -> float | None:
        """As of `charge_end.ChargeEnd`; None where the voltage tells nothing of this pack."""
        return self.end.low_cell_v if self._told_by_volts else None

    def _full(self, how: EndHow, to_come_ah: Interval | None = None) -> EndLevel:
        """Return what full means: at the end a current still flowed, so a little was left to fill."""
        end_c = self.end.end_c if how is EndHow.CHARGED else USUAL_END_C
        level, half_width = full_level(end_c, low_cell_v=self.low_cell_v, assumed=self._assumed)
        return EndLevel(level=level, half_width=half_width, how=how, to_come_ah=to_come_ah)

    def _find(self) -> list[Span]:
        full = self._full(EndHow.CHARGED)
        ohm = self._resistance_ohm()
        found = [
            self._to_full(leg, full, counted, counted.net_ah, ohm)
            for leg, counted in (*self._kept, *self._closed)
        ]
        if not self._closed:
            found += self._open(ohm)
        if self._fall.known is not None:
            leg, end = self._fall.known
            counted_down = leg.count.result()
            if counted_down is not None:
                found.append(self._spanner.span(leg.start, end, counted_down, resistance_ohm=ohm))
        return [one for one in found if one is not None and one.ah.bounded]

    def _to_full(
        self, leg: Leg, end: EndLevel, counted: Counted, went_in_ah: float, ohm: Interval | None
    ) -> Span | None:
        """Return the span from a leg's start to full.

        What the voltage tells of a start hangs on the capacity: each bound is one whose own start allows it.
        """

        def span_from(start: StartLevel) -> Span | None:
            return self._spanner.span(start, end, counted, resistance_ohm=ohm)

        low = span_from(leg.start_for(_least_ah(leg, went_in_ah)))
        if low is None or low.start == leg.start or not low.ah.bounded:
            return low
        # As if it held all that it claims, and then no more than that leads to: each is an upper bound.
        high = span_from(leg.start)
        for _ in range(_ROUNDS):
            if high is None or not high.ah.bounded:
                break
            narrower = span_from(leg.start_for(high.ah.high))
            if narrower is None or narrower.ah.high >= high.ah.high:
                break
            high = narrower
        if high is None:
            return low
        widest = high.widened()
        return None if widest is None else low.up_to(widest)

    def _open(self, ohm: Interval | None) -> list[Span | None]:
        """Return spans of a charge that goes on: to full by the taper, or as far as the gauge says."""
        found = []
        now = self._level
        to_come = self.end.to_come_ah(about_ah=self._whole.net_ah)
        for leg, counted in self._counted_legs():
            if counted.net_ah <= 0:
                continue
            if to_come is not None:
                end = self._full(EndHow.TAPER, to_come)
                found.append(self._to_full(leg, end, counted, counted.net_ah + to_come.value, ohm))
            if not leg.start.without_gauge and now is not None and 0 <= now <= 1:
                # From level to level by one gauge that is believed: its own scale.
                width = self._assumed.level
                believed = StartLevel(level=leg.start.level, half_width=width, how=StartHow.BELIEVED)
                gauge = EndLevel(level=now, half_width=width, how=EndHow.GAUGE)
                found.append(self._spanner.span(believed, gauge, counted, resistance_ohm=ohm))
        return found

    def least(self, coverage: float = COVERAGE) -> tuple[Interval | None, Interval | None]:
        """Return what it holds at least, in Ah and Wh, from the leg into which most went."""
        counts = [one for _, one in (*self._kept, *(self._closed or self._counted_legs()))]
        if self._most is not None:
            counts.append(self._most)
        whole = self._whole.result()
        if whole is not None and not self._closed:
            counts.append(whole)
        counts = [one for one in counts if one.net_ah > 0 and one.source is not None]
        if not counts:
            return None, None
        most = max(counts, key=lambda one: one.net_ah)
        return self._spanner.least(most, resistance_ohm=self._resistance_ohm(), coverage=coverage)


def _least_ah(leg: Leg, went_in_ah: float) -> float:
    """Return about what the pack holds, in Ah, where so much brings it from the leg's start to full."""
    return went_in_ah / max(0.1, 1 - leg.start.level)
