"""The inventory of a tree laid out like /sys: what is told, left out, and unmoved by a new numbering."""

import errno
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from verify.machine import Inventory, ItemKind, MemoryModule, Panel
from verify.machine.inventory import hashed_mark, without_marks
from verify.machine.inventory.compare import Differences, compare
from verify.machine.inventory.memory import module_of
from verify.machine.inventory.panel import panel_of
from verify.machine.linux import LinuxMachine
from verify.machine.sysfs import fetch_bytes
from verify.testing.sysfs_tree import SysfsTree, edid, failing_fetch
from verify.values import VirtualClock

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
# Bitmaps as the kernel prints them: letters and the power key; a left button and a finger; lid.
KEYBOARD_KEYS = "10000000000000 3ff0000"
TOUCHPAD_KEYS, TOUCHPAD_PLACES = "20 10000 0 0 0 0", "3"
WIRELESS, DRIVE = "ff01:0a01:ff01:0001", "ff01:0d01:ff01:0003"
SERIAL, ADDRESS, NETWORK_NAME = "SN-4471-X", "00:00:5e:00:53:15", "Tidewater guests"


def laptop(root: Path, *, card: str = "0000:02:00.0", camera: str = "1-5", monitor: int = 5) -> SysfsTree:
    tree = SysfsTree(root)
    tree.laptop()
    way = tree.pci(
        card, code="028000", ids=WIRELESS, current_link_width="1", current_link_speed="5.0 GT/s PCIe"
    )
    tree.device("net", "wlp2s0", way=way, address=ADDRESS, wireless__status="0000")
    tree.pci("0000:00:02.0", code="030000", ids="ff01:0901:ff01:0005")
    tree.pci("0000:00:1d.0", code="060400", ids="ff01:0001:ff01:0000", max_link_width="4")
    drive = tree.pci(
        "0000:01:00.0",
        code="010802",
        ids=DRIVE,
        way="pci0000:00/0000:00:1d.0",
        current_link_width="4",
        current_link_speed="8.0 GT/s PCIe",
        max_link_width="4",
        max_link_speed="16.0 GT/s PCIe",
    )
    tree.device(
        "block", "nvme0n1", way=drive, size="1000215216", device__model="Fennel D5", device__serial=SERIAL
    )
    tree.usb(camera, ids="ff01:0c01", interface="0e", product="Fennel camera")
    tree.input(
        "input3", way="platform/i8042/serio0", ids="0011:0001:0001", title="keyboard", key=KEYBOARD_KEYS
    )
    for name, keys, places in (("input7", TOUCHPAD_KEYS, TOUCHPAD_PLACES), ("input8", "10000 0 0 0 0", "0")):
        tree.input(
            *(name,),
            way="platform/i2c/0018:FF01:0701",
            ids="0018:ff01:0701",
            title="pad",
            key=keys,
            abs=places,
            rel="3" if places == "0" else "0",
        )
    tree.input("input1", way="platform/lid", ids="0019:0000:0005", title="Lid Switch", sw="1")
    tree.input("input30", way="virtual/misc/uhid", ids="0005:ff03:0001", title="Anna's mouse", rel="3")
    tree.panel("card0-eDP-1", edid())
    tree.radio_switch(0, "wlan")
    tree.hwmon(monitor, "fennel_ec", fan1_input="0", fan2_input="2100")
    return tree


def read(
    tree: SysfsTree, fetch: Callable[[str], bytes] = fetch_bytes, *, proc: Path | None = None
) -> Inventory:
    machine = LinuxMachine(sysfs=tree.root, clock=VirtualClock(start=START), fetch=fetch, proc=proc)
    return machine.inventory(salt="TW-1042")


def identities(inventory: Inventory, kind: ItemKind) -> list[str]:
    return [item.identity for item in inventory.of(kind)]


def test_a_laptop_tells_its_parts(tmp_path: Path) -> None:
    told = read(laptop(tmp_path))
    assert identities(told, ItemKind.WIRELESS) == [WIRELESS, f"interface of {WIRELESS}"]
    assert identities(told, ItemKind.STORAGE) == ["fennel d5 512 GB", DRIVE]
    assert identities(told, ItemKind.CAMERA) == ["ff01:0c01"]
    assert identities(told, ItemKind.KEYBOARD) == ["0011:0001:0001"]
    assert identities(told, ItemKind.LID_SWITCH) == ["0019:0000:0005"]
    assert identities(told, ItemKind.FAN) == ["ecfan fan", "fennel_ec fan1", "fennel_ec fan2"]
    assert identities(told, ItemKind.BATTERY) == ["fennel lk-57"]
    assert identities(told, ItemKind.PANEL) == ["FNL 1501"]
    assert told.cpus == 4
    assert [block.type for block in told.blocks] == ["wlan"]


def test_a_touchpad_that_shows_itself_twice_is_one(tmp_path: Path) -> None:
    told = read(laptop(tmp_path))
    assert identities(told, ItemKind.TOUCHPAD) == ["0018:ff01:0701"]
    assert identities(told, ItemKind.POINTER) == []


def test_links_tell_what_both_ends_can(tmp_path: Path) -> None:
    links = {link.kind: link for link in read(laptop(tmp_path)).links}
    assert links[ItemKind.WIRELESS].width == 1
    drive = links[ItemKind.STORAGE]
    assert (drive.width, drive.speed, drive.most_width, drive.most_speed) == (4, 8.0, 4, 16.0)


def test_no_serial_no_address_no_name_of_the_owners_is_told(tmp_path: Path) -> None:
    tree = laptop(tmp_path)
    tree.usb("1-9", ids="ff03:0002", interface="08", removable="removable", product="Anna's stick")
    tree.write("proc/net/wireless", f"Inter-| sta-|\n wlp2s0: 0000   70.  -40.  -256  {NETWORK_NAME}")
    told = json.dumps(msgspec.to_builtins(read(tree, proc=tree.root / "proc")))
    for secret in (SERIAL, ADDRESS, "wlp2s0", "Anna", "Tidewater", "nvme0n1", "4711", str(tmp_path)):
        assert secret not in told
    assert hashed_mark("TW-1042", SERIAL) in told
    assert hashed_mark("TW-1057", SERIAL) not in told


def test_a_record_holds_no_mark(tmp_path: Path) -> None:
    bare = without_marks(read(laptop(tmp_path)))
    assert all(item.mark is None for item in bare.items)
    assert hashed_mark("TW-1042", SERIAL) not in json.dumps(msgspec.to_builtins(bare))


def test_a_bus_numbered_anew_is_no_finding(tmp_path: Path) -> None:
    before = read(laptop(tmp_path / "before"))
    after = read(laptop(tmp_path / "after", card="0000:03:00.0", camera="1-7", monitor=9))
    assert compare(before, after) == Differences()


@pytest.mark.parametrize(
    ("removable", "interface", "volatile"),
    [
        ("removable", "0e", True),
        ("fixed", "08", False),
        (None, "08", True),
        ("unknown", "0e", False),
        (None, "e0", False),
        (None, "03", True),
        (None, "ff", False),
    ],
)
def test_what_hangs_on_an_outside_port_comes_and_goes(
    tmp_path: Path, *, removable: str | None, interface: str, volatile: bool
) -> None:
    tree = SysfsTree(tmp_path)
    tree.usb("1-2", ids="ff03:0001", interface=interface, removable=removable, product="a thing")
    (item,) = read(tree).items
    assert (item.volatile, item.name) == (volatile, "" if volatile else "a thing")


def test_a_telephone_that_lends_its_network_is_no_built_in_radio(tmp_path: Path) -> None:
    # USB-IF defined class codes, E0h: subclass 01h with protocol 01h is Bluetooth, with 03h Remote NDIS.
    tree = SysfsTree(tmp_path)
    way = tree.usb("1-2", ids="ff03:0001", interface="e0", product="Anna's telephone")
    tree.write(f"devices/{way}/1-2:1.0/bInterfaceProtocol", "03")
    (item,) = read(tree).items
    assert (item.kind, item.volatile, item.name) == (ItemKind.USB_DEVICE, True, "")


def test_keys_that_a_program_makes_up_are_no_part(tmp_path: Path) -> None:
    tree = SysfsTree(tmp_path)
    tree.input("input9", way="virtual", ids="0003:0001:0001", title="made up", key=KEYBOARD_KEYS)
    assert read(tree).items == ()


def test_lines_of_two_drives_of_one_make_stand_in_one_order_however_the_bus_is_numbered(
    tmp_path: Path,
) -> None:
    told = []
    for name, widths in {"before": ("2", "4"), "after": ("4", "2")}.items():
        tree = SysfsTree(tmp_path / name)
        for place, width in enumerate(widths):
            address = f"0000:0{place + 1}:00.0"
            tree.pci(
                address, code="010802", ids=DRIVE, current_link_width=width, current_link_speed="8.0 GT/s"
            )
        told.append([link.width for link in read(tree).links])
    assert told == [[2, 4], [2, 4]]


def test_a_folder_that_cannot_be_listed_is_a_reason_and_not_a_loss(tmp_path: Path) -> None:
    tree = laptop(tmp_path)
    before = read(tree)
    for link in (tmp_path / "bus/usb/devices").iterdir():
        link.unlink()
    (tmp_path / "bus/usb/devices").rmdir()
    (tmp_path / "bus/usb/devices").write_text("")
    now = read(tree)
    assert "usb" in now.reasons
    found = compare(before, now)
    assert (found.missing, [item.kind for item in found.unread]) == ((), [ItemKind.CAMERA])


def test_an_empty_tree_tells_nothing_and_why(tmp_path: Path) -> None:
    told = read(SysfsTree(tmp_path))
    assert told.items == ()
    fields = ("items", "memory_bytes", "modules", "channels", "cpus", "clock_ahead_s", "panels")
    assert all(told.reasons[field].endswith(".") for field in fields)


def test_every_file_failing_is_no_crash(tmp_path: Path) -> None:
    tree = laptop(tmp_path)
    told = read(tree, failing_fetch({"": errno.EIO}))
    assert told.memory_bytes is None
    found = compare(read(tree), told)
    gone = {item.kind for item in found.unread}
    assert {ItemKind.CAMERA, ItemKind.PANEL, ItemKind.BATTERY, ItemKind.GRAPHICS} <= gone
    assert not {ItemKind.CAMERA, ItemKind.PANEL, ItemKind.BATTERY} & {item.kind for item in found.missing}


# Radio.


@pytest.mark.parametrize(
    ("line", "dbm"),
    [
        (" wlan0: 0000   70.  -40.  -256        0      0", -40.0),
        (" wlan0: 0000   70.  203.   0        0      0", -53.0),
        (" wlan0: 0000    0     0     0        0      0", None),
        (" wlan0: 0000    0. -256.  -256       0      0", None),
        ("", None),
    ],
    ids=["signed", "256-above", "zero", "placeholder", "not-joined"],
)
def test_radio_level(tmp_path: Path, line: str, dbm: float | None) -> None:
    tree = laptop(tmp_path)
    head = "Inter-| sta-| Quality | Discarded\n face | tus | link level noise | nwid\n"
    tree.write("proc/net/wireless", head + line)
    (radio,) = read(tree, proc=tmp_path / "proc").radios
    assert radio.dbm == dbm
    assert (radio.reason is None) == (dbm is not None)


def test_a_radio_switched_off_is_said(tmp_path: Path) -> None:
    tree = laptop(tmp_path)
    tree.radio_switch(1, "wlan", hard="1")
    (radio,) = read(tree).radios
    assert "switched off" in (radio.reason or "")
    assert [(block.type, block.soft, block.hard) for block in read(tree).blocks] == [("wlan", False, True)]


# Panel. Timings: CTA-861 video codes 16 (1920 x 1080, 60 Hz) and 4 (1280 x 720, 60 Hz), 148.5 and 74.25 MHz.


@pytest.mark.parametrize(
    ("description", "panel"),
    [
        (edid(), Panel(maker="FNL", product=0x1501, width_px=1920, height_px=1080, refresh_hz=60.0, bits=8)),
        (
            edid("ABC", 7, clock_khz=74250, active=(1280, 720), blank=(370, 30), bits=6),
            Panel(maker="ABC", product=7, width_px=1280, height_px=720, refresh_hz=60.0, bits=6),
        ),
    ],
)
def test_panel_description(description: bytes, panel: Panel) -> None:
    assert panel_of(description) == panel


@pytest.mark.parametrize("cut", range(128))
def test_a_description_cut_short_is_none(cut: int) -> None:
    assert isinstance(panel_of(edid()[:cut]), str)


@pytest.mark.parametrize("byte", range(128))
def test_a_flipped_bit_of_a_description_is_found_by_its_sum(byte: int) -> None:
    damaged = bytearray(edid())
    damaged[byte] ^= 0x10
    assert isinstance(panel_of(bytes(damaged)), str)


def test_one_panel_on_two_graphics_chips_is_one(tmp_path: Path) -> None:
    tree = SysfsTree(tmp_path)
    tree.panel("card0-eDP-1", edid())
    tree.panel("card1-eDP-2", b"")
    tree.panel("card1-HDMI-A-1", edid("XYZ", 3))
    told = read(tree)
    assert (len(told.panels), identities(told, ItemKind.PANEL)) == (1, ["FNL 1501"])
    assert "panels" not in told.reasons


# Memory modules. Layout: SMBIOS (DMTF DSP0134), section 7.18.


def module(size: int, *, extended_mib: int = 0, slot: str = "ChannelA-DIMM0", bank: str = "BANK 0") -> bytes:
    entry = bytearray(0x28)
    entry[0], entry[1] = 17, 0x28
    entry[0x0C:0x0E] = size.to_bytes(2, "little")
    entry[0x10], entry[0x11] = 1, 2
    entry[0x15:0x17] = (3200).to_bytes(2, "little")
    entry[0x1C:0x20] = extended_mib.to_bytes(4, "little")
    entry[0x20:0x22] = (2933).to_bytes(2, "little")
    return bytes(entry) + f"{slot}\0{bank}\0\0".encode()


@pytest.mark.parametrize(
    ("raw", "size_bytes", "channel"),
    [
        (module(8192), 8 << 30, "a"),
        (module(0x7FFF, extended_mib=65536), 64 << 30, "a"),
        (module(0x8000 | 512), 512 << 10, "a"),
        (module(8192, slot="DIMM 1", bank="P0 CHANNEL B"), 8 << 30, "b"),
        (module(8192, slot="DIMM 1", bank="BANK 0"), 8 << 30, None),
        (module(8192, slot="Controller1-ChannelA-DIMM0"), 8 << 30, "1a"),
    ],
    ids=["mib", "extended", "kib", "channel-in-the-bank", "no-channel", "second-controller"],
)
def test_module(raw: bytes, size_bytes: int, channel: str | None) -> None:
    told = module_of(raw)
    assert isinstance(told, tuple)
    assert (told[0].size_bytes, told[0].speed_mts, told[1]) == (size_bytes, 2933, channel)


def test_an_empty_slot_is_no_module_and_a_damaged_entry_says_so() -> None:
    assert module_of(module(0)) is None
    assert isinstance(module_of(module(0xFFFF)), str)
    for cut in range(0x15):
        assert isinstance(module_of(module(8192)[:cut]), str)


def test_modules_and_channels_are_counted(tmp_path: Path) -> None:
    tree = SysfsTree(tmp_path)
    tree.write("firmware/dmi/entries/17-0/raw", module(8192))
    tree.write("firmware/dmi/entries/17-1/raw", module(8192, slot="ChannelB-DIMM0"))
    tree.write("firmware/dmi/entries/17-2/raw", module(0, slot="ChannelB-DIMM1"))
    told = read(tree)
    assert told.channels == 2
    assert told.modules[1] == MemoryModule(slot="ChannelB-DIMM0", size_bytes=8 << 30, speed_mts=2933)


def test_modules_that_only_an_administrator_may_read_are_unknown(tmp_path: Path) -> None:
    tree = SysfsTree(tmp_path)
    tree.write("firmware/dmi/entries/17-0/raw", module(8192))
    told = read(tree, failing_fetch({"17-0/raw": errno.EACCES}))
    assert (told.modules, told.channels) == ((), None)
    assert "administrator" in told.reasons["channels"]


def test_memory_and_clock(tmp_path: Path) -> None:
    tree = SysfsTree(tmp_path)
    tree.write("proc/meminfo", "MemTotal:       16110616 kB\nMemFree:  1 kB")
    tree.write("class/rtc/rtc0/since_epoch", str(int(START.timestamp()) + 3600))
    told = read(tree, proc=tmp_path / "proc")
    assert told.memory_bytes == 16110616 * 1024
    assert told.clock_ahead_s == 3600.0
