"""A sound simulated machine, seen through a tree of files that may tell nonsense of it.

Its physics is that of the simulated machine. With each look its true state is written into a tree laid out
like /sys and /proc, a row's `dirt` changes what is written, and the unmodified Linux back end reads it.
Simulated, as no laptop with such firmware can run here: the files, and the code that reads them, are real.
"""

import errno
from collections.abc import Callable, Mapping
from pathlib import Path

import msgspec

from verify.checklist import Check, Step
from verify.machine import Awake, Load, Pack, PackState, Sample
from verify.machine.linux import LinuxMachine
from verify.machine.simulated import LARKSPUR_15, SimulatedDesign, SimulatedMachine
from verify.machine.sysfs import fetch_bytes
from verify.probe import Want
from verify.testing.sysfs_tree import SysfsTree
from verify.values import VirtualClock

__all__ = ["Dirt", "SeenBench", "Tells", "charge_files", "energy_files"]

_STATUS = {
    PackState.CHARGING: "Charging",
    PackState.DISCHARGING: "Discharging",
    PackState.FULL: "Full",
    PackState.HOLDING: "Not charging",
    PackState.UNKNOWN: "Unknown",
}
_TICKS = 800  # a second on 8 cores, in 10 ms
_MEMORY_KIB = 16_100_000
_LEVEL_LINE = "wlan0: 0000   60.  -44.  -256        0      0      0      0     12        0\n"


class Tells(msgspec.Struct, kw_only=True):
    """What is to be written at one look; `dirt` changes it.

    at_s: virtual time. since_plug_s: since the charger was last put in or pulled out. true: the truth.
    supplies: attributes by supply; monitors: files by chip, in the order of their numbers. errors: path end →
    errno, for a file that exists and fails. again: path end → what the first read of a look gives.
    kept: what the dirt keeps from look to look.
    """

    at_s: float
    since_plug_s: float
    look: int
    charger_in: bool
    true: Sample
    pack: Pack
    supplies: dict[str, dict[str, str]]
    monitors: dict[str, dict[str, str]]
    errors: dict[str, int] = {}
    again: dict[str, bytes] = {}
    kept: dict[str, float] = {}


Dirt = Callable[[Tells], None]


def energy_files(pack: Pack) -> dict[str, str]:
    """Return what a sound driver tells of the pack, in energy."""
    return {
        "type": "Battery",
        "status": _STATUS[pack.state],
        "present": "1",
        "technology": "Li-ion",
        "cycle_count": str(pack.cycle_count or 0),
        "voltage_min_design": _millionths(pack.design_voltage_v),
        "voltage_now": _millionths(pack.voltage_v),
        "power_now": _millionths(abs(pack.power_w or 0.0)),
        "energy_full_design": _millionths(pack.design_wh),
        "energy_full": _millionths(pack.full_charge_wh),
        "energy_now": _millionths(pack.remaining_wh),
        "capacity": str(round(100 * (pack.state_of_charge or 0.0))),
        "capacity_level": "Normal",
        "manufacturer": pack.manufacturer or "",
        "model_name": pack.model or "",
        "serial_number": pack.serial or "",
    }


def charge_files(pack: Pack) -> dict[str, str]:
    """Return what a sound driver tells of the pack, in charge."""
    volts = pack.design_voltage_v or 1.0
    told = {key: text for key, text in energy_files(pack).items() if not key.startswith(("energy", "power"))}
    return {
        **told,
        "current_now": _millionths(abs(pack.current_a or 0.0)),
        "charge_full_design": _millionths((pack.design_wh or 0.0) / volts),
        "charge_full": _millionths((pack.full_charge_wh or 0.0) / volts),
        "charge_now": _millionths((pack.remaining_wh or 0.0) / volts),
    }


def _millionths(value: float | None) -> str:
    return str(round((value or 0.0) * 1e6))


def _no_dirt(tells: Tells) -> None:
    del tells


class _Seen(LinuxMachine):
    """The Linux back end on the tree; before each look the tree is written anew."""

    def __init__(self, root: Path, clock: VirtualClock, true: SimulatedMachine) -> None:
        self._tree, self._proc_root = SysfsTree(root / "sys"), root / "proc"
        self.true = true
        self.dirt: Dirt = _no_dirt
        self._written: dict[Path, str] = {}
        self._files: dict[str, frozenset[str]] = {}
        self._errors: Mapping[str, int] = {}
        self._again: dict[str, bytes] = {}
        self._ticks = self._idle = 0.0
        self._looks = 0
        self._kept: dict[str, float] = {}
        self._before_s = self._plugged_at_s = clock.now().elapsed_s
        self._charger_in = False
        self._still_parts()
        super().__init__(sysfs=self._tree.root, clock=clock, fetch=self._fetch_as_told, proc=self._proc_root)
        self._write_look()

    def sample(self) -> Sample:
        """Write what there is to see, and read it as any Linux machine."""
        self._write_look()
        return super().sample()

    def start_load(self, *, longest_s: float) -> Load:
        """Load the simulated processor, not this computer's."""
        return self.true.start_load(longest_s=longest_s)

    def keep_awake(self, why: str) -> Awake:
        """Leave this computer alone."""
        return self.true.keep_awake(why)

    def _still_parts(self) -> None:
        tree = self._tree
        tree.firmware(sys_vendor="Fennel", product_name="Larkspur 15", chassis_type="10", bios_version="1.07")
        tree.cpu(online="0-7", now_khz="1100000", max_khz="3600000", base_khz="2400000", throttled="0")
        way = tree.pci("0000:00:14.3", code="028000", ids="ff01:0a01:ff01:0001")
        tree.device("net", "wlan0", way=way, wireless__status="0", address="00:00:5e:00:53:15")
        tree.radio_switch(0, "wlan")
        for path, text in {
            "meminfo": f"MemTotal:       {_MEMORY_KIB} kB\n",
            "net/wireless": f"Inter-| sta-|   Quality\n face | tus | link level noise\n {_LEVEL_LINE}",
            "acpi/button/lid/LID/state": "state:      open\n",
        }.items():
            self._write(self._proc_root / path, text)

    def _write_look(self) -> None:
        true = self.true.sample()
        now_s = true.at.elapsed_s
        charger_in = any(adapter.online for adapter in true.adapters)
        if charger_in is not self._charger_in:
            self._charger_in, self._plugged_at_s = charger_in, now_s
        cpu = "devices/system/cpu/cpu0"
        self._tree.write(f"{cpu}/cpufreq/scaling_cur_freq", f"{1000 * (true.cpu.frequency_mhz or 0):.0f}")
        count = f"{true.cpu.throttle_count or 0}"
        self._tree.write(f"{cpu}/thermal_throttle/package_throttle_count", count)
        self._count_ticks(now_s - self._before_s, true.cpu.load or 0.0)
        clock = self._tree.root / "class/rtc/rtc0/since_epoch"
        self._write(clock, f"{int(true.at.wall.timestamp())}\n")
        self._before_s = now_s
        pack = true.packs[0] if true.packs else Pack(name="none")
        tells = Tells(
            at_s=now_s,
            since_plug_s=now_s - self._plugged_at_s,
            look=self._looks,
            charger_in=charger_in,
            true=true,
            pack=pack,
            supplies={
                "AC": {"type": "Mains", "online": "1" if charger_in else "0"},
                **({"BAT0": energy_files(pack)} if true.packs else {}),
            },
            monitors=_monitors(true),
            kept=self._kept,
        )
        self.dirt(tells)
        self._looks += 1
        self._errors, self._again = tells.errors, dict(tells.again)
        for name in self._files.keys() - tells.supplies.keys():
            self._remove(name)
        for name, attributes in tells.supplies.items():
            self._write_supply(name, attributes)
        hwmon = self._tree.root / "class/hwmon"
        wanted = {
            hwmon / f"hwmon{index}" / file: f"{text}\n"
            for index, (chip, files) in enumerate(tells.monitors.items())
            for file, text in {"name": chip, **files}.items()
        }
        for path in [path for path in self._written if path.parent.parent == hwmon and path not in wanted]:
            path.unlink()
            del self._written[path]
        for path, text in wanted.items():
            self._write(path, text)

    def _count_ticks(self, seconds: float, load: float) -> None:
        self._ticks += _TICKS * seconds
        self._idle += _TICKS * seconds * (1 - load)
        busy = round(self._ticks - self._idle)
        self._write(self._proc_root / "stat", f"cpu  {busy} 0 0 {round(self._idle)} 0 0 0 0 0 0\n")

    def _write_supply(self, name: str, attributes: Mapping[str, str]) -> None:
        if self._files.get(name) != frozenset(attributes):
            # The driver registered anew: other files than before.
            self._remove(name)
            self._files[name] = frozenset(attributes)
        folder = self._tree.root / "class/power_supply" / name
        failing = {attribute for attribute in attributes if f"{name}/{attribute}" in self._errors}
        for attribute, text in attributes.items():
            self._write(folder / attribute, f"{text}\n")
        # What cannot be read has no line there.
        lines = (
            f"POWER_SUPPLY_{attribute.upper()}={text}\n"
            for attribute, text in attributes.items()
            if attribute not in failing and attribute != "type"
        )
        self._write(folder / "uevent", f"POWER_SUPPLY_NAME={name}\n{''.join(lines)}")

    def _remove(self, name: str) -> None:
        self._tree.remove_supply(name)
        self._files.pop(name, None)
        folder = self._tree.root / "class/power_supply" / name
        self._written = {path: text for path, text in self._written.items() if path.parent != folder}

    def _write(self, path: Path, text: str) -> None:
        if self._written.get(path) != text:
            if path not in self._written:
                path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(text.encode("utf-8", "surrogateescape"))
            self._written[path] = text

    def _fetch_as_told(self, path: str) -> bytes:
        for end, code in self._errors.items():
            if path.endswith(end):
                raise OSError(code, errno.errorcode[code], path)
        for end in self._again:
            if path.endswith(end):
                return self._again.pop(end)
        return fetch_bytes(path)


def _monitors(true: Sample) -> dict[str, dict[str, str]]:
    """Return the files of a sound machine's monitors: processor, drive, firmware, two fans."""
    by_chip = {sensor.chip: sensor for sensor in true.temperatures}
    processor, board = by_chip.get("cpu_thermal"), by_chip.get("acpitz")
    found: dict[str, dict[str, str]] = {}
    if processor is not None and processor.celsius is not None:
        found["coretemp"] = {
            "temp1_input": str(round(processor.celsius * 1000)),
            "temp1_label": "Package id 0",
            "temp1_max": str(round((processor.high or 0) * 1000)),
            "temp1_crit": str(round((processor.critical or 0) * 1000)),
        }
    found["nvme"] = {
        "temp1_input": "36850",
        "temp1_label": "Composite",
        "temp1_max": "81850",
        "temp1_crit": "84850",
    }
    if board is not None and board.celsius is not None:
        found["acpitz"] = {"temp1_input": str(round(board.celsius * 1000)), "temp1_crit": "105000"}
    found["ecfan"] = {f"fan{index}_input": str(fan.rpm) for index, fan in enumerate(true.fans, start=1)}
    return found


class SeenBench:
    """The machine, and hands that do at once what steps and checks need."""

    def __init__(
        self,
        root: Path,
        clock: VirtualClock,
        *,
        faults: Mapping[str, str] = {},
        design: SimulatedDesign = LARKSPUR_15,
        level: float = 0.9,
    ) -> None:
        """root: an empty folder. level: of the pack at the start, 0 to 1."""
        self.clock = clock
        self.true = SimulatedMachine(clock=clock, faults=faults, description=design, level=level)
        self.machine = _Seen(root, clock, self.true)

    def let(self, dirt: Dirt | None) -> None:
        """Let this be told from now on; None: the truth."""
        self.machine.dirt = dirt or _no_dirt

    def did(self, step: Step) -> None:
        """Put the charger in and start the machine where the step says so."""
        if step.id == "charge":
            self.true.plug_in()
            self.true.start_again()

    def give(self, want: Want) -> None:
        """Do what a running check asks for."""
        self.true.obey(want)

    def takes_s(self, check: Check) -> float:
        """Return 0: hands are not what is looked at here."""
        del check
        return 0.0
