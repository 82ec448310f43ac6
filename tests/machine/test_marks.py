"""Marks of one machine: built in and with a number of its own; everything else is left out."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from verify.machine.linux import LinuxMachine
from verify.testing.sysfs_tree import SysfsTree
from verify.values import VirtualClock

PCI = "pci0000:00/0000:00:1c.0/0000:02:00.0"
USB = "pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0"
# Addresses of the block for documentation: RFC 7042, section 2.1.2.
OWN, OTHER = "00:00:5e:00:53:15", "00:00:5e:00:53:16"


@pytest.fixture
def tree(tmp_path: Path) -> SysfsTree:
    return SysfsTree(tmp_path)


def marks(tree: SysfsTree) -> dict[str, str]:
    clock = VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC))
    return dict(LinuxMachine(sysfs=tree.root, clock=clock).marks())


def test_a_whole_laptop(tree: SysfsTree) -> None:
    tree.firmware(product_uuid="4C4C4544-0042-3510-8054-B7C04F4E4B32")
    tree.device("net", "wlan0", way=PCI, address=OWN.upper(), addr_assign_type="0")
    tree.device("net", "eth0", way="pci0000:00/0000:00:1f.6", address=OTHER)
    tree.device("block", "nvme0n1", way="pci0000:00/0000:00:1d.0/nvme/nvme0", device__serial="  D-51502 ")
    assert marks(tree) == {
        "board": "4c4c4544-0042-3510-8054-b7c04f4e4b32",
        "network 1": OWN,
        "network 2": OTHER,
        "storage 1": "D-51502",
    }


@pytest.mark.parametrize(
    "uuid",
    [
        "",
        "00000000-0000-0000-0000-000000000000",
        "ffffffff-ffff-ffff-ffff-ffffffffffff",
        "03000200-0400-0500-0006-000700080009",
        "To be filled by O.E.M.",
        "Not Settable",
    ],
)
def test_board_that_nobody_numbered_is_no_mark(tree: SysfsTree, uuid: str) -> None:
    tree.firmware(product_uuid=uuid)
    assert marks(tree) == {}


@pytest.mark.parametrize(
    ("way", "files"),
    [
        pytest.param(USB, {"address": OWN}, id="on-usb"),
        pytest.param("virtual", {"address": OWN}, id="virtual"),
        pytest.param(PCI, {"address": "02:00:5e:00:53:15"}, id="locally-administered"),
        pytest.param(PCI, {"address": "01:00:5e:00:53:15"}, id="group"),
        pytest.param(PCI, {"address": "00:00:00:00:00:00"}, id="all-zeros"),
        pytest.param(PCI, {"address": "ff:ff:ff:ff:ff:ff"}, id="all-ones"),
        pytest.param(PCI, {"address": OWN, "addr_assign_type": "1"}, id="random"),
        pytest.param(PCI, {"address": OWN, "addr_assign_type": "3"}, id="set-by-someone"),
        pytest.param(PCI, {"address": "00:00:5e"}, id="cut-short"),
        pytest.param(PCI, {}, id="none"),
    ],
)
def test_address_that_is_not_the_machines_own_is_no_mark(
    tree: SysfsTree, way: str, files: dict[str, Any]
) -> None:
    tree.device("net", "net0", way=way, **files)
    assert marks(tree) == {}


def test_a_radio_is_known_by_its_own_address_whatever_it_uses_now(tree: SysfsTree) -> None:
    tree.device(
        "net", "wlan0", way=PCI, address="da:a1:19:00:00:01", addr_assign_type="3", phy80211__macaddress=OWN
    )
    assert marks(tree) == {"network 1": OWN}


@pytest.mark.parametrize("kind", ["net", "block"])
def test_what_lies_behind_a_port_to_the_outside_is_no_mark(tree: SysfsTree, kind: str) -> None:
    # A dock's adapter and drive look built in: only a bridge on their way says that they can be removed.
    tree.device(kind, "x0", way=PCI, address=OWN, device__serial="D-51502")
    assert len(marks(tree)) == 1
    tree.write("devices/pci0000:00/0000:00:1c.0/removable", "removable")
    assert marks(tree) == {}


@pytest.mark.parametrize(
    ("way", "files"),
    [
        pytest.param(USB, {"device__serial": "STICK-1"}, id="on-usb"),
        pytest.param("virtual", {"serial": "D-51502"}, id="loop"),
        pytest.param(PCI, {"device__serial": "D-51502", "removable": "1"}, id="removable"),
        pytest.param(PCI, {"device__serial": "D-51502", "partition": "1"}, id="partition"),
        pytest.param(PCI, {"device__serial": "0x1a2b3c", "device__type": "SD"}, id="memory-card"),
        pytest.param(PCI, {"device__serial": "0123456789"}, id="placeholder"),
        pytest.param(PCI, {"device__serial": "0000 0000"}, id="zeros"),
        pytest.param(PCI, {"device__serial": "\x01\x02"}, id="not-printable"),
        pytest.param(PCI, {}, id="none"),
    ],
)
def test_drive_that_is_not_the_machines_own_or_has_no_serial_is_no_mark(
    tree: SysfsTree, way: str, files: dict[str, Any]
) -> None:
    tree.device("block", "disk0", way=way, **files)
    assert marks(tree) == {}


def test_a_drive_of_the_old_kind_tells_its_serial_in_a_page(tree: SysfsTree) -> None:
    # SCSI primary commands, unit serial number page: 4 bytes of head, then the serial.
    folder = tree.device("block", "sda", way=PCI)
    (folder / "device" / "vpd_pg80").write_bytes(b"\x00\x80\x00\x0c   D-51502-X")
    assert marks(tree) == {"storage 1": "D-51502-X"}


def test_a_drive_without_serial_is_known_by_its_world_wide_name(tree: SysfsTree) -> None:
    tree.device("block", "nvme0n1", way=PCI, wwid="eui.0025385b91d04b1f")
    assert marks(tree) == {"storage 1": "eui.0025385b91d04b1f"}


def test_one_adapter_with_two_interfaces_is_one_mark(tree: SysfsTree) -> None:
    for name in ("wlan0", "p2p0"):
        tree.device("net", name, way=f"{PCI}/{name}", address=OWN)
    assert marks(tree) == {"network 1": OWN}
