"""Time that nobody saw, in a charge: with a length it is a gap, without one the count begins anew.

What is compared is arithmetic: a steady current times the time that was seen.
"""

import msgspec
import pytest

from verify.measure.capacity import StartHow, StartLevel
from verify.measure.charge_events import ChargeEventKind, ChargeEvents
from verify.measure.counting import Integral
from verify.measure.gauge import GaugeWatch
from verify.measure.gauge_signs import GaugeSign
from verify.measure.pack_measurement import Gauge, PackMeasurement
from verify.measure.phases import PhaseKind, Phases
from verify.measure.point import Point
from verify.values import Unit

_AH, _AMPS, _CELLS = 4.0, 2.0, 3
_DRAINED = StartLevel(level=0.0, half_width=0.01, how=StartHow.DRAINED)


class _Charge:
    """A pack of 4 Ah at 2 A, its level as it is; `passes` without a look at it where nobody looks."""

    def __init__(self, level: float = 0.0) -> None:
        self.at_s, self.level = 0.0, level

    def passes(self, seconds: float, *, true_s: float | None = None) -> None:
        self.at_s += seconds
        self.level += _AMPS * (seconds if true_s is None else true_s) / 3600 / _AH

    def look(self) -> Point:
        volts = _CELLS * (3.4 + 0.75 * self.level)
        level = round(self.level, 2)
        return Point(at_s=self.at_s, current_a=_AMPS, voltage_v=volts, level=level, powered=True)

    def looks(self, seconds: float) -> list[Point]:
        found = []
        for _ in range(int(seconds / 10)):
            found.append(self.look())
            self.passes(10)
        return found


def _measurement(start: StartLevel | None = None) -> PackMeasurement:
    return PackMeasurement(design_voltage_v=11.1, design_wh=44.4, claimed_ah=_AH, cells=_CELLS, start=start)


def _signs(measurement: PackMeasurement) -> set[GaugeSign]:
    return {one.sign for one in measurement.result().findings}


def test_a_short_time_that_nobody_saw_is_a_gap_and_between_nothing_and_all_flowed() -> None:
    charge, pack = _Charge(), _measurement()
    for one in charge.looks(1200):
        pack.see(one)
    pack.unseen()
    charge.passes(15)
    for one in charge.looks(600):
        pack.see(one)
    counted = pack.result().counted
    assert counted is not None
    # 25 s from the last look before to the first after it, at most 2 A.
    assert (counted.bridged_s, counted.gap_count) == (25, 1)
    most_ah = _AMPS * 25 / 3600
    seen_ah = _AMPS * (1190 + 590) / 3600
    (half_ah,) = counted.gaps_ah
    assert counted.net_ah - half_ah <= seen_ah <= seen_ah + most_ah <= counted.net_ah + half_ah


def test_across_a_time_of_unknown_length_nothing_is_bridged() -> None:
    charge, pack = _Charge(), _measurement()
    for one in charge.looks(1200):
        pack.see(one)
    pack.broken()
    charge.passes(0.001, true_s=3600)
    for one in charge.looks(600):
        pack.see(one)
    counted = pack.result().counted
    assert counted is not None
    assert counted.net_ah == pytest.approx(_AMPS * 590 / 3600, abs=1e-6)
    assert (counted.bridged_s, counted.gap_count) == (0, 0)
    assert counted.time_s == pytest.approx(590)


def test_a_proven_start_is_none_any_more_after_a_time_of_unknown_length() -> None:
    charge, pack = _Charge(), _measurement(start=_DRAINED)
    for one in charge.looks(3000):
        pack.see(one)
    pack.broken()
    charge.passes(0.001, true_s=1800)
    looks = charge.looks(2000)
    for one in looks:
        pack.see(one)
    pack.see(msgspec.structs.replace(looks[-1], at_s=charge.at_s, level=1.0, current_a=0.0, says_full=True))
    found = pack.result()
    assert found.start is None or not found.start.proven
    assert found.verdict is not Gauge.BOASTFUL
    assert pack.decides(40.0) is None


def test_what_went_in_before_a_time_of_unknown_length_is_still_held_at_least() -> None:
    charge, pack = _Charge(), _measurement()
    for one in charge.looks(3600):
        pack.see(one)
    before = pack.result().least_ah
    pack.broken()
    charge.passes(0.001, true_s=60)
    for one in charge.looks(60):
        pack.see(one)
    after = pack.result().least_ah
    assert before is not None
    assert after is not None
    assert after.low == pytest.approx(before.low)
    assert 1.8 < after.low < 2.0


def test_a_charge_that_ended_before_a_time_of_unknown_length_keeps_its_capacity() -> None:
    charge, pack = _Charge(), _measurement(start=_DRAINED)
    looks = charge.looks(7200)
    for one in looks:
        pack.see(one)
    pack.see(msgspec.structs.replace(looks[-1], at_s=charge.at_s, level=1.0, says_full=True))
    before = pack.result().capacity_ah
    assert before is not None
    pack.broken()
    pack.see(msgspec.structs.replace(looks[-1], at_s=charge.at_s + 1, current_a=0.0, level=1.0))
    assert pack.reached_full
    assert pack.result().capacity_ah == before


@pytest.mark.parametrize("told", [True, False], ids=["started anew", "asleep"])
def test_a_level_does_not_stand_across_a_time_that_nobody_saw(*, told: bool) -> None:
    charge, pack = _Charge(0.3), _measurement()
    for one in charge.looks(1200):
        pack.see(one)
    # The charger was out, or the battery off: nothing flowed, and the level is where it was.
    if told:
        pack.unseen()
    charge.passes(1800, true_s=0)
    for one in charge.looks(1200):
        pack.see(one)
    assert GaugeSign.STANDS not in _signs(pack)


def test_a_level_that_stands_while_it_is_watched_is_found_before_and_after_a_gap() -> None:
    charge, watch = _Charge(0.5), GaugeWatch(claimed_ah=_AH, cells=_CELLS)
    for n in range(60):
        watch.see(Point(at_s=10.0 * n, level=0.5, powered=True), n * _AMPS * 10 / 3600, _AMPS)
    assert GaugeSign.STANDS in {one.sign for one in watch.findings()}
    watch.unseen()
    watch.see(charge.look(), 5.0, _AMPS)
    assert GaugeSign.STANDS in {one.sign for one in watch.findings()}


def test_a_slope_that_was_seen_before_a_gap_is_not_forgotten() -> None:
    watch = GaugeWatch(claimed_ah=2 * _AH, cells=_CELLS)
    for n in range(600):
        share = 0.1 + n * _AMPS * 10 / 3600 / _AH
        if share < 0.9:
            watch.see(Point(at_s=10.0 * n, level=round(share, 2)), n * _AMPS * 10 / 3600, _AMPS)
    found = watch.findings()
    assert GaugeSign.PROPORTIONATE_BOAST in {one.sign for one in found}
    watch.unseen()
    watch.see(Point(at_s=7000, level=0.95), 4.0, _AMPS)
    assert watch.findings() == found


def test_a_phase_keeps_its_name_over_a_restart_and_one_of_unknown_length_has_none() -> None:
    phases = Phases(capacity_ah=_AH, cells=_CELLS)
    at_s = 0.0
    # 20 W steady: the current falls as the voltage rises.
    for n in range(400):
        volts = 10.2 + 0.005 * n
        phases.see(Point(at_s=at_s, current_a=20 / volts, voltage_v=volts, powered=True))
        at_s += 10
    assert phases.kind is PhaseKind.CONSTANT_POWER
    phases.unseen(length_known=False)
    at_s += 0.001 - 10
    for n in range(6):
        phases.see(Point(at_s=at_s, current_a=20 / 12.2, voltage_v=12.2 + 0.001 * n, powered=True))
        at_s += 10
    kinds = [(one.kind, one.length_known) for one in phases.result()]
    power = (PhaseKind.CONSTANT_POWER, True)
    assert kinds == [power, (PhaseKind.GAP, False), power]


def test_an_event_does_not_last_through_what_nobody_saw() -> None:
    events = ChargeEvents(capacity_ah=_AH)
    held = [Point(at_s=at_s, powered=True) for at_s in (0.0, 300.0, 4000.0, 4200.0)]
    for one in held[:2]:
        events.see(one, PhaseKind.HOLDING)
    events.unseen()
    for one in held[2:]:
        events.see(one, PhaseKind.HOLDING)
    assert ChargeEventKind.STALL not in {one.kind for one in events.result()}
    events.see(Point(at_s=4700.0, powered=True), PhaseKind.HOLDING)
    events.unseen()
    (stall,) = events.result()
    assert (stall.start_s, stall.end_s) == (4000.0, 4700.0)


def test_a_sum_of_which_a_part_was_not_seen_is_unknown_with_that_reason() -> None:
    total = Integral()
    total.add(0, 10.0)
    total.lose("The machine was started anew.")
    total.add(5, 10.0)
    found = total.per_hour(unit=Unit.WATT_HOUR, source="gauge")
    assert found.value is None
    assert found.reason == "The machine was started anew."


def test_a_watch_that_begins_nearly_full_calls_no_sound_pack_a_boaster() -> None:
    # 0.05 Ah to the end, held at 4.19 V a cell: a full pack of 4 Ah or an empty small one, by voltage alone.
    pack = _measurement()
    amps, at_s, level = 0.6, 0.0, 0.985
    while amps > 0.2:
        pack.see(Point(at_s=at_s, current_a=amps, voltage_v=12.57, level=round(level, 2), powered=True))
        at_s, level, amps = at_s + 10, level + amps * 10 / 3600 / _AH, amps * 0.98
    pack.see(Point(at_s=at_s, current_a=0.0, voltage_v=12.57, level=1.0, powered=True, says_full=True))
    assert pack.reached_full
    assert pack.result().verdict is not Gauge.BOASTFUL
    assert pack.decides(40.0) is None


def test_what_kept_the_charge_away_in_every_gap_proves_no_capacity() -> None:
    """Off for two hours, three times, with the charger out: nothing went in."""
    charge, pack = _Charge(0.5), _measurement()
    seen_ah = 0.0
    for _ in range(4):
        for one in charge.looks(600):
            pack.see(one)
        seen_ah += _AMPS * 600 / 3600
        pack.unseen()
        charge.passes(7200, true_s=0)
    found = pack.result()
    assert found.least_ah is not None
    assert found.least_ah.low <= seen_ah
    assert found.verdict is not Gauge.TRUTHFUL
    assert pack.decides(40.0) is not True
