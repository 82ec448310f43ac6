"""The processor's load, clock and count of throttlings, from /proc/stat and what the first core shows.

One core only: to ask every core for its clock wakes every core, and a watch must not warm what it measures.
The counts of throttling are numbers in memory and wake nothing; the package's is the same on every core, and
its sensor is the hottest core's, so the first core's two files tell what matters for two reads a look.
"""

import re

import msgspec

from verify.machine import bounds
from verify.machine.bounds import within
from verify.machine.model import Cpu
from verify.machine.sysfs import Missing, Sysfs

__all__ = ["CpuReader"]

_POLICY = "devices/system/cpu/cpu0/cpufreq"
_ONLINE = "devices/system/cpu/online"
# Linux Documentation/admin-guide/thermal/intel_thermal_throttle.rst: counters since the start of the system.
_THROTTLES = tuple(
    f"devices/system/cpu/cpu0/thermal_throttle/{part}_throttle_count" for part in ("package", "core")
)
# Linux Documentation/admin-guide/acpi/cppc_sysfs.rst: in MHz, what the processor holds for ever.
_NOMINAL = "devices/system/cpu/cpu0/acpi_cppc/nominal_freq"
_NOMINAL_IN_NAME = re.compile(r"^model name\s*:.*@ (\d{1,2}\.\d{1,3})GHz\s*$", re.ASCII | re.MULTILINE)
_NO_PROC = "A given folder tells no load."
# Fields of the "cpu" line (proc(5)): user nice system idle iowait irq softirq steal guest guest_nice.
_IDLE, _IOWAIT, _COUNTED = 3, 4, 8


class _Ticks(msgspec.Struct, frozen=True, kw_only=True):
    total: int
    idle: int


class CpuReader:
    """Reads load, clock and throttlings; keeps the last counters, as a load is the difference of two.

    proc: where /proc is; None where the sysfs root is not this machine's own.
    """

    def __init__(self, sysfs: Sysfs, proc: Sysfs | None) -> None:
        self._sysfs = sysfs
        self._proc = proc
        self._last: _Ticks | None = None
        self._cores = _count(sysfs.text(_ONLINE))
        self._max_mhz = _megahertz(sysfs.number(f"{_POLICY}/cpuinfo_max_freq"))
        self._base_mhz = self._base()
        # A processor that does not count is not asked again.
        self._throttles = tuple(path for path in _THROTTLES if not isinstance(sysfs.number(path), Missing))

    def read(self) -> Cpu:
        """Read once; the load is that since the reading before, None at the first."""
        reasons = {}
        load, why = self._load()
        if why is not None:
            reasons["load"] = why
        clock = self._sysfs.number(f"{_POLICY}/scaling_cur_freq")
        frequency_mhz = _megahertz(clock)
        if frequency_mhz is None:
            reasons["frequency_mhz"] = (
                f"No clock is shown. {clock.reason}"
                if isinstance(clock, Missing)
                else f"{clock} kHz cannot be."
            )
        if self._max_mhz is None:
            reasons["frequency_max_mhz"] = "No highest clock is shown."
        if self._base_mhz is None:
            reasons["frequency_base_mhz"] = "The system does not tell the processor's base clock."
        counts = [self._sysfs.number(path) for path in self._throttles]
        told = [count for count in counts if not isinstance(count, Missing) and count >= 0]
        throttle_count = sum(told) if told and len(told) == len(counts) else None
        if throttle_count is None:
            reasons["throttle_count"] = "The system does not count how often the clock was taken back."
        if self._cores is None:
            reasons["logical_cores"] = "The system does not list its cores."
        return Cpu(
            logical_cores=self._cores,
            load=load,
            frequency_mhz=frequency_mhz,
            frequency_max_mhz=self._max_mhz,
            frequency_base_mhz=self._base_mhz,
            throttle_count=throttle_count,
            reasons=reasons,
        )

    def _base(self) -> float | None:
        """Return the base clock in MHz: as the driver, the firmware or the processor's own name states it."""
        stated = _megahertz(self._sysfs.number(f"{_POLICY}/base_frequency"))
        if stated is not None:
            return stated
        nominal = self._sysfs.number(_NOMINAL)
        if not isinstance(nominal, Missing) and within(float(nominal), bounds.CLOCK_MHZ):
            return float(nominal)
        text = Missing(reason=_NO_PROC) if self._proc is None else self._proc.text("cpuinfo")
        name = None if isinstance(text, Missing) else _NOMINAL_IN_NAME.search(text)
        if name is None:
            return None
        megahertz = 1000 * float(name[1])
        return megahertz if within(megahertz, bounds.CLOCK_MHZ) else None

    def _load(self) -> tuple[float | None, str | None]:
        if self._proc is None:
            return None, _NO_PROC
        text = self._proc.text("stat")
        if isinstance(text, Missing):
            return None, text.reason
        ticks = _ticks(text)
        if ticks is None:
            return None, "The system's counters cannot be read."
        last, self._last = self._last, ticks
        if last is None:
            return None, "A load needs a second reading."
        total, idle = ticks.total - last.total, ticks.idle - last.idle
        if total <= 0 or not 0 <= idle <= total:
            # Both readings in one tick of 10 ms, or a counter that ran back (iowait may: proc(5)).
            return None, "Too soon after the reading before."
        return 1 - idle / total, None


def _ticks(text: str) -> _Ticks | None:
    name, *fields = text.partition("\n")[0].split()
    try:
        numbers = [int(field) for field in fields[:_COUNTED]]
    except ValueError:
        return None
    if name != "cpu" or len(numbers) <= _IOWAIT:
        return None
    return _Ticks(total=sum(numbers), idle=numbers[_IDLE] + numbers[_IOWAIT])


def _megahertz(kilohertz: int | Missing) -> float | None:
    if isinstance(kilohertz, Missing) or not within(kilohertz / 1000, bounds.CLOCK_MHZ):
        return None
    return kilohertz / 1000


def _count(online: str | Missing) -> int | None:
    """Count the cores of a list such as "0-3,6"."""
    if isinstance(online, Missing):
        return None
    count = 0
    for part in online.split(","):
        first, _, last = part.partition("-")
        if not (first.isdecimal() and (last or first).isdecimal()):
            return None
        count += int(last or first) - int(first) + 1
    return count if count > 0 else None
