"""The lid switch as the firmware reports it, on made trees."""

from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from verify.machine import Sample
from verify.machine.linux import LinuxMachine
from verify.testing.sysfs_tree import SysfsTree
from verify.values import Instant, VirtualClock


@pytest.fixture
def proc(tmp_path: Path) -> SysfsTree:
    return SysfsTree(tmp_path / "proc")


def sampled(tmp_path: Path, proc: Path | None) -> Sample:
    sysfs = SysfsTree(tmp_path / "sys").root
    clock = VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC))
    return LinuxMachine(sysfs=sysfs, clock=clock, proc=proc).sample()


# Linux drivers/acpi/button.c writes "state:      open" or "state:      closed".
@pytest.mark.parametrize(
    ("text", "lid_open"), [("state:      open", True), ("state:      closed", False), ("open", True)]
)
def test_lid_is_read(tmp_path: Path, proc: SysfsTree, text: str, lid_open: bool) -> None:  # noqa: FBT001
    proc.write("acpi/button/lid/LID0/state", text)
    sample = sampled(tmp_path, proc.root)
    assert sample.lid_open is lid_open
    assert "lid" not in sample.reasons


@pytest.mark.parametrize(
    ("states", "why"),
    [
        pytest.param([], "No lid switch", id="none"),
        pytest.param(["state:      unsupported"], "says “unsupported”", id="another-word"),
        pytest.param([""], "says nothing", id="empty"),
        pytest.param(["state: open", "state: closed"], "contradict", id="two-that-differ"),
    ],
)
def test_unknown_lid_says_why(tmp_path: Path, proc: SysfsTree, states: list[str], why: str) -> None:
    for index, text in enumerate(states):
        proc.write(f"acpi/button/lid/LID{index}/state", text)
    sample = sampled(tmp_path, proc.root)
    assert sample.lid_open is None
    assert why in sample.reasons["lid"]


def test_a_switch_that_cannot_be_read_says_why(tmp_path: Path, proc: SysfsTree) -> None:
    (proc.root / "acpi/button/lid/LID0/state").mkdir(parents=True)
    assert "folder" in sampled(tmp_path, proc.root).reasons["lid"]


def test_a_given_folder_tells_nothing_of_the_lid(tmp_path: Path) -> None:
    sample = sampled(tmp_path, None)
    assert sample.lid_open is None
    assert sample.reasons["lid"]


def test_a_sample_without_a_lid_is_written_as_before_and_old_ones_are_read() -> None:
    old = (
        b'{"at":{"wall":"2026-03-02T09:00:00Z","elapsed_s":0.0,"boot_id":"one"},'
        b'"packs":[],"adapters":[],"temperatures":[],"fans":[],'
        b'"cpu":{"logical_cores":null,"load":null,"frequency_mhz":null,"frequency_max_mhz":null,"reasons":{}},'
        b'"reasons":{}}'
    )
    at = Instant(wall=datetime(2026, 3, 2, 9, 0, tzinfo=UTC), elapsed_s=0.0, boot_id="one")
    assert msgspec.json.decode(old, type=Sample) == Sample(at=at)
    assert msgspec.json.encode(Sample(at=at)) == old
    told = msgspec.structs.replace(Sample(at=at), lid_open=False)
    assert msgspec.json.decode(msgspec.json.encode(told), type=Sample) == told
