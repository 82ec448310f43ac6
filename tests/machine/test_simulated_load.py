"""The simulated machine under full load, and its faults of sensors, heat sink and lid switch."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime

import pytest

from verify.machine import Load, Sample
from verify.machine.simulated import SimulatedMachine
from verify.values import VirtualClock

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def make(faults: Mapping[str, str] | None = None) -> tuple[SimulatedMachine, VirtualClock]:
    clock = VirtualClock(start=START)
    machine = SimulatedMachine(clock=clock, faults=faults or {})
    machine.plug_in()
    clock.wait(600)
    return machine, clock


def renewed(machine: SimulatedMachine, load: Load, *, seconds: int, every_s: float = 1.0) -> Iterator[Sample]:
    for _ in range(int(seconds / every_s)):
        sample = machine.sample()
        load.renew(sample)
        yield sample
        machine.clock.wait(every_s)


def processor(sample: Sample) -> float:
    return sample.temperatures[0].celsius or 0.0


def test_heat_and_fan_follow_the_load_and_fall_again() -> None:
    machine, clock = make()
    rest = machine.sample()
    load = machine.start_load(longest_s=300)
    *_, last = renewed(machine, load, seconds=200)
    assert load.running
    assert last.cpu.load == 1.0
    # A sound machine stays below its driver's limit under full load.
    assert processor(rest) + 20 < processor(last) < (last.temperatures[0].high or 0)
    assert (last.fans[0].rpm or 0) > (rest.fans[0].rpm or 0) + 1000
    load.stop()
    assert (machine.sample().cpu.load or 1) < 0.2
    clock.wait(600)
    assert processor(machine.sample()) == pytest.approx(processor(rest), abs=2)


def test_nothing_is_loaded_before_the_first_renewal() -> None:
    machine, clock = make()
    load = machine.start_load(longest_s=300)
    clock.wait(1)
    assert (machine.sample().cpu.load or 1) < 0.2
    assert load.renew(machine.sample())
    assert machine.sample().cpu.load == 1.0


def test_a_load_that_is_not_renewed_ends_after_its_lease_and_not_with_the_next_look() -> None:
    machine, clock = make()
    load = machine.start_load(longest_s=300)
    load.renew(machine.sample())
    clock.wait(2.9)
    assert machine.sample().cpu.load == 1.0
    clock.wait(1000)
    cooled = machine.sample()
    assert not load.running
    assert "No fresh reading" in load.why_ended
    unloaded, other = make()
    other.wait(1002.9)
    assert processor(cooled) == pytest.approx(processor(unloaded.sample()), abs=1)


def test_heat_does_not_depend_on_when_the_end_of_a_load_is_looked_at() -> None:
    heats = []
    for looks in ((3.0, 5.0), (8.0,), (1.0, 3.0, 4.0)):
        machine, clock = make()
        machine.start_load(longest_s=300).renew(machine.sample())
        for seconds in looks:
            clock.wait(seconds)
            machine.sample()
        heats.append(machine._body.heat.chip_c)
    assert heats[1] == heats[0]
    # Euler steps of another length: a little off, far less than a second of load.
    assert heats[2] == pytest.approx(heats[0], abs=0.2)


def test_a_load_ends_when_its_time_is_over() -> None:
    machine, _ = make()
    load = machine.start_load(longest_s=10)
    loads = [sample.cpu.load for sample in renewed(machine, load, seconds=20)]
    assert loads.count(1.0) == 9  # the sample at 0 s was taken before the load began
    assert load.why_ended == "Its time is over."


def test_a_second_load_ends_the_first() -> None:
    machine, _ = make()
    first = machine.start_load(longest_s=10)
    second = machine.start_load(longest_s=10)
    assert (first.running, second.running) == (False, True)


def test_a_loose_heat_sink_is_critical_within_seconds_of_load_and_ends_it() -> None:
    machine, _ = make({"heat-sink-loose": ""})
    rest = machine.sample()
    critical = rest.temperatures[0].critical or 0
    assert processor(rest) < critical - 20
    load = machine.start_load(longest_s=60)
    heats = [processor(sample) for sample in renewed(machine, load, seconds=30)]
    assert max(heats) >= critical
    assert "The processor is at" in load.why_ended
    assert heats[-1] < critical - 20


def test_frozen_sensors_stand_still_while_the_machine_goes_on() -> None:
    machine, clock = make({"frozen-sensors": ""})
    first = machine.sample()
    clock.wait(1800)
    machine.pull_out()
    later = machine.sample()
    assert (later.packs, later.temperatures) == (first.packs, first.temperatures)
    assert later.at != first.at
    assert later.charger_seen is False


def test_a_frozen_temperature_ends_the_load() -> None:
    machine, _ = make({"frozen-sensors": ""})
    load = machine.start_load(longest_s=60)
    loaded = [sample.cpu.load for sample in renewed(machine, load, seconds=30)].count(1.0)
    assert loaded <= 5
    assert "does not move" in load.why_ended


def test_sensors_vanish_after_their_time_and_end_the_load() -> None:
    machine, clock = make({"sensors-vanish-after": "700 s"})
    clock.wait(90)
    load = machine.start_load(longest_s=60)
    samples = list(renewed(machine, load, seconds=20))
    before = [sample for sample in samples if sample.at.elapsed_s < 700]
    after = [sample for sample in samples if sample.at.elapsed_s >= 700]
    assert all(sample.packs and sample.temperatures for sample in before)
    assert not any(sample.packs or sample.temperatures for sample in after)
    assert all({"batteries", "temperatures"} <= set(sample.reasons) for sample in after)
    assert load.why_ended.startswith("Without a temperature")
    assert after[-1].charger_seen is True


def test_a_dead_lid_switch_never_says_closed() -> None:
    for faults, lid_open in (({}, False), ({"lid-switch-dead": ""}, True)):
        machine, _ = make(faults)
        machine.close_lid()
        assert machine.sample().lid_open is lid_open
        machine.open_lid()
        assert machine.sample().lid_open is True


def test_a_sleep_loses_the_lease() -> None:
    machine, clock = make()
    load = machine.start_load(longest_s=300)
    load.renew(machine.sample())
    clock.sleep_through(5)
    assert not load.running
