"""A pack measured end to end: a small cell model on published curves, a charger, a gauge with errors and
lies.

The model is this file's own: rest voltage from tests/reference/open_circuit.csv, a resistance and one slow
pair, constant current, then constant voltage. What it is measured to hold is held against what it was made
with.
"""

import csv
import gc
import math
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from verify.measure.assumed import Assumed
from verify.measure.capacity import EndHow, StartHow, StartLevel
from verify.measure.gauge_signs import GaugeSign
from verify.measure.pack_measurement import Gauge, Measured, PackMeasurement
from verify.measure.point import Point

_TABLE = Path(__file__).parents[1] / "reference" / "open_circuit.csv"


def _curves() -> dict[str, list[float]]:
    with _TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: [float(row[name]) for row in rows] for name in rows[0] if name != "level"}


CURVES = _curves()
_CELLS = 3


class _Pack(msgspec.Struct, kw_only=True):
    """What the pack is and what its gauge makes of it. lie: "", "proportionate", "false-count" or
    "voltage"."""

    ah: float = 4.5
    curve: str = "Chen2020"
    level: float = 0.05
    ohm_ah: float = 0.10
    slow_ohm_ah: float = 0.10
    slow_s: float = 400.0
    gain: float = 0.0
    offset_a: float = 0.0
    level_off: float = 0.0
    boast: float = 1.0
    lie: str = ""
    cut_off_c: float = 0.05
    full_cell_v: float = 4.2
    at_s: float = 0.0
    slow_v: float = 0.0
    counted: float = 0.0
    ended: bool = False

    def rest_v(self) -> float:
        place = min(max(self.level, 0.0), 1.0) * 40
        i = min(int(place), 39)
        volts = CURVES[self.curve]
        return volts[i] + (place - i) * (volts[i + 1] - volts[i])

    @property
    def claimed_ah(self) -> float:
        return self.ah * self.boast

    @property
    def wh(self) -> float:
        volts = CURVES[self.curve]
        return self.ah * _CELLS * (sum(volts) - (volts[0] + volts[-1]) / 2) / (len(volts) - 1)

    def flow(self, amps: float, *, powered: bool, every_s: float = 10.0) -> Point:
        """Let a current flow for a while and return the look at its beginning."""
        cell_v = self.rest_v() + self.slow_v + amps * self.ohm_ah / self.ah
        volts = _CELLS * cell_v
        told = round(amps * (1 + self.gain) + self.offset_a, 3)
        point = Point(
            at_s=self.at_s,
            current_a=told,
            voltage_v=round(volts, 3),
            level=round(min(1.0, max(0.0, self._says(cell_v))), 2),
            powered=powered,
            says_full=self.ended and powered,
        )
        self.at_s += every_s
        moved_ah = amps * every_s / 3600
        self.level += moved_ah / self.ah
        self.counted += moved_ah * (1 + self.gain) / self.claimed_ah
        decay = 1 - math.exp(-every_s / self.slow_s)
        self.slow_v += (amps * self.slow_ohm_ah / self.ah - self.slow_v) * decay
        return point

    def _says(self, cell_v: float) -> float:
        if self.ended:
            return 1.0
        if self.lie == "false-count":
            return min(0.99, self._begin + self.counted)
        if self.lie == "voltage":
            return (cell_v - 3.3) / (self.full_cell_v - 3.3)
        return self.level + self.level_off * (1 - self.level)

    @property
    def _begin(self) -> float:
        return self.level_off + self.level - self.counted * self.boast / (1 + self.gain)

    def charge(
        self, *, rate_c: float = 0.5, every_s: float = 10.0, after_s: float = 200.0
    ) -> Iterator[Point]:
        while True:
            room_a = (self.full_cell_v - self.rest_v() - self.slow_v) / (self.ohm_ah / self.ah)
            amps = min(rate_c * self.ah, room_a)
            if amps < self.cut_off_c * self.ah:
                break
            yield self.flow(amps, powered=True, every_s=every_s)
        self.ended = True
        yield from self.rest(after_s, powered=True, every_s=every_s)

    def rest(self, seconds: float, *, powered: bool = False, every_s: float = 10.0) -> Iterator[Point]:
        for _ in range(int(seconds / every_s)):
            yield self.flow(0.0, powered=powered, every_s=every_s)

    def run_down(self, to_level: float, *, rate_c: float = 0.3, every_s: float = 10.0) -> Iterator[Point]:
        while self.level > to_level:
            yield self.flow(-rate_c * self.ah, powered=False, every_s=every_s)
            self.ended = False


_DRAINED = StartLevel(level=0.015, half_width=0.015, how=StartHow.DRAINED)


def _measurement(pack: _Pack, **more: Any) -> PackMeasurement:
    figures: dict[str, Any] = {
        "design_voltage_v": 3.65 * _CELLS,
        "design_wh": 49.0,
        "claimed_ah": pack.claimed_ah,
    } | more
    return PackMeasurement(**figures)


def _measured(pack: _Pack, points: Iterator[Point] | list[Point], **more: Any) -> Measured:
    measurement = _measurement(pack, **more)
    for point in points:
        measurement.see(point)
    return measurement.result()


def _holds(measured: Measured, pack: _Pack) -> None:
    assert measured.capacity_ah is not None
    assert measured.capacity_wh is not None
    assert measured.capacity_ah.low <= pack.ah <= measured.capacity_ah.high
    assert measured.capacity_wh.low <= pack.wh <= measured.capacity_wh.high


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("rate_c", [0.3, 0.7])
def test_truth_lies_in_the_interval_for_every_published_curve(curve: str, rate_c: float) -> None:
    pack = _Pack(curve=curve, level=0.01)
    measured = _measured(pack, pack.charge(rate_c=rate_c), start=_DRAINED)
    _holds(measured, pack)
    assert measured.verdict is Gauge.TRUTHFUL
    assert measured.next_step == ""
    assert measured.reached_full
    assert measured.findings == ()


def test_start_by_rest_voltage_is_found_while_it_goes_on() -> None:
    pack = _Pack(level=0.02)
    measured = _measured(pack, [*pack.rest(900), *pack.charge()])
    assert measured.start is not None
    assert measured.start.how is StartHow.RESTED
    assert measured.start.proven
    _holds(measured, pack)
    assert measured.verdict is Gauge.TRUTHFUL


def test_run_down_first_then_charged_begins_at_the_bottom() -> None:
    pack = _Pack(level=0.6)
    measured = _measured(pack, [*pack.run_down(0.02), *pack.rest(900), *pack.charge()])
    assert measured.start is not None
    assert measured.start.level < 0.05
    _holds(measured, pack)
    assert measured.fall_ah is not None
    assert measured.fall_ah.low <= pack.ah <= measured.fall_ah.high


def _drawn(draw: random.Random, **more: Any) -> _Pack:
    figures: dict[str, Any] = {
        "ah": draw.uniform(2.5, 7),
        "curve": draw.choice(sorted(CURVES)),
        "ohm_ah": draw.uniform(0.03, 0.15),
        "slow_ohm_ah": draw.uniform(0.01, 0.15),
        "slow_s": draw.uniform(60, 900),
        "gain": draw.uniform(-0.03, 0.03),
        "offset_a": draw.uniform(-0.003, 0.003),
        "cut_off_c": draw.uniform(0.03, 0.07),
    }
    return _Pack(**(figures | more))


def test_drawn_truthful_packs_are_covered_and_none_is_called_boastful() -> None:
    draw = random.Random(11)
    covered = 0
    for _ in range(100):
        pack = _drawn(draw, level=draw.uniform(0.0, 0.03))
        points = list(pack.charge(rate_c=draw.uniform(0.3, 0.8), every_s=20.0))
        measured = _measured(pack, points, start=_DRAINED)
        assert measured.capacity_ah is not None
        covered += measured.capacity_ah.low <= pack.ah <= measured.capacity_ah.high
        assert measured.verdict is Gauge.TRUTHFUL
    # 95 expected; three standard deviations of 100 draws.
    assert 88 <= covered <= 100


@pytest.mark.parametrize("lie", ["proportionate", "false-count"])
def test_drawn_boastful_packs_are_caught_from_a_proven_start(lie: str) -> None:
    draw = random.Random(lie)
    caught = 0
    for _ in range(30):
        pack = _drawn(draw, level=draw.uniform(0.0, 0.03), lie=lie, boast=draw.uniform(1.15, 1.6))
        points = list(pack.charge(rate_c=draw.uniform(0.3, 0.8), every_s=20.0))
        measured = _measured(pack, points, start=_DRAINED)
        assert measured.verdict is not Gauge.TRUTHFUL
        caught += measured.verdict is Gauge.BOASTFUL
    assert caught >= 28


@pytest.mark.parametrize("lie", ["proportionate", "false-count", "voltage"])
@pytest.mark.parametrize("level", [0.05, 0.3, 0.6])
def test_boast_from_an_unproven_start_is_never_called_truthful(lie: str, level: float) -> None:
    pack = _Pack(level=level, lie=lie, boast=1.3)
    measured = _measured(pack, pack.charge())
    assert measured.verdict is not Gauge.TRUTHFUL


@pytest.mark.parametrize("level_off", [-0.06, 0.0, 0.06])
@pytest.mark.parametrize("level", [0.1, 0.3, 0.6])
def test_truthful_gauge_from_an_unproven_start_is_never_called_boastful(
    level: float, level_off: float
) -> None:
    pack = _Pack(level=level, level_off=level_off)
    measured = _measured(pack, pack.charge())
    assert measured.verdict is not Gauge.BOASTFUL
    if measured.verdict is Gauge.UNDECIDED:
        assert measured.next_step


def test_gauge_that_starts_too_low_does_not_make_a_good_pack_boastful() -> None:
    # It says 25 %, it is 40 %, and it mends that on the way: its level rises as that of a smaller pack.
    pack = _Pack(level=0.4, level_off=-0.25)
    measured = _measured(pack, [*pack.rest(900), *pack.charge()])
    assert {one.sign for one in measured.findings} == {GaugeSign.PROPORTIONATE_BOAST}
    assert measured.verdict is Gauge.UNDECIDED
    assert measured.start is not None
    assert measured.start.without_gauge
    _holds(measured, pack)


def test_leap_after_a_start_that_was_told_too_low_does_not_make_a_good_pack_boastful() -> None:
    # It says 8 %, it is 30 %, and it counts on from there: it leaps at the end.
    pack = _Pack(level=0.3, level_off=-0.22, lie="false-count")
    measured = _measured(pack, [*pack.rest(900), *pack.charge()])
    assert GaugeSign.FALSE_COUNT in {one.sign for one in measured.findings}
    assert measured.verdict is Gauge.UNDECIDED
    assert measured.next_step
    _holds(measured, pack)


def test_boast_with_an_honest_level_is_seen_in_mid_charge_and_measured_all_the_same() -> None:
    pack = _Pack(level=0.05, lie="proportionate", boast=1.5)
    points = [point for point in pack.charge() if point.at_s < 4000]
    measured = _measured(pack, points)
    assert measured.verdict is Gauge.BOASTFUL
    assert GaugeSign.PROPORTIONATE_BOAST in {one.sign for one in measured.findings}
    _holds(measured, pack)


def test_liar_about_its_level_is_not_asked_where_a_charge_stands() -> None:
    # At rest it says 40 points more than its cells can have.
    pack = _Pack(level=0.03)
    points = [
        msgspec.structs.replace(point, level=(point.level or 0.0) + 0.4)
        for point in [*pack.rest(900), *pack.charge()]
        if point.at_s < 4000
    ]
    measured = _measured(pack, points)
    assert GaugeSign.AGAINST_VOLTAGE in {one.sign for one in measured.findings}
    assert measured.verdict is Gauge.BOASTFUL
    assert measured.end is None or measured.end.how is not EndHow.GAUGE


# Part of a range, no end of charge.


@pytest.mark.parametrize(("level", "stop_s"), [(0.2, 4300.0), (0.3, 2200.0)], ids=["60 %", "30 %"])
def test_part_of_the_range_by_a_believed_gauge(level: float, stop_s: float) -> None:
    pack = _Pack(level=level)
    points = [point for point in pack.charge() if point.at_s < stop_s]
    measured = _measured(pack, points, assumed=Assumed(level=0.01))
    assert measured.end is not None
    assert measured.end.how is EndHow.GAUGE
    _holds(measured, pack)
    assert measured.capacity_ah is not None
    assert measured.capacity_ah.high - measured.capacity_ah.low < 0.2 * pack.ah
    assert measured.verdict is Gauge.UNDECIDED
    assert measured.next_step == "Let it charge on to the end."


def test_running_down_alone_measures_too() -> None:
    pack = _Pack(level=0.95)
    measured = _measured(pack, pack.run_down(0.25))
    _holds(measured, pack)
    assert measured.fall_ah == measured.capacity_ah


def test_full_then_run_down_to_the_knee_is_proven_from_both_ends() -> None:
    pack = _Pack(level=0.7)
    measured = _measured(pack, [*pack.charge(), *pack.run_down(0.01, rate_c=0.2), *pack.rest(900)])
    assert measured.fall_ah is not None
    assert measured.fall_ah.low <= pack.ah <= measured.fall_ah.high
    assert measured.fall_ah.high - measured.fall_ah.low < 0.12 * pack.ah
    assert measured.verdict is Gauge.TRUTHFUL


def test_level_made_from_the_voltage_is_found_though_the_pack_holds_its_claim() -> None:
    pack = _Pack(level=0.6, lie="voltage")
    measured = _measured(pack, [*pack.run_down(0.01, rate_c=0.3), *pack.charge()])
    signs = {one.sign: one for one in measured.findings}
    assert "cannot be believed" in signs[GaugeSign.FROM_VOLTAGE].sentence
    # The capacity alone tells whether the claim is true.
    assert measured.verdict is Gauge.TRUTHFUL
    assert not any(one.shows_lie for one in measured.findings)


@pytest.mark.parametrize("lie", ["", "false-count"])
@pytest.mark.parametrize("level_off", [0.0, 0.06])
def test_level_that_is_counted_is_not_taken_for_one_made_from_the_voltage(lie: str, level_off: float) -> None:
    pack = _Pack(level=0.6, lie=lie, level_off=level_off, boast=1.2 if lie else 1.0)
    measured = _measured(pack, [*pack.run_down(0.01, rate_c=0.3), *pack.charge()])
    assert GaugeSign.FROM_VOLTAGE not in {one.sign for one in measured.findings}


def test_claim_is_taken_where_the_level_is_highest() -> None:
    # In whole per cents: at 5 % the claim is off by up to 10 %.
    pack = _Pack(level=0.045)
    measurement = PackMeasurement(design_voltage_v=11.1, cells=3, start=_DRAINED)
    for point in pack.charge():
        left_wh = min(1.0, pack.level) * pack.wh
        measurement.see(msgspec.structs.replace(point, remaining_wh=left_wh))
    measured = measurement.result()
    assert measured.capacity_wh is not None
    assert measured.claimed_ratio is not None
    claimed_wh = measured.capacity_wh.value / measured.claimed_ratio.value
    assert claimed_wh == pytest.approx(pack.wh, rel=0.01)


def test_shut_down_between_running_down_and_charge_costs_no_charge() -> None:
    # Four minutes without a look and without a current: a trapezoid takes them for charge.
    pack = _Pack(level=0.1)
    down = list(pack.run_down(0.01, rate_c=0.2))
    for _ in pack.rest(240):
        pass
    measured = _measured(pack, [*down, *pack.charge()])
    assert measured.start is not None
    assert measured.start.how is StartHow.DRAINED
    assert measured.counted is not None
    (gap_ah,) = measured.counted.gaps_ah
    assert gap_ah < 0.02 * pack.ah
    _holds(measured, pack)


def test_undecided_limit_always_has_a_next_test() -> None:
    pack = _Pack(level=0.01)
    measurement = _measurement(pack, start=_DRAINED)
    for point in pack.charge():
        measurement.see(point)
    # The gauge is truthful and there is nothing more to find out, but not whether it holds all of this.
    assert measurement.result().next_step == ""
    assert measurement.decides(pack.wh) is None
    assert "meter" in measurement.next_test(pack.wh)
    assert measurement.next_test(0.5 * pack.wh) == ""


# Early decisions.


def _followed(
    pack: _Pack, points: Iterator[Point], limit_wh: float, **more: Any
) -> tuple[float | None, bool | None]:
    """Return when it decided, in s, and what; asked every 5 minutes."""
    measurement = _measurement(pack, **more)
    asked_s = 0.0
    for point in points:
        measurement.see(point)
        if point.at_s - asked_s >= 300:
            asked_s = point.at_s
            decided = measurement.decides(limit_wh)
            if decided is not None:
                return point.at_s, decided
    return None, measurement.decides(limit_wh)


def _length_s(level: float) -> float:
    return [point.at_s for point in _Pack(level=level).charge(after_s=0)][-1]


def test_good_pack_is_decided_before_it_is_full() -> None:
    pack = _Pack(level=0.01)
    at_s, decided = _followed(pack, pack.charge(), 0.8 * pack.wh, start=_DRAINED)
    assert decided is True
    assert at_s is not None
    assert at_s < 0.85 * _length_s(0.01)


def test_poor_pack_is_decided_in_the_taper() -> None:
    pack = _Pack(level=0.01, boast=1.6, lie="proportionate")
    claimed_wh = pack.wh * pack.boast
    at_s, decided = _followed(pack, pack.charge(), 0.9 * claimed_wh, start=_DRAINED)
    assert decided is False
    assert at_s is not None
    assert at_s < _length_s(0.01)


def test_pack_at_the_limit_is_not_decided() -> None:
    pack = _Pack(level=0.01)
    assert _followed(pack, pack.charge(), pack.wh, start=_DRAINED)[1] is None


def test_time_to_a_decision_is_told_beforehand_and_holds() -> None:
    pack = _Pack(level=0.01)
    limit_wh = 0.7 * pack.wh
    measurement = _measurement(pack, start=_DRAINED, label_wh=pack.wh)
    decided_s, told = None, []
    for point in pack.charge():
        measurement.see(point)
        if point.at_s % 600 == 60:
            left = measurement.minutes_to_decide(limit_wh)
            if left is not None:
                told.append((point.at_s, left))
        if decided_s is None and point.at_s % 60 == 0 and measurement.decides(limit_wh):
            decided_s = point.at_s
    assert decided_s is not None
    assert len(told) > 3
    for at_s, left in told:
        if at_s < decided_s:
            assert at_s / 60 + left.low - 1 <= decided_s / 60 <= at_s / 60 + left.high + 1
        else:
            assert left.value == 0


def test_no_time_is_promised_where_the_charge_will_not_decide() -> None:
    pack = _Pack(level=0.01)
    measurement = _measurement(pack, start=_DRAINED, label_wh=pack.wh)
    for point in pack.charge():
        measurement.see(point)
        if point.at_s > 1200:
            break
    assert measurement.minutes_to_decide(pack.wh) is None


# What a watch goes through.


def test_gap_widens_and_the_truth_stays_inside() -> None:
    whole, gapped = _Pack(level=0.01), _Pack(level=0.01)
    plain = _measured(whole, whole.charge(), start=_DRAINED)
    points = [point for point in gapped.charge() if not 2000 < point.at_s < 2600]
    torn = _measured(gapped, points, start=_DRAINED)
    _holds(torn, gapped)
    assert plain.capacity_ah is not None
    assert torn.capacity_ah is not None
    assert torn.capacity_ah.high - torn.capacity_ah.low > 1.2 * (
        plain.capacity_ah.high - plain.capacity_ah.low
    )
    assert torn.counted is not None
    assert torn.counted.gap_count == 1


def test_charger_pulled_and_put_back_is_counted_through() -> None:
    pack = _Pack(level=0.01)
    charge = pack.charge()
    points = [next(charge) for _ in range(200)]
    points += pack.run_down(pack.level - 0.1)
    points += charge
    measured = _measured(pack, points, start=_DRAINED)
    _holds(measured, pack)
    assert measured.counted is not None
    assert (measured.counted.pulled, measured.counted.put_back) == (1, 1)


def test_clock_that_steps_back_and_values_that_are_none_do_no_harm() -> None:
    pack = _Pack(level=0.01)
    points = []
    for i, point in enumerate(pack.charge()):
        points.append(point)
        if i % 97 == 5:
            points.append(msgspec.structs.replace(point, at_s=point.at_s - 50, current_a=99.0))
        if i % 101 == 7:
            points[-1] = Point(at_s=point.at_s)
        if i % 103 == 9:
            points[-1] = msgspec.structs.replace(point, current_a=math.nan, level=math.inf)
    measured = _measured(pack, points, start=_DRAINED)
    _holds(measured, pack)


def test_charge_that_stops_at_a_limit_is_not_full() -> None:
    pack = _Pack(level=0.1)
    points = []
    for point in pack.charge():
        if pack.level > 0.8:
            break
        points.append(point)
    points += pack.rest(600, powered=True)
    measured = _measured(pack, points)
    assert not measured.reached_full
    _holds(measured, pack)


def test_log_without_any_level_is_measured_by_volts_and_taper() -> None:
    pack = _Pack(level=0.005)
    points = [
        msgspec.structs.replace(point, level=None, says_full=False, powered=None)
        for point in [*pack.rest(900), *pack.charge(after_s=0)]
    ]
    measured = _measured(pack, points, claimed_ah=None, claimed_wh=None)
    _holds(measured, pack)
    assert measured.verdict is Gauge.UNDECIDED
    assert measured.claimed_ratio is None


def test_power_and_voltage_do_for_a_pack_that_tells_no_current() -> None:
    pack = _Pack(level=0.01)
    points = [
        msgspec.structs.replace(
            point, current_a=None, power_w=round((point.current_a or 0.0) * (point.voltage_v or 0.0), 2)
        )
        for point in pack.charge()
    ]
    measured = _measured(pack, points, start=_DRAINED)
    _holds(measured, pack)
    assert measured.counted is not None
    assert measured.counted.source == "power and voltage"


def test_claim_is_taken_from_what_is_left_and_the_level() -> None:
    pack = _Pack(level=0.05)
    points = [
        msgspec.structs.replace(point, remaining_wh=(point.level or 0.0) * pack.wh * 1.5)
        for point in pack.charge()
    ]
    measured = _measured(pack, points, claimed_ah=None)
    assert measured.claimed_ratio is not None
    assert measured.claimed_ratio.value == pytest.approx(1 / 1.5, rel=0.05)
    assert measured.verdict is Gauge.BOASTFUL


def test_other_chemistry_is_not_read_by_its_volts() -> None:
    pack = _Pack(level=0.02)
    measured = _measured(pack, [*pack.rest(900), *pack.charge()], technology="LiFe")
    assert measured.start is not None
    assert measured.start.how is StartHow.GAUGE


@pytest.mark.parametrize(
    ("points", "why"),
    [
        ([], "tells no current"),
        ([Point(at_s=0.0, current_a=1.0, level=0.5)], "not watched for long enough"),
        ([Point(at_s=float(t), level=0.5, voltage_v=11.0) for t in range(50)], "tells no current"),
        ([Point(at_s=float(t), current_a=1.0) for t in range(50)], "Neither its gauge nor its voltage"),
    ],
    ids=["nothing", "one look", "no current", "no level"],
)
def test_unknown_is_none_with_its_reason(points: list[Point], why: str) -> None:
    measurement = PackMeasurement(design_voltage_v=11.1)
    for point in points:
        measurement.see(point)
    measured = measurement.result()
    assert measured.capacity_ah is None
    assert why in measured.why_not
    assert measured.verdict is Gauge.UNDECIDED
    assert measured.next_step
    assert measurement.decides(50.0) is None
    assert measurement.minutes_to_decide(50.0) is None


def test_power_alone_without_any_voltage_is_no_charge() -> None:
    measurement = PackMeasurement()
    for t in range(50):
        measurement.see(Point(at_s=float(t), power_w=20.0, level=0.5))
    assert "nominal voltage" in measurement.result().why_not


def test_never_learned_is_said_beside_the_measured_figure() -> None:
    pack = _Pack(level=0.01)
    measured = _measured(pack, pack.charge(), start=_DRAINED, design_wh=50.0, claimed_wh=50.0, label_wh=50.0)
    assert {one.sign for one in measured.findings} == {GaugeSign.NEVER_LEARNED}
    assert measured.label_ratio is not None
    assert measured.label_ratio.value == pytest.approx(pack.wh / 50.0, rel=0.03)


def _objects(root: object) -> int:
    seen: set[int] = set()
    queue = [root]
    while queue:
        one = queue.pop()
        if id(one) in seen or isinstance(one, type) or callable(one):
            continue
        seen.add(id(one))
        queue.extend(gc.get_referents(one))
    return len(seen)


def test_memory_is_the_same_in_the_first_and_the_tenth_hour() -> None:
    pack = _Pack(level=0.5)
    measurement = _measurement(pack)
    sizes = []
    for hour in range(10):
        back_and_forth = [*pack.run_down(0.4, rate_c=0.4), *pack.rest(600)]
        charge = pack.charge(rate_c=0.4)
        back_and_forth += [next(charge) for _ in range(120)]
        for point in back_and_forth:
            measurement.see(point)
        if hour in {2, 9}:
            sizes.append(_objects(measurement))
    assert sizes[1] < 1.3 * sizes[0]


# ---------------------------------------------------------------- hardly anything to charge


@pytest.mark.parametrize("level", [0.9, 0.96, 0.98])
@pytest.mark.parametrize("curve", ["Chen2020", "Ai2020"])
def test_charge_that_begins_almost_full_shows_no_sound_pack_to_be_small(level: float, curve: str) -> None:
    pack = _Pack(level=level, curve=curve)
    measurement = _measurement(pack)
    for point in pack.charge():
        measurement.see(point)
    measured = measurement.result()
    assert measured.verdict is not Gauge.BOASTFUL
    assert measurement.decides(0.9 * pack.wh) is None
    if measured.capacity_ah is not None:
        _holds(measured, pack)
