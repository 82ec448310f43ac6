"""Which back end is chosen, and what is said where none can be."""

import sys
from pathlib import Path

import pytest

from verify.machine import choose, open_machine
from verify.machine.linux import why_not_linux
from verify.testing.sysfs_tree import SysfsTree
from verify.values.errors import MachineError, WrongUseError


def test_a_folder_that_is_not_there_is_wrong_use(tmp_path: Path) -> None:
    with pytest.raises(WrongUseError, match="There is no folder"):
        open_machine(sysfs=tmp_path / "nowhere")


def test_a_folder_that_is_no_sysfs_is_wrong_use_with_advice(tmp_path: Path) -> None:
    with pytest.raises(WrongUseError) as raised:
        open_machine(sysfs=tmp_path)
    assert "class" in raised.value.what
    assert "/sys" in raised.value.next_step


def test_a_given_folder_is_read_by_the_linux_back_end(tmp_path: Path) -> None:
    SysfsTree(tmp_path)
    assert open_machine(sysfs=tmp_path).name == "linux"
    assert why_not_linux(tmp_path) is None


def test_this_machine_is_real() -> None:
    assert open_machine().simulated is False


def test_a_system_without_sysfs_is_read_through_psutil(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(choose, "SYSFS_ROOT", tmp_path / "sys")
    assert open_machine().name == "psutil"


def test_a_system_that_nothing_can_read_says_why_and_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(choose, "SYSFS_ROOT", tmp_path / "sys")
    monkeypatch.setitem(sys.modules, "psutil", None)
    with pytest.raises(MachineError, match="psutil cannot be loaded") as raised:
        open_machine()
    assert "no folder “class”" in raised.value.what
    assert "Install" in raised.value.next_step
