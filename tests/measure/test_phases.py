"""The phases of a watch: on published cells, on a small pack with every trouble, at 1 s to 60 s
sampling.
"""

import json
import math
import random
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from verify.measure.charge_events import ChargeEvent, ChargeEventKind, ChargeEvents
from verify.measure.phases import Phase, PhaseKind, Phases
from verify.measure.point import Point

COURSES: list[dict[str, Any]] = json.loads(
    (Path(__file__).parent / "charge_courses.json").read_text(encoding="utf-8")
)
# Whole charges by PyBaMM, made by make_charge_courses.py beside this file, which names the papers.

CAPACITY_AH, CELLS = 4.0, 3
SAMPLING_S = [1.0, 10.0, 30.0, 60.0]

_LEVELS = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
_OPEN_V = (3.00, 3.42, 3.52, 3.63, 3.69, 3.73, 3.78, 3.85, 3.93, 4.01, 4.10, 4.19)


class Pack:
    """Three cells in series with one resistance, charged by a charger of some watts [common practice]."""

    ohm = 0.15

    def __init__(self, level: float) -> None:
        self.level, self.current_a = level, 0.0

    @property
    def open_v(self) -> float:
        level = min(max(self.level, 0.0), 1.0)
        i = next(i for i in range(1, len(_LEVELS)) if level <= _LEVELS[i])
        share = (level - _LEVELS[i - 1]) / (_LEVELS[i] - _LEVELS[i - 1])
        return CELLS * (_OPEN_V[i - 1] + share * (_OPEN_V[i] - _OPEN_V[i - 1]))

    @property
    def voltage_v(self) -> float:
        return self.open_v + self.current_a * self.ohm

    def flow(self, current_a: float, seconds: float) -> None:
        self.current_a = current_a
        self.level += current_a * seconds / 3600 / CAPACITY_AH

    def charge(self, spare_w: float, seconds: float) -> None:
        open_v = self.open_v
        by_power = (-open_v + math.sqrt(open_v**2 + 4 * self.ohm * spare_w)) / (2 * self.ohm)
        by_volts = (CELLS * 4.2 - open_v) / self.ohm
        self.flow(min(0.7 * CAPACITY_AH, by_volts, by_power), seconds)


Doing = Callable[[Pack, float, float], None]
"""What is done with the pack, at a time, for so many seconds."""


def charging(watts: float) -> Doing:
    return lambda pack, _, seconds: pack.charge(watts, seconds)


def flowing(current_a: float) -> Doing:
    return lambda pack, _, seconds: pack.flow(current_a, seconds)


def on_battery(pack: Pack, at_s: float, seconds: float) -> None:
    pack.flow(-0.8 * (1 + 0.2 * math.sin(at_s / 7)), seconds)


class Seen:
    """What phases and events made of a plan: minutes, what is done, power from outside."""

    def __init__(
        self,
        *plan: tuple[float, Doing, bool | None],
        every_s: float,
        level: float = 0.2,
        noise: float = 0.01,
        capacity_ah: float | None = CAPACITY_AH,
        told: Callable[[Point], Point] = lambda point: point,
    ) -> None:
        pack, dice, at_s = Pack(level), random.Random(3), 0.0
        self.watch = Phases(capacity_ah=capacity_ah, cells=CELLS)
        events = ChargeEvents(capacity_ah=capacity_ah)
        ends_s = 0.0
        for minutes, doing, powered in plan:
            ends_s += 60 * minutes
            while at_s < ends_s:
                doing(pack, at_s, every_s)
                current_a = pack.current_a * (1 + dice.gauss(0, noise))
                point = told(
                    Point(
                        at_s=at_s,
                        current_a=round(current_a, 2),
                        voltage_v=round(pack.voltage_v, 2),
                        level=round(pack.level, 2),
                        powered=powered,
                        temperature_c=25.0,
                    )
                )
                self.watch.see(point)
                events.see(point, self.watch.kind)
                at_s += every_s
        self.phases: tuple[Phase, ...] = self.watch.result()
        self.events: tuple[ChargeEvent, ...] = events.result()

    @property
    def kinds(self) -> list[PhaseKind]:
        return [phase.kind for phase in self.phases]


REST, DISCHARGE, FULL, HOLDING = PhaseKind.REST, PhaseKind.DISCHARGE, PhaseKind.FULL, PhaseKind.HOLDING
CURRENT, POWER, VOLTAGE = (
    PhaseKind.CONSTANT_CURRENT,
    PhaseKind.CONSTANT_POWER,
    PhaseKind.CONSTANT_VOLTAGE,
)


@pytest.mark.parametrize("course", COURSES, ids=lambda one: f"{one['cell']}-{one['rate_c']}")
@pytest.mark.parametrize(
    ("every_s", "step_a", "step_v", "noise"),
    [(1.0, 0.001, 0.001, 0.0), (1.0, 0.01, 0.01, 0.02), (30.0, 0.01, 0.01, 0.0), (60.0, 0.01, 0.01, 0.0)],
    ids=["fine", "noisy", "every-30s", "every-60s"],
)
def test_a_charge_of_a_published_cell_is_current_then_voltage_then_full(
    course: dict[str, Any], every_s: float, step_a: float, step_v: float, noise: float
) -> None:
    times, rates, volts = course["time_s"], course["current_c"], course["voltage_v"]
    begins = next(i for i, one in enumerate(volts) if one >= max(volts) - 1e-3)
    ends_s = next(times[i] for i in range(begins, len(times)) if rates[i] <= 0.05)
    if ends_s - times[begins] < 300:
        pytest.skip("Its taper is shorter than five minutes: nothing to be told.")
    dice, watch, at_s, i = random.Random(2), Phases(capacity_ah=CAPACITY_AH, cells=CELLS), 0.0, 0
    while at_s < ends_s + 600:
        while i + 2 < len(times) and times[i + 1] <= at_s:
            i += 1
        share = min(max((at_s - times[i]) / (times[i + 1] - times[i]), 0.0), 1.0)
        rate = rates[i] + share * (rates[i + 1] - rates[i]) if at_s < ends_s else 0.0
        current_a = CAPACITY_AH * rate * (1 + dice.gauss(0, noise))
        voltage_v = CELLS * (volts[i] + share * (volts[i + 1] - volts[i]))
        watch.see(
            Point(
                at_s=at_s,
                current_a=round(current_a / step_a) * step_a,
                voltage_v=round(voltage_v / step_v) * step_v,
                powered=True,
            )
        )
        at_s += every_s
    phases = watch.result()
    assert [phase.kind for phase in phases] == [CURRENT, VOLTAGE, FULL]
    assert phases[1].start_s == pytest.approx(times[begins], abs=120 + every_s)
    assert phases[2].start_s == pytest.approx(ends_s, abs=20 + every_s)


@pytest.mark.parametrize("every_s", SAMPLING_S)
def test_a_weak_charger_charges_at_constant_power(every_s: float) -> None:
    seen = Seen((10, on_battery, False), (140, charging(25), True), every_s=every_s)
    assert seen.kinds == [DISCHARGE, POWER, VOLTAGE]
    assert seen.phases[1].start_s == pytest.approx(600, abs=every_s)


@pytest.mark.parametrize("every_s", SAMPLING_S)
def test_load_that_comes_and_goes_while_it_charges_is_no_taper(every_s: float) -> None:
    # 45 W are shared; every six minutes the machine takes 25 W of them for two.
    def shared(pack: Pack, at_s: float, seconds: float) -> None:
        pack.charge(45 - (25 if int(at_s // 120) % 3 == 0 else 5), seconds)

    seen = Seen((5, on_battery, False), (60, shared, True), every_s=every_s)
    assert VOLTAGE not in seen.kinds
    assert seen.kinds[0] is DISCHARGE
    assert len(seen.phases) == 2


@pytest.mark.parametrize("every_s", SAMPLING_S)
def test_an_empty_pack_is_charged_gently_first(every_s: float) -> None:
    seen = Seen((10, flowing(0.3), True), (50, charging(60), True), every_s=every_s, level=0.002)
    assert seen.kinds == [PhaseKind.TRICKLE, CURRENT]
    assert seen.phases[1].start_s == pytest.approx(600, abs=20 + every_s)


@pytest.mark.parametrize("every_s", [1.0, 10.0, 30.0])
def test_a_charger_that_goes_and_comes_back(every_s: float) -> None:
    seen = Seen((20, charging(60), True), (2, on_battery, False), (20, charging(60), True), every_s=every_s)
    assert seen.kinds == [CURRENT, DISCHARGE, CURRENT]
    (event,) = seen.events
    assert event.kind is ChargeEventKind.DROPOUT
    assert event.start_s == pytest.approx(1200, abs=2 * every_s)
    assert event.end_s == pytest.approx(1320, abs=2 * every_s)


@pytest.mark.parametrize("every_s", SAMPLING_S)
def test_a_charge_that_is_cut_off_is_held_not_full(every_s: float) -> None:
    # A protection that trips at 4.1 V a cell, although the gauge says 100 %.
    def full_by_its_word(point: Point) -> Point:
        return Point(
            at_s=point.at_s,
            current_a=point.current_a,
            voltage_v=point.voltage_v,
            level=1.0,
            powered=point.powered,
        )

    seen = Seen((20, charging(60), True), (15, flowing(0.0), True), every_s=every_s, told=full_by_its_word)
    assert seen.kinds == [CURRENT, HOLDING]
    assert [event.kind for event in seen.events] == [ChargeEventKind.STALL]


@pytest.mark.parametrize("every_s", [1.0, 10.0, 30.0])
def test_a_tapered_charge_is_full_until_the_charger_goes(every_s: float) -> None:
    def to_full(pack: Pack, _: float, seconds: float) -> None:
        done = pack.level >= 0.99
        pack.flow(0.0, seconds) if done else pack.charge(60, seconds)

    seen = Seen((120, to_full, True), (5, on_battery, False), every_s=every_s, level=0.6)
    assert seen.kinds == [CURRENT, VOLTAGE, FULL, DISCHARGE]
    assert seen.events == ()


def test_rest_and_held_are_told_apart_by_the_charger() -> None:
    still = flowing(0.0)
    seen = Seen((5, still, True), (5, still, False), (5, still, True), every_s=10.0, level=0.5)
    assert seen.kinds == [HOLDING, REST, HOLDING]


def test_the_packs_own_word_makes_it_full() -> None:
    def says(point: Point) -> Point:
        return Point(at_s=point.at_s, current_a=0.0, powered=True, level=1.0, says_full=True)

    assert Seen((5, flowing(0.0), True), every_s=10.0, level=0.9, told=says).kinds == [FULL]


@pytest.mark.parametrize("every_s", SAMPLING_S)
def test_a_pack_drained_with_the_charger_in_is_told(every_s: float) -> None:
    seen = Seen((20, flowing(-0.5), True), (20, charging(40), True), every_s=every_s, level=0.5)
    assert seen.kinds == [DISCHARGE, CURRENT]
    (event,) = seen.events
    assert event.kind is ChargeEventKind.DRAINED
    assert event.start_s == 0
    assert event.end_s == pytest.approx(1200, abs=2 * every_s)
    assert "gives too little" in event.sentence


def test_a_slow_charge_is_told_while_it_goes_on() -> None:
    (event,) = Seen((30, charging(6), True), every_s=10.0, level=0.4).events
    assert event.kind is ChargeEventKind.SLOW
    assert event.end_s is None


def test_a_slow_charge_of_a_warm_pack_is_its_right() -> None:
    def warm(point: Point) -> Point:
        return Point(
            at_s=point.at_s, current_a=0.4, voltage_v=11.5, level=0.5, temperature_c=48.0, powered=True
        )

    assert Seen((30, charging(6), True), every_s=10.0, told=warm).events == ()


@pytest.mark.parametrize("every_s", SAMPLING_S)
def test_a_time_nobody_saw_is_a_gap(every_s: float) -> None:
    watch = Phases(capacity_ah=CAPACITY_AH)
    times = [every_s * i for i in range(40)]
    after_s = times[-1] + 3600
    for at_s in (*times, *(after_s + one for one in times)):
        watch.see(Point(at_s=at_s, current_a=-1.0, voltage_v=11.5))
    phases = watch.result()
    assert [phase.kind for phase in phases] == [DISCHARGE, PhaseKind.GAP, DISCHARGE]
    assert (phases[1].start_s, phases[1].end_s) == (times[-1], after_s)
    assert phases[1].charge_ah is None
    assert phases[0].charge_ah == pytest.approx(-times[-1] / 3600)


@pytest.mark.parametrize("every_s", SAMPLING_S)
def test_phases_follow_each_other_and_their_charge_adds_up(every_s: float) -> None:
    seen = Seen(
        (5, on_battery, False),
        (80, charging(60), True),
        (5, on_battery, False),
        every_s=every_s,
        noise=0.0,
        level=0.3,
    )
    for one, two in pairwise(seen.phases):
        assert one.end_s == two.start_s
        assert one.kind is not two.kind
    counted = sum(phase.charge_ah or 0.0 for phase in seen.phases)
    pack, at_s, areas, before = Pack(0.3), 0.0, 0.0, None
    for minutes, doing in ((5, on_battery), (80, charging(60)), (5, on_battery)):
        ends_s = 60 * minutes + (0 if before is None else at_s)
        while at_s < ends_s:
            doing(pack, at_s, every_s)
            now = round(pack.current_a, 2)
            areas += 0.0 if before is None else every_s * (before + now) / 7200
            before, at_s = now, at_s + every_s
    assert counted == pytest.approx(areas, abs=1e-6)


def test_one_odd_look_is_no_phase() -> None:
    watch = Phases(capacity_ah=CAPACITY_AH)
    for t in range(600):
        watch.see(Point(at_s=t, current_a=0.0 if t in (200, 400) else 2.0, voltage_v=11.5 + t / 3000))
    assert [phase.kind for phase in watch.result()] == [CURRENT]


def test_noise_around_nothing_is_rest() -> None:
    dice, watch = random.Random(4), Phases(capacity_ah=CAPACITY_AH)
    for t in range(1200):
        watch.see(Point(at_s=t, current_a=round(dice.gauss(0, 0.012), 2), voltage_v=11.5))
    assert [phase.kind for phase in watch.result()] == [REST]


def test_power_stands_in_for_a_current_that_is_not_told() -> None:
    def power(point: Point) -> Point:
        assert point.current_a is not None
        assert point.voltage_v is not None
        watts = round(point.current_a * point.voltage_v, 2)
        return Point(at_s=point.at_s, power_w=watts, voltage_v=point.voltage_v, powered=point.powered)

    seen = Seen((10, on_battery, False), (110, charging(60), True), every_s=10.0, told=power)
    assert seen.kinds == [DISCHARGE, CURRENT, VOLTAGE]
    assert all(phase.charge_ah is not None for phase in seen.phases)


def test_power_alone_tells_phases_but_no_charge() -> None:
    def power(point: Point) -> Point:
        assert point.current_a is not None
        assert point.voltage_v is not None
        return Point(at_s=point.at_s, power_w=round(point.current_a * point.voltage_v, 2))

    seen = Seen((10, on_battery, None), (110, charging(60), None), every_s=10.0, told=power, capacity_ah=None)
    assert seen.kinds == [DISCHARGE, CURRENT, VOLTAGE]
    assert [phase.charge_ah for phase in seen.phases] == [None, None, None]


def test_looks_without_flow_give_no_phase() -> None:
    watch = Phases(capacity_ah=CAPACITY_AH)
    for t in range(100):
        watch.see(Point(at_s=t, level=0.5, voltage_v=11.5, current_a=math.nan))
        watch.see(Point(at_s=t + 0.5, level=0.5, voltage_v=11.5))
    assert watch.kind is None
    assert watch.since_s is None
    assert watch.result() == ()


def test_memory_stays_small_over_many_turns() -> None:
    watch = Phases(capacity_ah=CAPACITY_AH)
    for t in range(60_000):
        watch.see(Point(at_s=t, current_a=1.0 if (t // 30) % 2 else -1.0, voltage_v=11.5))
    assert len(watch.result()) == 401
