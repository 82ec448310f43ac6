"""Base clock and count of throttlings: where they are told, how they are read, what is unknown.

Files and units: Linux Documentation/admin-guide/pm/intel_pstate.rst (base_frequency, kHz),
admin-guide/acpi/cppc_sysfs.rst (nominal_freq, MHz), admin-guide/thermal/intel_thermal_throttle.rst.
"""

from pathlib import Path

import pytest

from verify.machine.processor import CpuReader
from verify.machine.sysfs import Sysfs, fetch_bytes
from verify.testing.sysfs_tree import SysfsTree

CPU0 = "devices/system/cpu/cpu0"
NAMED = "processor\t: 0\nmodel name\t: Some Processor 123 @ 2.40GHz\nflags\t\t: fpu\n"


@pytest.fixture
def tree(tmp_path: Path) -> SysfsTree:
    made = SysfsTree(tmp_path / "sys")
    made.cpu()
    return made


def reader(tree: SysfsTree, tmp_path: Path, cpuinfo: str | None = None) -> CpuReader:
    proc = tmp_path / "proc"
    proc.mkdir(exist_ok=True)
    if cpuinfo is not None:
        (proc / "cpuinfo").write_text(cpuinfo, encoding="utf-8")
    return CpuReader(Sysfs(tree.root), Sysfs(proc))


def test_the_drivers_base_clock_comes_before_the_firmwares_and_the_names(
    tree: SysfsTree, tmp_path: Path
) -> None:
    assert reader(tree, tmp_path, NAMED).read().frequency_base_mhz == 2400
    tree.write(f"{CPU0}/acpi_cppc/nominal_freq", "2100")
    assert reader(tree, tmp_path, NAMED).read().frequency_base_mhz == 2100
    tree.write(f"{CPU0}/cpufreq/base_frequency", "1800000")
    assert reader(tree, tmp_path, NAMED).read().frequency_base_mhz == 1800


@pytest.mark.parametrize("base", ["0", "-1", "", "x", "1800", "9000000000"])
def test_a_base_clock_that_cannot_be_is_unknown(tree: SysfsTree, tmp_path: Path, base: str) -> None:
    tree.write(f"{CPU0}/cpufreq/base_frequency", base)
    tree.write(f"{CPU0}/acpi_cppc/nominal_freq", "0")
    cpu = reader(tree, tmp_path, "model name\t: Some Processor\n").read()
    assert cpu.frequency_base_mhz is None
    assert cpu.reasons["frequency_base_mhz"]


@pytest.mark.parametrize(
    "name", ["Some Processor @ 0.00GHz", "Some @ 2.40GHz Processor", "@ 99.00GHz", "Some 2.40GHz", ""]
)
def test_a_name_without_a_clock_at_its_end_tells_none(tree: SysfsTree, tmp_path: Path, name: str) -> None:
    assert reader(tree, tmp_path, f"model name\t: {name}\n").read().frequency_base_mhz is None


def test_package_and_first_core_are_counted_together_and_no_other_core_is_read(
    tree: SysfsTree,
) -> None:
    for cpu, package, core in (("cpu0", "7", "2"), ("cpu1", "7", "90")):
        tree.write(f"devices/system/cpu/{cpu}/thermal_throttle/package_throttle_count", package)
        tree.write(f"devices/system/cpu/{cpu}/thermal_throttle/core_throttle_count", core)
    asked: list[str] = []

    def fetch(path: str) -> bytes:
        asked.append(path)
        return fetch_bytes(path)

    read = CpuReader(Sysfs(tree.root, fetch=fetch), None).read()
    assert read.throttle_count == 9
    assert not [path for path in asked if "cpu1" in path]


def test_a_core_that_counts_without_its_package_is_enough(tree: SysfsTree, tmp_path: Path) -> None:
    tree.write(f"{CPU0}/thermal_throttle/core_throttle_count", "4")
    assert reader(tree, tmp_path).read().throttle_count == 4


@pytest.mark.parametrize("count", [None, "x", "-3", ""])
def test_a_count_that_is_none_is_unknown_and_never_zero(
    tree: SysfsTree, tmp_path: Path, count: str | None
) -> None:
    if count is not None:
        tree.write(f"{CPU0}/thermal_throttle/package_throttle_count", count)
    cpu = reader(tree, tmp_path).read()
    assert cpu.throttle_count is None
    assert cpu.reasons["throttle_count"]


def test_a_count_that_goes_away_is_unknown_from_then_on(tree: SysfsTree, tmp_path: Path) -> None:
    tree.cpu(throttled="3")
    cpus = reader(tree, tmp_path)
    assert cpus.read().throttle_count == 3
    (tree.root / CPU0 / "thermal_throttle/package_throttle_count").unlink()
    assert cpus.read().throttle_count is None
