"""Who the machine is: placeholders, kinds of case, and whether it is a real one."""

from pathlib import Path

import pytest

from verify.machine.firmware import read_identity, read_virtual
from verify.machine.sysfs import Sysfs
from verify.testing.sysfs_tree import SysfsTree


@pytest.fixture
def tree(tmp_path: Path) -> SysfsTree:
    return SysfsTree(tmp_path / "sys")


@pytest.mark.parametrize(
    "text",
    [
        "To Be Filled By O.E.M.",
        "Default string",
        "System Product Name",
        "0123456789",
        "None",
        "Not Specified",
        "",
        "  ",
        "0000",
        "....",
    ],
)
def test_a_placeholder_is_no_name(tree: SysfsTree, text: str) -> None:
    tree.firmware(product_name=text, sys_vendor="Fennel")
    identity = read_identity(Sysfs(tree.root), None, system="Linux")
    assert identity.model is None
    assert identity.reasons["model"]
    assert identity.maker == "Fennel"


def test_names_lose_blanks_and_control_signs(tree: SysfsTree) -> None:
    tree.firmware(sys_vendor="  Fennel\x07  Works ", product_name="Larkspur 15")
    assert read_identity(Sysfs(tree.root), None, system="Linux").maker == "Fennel Works"


# SMBIOS (DMTF DSP0134), table "System Enclosure or Chassis Types"; bit 7 of the byte tells of a lock.
@pytest.mark.parametrize(
    ("number", "word"),
    [
        ("8", "portable"),
        ("9", "laptop"),
        ("10", "notebook"),
        ("14", "sub notebook"),
        ("30", "tablet"),
        ("31", "convertible"),
        ("32", "detachable"),
        ("3", "desktop"),
        ("138", "notebook"),
        ("200", None),
        ("", None),
        ("-9", None),
    ],
)
def test_the_kind_of_case_has_its_published_word(tree: SysfsTree, number: str, word: str | None) -> None:
    tree.firmware(chassis_type=number)
    identity = read_identity(Sysfs(tree.root), None, system="Linux")
    assert identity.chassis == word
    assert (word is None) == ("chassis" in identity.reasons)


def test_a_machine_without_a_table_has_its_board_name(tree: SysfsTree) -> None:
    tree.write("firmware/devicetree/base/model", b"Fennel Larkspur 13\x00")
    identity = read_identity(Sysfs(tree.root), None, system="Linux")
    assert identity.model == "Fennel Larkspur 13"
    assert "model" not in identity.reasons


_FLAG = "processor\t: 0\nflags\t\t: fpu vme hypervisor lahf_lm\n"
_NO_FLAG = "processor\t: 0\nflags\t\t: fpu vme lahf_lm\nbugs\t\t: hypervisor_something\n"


@pytest.mark.parametrize(
    ("firmware", "cpuinfo", "expected"),
    [
        pytest.param({"product_name": "Virtual Machine"}, _NO_FLAG, True, id="the-firmware-says-so"),
        pytest.param(
            {"product_name": "Larkspur 15", "chassis_type": "10"},
            _FLAG,
            False,
            id="laptop-with-a-hypervisor-below",
        ),
        pytest.param(
            {"product_name": "Larkspur 15", "chassis_type": "1"}, _FLAG, True, id="the-processor-says-so"
        ),
        pytest.param({}, _FLAG, True, id="no-table-and-the-flag"),
        pytest.param(
            {"product_name": "Larkspur Tower", "chassis_type": "3"}, _NO_FLAG, False, id="a-real-desktop"
        ),
        pytest.param({}, _NO_FLAG, None, id="nothing-tells"),
        pytest.param({}, None, None, id="a-given-folder-that-tells-nothing"),
    ],
)
def test_a_virtual_machine_is_told_from_a_real_one(
    tree: SysfsTree, tmp_path: Path, firmware: dict[str, str], cpuinfo: str | None, *, expected: bool | None
) -> None:
    tree.firmware(**firmware)
    proc = None
    if cpuinfo is not None:
        (tmp_path / "proc").mkdir()
        (tmp_path / "proc/cpuinfo").write_text(cpuinfo, encoding="ascii")
        proc = Sysfs(tmp_path / "proc")
    assert read_virtual(Sysfs(tree.root), proc).answer is expected


def test_the_bit_of_the_firmware_table_decides(tree: SysfsTree) -> None:
    # SMBIOS (DMTF DSP0134), BIOS Characteristics Extension Byte 2 (offset 13h), bit 4.
    tree.firmware(product_name="Larkspur 15", chassis_type="10")
    entry = bytearray(24)
    tree.write("firmware/dmi/entries/0-0/raw", bytes(entry))
    assert read_virtual(Sysfs(tree.root), None).answer is False
    entry[0x13] = 0x10
    tree.write("firmware/dmi/entries/0-0/raw", bytes(entry))
    assert read_virtual(Sysfs(tree.root), None).answer is True
