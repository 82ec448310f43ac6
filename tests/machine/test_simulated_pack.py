"""The simulated pack against published formulas, a reference simulation, and the laws of conservation."""

import math
from collections.abc import Iterator
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.machine import PackState
from verify.machine.simulated import LARKSPUR_15
from verify.machine.simulated.cell import CellDesign, curve, mean_open_v, open_circuit_v
from verify.machine.simulated.charger import Charger, power_current_a
from verify.machine.simulated.gauge import GaugeDesign, Lie
from verify.machine.simulated.pack import PackHabits, SimulatedPack

DESIGN = LARKSPUR_15.pack

# Open-circuit voltage over the share of the way from 2.5 V to 4.2 V, as PyBaMM 26.10 gives it for what
# Chen et al. 2020, J. Electrochem. Soc. 167, 080534, published: both potentials evaluated, their difference.
CHEN_2020 = (
    (0.02, 2.8624918),
    (0.05, 3.1094460),
    (0.10, 3.2959070),
    (0.20, 3.4851888),
    (0.30, 3.5814460),
    (0.40, 3.6670066),
    (0.50, 3.7508736),
    (0.60, 3.8405767),
    (0.70, 3.9479064),
    (0.80, 4.0420800),
    (0.90, 4.0966562),
    (0.95, 4.1235529),
    (1.00, 4.2000000),
)


def level_of(share: float) -> float:
    """Return the machine's level at a share of the way from 2.5 V to 4.2 V."""
    low = curve().low
    return low + share * 2000 / curve().per


def make(level: float = 0.35, **given: object) -> SimulatedPack:
    return SimulatedPack(DESIGN, level=level, ambient_c=22.0, **given)  # type: ignore[arg-type] # as they are


def charged(pack: SimulatedPack, *, every_s: float = 5.0, offered_w: float = 200.0) -> Iterator[float]:
    """Charge to the end and give the time of each step, in s; 10 h at most."""
    at_s = 0.0
    while pack.state is not PackState.FULL and at_s < 36000:
        pack.advance(every_s, offered_w=offered_w, load_w=10.0, ambient_c=22.0)
        at_s += every_s
        yield at_s


# Outside: the published curve, and a reference simulation of the same cell.


@pytest.mark.parametrize(("share", "volts"), CHEN_2020)
def test_open_circuit_voltage_is_the_published_one(share: float, volts: float) -> None:
    assert open_circuit_v(level_of(share)) == pytest.approx(volts, abs=1e-5)


def test_the_table_is_the_formula() -> None:
    for i in range(1001):
        assert curve().at(i / 1000)[0] == pytest.approx(open_circuit_v(i / 1000), abs=1e-4)


def test_open_circuit_voltage_rises_with_level() -> None:
    voltages = [open_circuit_v(level / 100) for level in range(-2, 101)]
    assert voltages == sorted(set(voltages))


def test_empty_and_full_are_where_a_machine_shuts_off_and_a_charge_ends() -> None:
    assert open_circuit_v(0.0) == pytest.approx(3.00, abs=1e-6)
    assert open_circuit_v(1.0) == pytest.approx(4.180, abs=1e-6)
    pack = make()
    *_, _last = charged(pack)
    assert pack.level == pytest.approx(1.0, abs=0.003)
    # Under the draw of an idle machine the terminals are at the shut-off.
    empty = make(level=0.001)
    empty.advance(60.0, offered_w=None, load_w=10.5, ambient_c=22.0)
    assert 2.8 <= empty.voltage_v / 3 <= 3.0


@pytest.mark.parametrize(
    ("rate_c", "constant_min", "whole_min", "charge_ah"),
    [
        # PyBaMM 26.10, Doyle-Fuller-Newman model, parameters of Chen et al. 2020: from 20 % of 5.0 Ah at this
        # rate to 4.2 V, held there to C/20: end of the constant current, end, charge that went in.
        pytest.param(0.3, 148.8, 178.5, 4.05, id="0.3 C"),
        pytest.param(0.7, 49.5, 101.2, 4.04, id="0.7 C"),
    ],
)
def test_a_charge_goes_as_in_the_reference_simulation(
    rate_c: float, constant_min: float, whole_min: float, charge_ah: float
) -> None:
    # The parameters give 5.06 Ah between 2.5 V and 4.2 V; ours is what lies between its own ends of that.
    cells = CellDesign(series=3, capacity_ah=5.06 * curve().per / 2000, ohm=CellDesign.sound_ohm(5.0))
    pack = make(level_of(0.2), cells=cells, charger=Charger(design_ah=5.0, constant_c=rate_c))
    reached_min, in_ah, last_min = None, 0.0, 0.0
    for at_s in charged(pack):
        in_ah += pack.current_a * 5 / 3600
        last_min = at_s / 60
        if reached_min is None and pack.voltage_v >= 3 * 4.1999:
            reached_min = last_min
    assert reached_min == pytest.approx(constant_min, rel=0.05)
    assert last_min == pytest.approx(whole_min, rel=0.08)
    assert in_ah == pytest.approx(charge_ah, rel=0.02)


# Conservation.

steps = st.lists(
    st.tuples(
        st.sampled_from((0.5, 1.0, 2.0, 5.0)),
        st.one_of(st.none(), st.floats(min_value=5.0, max_value=90.0)),
        st.floats(min_value=2.0, max_value=40.0),
    ),
    min_size=1,
    max_size=60,
)


@settings(max_examples=60, deadline=None)
@given(level=st.floats(min_value=0.15, max_value=0.9), course=steps)
def test_no_charge_is_made_or_lost(level: float, course: list[tuple[float, float | None, float]]) -> None:
    pack = make(level)
    went_in_ah = 0.0
    for seconds, offered_w, load_w in course:
        pack.advance(seconds, offered_w=offered_w, load_w=load_w, ambient_c=22.0)
        went_in_ah += pack.current_a * seconds / 3600
    assert (pack.level - level) * pack.capacity_ah == pytest.approx(went_in_ah, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(level=st.floats(min_value=0.15, max_value=0.85), course=steps)
def test_what_goes_in_is_stored_or_turned_into_heat(
    level: float, course: list[tuple[float, float | None, float]]
) -> None:
    pack = make(level)
    before_wh = pack.cells.stored_wh()
    in_wh = heat_wh = moved_wh = 0.0
    for seconds, offered_w, load_w in course:
        # In steps of 0.1 s, so that the end of a step is close to its middle.
        for _ in range(int(seconds * 10)):
            pack.advance(0.1, offered_w=offered_w, load_w=load_w, ambient_c=22.0)
            in_wh += pack.voltage_v * pack.current_a * 0.1 / 3600
            moved_wh += abs(pack.voltage_v * pack.current_a) * 0.1 / 3600
            heat_wh += pack.cells.heat_w(pack.current_a) * 0.1 / 3600
    assert in_wh - heat_wh == pytest.approx(pack.cells.stored_wh() - before_wh, abs=1e-3 * moved_wh + 1e-9)


def test_what_it_holds_is_the_energy_between_empty_and_full_at_rest() -> None:
    empty, full = make(0.0), make(1.0)
    assert full.cells.stored_wh() - empty.cells.stored_wh() == pytest.approx(DESIGN.holds_wh, rel=1e-6)
    assert full.capacity_ah * 3 * mean_open_v() == pytest.approx(DESIGN.holds_wh, rel=1e-9)


@pytest.mark.parametrize("every_s", [1.0, 5.0, 30.0, 60.0])
def test_a_coarse_step_tells_the_same_charge(every_s: float) -> None:
    fine, coarse = make(), make()
    *_, fine_s = charged(fine, every_s=1.0)
    *_, coarse_s = charged(coarse, every_s=every_s)
    assert coarse_s == pytest.approx(fine_s, abs=120)
    assert coarse.level == pytest.approx(fine.level, abs=0.001)


# By hand: resistance, power, warmth, the end.


def test_a_step_of_current_shows_the_resistance_that_it_is_said_to_have() -> None:
    pack = make(0.6)
    pack.advance(0.0, offered_w=None, load_w=0.0, ambient_c=22.0)
    rest_v = pack.voltage_v
    for seconds in (1.0,) * 10:
        pack.advance(seconds, offered_w=None, load_w=40.0, ambient_c=22.0)
    shown = (rest_v - pack.voltage_v) / -pack.current_a / 3
    slope_ohm = curve().at(0.6)[1] * 10 / 3600 / pack.capacity_ah
    assert shown == pytest.approx(pack.cells.design.ohm_after(10.0) + slope_ohm, rel=0.01)
    # 0.25 V at 1 C of 5 Ah are 50 milliohm, half of it at once: by hand.
    assert pack.cells.design.ohm_after(0.0) == pytest.approx(0.025)
    assert pack.cells.design.ohm_after(1e9) == pytest.approx(0.050)


@pytest.mark.parametrize("power_w", [-30.0, -1.0, 0.0, 1.0, 60.0])
def test_the_power_is_the_power_that_was_asked(power_w: float) -> None:
    current_a = power_current_a(power_w, volts=11.0, ohm=0.15)
    assert (11.0 + current_a * 0.15) * current_a == pytest.approx(power_w)


def test_no_more_comes_out_than_the_resistance_allows() -> None:
    # At most V² / 4 R, at half the voltage: a textbook's matched load.
    assert power_current_a(-1e4, volts=11.0, ohm=0.15) == pytest.approx(-11.0 / 0.30)


@pytest.mark.parametrize(
    ("celsius", "current_a", "highest_v", "ends"),
    [
        # Bands of the guideline of JEITA and the Battery Association of Japan, 20 April 2007.
        pytest.param(-3.0, 0.0, 0.0, False, id="cold"),
        pytest.param(5.0, 0.2 * 3.5, 4.2, False, id="cool"),
        pytest.param(25.0, 3.5, 4.2, True, id="normal"),
        pytest.param(47.0, 0.5 * 3.5, 4.1, False, id="warm"),
        pytest.param(60.0, 0.0, 0.0, False, id="hot"),
    ],
)
def test_bands_of_temperature(celsius: float, current_a: float, highest_v: float, *, ends: bool) -> None:
    pack = make(habits=PackHabits(told_c=celsius))
    currents, volts, states = [], [], set()
    for _ in range(12 * 3600 // 10):
        pack.advance(10.0, offered_w=200.0, load_w=10.0, ambient_c=22.0)
        currents.append(pack.current_a)
        volts.append(pack.voltage_v / 3 if pack.current_a else 0.0)
        states.add(pack.state)
    assert max(currents) == pytest.approx(current_a)
    assert max(volts) == pytest.approx(highest_v, abs=0.001)
    assert (PackState.FULL in states) is ends


def test_deeply_empty_cells_are_charged_gently_at_first() -> None:
    pack = make(-0.02)
    pack.advance(1.0, offered_w=200.0, load_w=10.0, ambient_c=22.0)
    assert pack.voltage_v / 3 < 3.0
    assert pack.current_a == pytest.approx(0.1 * 5.0)
    for _ in range(3600):
        pack.advance(1.0, offered_w=200.0, load_w=10.0, ambient_c=22.0)
    assert pack.current_a == pytest.approx(0.7 * 5.0)


def test_what_the_charger_gives_is_shared_with_the_machine() -> None:
    pack = make(0.5)
    for load_w, charge_w in ((10.0, 30.0), (32.0, 8.0)):
        pack.advance(5.0, offered_w=40.0, load_w=load_w, ambient_c=22.0)
        assert pack.voltage_v * pack.current_a == pytest.approx(charge_w, rel=1e-6)


def test_a_group_ahead_ends_the_charge_and_leaves_the_others_short() -> None:
    cells = DESIGN.sound_cells()
    ahead = CellDesign(series=3, capacity_ah=cells.capacity_ah, ohm=cells.ohm, ahead=0.08)
    pack = make(cells=ahead)
    *_, _last = charged(pack)
    assert pack.level == pytest.approx(0.92, abs=0.005)
    assert pack.voltage_v < 3 * 4.19


def test_tired_cells_end_early_and_sag() -> None:
    tired = make(cells=DESIGN.sound_cells(ohm=0.15))
    *_, _last = charged(tired)
    assert 0.97 < tired.level < 0.99
    sound = make(1.0)
    for pack in (tired, sound):
        pack.advance(60.0, offered_w=None, load_w=32.0, ambient_c=22.0)
    assert sound.voltage_v - tired.voltage_v > 0.5


# The gauge.


def told(pack: SimulatedPack) -> float:
    return pack.gauge.told_level


def test_a_gauge_without_errors_tells_the_truth() -> None:
    pack = make()
    for _ in charged(pack):
        assert told(pack) == pytest.approx(pack.level, abs=0.003)
        assert pack.gauge.current_a == pytest.approx(pack.current_a, abs=0.00051)
        assert pack.gauge.voltage_v == pytest.approx(pack.voltage_v, abs=0.00051)
    assert pack.gauge.full_wh == pytest.approx(DESIGN.holds_wh, rel=0.002)


def test_gain_and_offset_are_in_what_is_told_and_counted() -> None:
    pack = make(0.5, gauge=GaugeDesign(gain=0.03, offset_a=0.003))
    pack.advance(5.0, offered_w=65.0, load_w=10.0, ambient_c=22.0)
    assert pack.gauge.current_a == pytest.approx(pack.current_a * 1.03 + 0.003, abs=0.0006)
    *_, _last = charged(pack)
    # Its learned full is as wrong as its sensor.
    assert pack.gauge.full_wh == pytest.approx(DESIGN.holds_wh * 1.03, rel=0.005)


def test_a_gauge_tells_anew_only_as_often_as_it_does() -> None:
    pack = make(gauge=GaugeDesign(update_s=4.0))
    pack.advance(0.0, offered_w=65.0, load_w=10.0, ambient_c=22.0)
    levels = []
    for _ in range(40):
        pack.advance(1.0, offered_w=65.0, load_w=10.0, ambient_c=22.0)
        levels.append(told(pack))
    changes = sum(one != two for one, two in pairwise(levels))
    assert changes == 10


@pytest.mark.parametrize(("level", "learned"), [(0.35, True), (0.75, False)], ids=["low", "high"])
def test_a_gauge_learns_only_from_a_charge_that_began_low_enough(level: float, *, learned: bool) -> None:
    pack = make(level, cells=DESIGN.sound_cells(holds_wh=31.0), gauge=GaugeDesign(full_wh=57.0))
    assert pack.gauge.full_wh == 57.0
    *_, _last = charged(pack)
    assert pack.gauge.full_wh == (pytest.approx(31.0, rel=0.01) if learned else 57.0)


# True capacity 56.42 Wh, claimed 71 Wh, from a true level of 35 %: what it says at the start and just before
# the end, by hand. since full: 1 - 0.65 × 56.42 / 71 = 0.483; leaps: 0.35 + 0.65 × 56.42 / 71 = 0.867.
@pytest.mark.parametrize(
    ("lie", "start", "end"),
    [
        pytest.param(Lie.BOASTS, 0.35, 1.0, id="boasts"),
        pytest.param(Lie.LEAPS, 0.35, 0.867, id="leaps"),
        pytest.param(Lie.SINCE_FULL, 0.483, 1.0, id="since full"),
    ],
)
def test_lies_of_a_gauge(lie: Lie, start: float, end: float) -> None:
    pack = make(gauge=GaugeDesign(lie=lie, claims_wh=71.0))
    assert told(pack) == pytest.approx(start, abs=0.001)
    levels = [told(pack) for _ in charged(pack)]
    assert levels[-2] == pytest.approx(end, abs=0.004)
    assert levels[-1] == 1.0
    assert pack.gauge.full_wh == 71.0
    while not pack.spent:
        pack.advance(30.0, offered_w=None, load_w=11.0, ambient_c=22.0)
    # 1 - 56.42 / 71 = 0.205: both that count against their claim die early.
    assert told(pack) == pytest.approx(0.0 if lie is Lie.BOASTS else 0.205, abs=0.01)


def test_a_level_from_the_voltage_jumps_with_the_charger() -> None:
    pack = make(0.5, gauge=GaugeDesign(lie=Lie.VOLTS))
    pack.advance(0.0, offered_w=None, load_w=10.5, ambient_c=22.0)
    on_battery = told(pack)
    pack.advance(0.0, offered_w=65.0, load_w=10.5, ambient_c=22.0)
    assert told(pack) > on_battery + 0.05
    assert math.isclose(pack.level, 0.5)


def test_a_level_that_is_off_stays_off_until_full() -> None:
    pack = make(gauge=GaugeDesign(level_error=0.06))
    assert told(pack) == pytest.approx(0.41)
    *_, _last = charged(pack)
    assert told(pack) == 1.0


def test_a_rest_takes_what_it_takes_and_the_gauge_knows() -> None:
    pack = make(0.5)
    pack.lose(DESIGN.holds_wh * 0.1, ambient_c=22.0)
    assert pack.level == pytest.approx(0.4)
    pack.advance(0.0, offered_w=None, load_w=0.0, ambient_c=22.0)
    assert told(pack) == pytest.approx(0.4)
    pack.lose(1000.0, ambient_c=22.0)
    assert pack.level == 0.0
    assert pack.spent
