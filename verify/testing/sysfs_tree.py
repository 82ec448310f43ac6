"""Make a tree laid out like /sys, out of plain files, for the real reader to read.

A file that fails to read cannot be made on a plain file system: a folder stands in its place (the read fails
with EISDIR). True ENODEV and EIO come from `failing_fetch`, which is given to the reader.
"""

import os
from collections.abc import Callable, Mapping
from pathlib import Path

from verify.machine.sysfs import fetch_bytes

__all__ = ["CHARGE_PACK", "ENERGY_PACK", "SysfsTree", "edid", "failing_fetch"]

# Invented packs of three cells in series (11.4 V): one that reports energy, one that reports charge.
ENERGY_PACK: Mapping[str, str] = {
    "type": "Battery",
    "status": "Discharging",
    "present": "1",
    "technology": "Li-ion",
    "cycle_count": "120",
    "voltage_min_design": "11400000",
    "voltage_now": "11650000",
    "power_now": "8200000",
    "energy_full_design": "57000000",
    "energy_full": "49870000",
    "energy_now": "31040000",
    "capacity": "62",
    "capacity_level": "Normal",
    "model_name": "LK-57",
    "manufacturer": "Fennel",
    "serial_number": "4711",
}
CHARGE_PACK: Mapping[str, str] = {
    **{key: value for key, value in ENERGY_PACK.items() if not key.startswith(("energy", "power"))},
    "current_now": "704000",
    "charge_full_design": "5000000",
    "charge_full": "4375000",
    "charge_now": "2723000",
}
# Made by drivers as files of their own, not as properties: no line in uevent.
_NOT_IN_UEVENT = ("type", "charge_start_threshold", "charge_stop_threshold")


class SysfsTree:
    """A tree below `root`, empty but for the folders that every system has."""

    def __init__(self, root: Path) -> None:
        self.root = root
        for folder in ("power_supply", "hwmon", "thermal"):
            (root / "class" / folder).mkdir(parents=True, exist_ok=True)

    def write(self, path: str, text: str | bytes) -> Path:
        """Write one file as it is, plus the line end that the kernel adds to text; path is below the root."""
        file = self.root / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(text if isinstance(text, bytes) else f"{text}\n".encode())
        return file

    def supply(
        self,
        name: str,
        attributes: Mapping[str, str],
        *,
        unreadable: tuple[str, ...] = (),
        uevent: bool = True,
    ) -> Path:
        """Make (or make anew) a power supply of exactly these attributes.

        unreadable: attributes whose file exists, fails to read, and stands in no uevent. uevent: whether
        there is such a file at all.
        """
        folder = self.root / "class" / "power_supply" / name
        self.remove_supply(name)
        folder.mkdir(parents=True)
        lines = [f"POWER_SUPPLY_NAME={name}"]
        for attribute, text in attributes.items():
            if attribute in unreadable:
                continue
            (folder / attribute).write_bytes(f"{text}\n".encode("utf-8", "surrogateescape"))
            if attribute not in _NOT_IN_UEVENT:
                lines.append(f"POWER_SUPPLY_{attribute.upper()}={text}")
        for attribute in unreadable:
            (folder / attribute).mkdir()
        if uevent:
            (folder / "uevent").write_bytes(
                "".join(f"{line}\n" for line in lines).encode("utf-8", "surrogateescape")
            )
        return folder

    def remove_supply(self, name: str) -> None:
        """Take a power supply away, as when a pack is pulled; nothing happens where there is none."""
        folder = self.root / "class" / "power_supply" / name
        if not folder.is_dir():
            return
        for file in folder.iterdir():
            file.rmdir() if file.is_dir() else file.unlink()
        folder.rmdir()

    def battery(
        self,
        name: str = "BAT0",
        *,
        base: Mapping[str, str] = ENERGY_PACK,
        without: tuple[str, ...] = (),
        unreadable: tuple[str, ...] = (),
        uevent: bool = True,
        **attributes: str,
    ) -> Path:
        """Make a pack like `base`, with some attributes changed, left out or unreadable."""
        wanted = {key: value for key, value in {**base, **attributes}.items() if key not in without}
        return self.supply(name, wanted, unreadable=unreadable, uevent=uevent)

    def adapter(self, name: str = "AC", *, online: str = "1", kind: str = "Mains", **attributes: str) -> Path:
        """Make a charger input."""
        return self.supply(name, {"type": kind, "online": online, **attributes})

    def hwmon(self, index: int, name: str, **files: str) -> Path:
        """Make a hardware monitor; files by name, for instance temp1_input="41000"."""
        folder = self.root / "class" / "hwmon" / f"hwmon{index}"
        folder.mkdir(parents=True, exist_ok=True)
        for file, text in {"name": name, **files}.items():
            (folder / file).write_text(f"{text}\n", encoding="utf-8")
        return folder

    def zone(self, index: int, kind: str, temp: str) -> None:
        """Make a thermal zone of the firmware; temp in thousandths of a degree."""
        self.write(f"class/thermal/thermal_zone{index}/type", kind)
        self.write(f"class/thermal/thermal_zone{index}/temp", temp)

    def firmware(self, **entries: str) -> None:
        """Fill the firmware's table of identities, for instance chassis_type="10"."""
        for entry, text in entries.items():
            self.write(f"class/dmi/id/{entry}", text)

    def cpu(
        self,
        *,
        online: str = "0-3",
        now_khz: str = "2400000",
        max_khz: str = "4200000",
        base_khz: str | None = None,
        throttled: str | None = None,
    ) -> None:
        """Make the processor's list of cores and its first policy; base clock and counts if given."""
        self.write("devices/system/cpu/online", online)
        self.write("devices/system/cpu/cpu0/cpufreq/scaling_cur_freq", now_khz)
        self.write("devices/system/cpu/cpu0/cpufreq/cpuinfo_max_freq", max_khz)
        if base_khz is not None:
            self.write("devices/system/cpu/cpu0/cpufreq/base_frequency", base_khz)
        if throttled is not None:
            for part, count in (("package", throttled), ("core", "0")):
                self.write(f"devices/system/cpu/cpu0/thermal_throttle/{part}_throttle_count", count)

    def device(self, kind: str, name: str, *, way: str, **files: str) -> Path:
        """Make a device of a class as the kernel does: a folder on its way through the buses, and links.

        kind: "net", "block". way: below devices, for instance "pci0000:00/0000:00:1c.0" or "virtual".
        files: by path below the device's folder, two underscores for a slash: device__serial="D-1".
        """
        parent = self.root / "devices" / way
        folder = parent / kind / name
        folder.mkdir(parents=True, exist_ok=True)
        if not way.startswith("virtual"):
            (folder / "device").symlink_to(parent)
        for file, text in files.items():
            path = folder / file.replace("__", "/")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(f"{text}\n", encoding="utf-8")
        (self.root / "class" / kind).mkdir(parents=True, exist_ok=True)
        (self.root / "class" / kind / name).symlink_to(folder)
        return folder

    def pci(self, address: str, *, code: str, ids: str, way: str = "pci0000:00", **files: str) -> str:
        """Make a device on the board's bus; return its way below devices.

        ids: vendor:device:subsystem vendor:subsystem device.
        code: the class code without "0x", six digits.
        """
        way = f"{way}/{address}"
        names = ("vendor", "device", "subsystem_vendor", "subsystem_device")
        told = dict(zip(names, (f"0x{number}" for number in ids.split(":")), strict=True))
        for file, text in {**told, "class": f"0x{code}", **files}.items():
            self.write(f"devices/{way}/{file}", text)
        self._link(f"bus/pci/devices/{address}", way)
        return way

    def usb(
        self, name: str, *, ids: str, interface: str, removable: str | None = None, product: str = ""
    ) -> str:
        """Make a device on USB; return its way below devices. interface: class code, two digits."""
        way = f"pci0000:00/0000:00:14.0/usb1/{name}"
        vendor, _, number = ids.partition(":")
        files = {"idVendor": vendor, "idProduct": number, "bDeviceClass": "00", "product": product}
        files[f"{name}:1.0/bInterfaceClass"] = interface
        if removable is not None:
            files["removable"] = removable
        for file, text in files.items():
            self.write(f"devices/{way}/{file}", text)
        self._link(f"bus/usb/devices/{name}", way)
        return way

    def input(self, name: str, *, way: str, ids: str, title: str = "", **bits: str) -> None:
        """Make an input device; ids: bus:vendor:product; bits: bitmaps as the kernel prints them, by file."""
        folder = f"{way}/input/{name}"
        told = dict(zip(("id/bustype", "id/vendor", "id/product"), ids.split(":"), strict=True))
        for file, text in {"name": title, **told}.items():
            self.write(f"devices/{folder}/{file}", text)
        for file, text in bits.items():
            path = file if file == "properties" else f"capabilities/{file}"
            self.write(f"devices/{folder}/{path}", text)
        self._link(f"class/input/{name}", folder)

    def panel(self, connector: str, description: bytes, *, status: str = "connected") -> None:
        """Make a connector of the graphics chip ("card0-eDP-1") with a panel's description."""
        self.write(f"class/drm/{connector}/status", status)
        self.write(f"class/drm/{connector}/edid", description)

    def radio_switch(self, index: int, kind: str, *, soft: str = "0", hard: str = "0") -> None:
        """Make a radio's switch; kind: "wlan", "bluetooth"."""
        for file, text in {"type": kind, "soft": soft, "hard": hard}.items():
            self.write(f"class/rfkill/rfkill{index}/{file}", text)

    def _link(self, path: str, way: str) -> None:
        link = self.root / path
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to(self.root / "devices" / way)

    def laptop(self) -> None:
        """Make a whole sound machine: a pack that charges, sensors, a fan, a firmware table."""
        self.firmware(sys_vendor="Fennel", product_name="Larkspur 15", chassis_type="10", bios_version="1.07")
        self.battery(status="Charging", power_now="28400000", voltage_now="12100000")
        self.adapter()
        self.hwmon(
            0,
            "coretemp",
            temp1_input="47000",
            temp1_label="Package id 0",
            temp1_max="100000",
            temp1_crit="100000",
            temp2_input="45000",
            temp2_label="Core 0",
            temp2_max="100000",
            temp2_crit="100000",
        )
        self.hwmon(
            1, "nvme", temp1_input="36850", temp1_label="Composite", temp1_max="81850", temp1_crit="84850"
        )
        self.hwmon(2, "acpitz", temp1_input="41000", temp1_crit="105000")
        self.hwmon(3, "ecfan", fan1_input="2310", fan1_label="fan")
        self.cpu()


def edid(
    maker: str = "FNL",
    product: int = 0x1501,
    *,
    clock_khz: int = 148500,
    active: tuple[int, int] = (1920, 1080),
    blank: tuple[int, int] = (280, 45),
    bits: int = 8,
) -> bytes:
    """Return a panel's description: base block, one detailed timing, right sum; everything else is zero.

    Unless told otherwise the timing is that of 1920 x 1080 at 60 Hz (CTA-861, video code 16).
    """
    block = bytearray(128)
    block[:8] = b"\x00\xff\xff\xff\xff\xff\xff\x00"
    packed = 0
    for letter in maker:
        packed = packed << 5 | ord(letter) - ord("@")
    block[8:10] = packed.to_bytes(2, "big")
    block[10:12] = product.to_bytes(2, "little")
    block[12:16] = b"\x11\x22\x33\x44"  # a serial number, which nobody may read
    block[20] = 0x80 | {6: 1, 8: 2, 10: 3}[bits] << 4
    (width, height), (blank_x, blank_y) = active, blank
    block[54:56] = (clock_khz // 10).to_bytes(2, "little")
    block[56:62] = bytes(
        (
            width & 0xFF,
            blank_x & 0xFF,
            width >> 8 << 4 | blank_x >> 8,
            height & 0xFF,
            blank_y & 0xFF,
            height >> 8 << 4 | blank_y >> 8,
        )
    )
    block[127] = -sum(block) % 256
    return bytes(block)


def failing_fetch(errors: Mapping[str, int]) -> Callable[[str], bytes]:
    """Return a way to fetch that raises for each path that ends as named; errors: path end → errno."""

    def fetch(path: str) -> bytes:
        for end, code in errors.items():
            if path.endswith(end):
                raise OSError(code, os.strerror(code), path)
        return fetch_bytes(path)

    return fetch
