"""What the checks of a battery say while they run and when they stop: nothing that misleads or endangers."""

from collections.abc import Mapping
from datetime import UTC, datetime

import msgspec
import pytest

from verify.machine import PackState, Sample
from verify.machine.simulated import SimulatedMachine
from verify.measure.gauge_signs import DRAIN
from verify.probe import Context, Finding, Probe, Want, Working, make_probe
from verify.probe.handed_on import LEVEL_BY_VOLTS, handed
from verify.testing.drive import drive
from verify.values import Reading, VirtualClock

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
LABEL = {"energy": "57.0 Wh", "voltage": "11.4 V"}


def machine_with(faults: Mapping[str, str], *, level: float = 0.35) -> SimulatedMachine:
    return SimulatedMachine(clock=VirtualClock(start=START), faults=faults, level=level)


def one_after_another(machine: SimulatedMachine, *names: str) -> dict[str, Finding]:
    told: dict[str, tuple[Reading, ...]] = {}
    found = {}
    for name in names:
        context = Context(label_wh=57.0, label=LABEL, earlier=dict(told))
        every_s = 1.0 if name == "drain" else 10.0
        found[name] = drive(make_probe(name, {}, context), machine, every_s=every_s)
        told[name] = (*found[name].readings, *found[name].aside)
    return found


def course(
    probe: Probe, machine: SimulatedMachine, *, every_s: float = 1.0, loads: bool = True
) -> tuple[list[tuple[float, Working]], float]:
    """Return what was said and when, in s, and when it ended."""
    load, said, at_s = None, list[tuple[float, Working]](), 0.0
    while at_s < 12 * 3600:
        sample = machine.sample()
        now = probe.step(sample)
        if isinstance(now, Finding):
            return said, at_s
        said.append((at_s, now))
        if now.want is not None:
            machine.obey(now.want)
        if now.load and loads:
            load = load or machine.start_load(longest_s=12 * 3600)
            load.renew(sample)
        elif load is not None:
            load.stop()
        machine.clock.wait(every_s)
        at_s += every_s
    raise AssertionError("It has not ended.")


# ---------------------------------------------------------------- while it is drained


def test_time_left_of_a_drain_holds_from_the_first_time_that_it_is_told() -> None:
    said, ended_s = course(make_probe("drain", {}, Context(label=LABEL)), machine_with({}))
    bands = [(ended_s - at_s, one.seconds_band) for at_s, one in said if one.seconds_band is not None]
    assert len(bands) > 600
    assert all(band[0] <= left_s <= band[1] for left_s, band in bands[:600])


def test_drain_without_its_load_does_not_say_full_load() -> None:
    said, _ = course(make_probe("drain", {}, Context(label=LABEL)), machine_with({}), loads=False)
    late = [one.text for at_s, one in said if at_s > 60 and one.load]
    assert late
    assert all(text.startswith("Draining slowly, the full load is not on: ") for text in late)


@pytest.mark.parametrize(
    ("fault", "tired"),
    [
        pytest.param({"gauge-since-full": "71 Wh"}, False, id="a-gauge-that-lies"),
        pytest.param({"cells-tired": "190 mohm"}, True, id="tired-cells"),
    ],
)
def test_empty_pack_whose_gauge_lies_is_not_said_to_have_tired_cells(
    fault: Mapping[str, str], *, tired: bool
) -> None:
    text = one_after_another(machine_with(fault), "drain")["drain"].text
    assert ("tired cells" in text) is tired
    assert ("It is nearly empty" in text) is not tired


def _drained_to_its_rest(machine: SimulatedMachine) -> Probe:
    probe = make_probe("drain", {}, Context(label=LABEL))
    load = None
    while True:
        sample = machine.sample()
        said = probe.step(sample)
        assert isinstance(said, Working)
        if said.text.startswith("Drained."):
            return probe
        if said.want is not None:
            machine.obey(said.want)
        if said.load:
            load = load or machine.start_load(longest_s=12 * 3600)
            load.renew(sample)
        machine.clock.wait(1)


def test_pack_that_blinks_while_it_rests_is_not_loaded_again() -> None:
    machine = machine_with({}, level=0.12)
    probe = _drained_to_its_rest(machine)
    machine.clock.wait(1)
    said = probe.step(msgspec.structs.replace(machine.sample(), packs=()))
    assert isinstance(said, Working)
    assert said.load is False


def test_what_was_counted_stands_when_a_hot_pack_ends_the_drain() -> None:
    machine = machine_with({}, level=0.25)
    probe = _drained_to_its_rest(machine)
    machine.clock.wait(1)
    sample = machine.sample()
    hot = tuple(msgspec.structs.replace(pack, temperature_c=61.0) for pack in sample.packs)
    found = probe.step(msgspec.structs.replace(sample, packs=hot))
    assert isinstance(found, Finding)
    assert found.stop is not None
    assert found.readings[0].value is None
    assert any("charge that went out" in one.source for one in found.aside)


def test_strong_pack_beside_a_weak_one_is_not_said_to_be_tired() -> None:
    probe = make_probe("drain", {}, Context())
    clock = VirtualClock(start=START)
    machine = SimulatedMachine(clock=clock, level=0.6)

    def look(weak_v: float) -> Sample:
        sample = machine.sample()
        (pack,) = sample.packs
        return msgspec.structs.replace(
            sample, packs=(pack, msgspec.structs.replace(pack, name="second", voltage_v=weak_v))
        )

    said = probe.step(look(10.9))
    for _ in range(600):
        if isinstance(said, Finding):
            break
        if said.want is Want.CHARGER_IN:
            machine.plug_in()
        clock.wait(1)
        said = probe.step(look(8.9 if said.load else 10.9))
    assert isinstance(said, Finding)
    assert said.text.count("tired cells") == 1


# ---------------------------------------------------------------- while it is charged, and after


def test_time_left_is_told_to_the_end_of_the_taper() -> None:
    said, ended_s = course(
        make_probe("charge-to-full", {}, Context(label_wh=57.0, label=LABEL)), machine_with({}), every_s=10.0
    )
    last = [one for at_s, one in said if ended_s - 240 < at_s < ended_s - 60]
    assert last
    assert all(one.seconds_band is not None for one in last)


@pytest.mark.parametrize(
    "fault",
    [
        pytest.param({"temperature-still": "yes"}, id="no-true-sensor"),
        pytest.param({"pack-hot": "61 °C"}, id="hot"),
        pytest.param({"pack-cold": "-3 °C"}, id="cold"),
        pytest.param({"charge-limit": "80 %"}, id="limit"),
    ],
)
def test_nobody_is_told_to_charge_on_where_the_charge_was_stopped(fault: Mapping[str, str]) -> None:
    found = one_after_another(machine_with(fault), "charge-to-full", "measured-capacity", "gauge-told-truth")
    assert found["charge-to-full"].readings[0].value is None
    for name in ("measured-capacity", "gauge-told-truth"):
        (reading,) = found[name].readings
        assert "Do first what the charge to full says." in (reading.reason or "")
        assert "charge on" not in f"{found[name].text} {reading.reason}"


def test_charger_is_not_asked_for_where_a_stopped_charge_had_it_pulled() -> None:
    machine = machine_with({}, level=0.6)
    said, _ = course(make_probe("cells-in-step", {}, Context(label=LABEL)), machine, every_s=10.0)
    assert said
    assert all(one.want is None for _, one in said)


def test_gauge_that_was_proven_right_is_not_to_be_drained_once_more() -> None:
    found = one_after_another(
        machine_with({"gauge-not-learned": "yes"}), "drain", "charge-to-full", "gauge-told-truth"
    )["gauge-told-truth"]
    assert "has not measured this pack" in found.text
    assert DRAIN not in found.text


@pytest.mark.parametrize("name", ["rest-level", "cells-in-step"])
def test_cells_in_series_are_known_by_the_label_where_the_pack_does_not_tell_its_volts(name: str) -> None:
    full = name == "cells-in-step"
    machine = machine_with({}, level=1.0 if full else 0.5)
    if full:
        machine.plug_in()
    probe = make_probe(name, {}, Context(label=LABEL))
    said = probe.step(_untold(machine.sample(), full=full))
    for _ in range(60):
        if isinstance(said, Finding):
            break
        machine.clock.wait(10)
        said = probe.step(_untold(machine.sample(), full=full))
    assert isinstance(said, Finding)
    assert said.readings[0].value is not None
    if not full:
        told = {name: (*said.readings, *said.aside)}
        assert handed(told, "pack", LEVEL_BY_VOLTS) is not None


def _untold(sample: Sample, *, full: bool) -> Sample:
    packs = tuple(
        msgspec.structs.replace(pack, design_voltage_v=None, state=PackState.FULL if full else pack.state)
        for pack in sample.packs
    )
    return msgspec.structs.replace(sample, packs=packs)
