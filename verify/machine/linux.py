"""The Linux back end: a sysfs root, which may be a given folder, and /proc of the machine itself."""

import os
from collections.abc import Callable, Mapping
from pathlib import Path

from verify.machine.firmware import Virtual, read_identity, read_virtual
from verify.machine.flow import Surroundings
from verify.machine.heat import HeatReader
from verify.machine.inventory import Inventory
from verify.machine.lid import read_lid
from verify.machine.marks import read_marks
from verify.machine.model import (
    NO_BATTERY,
    Adapter,
    Awake,
    Identity,
    Load,
    Pack,
    Sample,
    gives_power,
)
from verify.machine.pack import make_pack
from verify.machine.processor import CpuReader
from verify.machine.supply import Supplies, Supply, read_supplies
from verify.machine.sysfs import Sysfs, fetch_bytes, integer
from verify.values import Clock

__all__ = ["SYSFS_ROOT", "LinuxMachine", "why_not_linux"]

SYSFS_ROOT = Path("/sys")
_PROC = Path("/proc")

_NO_ADAPTER = "No charger input is visible to the system."


class LinuxMachine:
    """A machine that shows itself in a sysfs tree.

    sysfs: the root, /sys or a given folder. fetch: how a file is read; tests give one that fails.
    proc: where /proc is. The load, the processor's flags and the lid come from there; without it they are
    read only where the root is /sys: of the machine that a given folder came from, nothing else is known.
    Full load and keeping awake are of this computer, whatever the root is.
    """

    name = "linux"

    def __init__(
        self,
        *,
        sysfs: Path,
        clock: Clock,
        fetch: Callable[[str], bytes] = fetch_bytes,
        proc: Path | None = None,
    ) -> None:
        self.clock = clock
        self._own = sysfs == SYSFS_ROOT
        # A given folder may be anything: what is read from it is never an acceptance of this machine.
        self.simulated = not self._own
        self._sysfs = Sysfs(sysfs, fetch=fetch)
        if proc is None and self._own:
            proc = _PROC
        self._proc = None if proc is None else Sysfs(proc, fetch=fetch)
        self._heat = HeatReader(self._sysfs)
        self._cpu = CpuReader(self._sysfs, self._proc)
        self._virtual: Virtual | None = None

    def identity(self) -> Identity:
        """Read who the machine is."""
        system = "Linux"
        if self._own:
            kernel = os.uname()
            system = f"{kernel.sysname} {kernel.release}"
        return read_identity(self._sysfs, self._proc, system=system)

    def sample(self) -> Sample:
        """Read everything a watch needs, once."""
        at = self.clock.now()
        supplies = read_supplies(self._sysfs)
        adapters = tuple(_adapter(supply) for supply in supplies.adapters)
        packs = self._packs(supplies, adapters)
        temperatures, fans, reasons = self._heat.read(supplies.names)
        cpu = self._cpu.read()
        lid_open, why_no_lid = read_lid(self._proc)
        reasons.update(supplies.reasons)
        if not packs:
            reasons.setdefault("batteries", supplies.unsure or NO_BATTERY)
        if not adapters:
            reasons.setdefault("adapters", _NO_ADAPTER)
        if why_no_lid is not None:
            reasons["lid"] = why_no_lid
        return Sample(
            at=at,
            packs=packs,
            adapters=adapters,
            temperatures=temperatures,
            fans=fans,
            cpu=cpu,
            lid_open=lid_open,
            reasons=reasons,
        )

    def marks(self) -> Mapping[str, str]:
        """Read the marks that tell this one machine from others of its model."""
        return read_marks(self._sysfs)

    def inventory(self, *, salt: str) -> Inventory:
        """Read what the machine has."""
        from verify.machine.inventory.linux import read_inventory

        return read_inventory(self._sysfs, self._proc, at=self.clock.now(), salt=salt)

    def start_load(self, *, longest_s: float) -> Load:
        """Make ready to load all cores of this computer."""
        from verify.machine.load import ProcessLoad

        return ProcessLoad(self.clock, longest_s=longest_s)

    def keep_awake(self, why: str) -> Awake:
        """Keep this computer from going to sleep."""
        from verify.machine.awake import keep_awake

        return keep_awake(why)

    def _packs(self, supplies: Supplies, adapters: tuple[Adapter, ...]) -> tuple[Pack, ...]:
        if not supplies.packs:
            return ()
        charger_seen = gives_power(adapters)
        charger_w = max((_agreed_w(supply) for supply in supplies.adapters), default=0.0) or None
        if self._virtual is None:
            self._virtual = read_virtual(self._sysfs, self._proc)
        emulated = None
        if self._virtual.answer:
            emulated = f"{self._virtual.why} Its battery may not be a real one."
        feeding = [supply.name for supply in supplies.packs if supply.values.get("status") == "Discharging"]
        return tuple(
            make_pack(
                supply,
                Surroundings(
                    charger_seen=charger_seen,
                    charger_w=charger_w,
                    another_feeds=any(name != supply.name for name in feeding),
                    emulated=emulated,
                ),
            )
            for supply in supplies.packs
        )


def _adapter(supply: Supply) -> Adapter:
    # 0 is off, 1 a fixed and 2 a programmable supply (Linux Documentation/ABI/testing/sysfs-class-power).
    online = integer(supply.values.get("online", ""))
    return Adapter(name=supply.name, online=None if online not in (0, 1, 2) else online != 0)


def _agreed_w(supply: Supply) -> float:
    """Return the power that an input in use has agreed to give, in W; 0 where it does not say."""
    values = supply.values
    if values.get("online") in (None, "0"):
        return 0.0
    voltage, current = integer(values.get("voltage_max", "")), integer(values.get("current_max", ""))
    if voltage is None or current is None or voltage <= 0 or current <= 0:
        return 0.0
    return voltage / 1e6 * current / 1e6


def why_not_linux(root: Path) -> str | None:
    """Return why this back end cannot read the root, or None where it can."""
    return None if (root / "class").is_dir() else f"{root} has no folder “class”."
