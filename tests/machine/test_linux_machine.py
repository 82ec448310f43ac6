"""The Linux back end on made trees: the contract, failing files, and any bytes at all."""

import errno
import string
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from verify.machine import Machine, PackState
from verify.machine.linux import LinuxMachine
from verify.testing.machine_contract import MachineContract, check_pack
from verify.testing.sysfs_tree import CHARGE_PACK, ENERGY_PACK, SysfsTree, failing_fetch
from verify.values import VirtualClock


def clock() -> VirtualClock:
    return VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC))


@pytest.fixture
def tree(tmp_path: Path) -> SysfsTree:
    return SysfsTree(tmp_path)


@pytest.fixture
def machine(tree: SysfsTree) -> LinuxMachine:
    return LinuxMachine(sysfs=tree.root, clock=clock())


class TestSoundLaptop(MachineContract):
    @pytest.fixture
    def machine(self, tree: SysfsTree) -> Machine:
        tree.laptop()
        return LinuxMachine(sysfs=tree.root, clock=clock())


class TestEmptyTree(MachineContract):
    @pytest.fixture
    def machine(self, tree: SysfsTree) -> Machine:
        return LinuxMachine(sysfs=tree.root, clock=clock())


class TestThisMachine(MachineContract):
    @pytest.fixture
    def machine(self) -> Machine:
        return LinuxMachine(sysfs=Path("/sys"), clock=clock())


class TestEveryFileFails(MachineContract):
    @pytest.fixture
    def machine(self, tree: SysfsTree) -> Machine:
        tree.laptop()
        return LinuxMachine(sysfs=tree.root, clock=clock(), fetch=failing_fetch({"": errno.EIO}))


@pytest.mark.parametrize(
    ("code", "words"),
    [
        pytest.param(errno.ENODEV, "ENODEV", id="no-value"),
        pytest.param(errno.EIO, "EIO", id="bus-error"),
        pytest.param(errno.EACCES, "administrator", id="no-right"),
        pytest.param(errno.ENODATA, "ENODATA", id="asleep"),
        pytest.param(errno.EAGAIN, "EAGAIN", id="not-ready"),
        pytest.param(errno.ETIMEDOUT, "timed out", id="any-other"),
    ],
)
@pytest.mark.parametrize("file", ["energy_full", "power_now", "voltage_now", "energy_now", "cycle_count"])
def test_a_file_that_fails_is_unknown_with_its_cause(
    tree: SysfsTree, file: str, code: int, words: str
) -> None:
    # What the kernel leaves out of uevent exists as a file all the same; so does it here.
    tree.battery()
    folder = tree.battery(without=(file,))
    (folder / file).write_text("1\n", encoding="ascii")
    pack = (
        LinuxMachine(sysfs=tree.root, clock=clock(), fetch=failing_fetch({f"/{file}": code}))
        .sample()
        .packs[0]
    )
    fields = {
        "energy_full": ("full_charge_wh", "health"),
        "power_now": ("power_w",),
        "voltage_now": ("voltage_v",),
        "energy_now": ("remaining_wh",),
        "cycle_count": ("cycle_count",),
    }[file]
    for field in fields:
        assert getattr(pack, field) is None
        assert words in pack.reasons[field]
    check_pack(pack)


def test_a_uevent_that_fails_leaves_the_single_files(tree: SysfsTree) -> None:
    tree.laptop()
    whole = LinuxMachine(sysfs=tree.root, clock=clock()).sample()
    parts = LinuxMachine(
        sysfs=tree.root, clock=clock(), fetch=failing_fetch({"/uevent": errno.ENODEV})
    ).sample()
    assert [msgspec.structs.replace(pack, raw={}) for pack in parts.packs] == [
        msgspec.structs.replace(pack, raw={}) for pack in whole.packs
    ]
    assert parts.adapters == whole.adapters


def test_a_sensor_that_fails_says_why_and_the_next_is_read(tree: SysfsTree) -> None:
    tree.laptop()
    fetch = failing_fetch({"hwmon1/temp1_input": errno.EIO, "fan1_input": errno.ENODEV})
    sample = LinuxMachine(sysfs=tree.root, clock=clock(), fetch=fetch).sample()
    by_chip = {sensor.chip: sensor for sensor in sample.temperatures}
    assert by_chip["nvme"].celsius is None
    assert "EIO" in (by_chip["nvme"].reason or "")
    assert by_chip["acpitz"].celsius == 41
    assert sample.fans[0].rpm is None
    assert "ENODEV" in (sample.fans[0].reason or "")


def test_a_wrong_value_is_read_once_more(tree: SysfsTree) -> None:
    tree.hwmon(0, "acpitz", temp1_input="41000")
    answers = iter([b"-650788984\n", b"52000\n"])

    def fetch(path: str) -> bytes:
        if path.endswith("temp1_input"):
            return next(answers)
        return Path(path).read_bytes()

    sample = LinuxMachine(sysfs=tree.root, clock=clock(), fetch=fetch).sample()
    assert sample.temperatures[0].celsius == 52


def test_monitors_of_batteries_and_chargers_are_left_out(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.supply("cw2015-battery", ENERGY_PACK)
    tree.adapter("AC")
    tree.hwmon(0, "cw2015_battery", temp1_input="31000")
    tree.hwmon(1, "AC", temp1_input="30000")
    tree.hwmon(2, "k10temp", temp1_input="45500", temp1_label="Tctl")
    assert [(sensor.chip, sensor.celsius) for sensor in machine.sample().temperatures] == [("k10temp", 45.5)]


def test_a_monitor_that_takes_anothers_number_is_described_anew(
    tree: SysfsTree, machine: LinuxMachine
) -> None:
    first = tree.hwmon(0, "nvme", temp1_input="36000", temp1_label="Composite")
    assert machine.sample().temperatures[0].label == "Composite"
    first.rename(first.with_name("gone"))
    tree.hwmon(0, "k10temp", temp1_input="50000", temp1_label="Tctl")
    first.with_name("gone").rename(first.with_name("hwmon1"))
    assert [sensor.label for sensor in machine.sample().temperatures] == ["Tctl", "Composite"]


def test_sensors_come_in_the_order_of_their_numbers(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.hwmon(10, "later", temp1_input="40000")
    tree.hwmon(2, "sooner", temp10_input="42000", temp2_input="41000")
    assert [sensor.label for sensor in machine.sample().temperatures] == ["temp2", "temp10", "temp1"]


def test_zones_serve_only_where_there_is_no_monitor(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.zone(0, "acpitz", "41000")
    assert [sensor.label for sensor in machine.sample().temperatures] == ["acpitz"]
    tree.hwmon(0, "coretemp", temp1_input="47000")
    assert [sensor.chip for sensor in machine.sample().temperatures] == ["coretemp"]


@pytest.mark.parametrize(
    ("online", "expected"),
    [("0", False), ("1", True), ("2", True), ("", None), ("yes", None), ("-1", None)],
    ids=["off", "fixed", "programmable", "empty", "word", "minus-one"],
)
def test_an_adapter_is_on_off_or_unknown(
    tree: SysfsTree, machine: LinuxMachine, online: str, *, expected: bool | None
) -> None:
    tree.adapter("ucsi-source-1", online=online, kind="USB")
    sample = machine.sample()
    assert sample.adapters[0].online is expected
    assert sample.charger_seen is expected


def test_an_input_that_cannot_be_read_may_be_the_one_that_gives_power(
    tree: SysfsTree, machine: LinuxMachine
) -> None:
    tree.adapter("AC", online="0")
    tree.adapter("usb-in-2", kind="USB", online="")
    assert machine.sample().charger_seen is None


def test_no_input_is_not_an_input_without_power(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.battery()
    assert machine.sample().charger_seen is None


def test_any_input_that_gives_power_counts(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.adapter("AC", online="0")
    tree.adapter("usb-in-2", kind="USB", online="1")
    assert machine.sample().charger_seen is True


def test_charging_is_into_the_pack_and_discharging_out_of_it(tree: SysfsTree, machine: LinuxMachine) -> None:
    for base in (ENERGY_PACK, CHARGE_PACK):
        for status, sign in (("Charging", 1), ("Discharging", -1)):
            tree.battery(base=base, status=status)
            pack = machine.sample().packs[0]
            assert pack.power_w is not None
            assert pack.current_a is not None
            assert pack.power_w * sign > 0
            assert pack.current_a * sign > 0


def test_a_flow_whose_direction_nobody_tells_is_unknown(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.battery(status="Not charging", power_now="5000000")
    tree.adapter()
    pack = machine.sample().packs[0]
    assert pack.state is PackState.HOLDING
    assert pack.power_w is None
    assert "which way" in pack.reasons["power_w"]


def test_full_without_a_charger_is_discharging(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.battery(status="Full", power_now="9000000")
    tree.adapter(online="0")
    pack = machine.sample().packs[0]
    assert (pack.state, pack.power_w) == (PackState.DISCHARGING, -9.0)


def test_charging_that_the_system_forbids_is_said(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.battery(
        status="Not charging", power_now="0", charge_behaviour="auto [inhibit-charge] force-discharge"
    )
    tree.adapter()
    assert "inhibit-charge" in machine.sample().packs[0].reasons["state"]


def test_a_doubt_outweighs_a_conversion(tree: SysfsTree, machine: LinuxMachine) -> None:
    tree.battery(base=CHARGE_PACK, charge_full="5000000", cycle_count="0")
    pack = machine.sample().packs[0]
    assert pack.doubt("full_charge_wh") is not None
    assert pack.doubt("remaining_wh") is None
    assert "remaining_wh" in pack.estimated


def test_a_load_needs_two_readings() -> None:
    # /proc of this machine; only its shape can be known.
    machine = LinuxMachine(sysfs=Path("/sys"), clock=clock())
    first = machine.sample().cpu
    assert first.load is None
    assert "second reading" in first.reasons["load"]


def test_the_first_cores_clock_and_the_cores_are_read(tree: SysfsTree) -> None:
    tree.cpu(online="0-3,6", now_khz="2400000", max_khz="4200000")
    cpu = LinuxMachine(sysfs=tree.root, clock=clock()).sample().cpu
    assert (cpu.logical_cores, cpu.frequency_mhz, cpu.frequency_max_mhz) == (5, 2400, 4200)


@pytest.mark.parametrize("now_khz", ["0", "99", "9000000000", "", "x"])
def test_a_clock_that_cannot_be_is_unknown(tree: SysfsTree, now_khz: str) -> None:
    tree.cpu(now_khz=now_khz)
    cpu = LinuxMachine(sysfs=tree.root, clock=clock()).sample().cpu
    assert cpu.frequency_mhz is None
    assert cpu.reasons["frequency_mhz"]


_ATTRIBUTES = sorted(
    {*ENERGY_PACK, *CHARGE_PACK, "temp", "voltage_max_design", "charge_control_end_threshold"}
)
_NUMBERS = st.one_of(
    st.integers(min_value=-(2**65), max_value=2**65).map(str),
    st.integers(min_value=0, max_value=120_000_000).map(str),
    st.sampled_from(
        ["", "0", "-1", "-1000", "4294967295", "65535000", "32768000", "nan", "inf", "1e9", "٣", "0x10"]
    ),
)
_STATUSES = st.sampled_from(["Charging", "Discharging", "Not charging", "Full", "Unknown", "", "charging"])


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    base=st.sampled_from([ENERGY_PACK, CHARGE_PACK, {**ENERGY_PACK, **CHARGE_PACK}]),
    changes=st.dictionaries(st.sampled_from(_ATTRIBUTES[1:]), _NUMBERS, max_size=8),
    status=_STATUSES,
    online=st.sampled_from(["0", "1", "2", "", "9"]),
    missing=st.sets(st.sampled_from(_ATTRIBUTES), max_size=4),
)
def test_no_numbers_ever_give_an_implausible_value(
    tmp_path: Path, base: dict[str, str], changes: dict[str, str], status: str, online: str, missing: set[str]
) -> None:
    tree = SysfsTree(tmp_path)
    attributes = {**base, **changes, "type": "Battery", "present": "1", "status": status}
    tree.supply("BAT0", {key: text for key, text in attributes.items() if key not in missing - {"type"}})
    tree.adapter(online=online)
    for pack in LinuxMachine(sysfs=tmp_path, clock=clock()).sample().packs:
        check_pack(pack)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    file=st.sampled_from([*_ATTRIBUTES, "uevent"]),
    content=st.one_of(
        st.binary(max_size=200),
        st.text(alphabet=string.printable, max_size=60).map(str.encode),
        st.binary(max_size=60).map(
            lambda rubbish: b"POWER_SUPPLY_ENERGY_FULL=" + rubbish + b"\nPOWER_SUPPLY_STATUS="
        ),
    ),
    uevent=st.booleans(),
)
def test_no_bytes_in_any_file_ever_raise(tmp_path: Path, file: str, content: bytes, *, uevent: bool) -> None:
    tree = SysfsTree(tmp_path)
    folder = tree.battery(uevent=uevent)
    (folder / file).write_bytes(content)
    sample = LinuxMachine(sysfs=tmp_path, clock=clock()).sample()
    assert sample.packs or any(key.startswith("batteries") for key in sample.reasons)
    for pack in sample.packs:
        check_pack(pack)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.binary(max_size=40),
    file=st.sampled_from(["temp1_input", "temp1_crit", "temp1_fault", "fan1_input", "name"]),
)
def test_no_bytes_in_any_monitor_ever_raise(tmp_path: Path, content: bytes, file: str) -> None:
    tree = SysfsTree(tmp_path)
    folder = tree.hwmon(0, "chip", temp1_input="40000", temp1_fault="0", fan1_input="2000")
    (folder / file).write_bytes(content)
    sample = LinuxMachine(sysfs=tmp_path, clock=clock()).sample()
    assert len(sample.temperatures) == len(sample.fans) == 1
    TestSoundLaptop().test_no_sensor_value_is_implausible_or_unknown_without_reason(sample)
