"""What every back end promises, as a test class: inherit it and give a `machine` fixture."""

# ruff: noqa: D102 - a test is described by its name

import math

import msgspec
import pytest

from verify.machine import Fan, Identity, Machine, Pack, PackState, Sample, Temperature, bounds
from verify.machine.tell import describe
from verify.values.errors import HandbackError

__all__ = ["MachineContract", "check_pack"]

_IDENTITY = ("maker", "model", "version", "serial", "board", "firmware", "chassis", "virtual")
_CPU = (
    "logical_cores",
    "load",
    "frequency_mhz",
    "frequency_max_mhz",
    "frequency_base_mhz",
    "throttle_count",
)
# Field → the lowest and highest value that may ever come out of a back end.
_RANGES: dict[str, tuple[float, float]] = {
    "state_of_charge": (0.0, 1.0),
    "remaining_wh": (0.0, bounds.FULL_WH[1] * bounds.LEVEL_MAX),
    "full_charge_wh": bounds.FULL_WH,
    "design_wh": bounds.DESIGN_WH,
    "health": bounds.FULL_OVER_DESIGN,
    "power_w": (-bounds.POWER_MAX_W, bounds.POWER_MAX_W),
    "voltage_v": bounds.PACK_V,
    "design_voltage_v": bounds.PACK_V,
    "current_a": (-bounds.POWER_MAX_W / bounds.PACK_V[0], bounds.POWER_MAX_W / bounds.PACK_V[0]),
    "cycle_count": (1, bounds.CYCLES_MAX),
    "temperature_c": bounds.PACK_CELSIUS,
    "charge_limit": (0.01, 1.0),
}
_WORDS = ("manufacturer", "model", "serial", "technology")


def check_pack(pack: Pack) -> None:
    """Assert that each value lies in its range, and each unknown or converted one has its reason."""
    for field, (low, high) in _RANGES.items():
        value = getattr(pack, field)
        if value is None:
            assert pack.reasons.get(field), f"{pack.name}: {field} is unknown without a reason"
        else:
            assert math.isfinite(value), f"{pack.name}: {field}"
            assert low * (1 - 1e-9) <= value <= high * (1 + 1e-9) or low <= value <= high, (
                f"{field} = {value}"
            )
    for field in _WORDS:
        text = getattr(pack, field)
        if text is None:
            assert pack.reasons.get(field), f"{pack.name}: {field} is unknown without a reason"
        else:
            assert text
            assert text == text.strip()
            assert text.isprintable()
    if pack.state is PackState.UNKNOWN:
        assert pack.reasons.get("state"), f"{pack.name}: the state is unknown without a reason"
    assert all(pack.reasons.values()), f"{pack.name}: an empty reason"
    assert set(pack.estimated) <= set(pack.reasons), f"{pack.name}: converted without saying how"
    if pack.state is PackState.DISCHARGING and pack.power_w is not None:
        assert pack.power_w <= 0, f"{pack.name}: discharging with power going in"


class MachineContract:
    """Inherit, and give a fixture `machine` that returns a fresh machine."""

    @pytest.fixture
    def identity(self, machine: Machine) -> Identity:
        return machine.identity()

    @pytest.fixture
    def sample(self, machine: Machine) -> Sample:
        return machine.sample()

    def test_says_what_it_is(self, machine: Machine) -> None:
        assert machine.name
        assert machine.simulated in (True, False)

    def test_unknown_identity_has_its_reason(self, identity: Identity) -> None:
        assert identity.system
        for field in _IDENTITY:
            assert getattr(identity, field) is not None or identity.reasons.get(field), field

    def test_sample_is_stamped_by_the_machines_clock(self, machine: Machine) -> None:
        before = machine.clock.now().elapsed_s
        sample = machine.sample()
        assert before <= sample.at.elapsed_s <= machine.clock.now().elapsed_s

    def test_no_pack_value_is_implausible_or_unknown_without_reason(self, sample: Sample) -> None:
        assert sample.packs or sample.reasons.get("batteries")
        for pack in sample.packs:
            check_pack(pack)

    def test_names_of_packs_and_adapters_are_distinct(self, sample: Sample) -> None:
        names = [pack.name for pack in sample.packs] + [adapter.name for adapter in sample.adapters]
        assert all(names)
        assert len(names) == len(set(names))

    def test_adapters_sensors_and_fans_are_there_or_said_to_be_missing(self, sample: Sample) -> None:
        for group in ("adapters", "temperatures", "fans"):
            assert getattr(sample, group) or sample.reasons.get(group), group

    def test_no_sensor_value_is_implausible_or_unknown_without_reason(self, sample: Sample) -> None:
        for sensor in sample.temperatures:
            _check_temperature(sensor)
        for fan in sample.fans:
            _check_fan(fan)

    def test_unknown_processor_values_have_their_reason(self, sample: Sample) -> None:
        for field in _CPU:
            assert getattr(sample.cpu, field) is not None or sample.cpu.reasons.get(field), field
        assert sample.cpu.load is None or 0 <= sample.cpu.load <= 1

    def test_sampling_again_works_and_time_does_not_run_back(self, machine: Machine) -> None:
        first, second = machine.sample(), machine.sample()
        assert second.at.elapsed_s >= first.at.elapsed_s
        assert [pack.name for pack in first.packs] == [pack.name for pack in second.packs]

    def test_lid_is_told_or_said_to_be_unknown(self, sample: Sample) -> None:
        assert (sample.lid_open is None) == ("lid" in sample.reasons)

    def test_marks_are_distinct_words(self, machine: Machine) -> None:
        marks = machine.marks()
        assert all(name and value == value.strip() and value for name, value in marks.items())
        assert len(set(marks.values())) == len(marks)

    def test_marks_are_the_same_when_read_again(self, machine: Machine) -> None:
        assert machine.marks() == machine.marks()

    def test_a_load_runs_until_it_is_stopped_or_refused_and_says_why(self, machine: Machine) -> None:
        load = machine.start_load(longest_s=30.0)
        try:
            assert (load.running, load.why_ended) == (True, "")
            granted = load.renew(machine.sample())
            assert (load.running, load.why_ended == "") == (granted, granted)
        finally:
            load.stop()
        assert (load.running, load.why_ended[-1:]) == (False, ".")
        assert not load.renew(machine.sample())
        load.stop()

    def test_a_load_without_a_temperature_is_refused(self, machine: Machine) -> None:
        load = machine.start_load(longest_s=30.0)
        try:
            bare = msgspec.structs.replace(machine.sample(), temperatures=())
            assert not load.renew(bare)
            assert "temperature" in load.why_ended
        finally:
            load.stop()

    def test_no_load_has_no_time(self, machine: Machine) -> None:
        with pytest.raises(HandbackError):
            machine.start_load(longest_s=0.0)

    def test_kept_awake_or_says_what_to_do(self, machine: Machine) -> None:
        awake = machine.keep_awake("contract test")
        assert awake.held is (awake.why_not == "")
        assert awake.held or awake.why_not.endswith(".")
        awake.release()
        awake.release()
        assert not awake.held
        assert awake.why_not

    def test_can_be_described_as_plain_data(self, identity: Identity, sample: Sample) -> None:
        told = describe(identity, sample)
        assert list(told) == [
            "machine",
            "batteries",
            "adapters",
            "temperatures",
            "fans",
            "cpu",
            "lid_open",
            "reasons",
        ]


def _check_temperature(sensor: Temperature) -> None:
    if sensor.celsius is None:
        assert sensor.reason, f"{sensor.chip} {sensor.label} is unknown without a reason"
    else:
        assert bounds.within(sensor.celsius, bounds.CELSIUS)
    for limit in (sensor.high, sensor.critical):
        assert limit is None or bounds.within(limit, bounds.LIMIT_CELSIUS)


def _check_fan(fan: Fan) -> None:
    if fan.rpm is None:
        assert fan.reason, f"{fan.chip} {fan.label} is unknown without a reason"
    else:
        assert fan.rpm == 0 or bounds.within(fan.rpm, bounds.RPM)
