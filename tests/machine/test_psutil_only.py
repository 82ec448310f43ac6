"""The back end for every other system: what psutil gives, and what it is known to give wrongly."""

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from verify.machine import Machine, PackState
from verify.machine.psutil_only import PsutilMachine
from verify.testing.machine_contract import MachineContract
from verify.values import VirtualClock


def machine_with(**functions: Any) -> PsutilMachine:
    clock = VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC))
    return PsutilMachine(clock, library=SimpleNamespace(**functions))


def battery(percent: object, plugged: object) -> Any:
    return lambda: SimpleNamespace(percent=percent, secsleft=-1, power_plugged=plugged)


def failing(*_: object, **__: object) -> None:
    raise ValueError("invalid literal for int() with base 10: ''")


class TestThisMachineThroughPsutil(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        return PsutilMachine(VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC)))


class TestLaptopThroughPsutil(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        sensor = SimpleNamespace(label="", current=47.0, high=100.0, critical=100.0)
        return machine_with(
            sensors_battery=battery(61, plugged=False),
            sensors_temperatures=lambda: {"cpu": [sensor]},
            sensors_fans=lambda: {"ec": [SimpleNamespace(label="", current=2300)]},
            cpu_percent=lambda interval: 12.5,  # noqa: ARG005 - the name is psutil's
            cpu_freq=lambda: SimpleNamespace(current=2284.0, min=800.0, max=3500.0),
            cpu_count=lambda: 8,
        )


class TestNothingWorks(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        return machine_with()


class TestEverythingRaises(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        names = (
            "sensors_battery",
            "sensors_temperatures",
            "sensors_fans",
            "cpu_percent",
            "cpu_freq",
            "cpu_count",
        )
        return machine_with(**dict.fromkeys(names, failing))


@pytest.mark.parametrize(
    ("percent", "plugged", "level", "state"),
    [
        pytest.param(61, False, 0.61, PackState.DISCHARGING, id="on-battery"),
        pytest.param(61, True, 0.61, PackState.UNKNOWN, id="charging-or-held-cannot-be-told"),
        pytest.param(100, True, 1.0, PackState.UNKNOWN, id="a-level-of-100-is-not-full"),
        pytest.param(61, None, 0.61, PackState.UNKNOWN, id="charger-unknown"),
        pytest.param(255, True, None, PackState.UNKNOWN, id="255-stands-for-unknown"),
        pytest.param(106.0, False, 1.0, PackState.DISCHARGING, id="above-full"),
        pytest.param(111, False, None, PackState.DISCHARGING, id="far-above-full"),
        pytest.param(None, None, None, PackState.UNKNOWN, id="none-at-all"),
        pytest.param(float("nan"), False, None, PackState.DISCHARGING, id="not-a-number"),
        pytest.param(-1, False, None, PackState.DISCHARGING, id="below-nothing"),
    ],
)
def test_only_what_psutil_can_know_is_told(
    percent: object, plugged: object, level: float | None, state: PackState
) -> None:
    sample = machine_with(sensors_battery=battery(percent, plugged)).sample()
    (pack,) = sample.packs
    assert (pack.state_of_charge, pack.state) == (level, state)
    assert pack.health is None
    assert pack.power_w is None
    assert sample.charger_seen is plugged


@pytest.mark.parametrize("functions", [{}, {"sensors_battery": failing}], ids=["missing", "fails"])
def test_a_system_that_cannot_be_asked_is_not_a_system_without_a_battery(functions: dict[str, Any]) -> None:
    sample = machine_with(**functions).sample()
    assert sample.packs == ()
    assert sample.reasons["batteries"] == "Whether there is a battery cannot be read on this system."


def test_no_battery_is_said_plainly() -> None:
    sample = machine_with(sensors_battery=lambda: None).sample()
    assert sample.packs == ()
    assert sample.reasons["batteries"].startswith("No battery is visible")


@pytest.mark.parametrize(
    ("current", "expected"), [(2.284, 2284.0), (2284.0, 2284.0), (0.0, None), (64000.0, None)]
)
def test_a_clock_in_gigahertz_is_brought_to_megahertz(current: float, expected: float | None) -> None:
    machine = machine_with(cpu_freq=lambda: SimpleNamespace(current=current, min=0.0, max=0.0))
    assert machine.sample().cpu.frequency_mhz == expected


def test_the_first_load_is_not_taken_for_an_idle_machine() -> None:
    machine = machine_with(cpu_percent=lambda interval: 0.0)  # noqa: ARG005 - the name is psutil's
    assert machine.sample().cpu.load is None
    assert machine.sample().cpu.load == 0.0


@pytest.mark.parametrize("current", [-273.15, 127.5, 0.0, None, float("inf")])
def test_a_temperature_that_cannot_be_is_unknown(current: object) -> None:
    sensor = SimpleNamespace(label="Composite", current=current, high=-273.15, critical=1.1e-13)
    (reading,) = machine_with(sensors_temperatures=lambda: {"nvme": [sensor]}).sample().temperatures
    assert (reading.celsius, reading.high, reading.critical) == (None, None, None)
    assert reading.reason
