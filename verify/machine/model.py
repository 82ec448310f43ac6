"""What a machine can tell: the frozen types that every back end returns, and the interface itself.

Units stand in the names. Unknown is None, and `reasons` of the same object says why, under the field's
name. A value with a reason beside it is doubted, unless `estimated` names the field: then it was
converted (charge to energy by the design voltage) and the reason says how.
"""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Protocol

import msgspec

from verify.machine.inventory import Inventory
from verify.values import Clock, Instant

NO_BATTERY = (
    "No battery is visible to the system. If one is fitted, shut down, take off the charger, "
    "and check its connector."
)
"""What a sample says under "batteries" where the system can be asked and shows none."""

CHARGING_OFF = "Charging is switched off by a setting of the system"
"""How the doubt of a pack's state begins where the system itself keeps the pack from charging."""

FULL_YET_FLOWS = "It says full, and still"
"""How the doubt of a pack's state begins where power flows into a pack that calls itself full."""


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
        reason = self.reasons.get(field)
        if reason is None or field in self.estimated or getattr(self, field) is None:
            return None
        return reason


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


def _unknown() -> None:
    return None


def _no_reasons() -> Mapping[str, str]:
    return {}


class Cpu(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The processor: load 0 to 1 over the time since the last sample, clock in MHz.

    frequency_base_mhz: the clock that all cores hold at full load for ever, as the processor states it.
    throttle_count: how often it took its clock back for heat since the start; only a difference tells.
    """

    # Made by functions, so that these are written even when unknown, as in older traces.
    logical_cores: int | None = msgspec.field(default_factory=_unknown)
    load: float | None = msgspec.field(default_factory=_unknown)
    frequency_mhz: float | None = msgspec.field(default_factory=_unknown)
    frequency_max_mhz: float | None = msgspec.field(default_factory=_unknown)
    frequency_base_mhz: float | None = None
    throttle_count: int | None = None
    reasons: Mapping[str, str] = msgspec.field(default_factory=_no_reasons)


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


def _nothing() -> tuple[()]:
    return ()


def _no_processor() -> Cpu:
    return Cpu()


class Sample(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Everything a watch needs, read at one instant.

    lid_open: None where no lid switch tells it. inventory: only where it was asked for.
    reasons: why a whole group is empty, under "batteries", "adapters", "temperatures", "fans", "lid".
    """

    at: Instant
    # Made by functions, so that these are written even when empty: only an unknown lid is left out.
    packs: tuple[Pack, ...] = msgspec.field(default_factory=_nothing)
    adapters: tuple[Adapter, ...] = msgspec.field(default_factory=_nothing)
    temperatures: tuple[Temperature, ...] = msgspec.field(default_factory=_nothing)
    fans: tuple[Fan, ...] = msgspec.field(default_factory=_nothing)
    cpu: Cpu = msgspec.field(default_factory=_no_processor)
    reasons: Mapping[str, str] = msgspec.field(default_factory=_no_reasons)
    lid_open: bool | None = None
    inventory: Inventory | None = None

    @property
    def charger_seen(self) -> bool | None:
        """Whether any adapter gives power; None where that cannot be told."""
        return gives_power(self.adapters)


class Load(Protocol):
    """A full load on all cores, under a lease that only fresh, cool readings renew."""

    @property
    def running(self) -> bool:
        """Whether it still works."""
        ...

    @property
    def why_ended(self) -> str:
        """One sentence on why it ended; empty while it runs."""
        ...

    def renew(self, sample: Sample) -> bool:
        """Renew the lease by a fresh sample that allows it, else end the load; return `running`.

        The lease holds for 3 s from the sample's own instant: sample and renew once a second. The same
        sample renews only once.
        """
        ...

    def stop(self) -> None:
        """End it, and wait until nothing of it is left; again and again is allowed."""
        ...


class Awake(Protocol):
    """The computer kept from going to sleep, as far as the system lets itself be asked."""

    @property
    def held(self) -> bool:
        """Whether it is kept awake now."""
        ...

    @property
    def why_not(self) -> str:
        """What to set by hand, in one or two sentences; empty while it is held."""
        ...

    def release(self) -> None:
        """Let it sleep again; again and again is allowed."""
        ...


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

    def marks(self) -> Mapping[str, str]:
        """Read the marks that tell this one machine from others of its model, by name; may be empty.

        For instance "board", "network 1", "storage 1". Never of what is plugged in from outside.
        """
        ...

    def inventory(self, *, salt: str) -> Inventory:
        """Read what the machine has. Takes up to a second; nothing is written, no serial is told.

        salt: what serials are hashed with, so that they can be compared under the same salt only.
        """
        ...

    def start_load(self, *, longest_s: float) -> Load:
        """Make ready to load all cores of this computer, for at most longest_s (above 0), and return.

        Nothing works before the first `renew`, which must come within 3 s. Call it on a thread that
        outlives the load: on Linux the load dies with the thread that started it.
        Raises MachineError where no load can be started.
        """
        ...

    def keep_awake(self, why: str) -> Awake:
        """Keep this computer from going to sleep; why: a short phrase that the system may show."""
        ...
