"""A capacity from one known level to another, and which of several is reported."""

import msgspec

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.capacity import (
    EndLevel,
    StartHow,
    StartLevel,
    at_least,
    capacity_ah,
    capacity_wh,
    mean_voltage,
)
from verify.measure.charge_count import Counted
from verify.measure.coverage import COVERAGE, ONE_SIDED
from verify.measure.interval import Interval
from verify.measure.open_circuit import FULL_CELL_V

__all__ = ["Span", "Spanner", "reported"]


class Span(msgspec.Struct, frozen=True, kw_only=True):
    """What was counted from one known level to another, and the capacity that follows.

    ah, wh: 95 % interval. ah_sure, wh_sure: with each bound a one-sided 95 % one, for a decision. wh is None
    where the voltage is not known.
    """

    start: StartLevel
    end: EndLevel
    counted: Counted
    ah: Interval
    ah_sure: Interval
    wh: Interval | None
    wh_sure: Interval | None

    @property
    def without_gauge(self) -> bool:
        """Whether neither end hangs on the gauge's word."""
        return self.start.without_gauge and self.end.without_gauge

    @property
    def doubt(self) -> float:
        """The width of the interval, as a share of its value."""
        return (self.ah.high - self.ah.low) / self.ah.value

    def widened(self) -> "Span | None":
        """Return this span, reaching up to what the lower edge of the range filled leads to; None: no bound.

        A level that is not proven is a band, and nothing tells that it lies in its middle: where a watch
        begins near full, the level is always at the upper edge.
        """
        if self.start.proven:
            return self
        change = self.end.level - self.start.level
        least = change - self.start.half_width
        if least <= self.end.half_width:
            return None
        return msgspec.structs.replace(
            self,
            ah_sure=_at_least_to(self.ah_sure, change / least),
            wh_sure=None if self.wh_sure is None else _at_least_to(self.wh_sure, change / least),
        )

    def up_to(self, other: "Span") -> "Span":
        """Return this span with each interval reaching up to where the other's does."""
        return msgspec.structs.replace(
            self,
            ah=_up_to(self.ah, other.ah),
            ah_sure=_up_to(self.ah_sure, other.ah_sure),
            wh=None if self.wh is None or other.wh is None else _up_to(self.wh, other.wh),
            wh_sure=None
            if self.wh_sure is None or other.wh_sure is None
            else _up_to(self.wh_sure, other.wh_sure),
        )


def _up_to(one: Interval, two: Interval) -> Interval:
    return msgspec.structs.replace(one, high=max(one.high, two.high))


def _at_least_to(one: Interval, times: float) -> Interval:
    return msgspec.structs.replace(one, high=max(one.high, times * one.value))


class Spanner:
    """Reckon spans of one pack. cells: in series; charged_to_v: a cell; each None where unknown."""

    def __init__(
        self,
        *,
        cells: int | None,
        charged_to_v: float | None = FULL_CELL_V,
        assumed: Assumed = ASSUMED,
    ) -> None:
        self._cells = cells
        self._charged_to_v = charged_to_v
        self._assumed = assumed

    def span(
        self, start: StartLevel, end: EndLevel, counted: Counted, *, resistance_ohm: Interval | None
    ) -> Span | None:
        """Return the span; None where no current is known. resistance_ohm: of the pack, from steps."""
        ah = capacity_ah(counted, start=start, end=end, assumed=self._assumed)
        sure = capacity_ah(counted, start=start, end=end, assumed=self._assumed, coverage=ONE_SIDED)
        if ah is None or sure is None or ah.value <= 0:
            return None
        wh, wh_sure = (
            self._wh(counted, start, end, ah.value, resistance_ohm, coverage)
            for coverage in (COVERAGE, ONE_SIDED)
        )
        return Span(start=start, end=end, counted=counted, ah=ah, ah_sure=sure, wh=wh, wh_sure=wh_sure)

    def least(
        self, counted: Counted, *, resistance_ohm: Interval | None, coverage: float = COVERAGE
    ) -> tuple[Interval | None, Interval | None]:
        """Return what it holds at least, in Ah and Wh, from what went in alone."""
        ah = at_least(counted, assumed=self._assumed, coverage=coverage)
        nowhere = StartLevel(level=0.0, half_width=0.0, how=StartHow.GAUGE)
        return ah, self._wh(counted, nowhere, None, counted.net_ah, resistance_ohm, coverage)

    def _wh(
        self,
        counted: Counted,
        start: StartLevel,
        end: EndLevel | None,
        about_ah: float,
        resistance_ohm: Interval | None,
        coverage: float,
    ) -> Interval | None:
        # Charge that is still to come was not seen: the voltages are those of the range up to now.
        seen_to = None if end is None else end.level
        if end is not None and end.to_come_ah is not None:
            seen_to = max(0.0, end.level - end.to_come_ah.value / about_ah)
        mean = mean_voltage(
            counted,
            start=None if end is None else start.level,
            end=seen_to,
            cells=self._cells,
            capacity_ah=about_ah,
            resistance_ohm=resistance_ohm,
            charged_to_v=self._charged_to_v,
            assumed=self._assumed,
        )
        if mean is None:
            return None
        return capacity_wh(counted, start=start, end=end, mean=mean, assumed=self._assumed, coverage=coverage)


def reported(spans: list[Span], *, doubtful: bool = False) -> Span | None:
    """Return the span to report: the narrowest.

    None on the gauge's word is taken against one without it that is proven, or that lies apart.
    doubtful: whether the gauge gave cause for doubt; its word is then taken only where there is no other.
    """
    if not spans:
        return None
    best = min(spans, key=lambda one: one.doubt)
    free = [one for one in spans if one.without_gauge]
    if best.without_gauge or not free:
        return best
    sure = min(free, key=lambda one: one.doubt)
    apart = best.ah.low > sure.ah.high or best.ah.high < sure.ah.low
    return sure if doubtful or apart or sure.start.proven else best
