"""What a pack did, phase by phase: at rest, on battery, and how a charge went.

Looks are gathered in bins of 20 s, or of one look where they come less often (of two where a recording
was thinned); a bin ends where the flow turns. While a pack charges, the last bins tell the phase.

Where no current is told, power over voltage stands for it; where neither is, or capacity is unknown,
thresholds are in A (or W) of a small pack.
"""

import math
from collections import deque

import msgspec

from verify.measure.charge_bins import Bin, ChargeBins, PhaseKind
from verify.measure.look_intervals import LookIntervals
from verify.measure.point import Point

__all__ = ["CHARGING", "Phase", "PhaseKind", "Phases"]

REST_C = 0.01
"""A flow below it is none: what leaks, and what a sensor reads of nothing [common practice, no source]."""

TRICKLE_CELL_V = 3.05
"""Below about 3.0 V a cell is charged gently first [charging articles]; a little more under current."""

TRICKLE_C = 0.20

_REST_A = 0.03  # where no capacity is told: 0.01 C of a small laptop pack
_BIN_S = 20.0
_LOOKS_IF_THINNED = 2
_FULL_LEVEL = 0.99
_SHORTEST_S = 5.0  # less is a change of hands, no phase
_MOST_PHASES = 400


CHARGING = frozenset(
    {
        PhaseKind.TRICKLE,
        PhaseKind.CONSTANT_POWER,
        PhaseKind.CONSTANT_CURRENT,
        PhaseKind.CONSTANT_VOLTAGE,
    }
)
"""The phases in which a charge goes in."""


class Phase(msgspec.Struct, frozen=True, kw_only=True):
    """One phase.

    start_s, end_s: on the points' clock. charge_ah: into the pack positive; None where unknown.
    length_known: whether the clock tells how long it was.
    """

    kind: PhaseKind
    start_s: float
    end_s: float
    charge_ah: float | None
    length_known: bool = True


class Phases:
    """The phases of a watch, look by look, in constant memory.

    capacity_ah: what C is reckoned from, in Ah. cells: in series, for the gentle charge of an empty pack.
    """

    def __init__(self, *, capacity_ah: float | None = None, cells: int | None = None) -> None:
        self._capacity_ah = capacity_ah
        self._cells = cells
        self._rest_a = _REST_A if capacity_ah is None else REST_C * capacity_ah
        self._done: deque[Phase] = deque(maxlen=_MOST_PHASES)
        self._kind: PhaseKind | None = None
        self._start_s = self._start_ah = 0.0
        self._before: Point | None = None
        self._flow = self._passed_s = 0.0
        self._ah = 0.0
        self._charge_known = True
        self._intervals = LookIntervals()
        self.after_gap = False
        """Whether nobody saw what happened between the last two looks."""
        self._unseen = self._lengthless = False
        self._went_on: PhaseKind | None = None
        self._gross = 0
        self._turning: list[tuple[Point, float, float]] = []
        self._bin: Bin | None = None
        self._charge = ChargeBins()

    @property
    def kind(self) -> PhaseKind | None:
        """What the pack does now; None before the first look with a flow."""
        return self._kind

    @property
    def since_s(self) -> float | None:
        """When the present phase began; None before the first look with a flow."""
        return None if self._kind is None else self._start_s

    def result(self) -> tuple[Phase, ...]:
        """Return the phases so far, the present one last; the latest 400."""
        if self._kind is None or self._before is None:
            return tuple(self._done)
        return (*self._done, self._phase(self._before.at_s, self._ah))

    def unseen(self, *, length_known: bool = True) -> None:
        """Say that nobody saw the time up to the next look; length_known: whether the clock tells it."""
        self._unseen = True
        self._lengthless = self._lengthless or not length_known

    def see(self, point: Point) -> None:
        """Take in a look; one without current and power, or whose time does not rise, is passed over."""
        flow = _flow(point)
        if flow is None or not math.isfinite(flow):
            return
        if not _is_current(point) and self._before is not None and _is_current(self._before):
            # Watts among amperes.
            return
        before = self._before
        if before is not None:
            passed_s = point.at_s - before.at_s
            if passed_s <= 0:
                return
            self.after_gap = self._unseen or (passed_s > 1e-9 and self._intervals.is_gap(passed_s))
            if self.after_gap:
                self._lose(before, point)
            else:
                self._ah += (flow + self._flow) / 2 * passed_s / 3600
        self._unseen = False
        self._charge_known = self._charge_known and _is_current(point)
        earlier_ah = self._ah
        self._passed_s = 0.0 if before is None else point.at_s - before.at_s
        self._before, self._flow = point, flow
        gross = 0 if abs(flow) < self._rest_a else (1 if flow > 0 else -1)
        if self._kind is None or self._kind is PhaseKind.GAP:
            self._turn(point, gross, earlier_ah)
        elif gross != self._gross:
            self._turning.append((point, flow, earlier_ah))
            if len(self._turning) >= 2:
                self._turned()
            return
        elif self._turning:
            # It came back at once: one odd look is no turn.
            for one, its_flow, _ in self._turning:
                self._gather(one, its_flow, earlier_ah)
            self._turning.clear()
        self._gather(point, flow, earlier_ah)

    def _turned(self) -> None:
        """Begin a phase at the first of the two looks for which the flow has turned."""
        (first, first_flow, first_ah), (second, flow, second_ah) = self._turning
        self._turning.clear()
        gross = 0 if abs(flow) < self._rest_a else (1 if flow > 0 else -1)
        self._turn(first, gross, first_ah)
        self._gather(first, first_flow, first_ah)
        self._gather(second, flow, second_ah)

    def _turn(self, point: Point, gross: int, ah: float) -> None:
        kind = PhaseKind.DISCHARGE
        if gross > 0:
            kind = self._first_of_charge(point)
        elif gross == 0:
            kind = self._still(point)
        self._gross, self._bin = gross, None
        if gross > 0:
            self._charge = ChargeBins()
        self._begin(kind, point.at_s, ah)

    def _first_of_charge(self, point: Point) -> PhaseKind:
        volts, cells = point.voltage_v, self._cells
        low = volts is not None and bool(cells) and volts / (cells or 1) < TRICKLE_CELL_V
        if low and self._gentle(_flow(point) or 0.0):
            return PhaseKind.TRICKLE
        if self._kind is PhaseKind.GAP and self._went_on is PhaseKind.CONSTANT_POWER:
            # The same charge goes on; what tells the two apart takes long to be seen again.
            return PhaseKind.CONSTANT_POWER
        return PhaseKind.CONSTANT_CURRENT

    def _gentle(self, flow: float) -> bool:
        return self._capacity_ah is None or flow <= TRICKLE_C * self._capacity_ah

    def _still(self, point: Point) -> PhaseKind:
        """Tell a full pack from one that is held and one at rest, where no current flows."""
        came_from = self._kind
        tapered = came_from is PhaseKind.CONSTANT_VOLTAGE and self._charge.ended_low(self._capacity_ah)
        if point.powered is False:
            return PhaseKind.REST
        if point.says_full or tapered or came_from is PhaseKind.FULL:
            return PhaseKind.FULL
        if point.powered is None:
            return PhaseKind.REST
        # A charge that was cut off with current flowing is not full, whatever the level says.
        cut_off = came_from in CHARGING
        high = point.level is not None and point.level >= _FULL_LEVEL
        return PhaseKind.FULL if high and not cut_off else PhaseKind.HOLDING

    def _lose(self, before: Point, point: Point) -> None:
        self._turning.clear()
        self._bin, self._charge = None, ChargeBins()
        if self._kind is not PhaseKind.GAP:
            self._went_on = self._kind
        if self._kind is not None:
            self._begin(PhaseKind.GAP, before.at_s, self._ah)
        self._before = point

    def _gather(self, point: Point, flow: float, ah: float) -> None:
        if self._gross == 0 and self._kind in (PhaseKind.HOLDING, PhaseKind.REST, PhaseKind.FULL):
            self._stay(point, ah)
            return
        if self._gross <= 0:
            return
        if self._bin is None:
            self._bin = Bin(point.at_s, ah)
        self._bin.take(point.at_s, flow, point.voltage_v)
        thinned = point.tally is not None and self._bin.looks < _LOOKS_IF_THINNED
        if max(point.at_s - self._bin.start_s, self._passed_s) >= _BIN_S and not thinned:
            self._close_bin(self._bin)
            self._bin = None

    def _stay(self, point: Point, ah: float) -> None:
        """While nothing flows, the charger and the pack's own word can change what that means."""
        kind = self._kind
        if point.powered is False:
            kind = PhaseKind.REST
        elif point.says_full:
            kind = PhaseKind.FULL
        elif point.powered is True and kind is PhaseKind.REST:
            kind = PhaseKind.HOLDING
        if kind is not self._kind and kind is not None:
            self._begin(kind, point.at_s, ah)

    def _close_bin(self, done: Bin) -> None:
        self._charge.take(done)
        found = self._charge.kind(self._kind, self._rest_a)
        if self._kind is PhaseKind.TRICKLE or self._was_gentle(done):
            self._leave_trickle(done)
        elif found is not None and found[0] is not self._kind:
            kind, at_s, at_ah, anew = found
            if anew and at_s > self._start_s:
                self._begin(kind, at_s, at_ah)
            else:
                self._rename(kind)

    def _rename(self, kind: PhaseKind) -> None:
        """Call the present phase by another name; join it to the one before where that has the same."""
        last = self._done[-1] if self._done else None
        if last is not None and last.kind is kind and last.end_s >= self._start_s:
            self._done.pop()
            self._start_s, self._start_ah = last.start_s, self._start_ah - (last.charge_ah or 0.0)
        self._kind = kind

    def _was_gentle(self, done: Bin) -> bool:
        """Tell whether the flow has just doubled after a weak beginning: a gentle charge has ended."""
        before = self._charge.before_last
        if before is None or self._kind is not PhaseKind.CONSTANT_CURRENT or self._charge.left_trickle:
            return False
        low = self._before is None or self._before.level is None or self._before.level < 0.15
        since_s = done.start_s - self._start_s
        rises = done.flow > 2 * before.flow and since_s >= _BIN_S
        return rises and low and self._gentle(before.flow)

    def _leave_trickle(self, done: Bin) -> None:
        before = self._charge.before_last
        if self._kind is not PhaseKind.TRICKLE:
            self._kind = PhaseKind.TRICKLE
        grown = before is not None and done.flow > 2 * before.flow
        if grown or not self._gentle(done.flow):
            self._charge.left_trickle = True
            self._begin(PhaseKind.CONSTANT_CURRENT, done.start_s, done.start_ah)

    def _begin(self, kind: PhaseKind, at_s: float, ah: float) -> None:
        if self._kind is not None:
            ended = self._phase(at_s, ah)
            short = ended.end_s - ended.start_s < _SHORTEST_S and ended.kind is not PhaseKind.GAP
            if not short:
                self._done.append(ended)
                self._lengthless = self._lengthless and ended.kind is not PhaseKind.GAP
            elif self._done:
                # What was too short belongs to what comes next; two of one kind become one.
                at_s, ah = ended.start_s, self._start_ah
        last = self._done[-1] if self._done else None
        if last is not None and last.kind is kind and last.end_s >= at_s and kind is not PhaseKind.GAP:
            self._done.pop()
            at_s, ah = last.start_s, ah - (last.charge_ah or 0.0)
        self._kind, self._start_s, self._start_ah = kind, at_s, ah

    def _phase(self, end_s: float, end_ah: float) -> Phase:
        assert self._kind is not None
        known = self._charge_known and self._kind is not PhaseKind.GAP
        charge_ah = end_ah - self._start_ah if known else None
        return Phase(
            kind=self._kind,
            start_s=self._start_s,
            end_s=end_s,
            charge_ah=charge_ah,
            length_known=not (self._lengthless and self._kind is PhaseKind.GAP),
        )


def _flow(point: Point) -> float | None:
    """Return the current into the pack, in A; power over voltage, or power, where it is not told."""
    if point.current_a is not None:
        return point.current_a
    if point.power_w is None:
        return None
    return point.power_w / point.voltage_v if point.voltage_v else point.power_w


def _is_current(point: Point) -> bool:
    return point.current_a is not None or bool(point.voltage_v)
