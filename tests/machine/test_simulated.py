"""The simulated machine: the contract, its physics in outline, and every fault it takes."""

import functools
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import msgspec
import pytest

from verify.machine import NO_BATTERY, Machine, Pack, PackState, Sample
from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15, SimulatedDesign, SimulatedMachine
from verify.machine.simulated.faults import FAULTS, Fault
from verify.measure import Integral
from verify.probe import Want
from verify.testing.machine_contract import MachineContract, check_pack
from verify.values import Unit, VirtualClock
from verify.values.errors import InvalidValueError, WrongUseError

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def make(
    faults: Mapping[str, str] | None = None,
    *,
    seed: int = 0,
    level: float = 0.35,
    description: SimulatedDesign = LARKSPUR_15,
) -> SimulatedMachine:
    clock = VirtualClock(start=START)
    return SimulatedMachine(clock=clock, seed=seed, faults=faults or {}, level=level, description=description)


def watch(machine: SimulatedMachine, *, seconds: float, every_s: float = 10.0) -> list[Sample]:
    samples = [machine.sample()]
    for _ in range(int(seconds / every_s)):
        machine.clock.wait(every_s)
        samples.append(machine.sample())
    return samples


def charge(
    faults: Mapping[str, str] | None = None, *, level: float = 0.35, seconds: float = 3 * 3600
) -> list[Pack]:
    machine = make(faults, level=level)
    machine.plug_in()
    return [sample.packs[0] for sample in watch(machine, seconds=seconds)]


@functools.cache
def sound_charge() -> tuple[Pack, ...]:
    return tuple(charge())


def went_in_wh(packs: Sequence[Pack]) -> float | None:
    total = Integral()
    for i, pack in enumerate(packs):
        total.add(10.0 * i, pack.power_w)
    return total.per_hour(unit=Unit.WATT_HOUR, source="test").value


class TestContract(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        return make()


class TestContractWhileOff(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        machine = make()
        machine.disconnect_pack()
        return machine


class TestContractWithoutSensors(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        return make({"no-sensors": ""}, description=LARKSPUR_13)


class TestContractWhileCharging(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        machine = make({"pack-holds": "31 Wh"})
        machine.plug_in()
        machine.clock.wait(7200)
        return machine


# Physics in outline. Magnitudes are common practice, no source, except where named.


def test_charge_is_constant_current_then_constant_voltage() -> None:
    packs = [pack for pack in sound_charge() if pack.state is PackState.CHARGING]
    currents = [pack.current_a for pack in packs if pack.current_a is not None]
    voltages = [pack.voltage_v for pack in packs if pack.voltage_v is not None]
    # A common cell specification: constant current, then 4.20 V a cell down to 0.05 C; 57.0 Wh at 11.4 V
    # are 5.0 Ah, so 0.25 A. The gauge's own sensor is up to 1 % and 1 mA off.
    assert max(voltages) == pytest.approx(3 * 4.20, abs=0.001)
    constant = [current for current in currents if current == pytest.approx(max(currents), abs=0.0011)]
    assert max(currents) == pytest.approx(0.7 * 5.0, rel=0.011)
    assert 150 < len(constant) < 300
    taper = currents[len(constant) :]
    assert taper == sorted(taper, reverse=True)
    assert taper[-1] == pytest.approx(0.05 * 5.0, abs=0.01)


def test_charge_ends_full_and_stays_full() -> None:
    states = [pack.state for pack in sound_charge()]
    first_full = states.index(PackState.FULL)
    assert set(states[:first_full]) == {PackState.CHARGING}
    assert set(states[first_full:]) == {PackState.FULL}
    assert 70 * 60 < first_full * 10 < 100 * 60
    full = sound_charge()[-1]
    assert (full.state_of_charge, full.power_w, full.remaining_wh) == (1.0, 0.0, full.full_charge_wh)


def test_level_never_falls_and_never_jumps_while_charging() -> None:
    levels = [pack.state_of_charge or 0.0 for pack in sound_charge()]
    steps = [later - earlier for earlier, later in pairwise(levels)]
    assert min(steps) >= 0
    assert max(steps) < 0.01


def test_more_energy_goes_in_than_stays() -> None:
    packs = sound_charge()
    went_in = went_in_wh(packs)
    stays = (packs[-1].remaining_wh or 0) - (packs[0].remaining_wh or 0)
    assert went_in is not None
    assert 1.0 < went_in / stays < 1.12


def test_discharge_takes_what_the_machine_draws() -> None:
    machine = make(level=0.9)
    samples = watch(machine, seconds=3600)
    powers = [sample.packs[0].power_w or 0.0 for sample in samples]
    assert all(pack.state is PackState.DISCHARGING for sample in samples for pack in sample.packs)
    assert all(8 < -power < 13 for power in powers)
    first, last = samples[0].packs[0], samples[-1].packs[0]
    assert first.remaining_wh is not None
    assert last.remaining_wh is not None
    used_wh = first.remaining_wh - last.remaining_wh
    assert used_wh == pytest.approx(-sum(powers) / len(powers), rel=0.1)


def test_pack_warms_while_charging_and_cools_again() -> None:
    temperatures = [pack.temperature_c or 0.0 for pack in sound_charge()]
    assert temperatures[0] == 22.0
    assert 25 < max(temperatures) < 40
    assert temperatures[-1] < max(temperatures) - 3


def test_fan_follows_the_processor() -> None:
    samples = watch(make({"sensor-hot": "80 °C"}), seconds=60, every_s=5)
    speeds = [sample.fans[0].rpm or 0 for sample in samples]
    assert speeds[0] == 0
    assert speeds == sorted(speeds)
    # 1900 rpm at 40 °C and 70 rpm for each K above.
    assert speeds[-1] == pytest.approx(4700, abs=20)
    assert (watch(make(), seconds=600)[-1].fans[0].rpm or 0) < 2600


def test_an_empty_pack_switches_the_machine_off_and_the_charger_on_again() -> None:
    machine = make(level=0.02)
    off = watch(machine, seconds=3600)[-1]
    assert off.packs == ()
    assert "off" in off.reasons["batteries"]
    machine.plug_in()
    on = machine.sample()
    assert on.packs[0].state is PackState.CHARGING
    assert on.charger_seen is True


# The same every time.


def recorded(seed: int) -> bytes:
    machine = make(seed=seed)
    machine.plug_in()
    return msgspec.json.encode(watch(machine, seconds=1200))


def test_same_seed_same_bytes() -> None:
    assert recorded(7) == recorded(7)


def test_another_seed_other_bytes() -> None:
    assert recorded(7) != recorded(8)


@pytest.mark.parametrize("every_s", [1.0, 7.0, 60.0])
def test_how_often_it_is_read_hardly_matters(every_s: float) -> None:
    machine = make()
    machine.plug_in()
    level = watch(machine, seconds=4200, every_s=every_s)[-1].packs[0].state_of_charge
    assert level == pytest.approx(sound_charge()[420].state_of_charge, abs=0.002)


# Hands.


def test_hands_understand_every_want() -> None:
    machine = make()
    for want, charger in ((Want.CHARGER_IN, True), (Want.CHARGER_OUT, False)):
        machine.obey(want)
        assert machine.sample().charger_seen is charger
    for want, lid_open in ((Want.LID_CLOSED, False), (Want.LID_OPEN, True)):
        machine.obey(want)
        assert machine.sample().lid_open is lid_open
    machine.obey(Want.QUIET)
    machine.plug_in()
    machine.obey(Want.PLUG_MOVED)
    assert machine.sample().charger_seen is True
    machine.obey(Want.REST)
    assert machine.sample().charger_seen is False
    assert set(Want) == {
        Want.CHARGER_IN,
        Want.CHARGER_OUT,
        Want.LID_CLOSED,
        Want.LID_OPEN,
        Want.PLUG_MOVED,
        Want.QUIET,
        Want.REST,
    }


def test_a_loose_port_lets_go_once_a_way_and_only_while_its_plug_is_moved() -> None:
    machine = make({"loose-port": "3 pieces"})
    machine.plug_in()
    seen = []
    for _ in range(30):
        seen.append(machine.sample().charger_seen)
        machine.move_plug()
    assert seen.count(False) == 3
    assert all(seen[i] or seen[i + 1] for i in range(29))
    assert machine.sample().charger_seen is True


@pytest.mark.parametrize(
    ("faults", "behind"),
    [
        pytest.param({}, timedelta(), id="kept"),
        pytest.param({"clock-behind": "90 s"}, timedelta(seconds=90), id="slow"),
        pytest.param({"clock-behind": "5 h"}, timedelta(hours=5), id="another-zone"),
        pytest.param(
            {"clock-lost": ""}, START + timedelta(hours=1) - datetime(2000, 1, 1, tzinfo=UTC), id="lost"
        ),
    ],
)
def test_a_clock_stands_behind_once_the_machine_is_started_again_until_it_is_set(
    faults: dict[str, str], behind: timedelta
) -> None:
    machine = make(faults)
    first = machine.sample().at
    machine.clock.wait(3600)
    assert machine.sample().at.wall == START + timedelta(hours=1)
    machine.start_again()
    now = machine.sample().at
    assert now.started_since(first) is True
    assert now.wall == START + timedelta(hours=1) - behind
    machine.mend(*faults)
    assert machine.sample().at == msgspec.structs.replace(now, wall=START + timedelta(hours=1))


def test_a_day_at_rest_takes_what_the_machine_draws_then_and_no_work_is_done() -> None:
    # 24 h at 0.04 W are 0.96 Wh, at 0.2 W 4.8 Wh: by hand.
    for faults, lost_wh in (({}, 0.96), ({"drains-when-off": "0.2 W"}, 4.8)):
        machine = make(faults)
        before = machine.sample()
        machine.rest()
        after = machine.sample()
        then_wh, now_wh = (one.packs[0].remaining_wh for one in (before, after))
        assert then_wh is not None
        assert now_wh is not None
        assert then_wh - now_wh == pytest.approx(lost_wh, abs=0.02)
        assert after.at.elapsed_s - before.at.elapsed_s == 86400
        assert after.at.awake_s == before.at.awake_s


def test_hands_refuse_what_they_do_not_understand() -> None:
    with pytest.raises(WrongUseError, match="Nobody"):
        make().obey("Whistle.")


def test_a_pack_taken_out_and_put_back_is_the_same_pack() -> None:
    machine = make()
    machine.plug_in()
    machine.disconnect_pack()
    assert machine.sample().packs == ()
    assert machine.sample().reasons["batteries"] == NO_BATTERY
    machine.clock.wait(600)
    machine.connect_pack()
    assert machine.sample().packs[0].state_of_charge == pytest.approx(0.35, abs=0.0041)


def test_scenario_names_are_invented_and_distinct() -> None:
    fifteen, thirteen = make().identity(), make(description=LARKSPUR_13).identity()
    assert (fifteen.maker, fifteen.model) == ("Fennel", "Larkspur 15")
    assert (thirteen.maker, thirteen.model) == ("Fennel", "Larkspur 13")
    assert fifteen.serial != thirteen.serial
    assert SimulatedMachine.simulated is True


def test_a_level_that_cannot_be_is_refused() -> None:
    with pytest.raises(InvalidValueError):
        make(level=1.2)


# Faults.


def test_pack_holds_less_than_it_says_until_it_was_full() -> None:
    packs = charge({"pack-holds": "31 Wh"})
    assert (packs[0].full_charge_wh, packs[0].design_wh) == (57.0, 57.0)
    assert packs[-1].state is PackState.FULL
    # What it has learned is as good as its current sensor and the level that it began at.
    assert packs[-1].full_charge_wh == pytest.approx(31.0, rel=0.02)
    assert packs[-1].remaining_wh == packs[-1].full_charge_wh
    went_in = went_in_wh(packs)
    assert went_in == pytest.approx(0.65 * 31 * 1.06, rel=0.05)


def test_pack_missing_is_not_listed() -> None:
    sample = make({"pack-missing": ""}).sample()
    assert (sample.packs, sample.reasons["batteries"]) == ((), NO_BATTERY)
    assert sample.adapters


def test_cell_voltage_is_low_and_refuses_the_charge() -> None:
    last = charge({"cell-voltage": "2.6 V"}, seconds=600)[-1]
    assert last.voltage_v == pytest.approx(7.8)
    assert (last.state, last.power_w) == (PackState.HOLDING, 0.0)
    # Cells this far down are empty: a gauge says so.
    assert (last.state_of_charge, last.remaining_wh) == (0.0, 0.0)


def test_charger_dead_leaves_the_pack_discharging() -> None:
    machine = make({"charger-dead": ""})
    machine.plug_in()
    sample = machine.sample()
    assert sample.charger_seen is False
    assert sample.packs[0].state is PackState.DISCHARGING


def test_weak_charger_drains_the_pack_while_it_is_in() -> None:
    machine = make({"weak-charger": "8 W"})
    machine.plug_in()
    last = watch(machine, seconds=600)[-1]
    assert last.charger_seen is True
    assert last.packs[0].state is PackState.DISCHARGING
    assert last.packs[0].power_w is not None
    assert -5 < last.packs[0].power_w < 0


def test_weak_charger_that_is_a_little_stronger_charges_slowly() -> None:
    last = charge({"weak-charger": "20 W"}, seconds=600)[-1]
    assert last.state is PackState.CHARGING
    assert last.power_w == pytest.approx(9.5, abs=1.5)


def test_a_charger_that_barely_suffices_does_not_end_the_charge() -> None:
    machine = make({"weak-charger": "12 W"})
    machine.plug_in()
    assert PackState.FULL not in {sample.packs[0].state for sample in watch(machine, seconds=3600)}


def test_a_full_pack_that_was_used_is_charged_again() -> None:
    machine = make(level=0.99)
    machine.plug_in()
    assert watch(machine, seconds=3600)[-1].packs[0].state is PackState.FULL
    machine.pull_out()
    machine.clock.wait(900)
    machine.plug_in()
    assert machine.sample().packs[0].state is PackState.CHARGING


def test_dead_on_unplug_goes_off_when_pulled_and_comes_back() -> None:
    machine = make({"dead-on-unplug": ""})
    assert machine.sample().packs
    machine.plug_in()
    machine.pull_out()
    assert machine.sample().packs == ()
    machine.plug_in()
    assert machine.sample().packs


def test_a_plug_turned_round_twice_gives_full_power_again() -> None:
    machine = make({"weak-one-way": "15 W"}, level=0.5)
    machine.plug_in()
    rates = []
    for _ in range(3):
        machine.clock.wait(60)
        rates.append(machine.sample().packs[0].power_w or 0.0)
        machine.turn_plug()
    # 15 W less what the machine itself draws at rest, 10.5 W give or take its load.
    assert rates[1] == pytest.approx(4.5, abs=1.5)
    assert rates[0] == pytest.approx(rates[2], rel=0.02)
    assert rates[0] > 30


@pytest.mark.parametrize(
    ("level", "plugged", "loaded", "carries"),
    [
        pytest.param(0.44, False, True, False, id="at the level"),
        pytest.param(0.47, False, True, True, id="above it"),
        pytest.param(0.40, False, False, True, id="at rest"),
        pytest.param(0.40, True, True, True, id="charger in"),
    ],
)
def test_tired_cells_let_it_go_off_under_load_on_the_battery_only(
    level: float, *, plugged: bool, loaded: bool, carries: bool
) -> None:
    machine = make({"stops-under-load": "44 %"}, level=level)
    if plugged:
        machine.plug_in()
    if loaded:
        machine.start_load(longest_s=60).renew(machine.sample())
    machine.clock.wait(2)
    assert bool(machine.sample().packs) is carries
    machine.plug_in()
    assert machine.sample().packs[0].state_of_charge == pytest.approx(level, abs=0.01)


@pytest.mark.parametrize(("name", "visible"), [("charge-stops-at", None), ("charge-limit", 0.8)])
def test_charging_stops_early_with_and_without_a_visible_limit(name: str, visible: float | None) -> None:
    last = charge({name: "80 %"})[-1]
    assert last.state is PackState.HOLDING
    assert last.state_of_charge == pytest.approx(0.8, abs=0.005)
    assert last.charge_limit == visible
    assert last.power_w == 0.0


def test_sensor_hot_at_once() -> None:
    assert make({"sensor-hot": "104 °C"}).sample().temperatures[0].celsius == 104.0


def test_no_sensors_says_why() -> None:
    sample = make({"no-sensors": ""}).sample()
    assert (sample.temperatures, sample.fans, sample.packs[0].temperature_c) == ((), (), None)
    assert {"temperatures", "fans"} <= set(sample.reasons)


def test_gauge_not_learned_says_its_design_for_ever() -> None:
    packs = charge({"gauge-not-learned": ""})
    assert {(pack.full_charge_wh, pack.design_wh, pack.cycle_count) for pack in packs} == {(57.0, 57.0, None)}


def test_pack_hot_while_charging() -> None:
    packs = charge({"pack-hot": "61 °C"}, seconds=1200)
    assert packs[0].temperature_c == 22.0
    assert packs[-1].temperature_c == 61.0


def _run_down(machine: SimulatedMachine) -> list[Sample]:
    """Let it run on its battery for hours, then work hard; then the plug is turned round."""
    machine.pull_out()
    machine.clock.wait(14000)
    load = machine.start_load(longest_s=60)
    load.renew(machine.sample())
    machine.clock.wait(2)
    samples = [machine.sample()]
    load.stop()
    machine.plug_in()
    machine.turn_plug()
    return [*samples, *watch(machine, seconds=60)]


@pytest.mark.parametrize("fault", FAULTS, ids=[fault.name for fault in FAULTS])
def test_every_fault_is_told_changes_something_and_stays_plausible(fault: Fault) -> None:
    assert fault.does.endswith(".")
    sound, faulty = make(), make({fault.name: fault.parameter})
    seen = []
    for machine in (sound, faulty):
        machine.plug_in()
        samples = watch(machine, seconds=7200, every_s=60)
        for _ in range(3):
            machine.move_plug()
            samples.append(machine.sample())
        machine.close_lid()
        machine.pull_out()
        samples.append(machine.sample())
        machine.rest()
        samples += _run_down(machine)
        machine.start_again()
        for sample in samples:
            for pack in sample.packs:
                check_pack(pack)
        seen.append(msgspec.json.encode((samples, machine.inventory(salt="TW-1042"))))
    assert seen[0] != seen[1]


@pytest.mark.parametrize(
    ("faults", "said"),
    [
        pytest.param({"pack-holdz": "31 Wh"}, 'no fault "pack-holdz"', id="unknown-name"),
        pytest.param({"pack-holds": "31 V"}, 'cannot be "31 V"', id="wrong-unit"),
        pytest.param({"pack-holds": ""}, 'cannot be ""', id="no-value"),
        pytest.param({"pack-holds": "0 Wh"}, 'cannot be "0 Wh"', id="nothing"),
        pytest.param({"charge-limit": "180 %"}, 'cannot be "180 %"', id="above-full"),
        pytest.param({"charger-dead": "8 W"}, "takes no value", id="value-not-wanted"),
    ],
)
def test_faults_that_cannot_be_are_refused(faults: dict[str, str], said: str) -> None:
    with pytest.raises(WrongUseError, match=said):
        make(faults)


def test_unknown_fault_is_answered_with_the_known_ones() -> None:
    with pytest.raises(WrongUseError) as caught:
        make({"tea": ""})
    assert all(fault.name in caught.value.next_step for fault in FAULTS)


def test_a_long_charge_takes_few_steps() -> None:
    # Speed without a clock: work is counted, not timed. One step for 5 s, and one more for each of the hands.
    machine = make()
    steps = 0
    inner = machine._body.step

    def counted(seconds: float) -> None:
        nonlocal steps
        steps += 1
        inner(seconds)

    machine._body.step = counted  # type: ignore[method-assign] # counts, and does the same
    machine.plug_in()
    watch(machine, seconds=5400)
    assert steps == 5400 / 5 + 1
