"""What the technician sees of each fault of pack, gauge and charger, on the whole simulated machine."""

from collections.abc import Mapping
from datetime import UTC, datetime
from itertools import pairwise

import pytest

from verify.machine import Pack, PackState, Sample
from verify.machine.simulated import SimulatedMachine
from verify.values import VirtualClock
from verify.values.errors import WrongUseError

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def make(faults: Mapping[str, str] | None = None, *, level: float = 0.35, seed: int = 0) -> SimulatedMachine:
    return SimulatedMachine(clock=VirtualClock(start=START), faults=faults or {}, level=level, seed=seed)


def watch(machine: SimulatedMachine, *, hours: float, every_s: float = 30.0) -> list[Sample]:
    samples = [machine.sample()]
    for _ in range(int(hours * 3600 / every_s)):
        machine.clock.wait(every_s)
        samples.append(machine.sample())
    return samples


def charge(faults: Mapping[str, str], *, level: float = 0.35, hours: float = 3.0) -> list[Pack]:
    machine = make(faults, level=level)
    machine.plug_in()
    return [pack for sample in watch(machine, hours=hours) for pack in sample.packs]


def run_down(machine: SimulatedMachine, *, hours: float = 8.0) -> list[Pack]:
    return [pack for sample in watch(machine, hours=hours) for pack in sample.packs]


def level(pack: Pack) -> float:
    assert pack.state_of_charge is not None
    return pack.state_of_charge


@pytest.mark.parametrize(
    ("name", "first", "before_full", "at_death"),
    [
        # 56.42 Wh true, 71 Wh claimed, from a true level of 35 %: 0.65 × 56.42 / 71 = 0.517; by hand.
        pytest.param("gauge-boasts", 0.35, 1.0, 0.0, id="boasts"),
        pytest.param("gauge-leaps", 0.35, 0.867, 0.205, id="leaps"),
        pytest.param("gauge-since-full", 0.483, 1.0, 0.205, id="since full"),
    ],
)
def test_a_gauge_that_lies(name: str, first: float, before_full: float, at_death: float) -> None:
    machine = make({name: "71 Wh"})
    machine.plug_in()
    packs = [sample.packs[0] for sample in watch(machine, hours=3)]
    assert {pack.full_charge_wh for pack in packs} == {71.0}
    assert level(packs[0]) == pytest.approx(first, abs=0.005)
    charging = [pack for pack in packs if pack.state is PackState.CHARGING]
    assert level(charging[-1]) == pytest.approx(before_full, abs=0.02)
    assert (packs[-1].state, level(packs[-1])) == (PackState.FULL, 1.0)
    machine.pull_out()
    packs = run_down(machine)
    assert level(packs[-1]) == pytest.approx(at_death, abs=0.02)
    assert machine.sample().packs == ()


def test_a_level_from_volts_jumps_as_the_charger_comes_and_goes() -> None:
    machine = make({"level-from-volts": ""}, level=0.5)
    on_battery = level(machine.sample().packs[0])
    machine.plug_in()
    assert level(machine.sample().packs[0]) > on_battery + 0.05


def test_a_level_that_is_off_is_right_only_once_it_is_full() -> None:
    packs = charge({"level-off": "6 %"})
    assert level(packs[0]) == pytest.approx(0.41, abs=0.001)
    assert level(packs[-1]) == 1.0
    # Six points before the end it says 100 % already, and still charges.
    assert any(pack.state is PackState.CHARGING and level(pack) == 1.0 for pack in packs)


def test_a_current_sensor_that_reads_too_much_is_in_all_that_is_counted() -> None:
    sound, wrong = charge({})[10], charge({"sensor-gain": "10 %"})[10]
    assert sound.current_a is not None
    assert wrong.current_a is not None
    assert wrong.current_a / sound.current_a == pytest.approx(1.10, abs=0.012)
    assert wrong.full_charge_wh == pytest.approx(56.42 * 1.10, rel=0.01)
    assert wrong.voltage_v == pytest.approx(sound.voltage_v, abs=0.01)


def test_a_pack_without_the_word_for_full_says_that_it_charges_for_ever() -> None:
    packs = charge({"no-full-word": ""})
    assert {pack.state for pack in packs[1:]} == {PackState.CHARGING}
    assert (packs[-1].power_w, level(packs[-1])) == (0.0, 1.0)


def test_a_design_that_is_missing_or_absurd_is_unknown_or_in_doubt_with_its_reason() -> None:
    missing = make({"design-missing": ""}).sample().packs[0]
    assert (missing.design_wh, missing.health) == (None, None)
    assert missing.full_charge_wh == pytest.approx(56.42, rel=0.02)
    absurd = make({"design-absurd": "20 Wh"}).sample().packs[0]
    assert (absurd.design_wh, absurd.full_charge_wh) == (20.0, None)
    assert absurd.doubt("design_wh")
    impossible = make({"design-absurd": "5 Wh"}).sample().packs[0]
    assert (impossible.design_wh, impossible.health) == (None, None)
    larger = make({"design-absurd": "100 Wh"}).sample().packs[0]
    assert larger.health == pytest.approx(0.564, abs=0.01)


def test_tired_cells_sag_under_load_and_end_their_charge_early() -> None:
    sags = []
    for faults in ({}, {"cells-tired": "150 mohm"}):
        machine = make(faults, level=0.6)
        rest = machine.sample().packs[0]
        load = machine.start_load(longest_s=10)
        load.renew(machine.sample())
        machine.clock.wait(2)
        under = machine.sample().packs[0]
        assert rest.voltage_v is not None
        assert under.voltage_v is not None
        assert rest.current_a is not None
        assert under.current_a is not None
        sags.append((rest.voltage_v - under.voltage_v) / (rest.current_a - under.current_a) / 3)
    # Half of 50 and of 150 milliohm at once, and a little of what lags.
    assert sags[0] == pytest.approx(0.026, abs=0.002)
    assert sags[1] == pytest.approx(0.078, abs=0.004)


def test_cells_out_of_step_end_the_charge_short_of_the_full_voltage() -> None:
    last = charge({"cells-out-of-step": "8 %"})[-1]
    sound = charge({})[-1]
    assert last.state is PackState.FULL
    assert last.voltage_v is not None
    assert sound.voltage_v is not None
    assert last.voltage_v < sound.voltage_v - 0.1
    assert last.full_charge_wh is not None
    assert last.full_charge_wh < 0.95 * 56.42


def test_a_temperature_that_stands_still() -> None:
    assert {pack.temperature_c for pack in charge({"temperature-still": ""})} == {25.0}
    assert len({pack.temperature_c for pack in charge({})}) > 10


@pytest.mark.parametrize(
    ("faults", "state", "most_a"),
    [
        pytest.param({"pack-cold": "-3 °C"}, PackState.HOLDING, 0.0, id="below 0"),
        pytest.param({"pack-cold": "6 °C"}, PackState.CHARGING, 0.71, id="cool"),
        pytest.param({"pack-warm": "47 °C"}, PackState.CHARGING, 1.78, id="warm"),
        pytest.param({"pack-warm": "61 °C"}, PackState.HOLDING, 0.0, id="hot"),
    ],
)
def test_a_cold_or_warm_pack_takes_little_or_nothing(
    faults: dict[str, str], state: PackState, most_a: float
) -> None:
    packs = charge(faults, hours=6.0)
    assert packs[10].state is state
    assert max(pack.current_a or 0.0 for pack in packs) == pytest.approx(most_a, rel=0.02)
    assert PackState.FULL not in {pack.state for pack in packs}


def test_a_charger_drops_as_often_as_it_is_said_and_for_20_s() -> None:
    machine = make({"charger-drops": "3 pieces"})
    machine.plug_in()
    seen = [bool(sample.charger_seen) for sample in watch(machine, hours=1.0, every_s=1.0)]
    assert seen.count(False) == 3 * 20
    assert sum(one and not two for one, two in pairwise(seen)) == 3


def test_it_dies_at_a_level_without_a_warning_and_a_charger_wakes_it() -> None:
    machine = make({"dies-at": "30 %"}, level=0.5)
    packs = run_down(machine)
    assert level(packs[-1]) == pytest.approx(0.30, abs=0.005)
    assert machine.sample().packs == ()
    machine.plug_in()
    assert level(machine.sample().packs[0]) == pytest.approx(0.30, abs=0.005)


def test_a_sound_machine_runs_to_the_end_of_its_battery_and_its_gauge_says_so() -> None:
    packs = run_down(make(level=0.9))
    assert level(packs[-1]) == pytest.approx(0.0, abs=0.015)


@pytest.mark.parametrize("seed", range(8))
def test_a_sound_gauge_has_small_errors_of_its_own(seed: int) -> None:
    machine = make(seed=seed)
    pack = machine.sample().packs[0]
    # Within a third of what is assumed of a gauge: gain ±1 %, level ±0.4 points, full ±0.3 % beside the gain.
    assert pack.full_charge_wh == pytest.approx(56.42, rel=0.0135)
    assert level(pack) == pytest.approx(0.35, abs=0.0041)
    assert level(pack) != 0.35
    assert make(seed=seed).sample() == machine.sample()


@pytest.mark.parametrize(
    ("faults", "fits"),
    [
        pytest.param({"pack-cold": "-3 °C"}, True, id="below zero"),
        pytest.param({"cells-tired": "0.15 ohm"}, True, id="another unit"),
        pytest.param({"cells-tired": "-150 mohm"}, False, id="negative"),
        pytest.param({"paste-dry": "160 %"}, True, id="more than all"),
        pytest.param({"paste-dry": "700 %"}, False, id="far too much"),
        pytest.param({"level-off": "160 %"}, False, id="level above full"),
        pytest.param({"clock-held": "1200"}, False, id="no unit"),
    ],
)
def test_parameters_that_can_be(faults: dict[str, str], *, fits: bool) -> None:
    if fits:
        make(faults)
    else:
        with pytest.raises(WrongUseError):
            make(faults)
