"""What a machine can tell: the frozen types that every back end returns, and the interface itself.

Units stand in the names. Unknown is None, and `reasons` of the same object says why, under the field's
name. A value with a reason beside it is doubted, unless `estimated` names the field: then it was
converted (charge to energy by the design voltage) and the reason says how.
"""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Protocol

import msgspec

from verify.values import Clock, Instant

NO_BATTERY = (
    "No battery is visible to the system. If one is fitted, shut down, take off the charger, "
    "and check its connector."
)
"""What a sample says under "batteries" where the system can be asked and shows none."""

CHARGING_OFF = "Charging is switched off by a setting of the system"
"""How the doubt of a pack's state begins where the system itself keeps the pack from charging."""


class PackState(StrEnum):
    """What a pack is doing, after the firmware's contradictions were resolved."""

    CHARGING = "charging"
    DISCHARGING = "discharging"
    FULL = "full"
    HOLDING = "holding"
    UNKNOWN = "unknown"


class Pack(msgspec.Struct, frozen=True, kw_only=True):
    """One battery pack, read once.

    state_of_charge: 0 to 1 (a raw level above full is kept in `raw`). power_w, current_a: into the pack
    positive. charge_limit: 0 to 1, where charging stops, None where no limit is visible.
    raw: the strings as the system gave them, by attribute.
    """

    name: str
    state: PackState = PackState.UNKNOWN
    state_of_charge: float | None = None
    remaining_wh: float | None = None
    full_charge_wh: float | None = None
    design_wh: float | None = None
    power_w: float | None = None
    voltage_v: float | None = None
    design_voltage_v: float | None = None
    current_a: float | None = None
    cycle_count: int | None = None
    temperature_c: float | None = None
    manufacturer: str | None = None
    model: str | None = None
    serial: str | None = None
    technology: str | None = None
    charge_limit: float | None = None
    reasons: Mapping[str, str] = {}
    estimated: tuple[str, ...] = ()
    raw: Mapping[str, str] = {}

    @property
    def health(self) -> float | None:
        """Full charge over design capacity, both as the pack's gauge reports them; not clamped."""
        if self.full_charge_wh is None or not self.design_wh:
            return None
        return self.full_charge_wh / self.design_wh

    def doubt(self, field: str) -> str | None:
        """Return why the field's value is doubted, or None where it is unknown, sound or estimated."""
        if field in self.estimated or getattr(self, field) is None:
            return None
        return self.reasons.get(field)


class Adapter(msgspec.Struct, frozen=True, kw_only=True):
    """One charger input; online None where it cannot be read."""

    name: str
    online: bool | None


def gives_power(adapters: Iterable[Adapter]) -> bool | None:
    """Tell whether any input gives power; None where none says so and one of them cannot be read."""
    online = [adapter.online for adapter in adapters]
    if any(online):
        return True
    return None if None in online or not online else False


class Temperature(msgspec.Struct, frozen=True, kw_only=True):
    """One temperature sensor, in °C; high and critical are the driver's limits."""

    chip: str
    label: str
    celsius: float | None
    high: float | None = None
    critical: float | None = None
    reason: str | None = None


class Fan(msgspec.Struct, frozen=True, kw_only=True):
    """One fan, in revolutions per minute; 0 means it stands still or cannot be read."""

    chip: str
    label: str
    rpm: int | None
    reason: str | None = None


class Cpu(msgspec.Struct, frozen=True, kw_only=True):
    """The processor: load 0 to 1 over the time since the last sample, clock in MHz."""

    logical_cores: int | None = None
    load: float | None = None
    frequency_mhz: float | None = None
    frequency_max_mhz: float | None = None
    reasons: Mapping[str, str] = {}


class Identity(msgspec.Struct, frozen=True, kw_only=True):
    """Which machine this is, as its firmware says; virtual None where that cannot be told."""

    maker: str | None = None
    model: str | None = None
    version: str | None = None
    serial: str | None = None
    board: str | None = None
    firmware: str | None = None
    chassis: str | None = None
    virtual: bool | None = None
    system: str
    reasons: Mapping[str, str] = {}


class Sample(msgspec.Struct, frozen=True, kw_only=True):
    """Everything a watch needs, read at one instant.

    reasons: why a whole group is empty, under "batteries", "adapters", "temperatures", "fans".
    """

    at: Instant
    packs: tuple[Pack, ...] = ()
    adapters: tuple[Adapter, ...] = ()
    temperatures: tuple[Temperature, ...] = ()
    fans: tuple[Fan, ...] = ()
    cpu: Cpu = Cpu()
    reasons: Mapping[str, str] = {}

    @property
    def charger_seen(self) -> bool | None:
        """Whether any adapter gives power; None where that cannot be told."""
        return gives_power(self.adapters)


class Machine(Protocol):
    """A machine that can be read. Never raises for a missing sensor: it answers None with a reason."""

    name: str
    """Which back end reads: "linux", "psutil", "simulated"."""

    simulated: bool
    """True where nothing real is read; whatever comes of it is never an acceptance."""

    clock: Clock
    """The clock that stamps the samples."""

    def identity(self) -> Identity:
        """Read who the machine is. Slow fields allowed; called once a session."""
        ...

    def sample(self) -> Sample:
        """Read everything a watch needs, once."""
        ...
