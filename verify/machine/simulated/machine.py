"""A simulated machine: a thin, honest model on a virtual clock, for the demo, specimens and tests.

Nothing here is real: maker, models, serial numbers and magnitudes are invented. The state moves on, in
steps of at most 5 s, from the last look to the present one; the same seed, faults, hands and clock give
the same bytes. What a person does at the bench are methods: plug in, pull out, connect, disconnect, close
and open the lid.

A machine with neither pack nor charger is off and shows nothing, with that as the reason.
"""

import random
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from verify.machine.inventory import Inventory
from verify.machine.model import (
    NO_BATTERY,
    Adapter,
    Awake,
    Cpu,
    Fan,
    Identity,
    Load,
    Pack,
    Sample,
    Temperature,
)
from verify.machine.simulated.design import LARKSPUR_13, LARKSPUR_15, SimulatedDesign
from verify.machine.simulated.faults import ParsedFaults
from verify.machine.simulated.inventory import fan_labels, simulated_inventory
from verify.machine.simulated.load import NoSleep, SimulatedLoad
from verify.machine.simulated.pack import SimulatedPack
from verify.values import Clock, VirtualClock
from verify.values.errors import InvalidValueError, WrongUseError

__all__ = ["LARKSPUR_13", "LARKSPUR_15", "SimulatedDesign", "SimulatedMachine"]

_STEP_S = 5.0
_AMBIENT_C = 22.0

# A fanless floor of heat, then a fan that follows the processor's temperature [common practice, no source].
_PROCESSOR_K_PER_W = 2.6
_PROCESSOR_TAU_S = 60.0
# A processor that its heat sink does not touch: little to warm, and nowhere to go with the heat.
_LOOSE_K_PER_W = 6.5
_LOOSE_TAU_S = 3.0
_BOARD_SHARE = 0.55
_BOARD_TAU_S = 300.0
_FAN_FROM_C, _FAN_RPM_AT_START, _FAN_RPM_PER_K, _FAN_RPM_MAX = 40.0, 1900.0, 70.0, 4800.0
_FAN_TAU_S = 8.0
_PROCESSOR_SHARE_OF_LOAD = 0.75
_IDLE_SPREAD = 0.15
_LOAD_HOLDS_S = 60.0
_SECONDS_EACH_WAY = 5
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)  # where a clock begins that nothing has kept
_REST_S, _OFF_W = 24 * 3600.0, 0.04  # what a machine that is off draws [common practice, no source]

_LEAD_OFF = "-128 °C stands for “no sensor” or “no data”."
_NO_SENSORS = "This machine has no sensor that can be read."
_GONE = "The sensor went away while it was watched."
_PACK_GONE = "The battery's gauge went away while it was watched."
_CPU_FIELDS = ("logical_cores", "load", "frequency_mhz", "frequency_max_mhz")
_OFF = "The machine is off: no battery carries it and no charger gives power."


class SimulatedMachine:
    """A machine that is read like any other; nothing it says is ever an acceptance.

    clock: moved by whoever runs it. seed: of the small changes of load. faults: name to parameter, as in
    `FAULTS`. level: of the pack at the start, 0 to 1. The pack is connected and the charger out.
    Raises WrongUseError for an unknown fault or a parameter that cannot be.
    """

    name = "simulated"
    simulated = True

    def __init__(
        self,
        *,
        clock: VirtualClock,
        seed: int = 0,
        faults: Mapping[str, str] = {},
        description: SimulatedDesign = LARKSPUR_15,
        level: float = 0.35,
    ) -> None:
        if not 0 <= level <= 1:
            raise InvalidValueError(f"A level is between 0 and 1, {level:g} was given.")
        self.clock: Clock = clock
        self._virtual = clock
        self._design = description
        self._given = dict(faults)
        self._faults = ParsedFaults(faults)
        self._seed = seed
        self._at_s = clock.now().elapsed_s
        self._pack = SimulatedPack(description.pack, self._faults, level=level, ambient_c=_AMBIENT_C)
        self._pack_connected = True
        self._plugged = False
        self._turned = False
        self._moves = 0
        self._let_go = False
        self._dropped = False
        self._lid_open = True
        self._boots = 1
        self._clock_behind = timedelta()
        self._full_load: SimulatedLoad | None = None
        self._began_s = self._at_s
        self._frozen: tuple[Pack | None, tuple[Temperature, ...] | None] = (None, None)
        self._processor_c = self._board_c = _AMBIENT_C
        self._rpm = 0.0
        self._hands = {
            "Plug in the charger.": self.plug_in,
            "Pull the charger out.": self.pull_out,
            "Connect the battery.": self.connect_pack,
            "Disconnect the battery.": self.disconnect_pack,
            "Close the lid.": self.close_lid,
            "Open the lid.": self.open_lid,
            "Press the plug gently, the way it says here. It stays in.": self.move_plug,
            "Pull the charger out. Shut the machine down.": self.rest,
            # Nothing else runs on a simulated machine.
            "Close other programs. Wait.": self._move_on,
        }
        self._settle()

    # What hands can do.

    def plug_in(self) -> None:
        """Put the charger in."""
        self._move_on()
        self._plugged, self._dropped = True, False
        self._moves, self._let_go = 0, False
        self._settle()

    def pull_out(self) -> None:
        """Pull the charger out."""
        self._move_on()
        self._dropped = self._plugged and "dead-on-unplug" in self._faults
        self._plugged = False
        self._settle()

    def turn_plug(self) -> None:
        """Pull the charger's plug, turn it round and push it in again."""
        self.pull_out()
        self._turned = not self._turned
        self.plug_in()

    def move_plug(self) -> None:
        """Press the plug for a second; each five of them are a way. A loose port lets go once a way."""
        self._move_on()
        way, second = divmod(self._moves, _SECONDS_EACH_WAY)
        self._moves += 1
        self._let_go = second == 1 and way < (self._faults.value("loose-port") or 0)
        if self._let_go and "dead-on-unplug" in self._faults:
            self._dropped = True
        self._settle()

    def connect_pack(self) -> None:
        """Connect the pack."""
        self._move_on()
        self._pack_connected = True
        self._settle()

    def disconnect_pack(self) -> None:
        """Take the pack's connector off."""
        self._move_on()
        self._pack_connected = False
        self._settle()

    def rest(self) -> None:
        """Pull the charger out and leave it for a day: it draws next to nothing, and its clock goes on."""
        self.pull_out()
        drawn_w = self._faults.value("drains-when-off") or _OFF_W
        if self._pack_connected:
            self._pack.lose(drawn_w * _REST_S / 3600)
        self._virtual.sleep_through(_REST_S)
        self._at_s = self.clock.now().elapsed_s
        self._processor_c = self._board_c = _AMBIENT_C
        self._rpm = 0.0
        self._settle()

    def start_again(self) -> None:
        """Start the machine after it was off for the repair: another boot, its clock as it was kept."""
        self._move_on()
        self._boots += 1
        if self._virtual.now().boot_id is not None:
            self._virtual.start_again(boot_id=f"simulated, start {self._boots}")
        self._keep_clock()

    def _keep_clock(self) -> None:
        """Let the wall clock stand where the faults put it."""
        true = self._virtual.now().wall + self._clock_behind
        behind = timedelta(hours=self._faults.value("clock-behind") or 0.0)
        if "clock-lost" in self._faults:
            behind = true - _EPOCH
        if behind != self._clock_behind:
            self._virtual.set_wall(true - behind)
            self._clock_behind = behind

    def close_lid(self) -> None:
        """Close the lid."""
        self._move_on()
        self._lid_open = False

    def open_lid(self) -> None:
        """Open the lid."""
        self._move_on()
        self._lid_open = True

    def befall(self, faults: Mapping[str, str]) -> None:
        """Let faults come over the machine from here on; the pack is then a fresh one of the same level."""
        self._set_faults({**self._given, **faults})

    def mend(self, *faults: str) -> None:
        """Take faults away, as far as they are there; the pack is then a fresh one of the same level.

        A clock that stood behind is set.
        """
        if not self._given.keys() & set(faults):
            return
        self._set_faults({name: text for name, text in self._given.items() if name not in faults})
        self._keep_clock()

    def _set_faults(self, faults: Mapping[str, str]) -> None:
        self._move_on()
        self._faults = ParsedFaults(faults)
        self._given = dict(faults)
        level = self._pack.level
        self._pack = SimulatedPack(self._design.pack, self._faults, level=level, ambient_c=_AMBIENT_C)
        self._dropped = False
        self._frozen = (None, None)
        self._settle()

    def obey(self, want: str) -> None:
        """Do what a sentence asks for ("Plug in the charger.").

        Raises WrongUseError for a sentence that no hand here understands.
        """
        hand = self._hands.get(str(want))
        if hand is None:
            raise WrongUseError(
                f'Nobody at the simulated bench can do "{want}".',
                next_step=f"Understood: {' '.join(self._hands)}",
            )
        hand()

    # What the machine is and does.

    @property
    def _powered(self) -> bool:
        return self._plugged and not self._let_go and "charger-dead" not in self._faults

    @property
    def _pack_seen(self) -> bool:
        return self._pack_connected and "pack-missing" not in self._faults

    @property
    def _pack_carries(self) -> bool:
        return self._pack_connected and self._pack.level > 0 and not self._dropped

    @property
    def _on(self) -> bool:
        return self._powered or self._pack_carries

    @property
    def _under_load(self) -> bool:
        return self._full_load is not None and self._at_s < self._full_load.ends_at_s

    @property
    def _offered_w(self) -> float | None:
        if not self._powered:
            return None
        turned_w = self._faults.value("weak-one-way") if self._turned else None
        return turned_w or self._faults.value("weak-charger") or self._design.adapter_w

    def _load(self) -> float:
        """Return the processor's load now, 0 to 1: the same at one time however often it is asked."""
        if self._under_load:
            return 1.0
        minute = int(self._at_s // _LOAD_HOLDS_S)
        spread = random.Random(self._seed * 1_000_003 + minute).uniform(-1, 1)
        return 0.05 * (1 + _IDLE_SPREAD * spread)

    def _load_w(self) -> float:
        if self._under_load:
            return self._design.full_load_w
        return self._design.idle_w * (0.5 + self._load() * 10)

    def _move_on(self) -> None:
        now_s = self.clock.now().elapsed_s
        while self._at_s < now_s:
            seconds = min(_STEP_S, now_s - self._at_s)
            if self._full_load is not None and self._under_load:
                seconds = min(seconds, self._full_load.ends_at_s - self._at_s)
            self._step(seconds)
            self._at_s += seconds

    def _settle(self) -> None:
        """Let the pack answer at once to what hands did, without time passing."""
        self._step(0.0)

    def _step(self, seconds: float) -> None:
        stops_at = self._faults.value("stops-under-load")
        if stops_at is not None and self._under_load and not self._powered and self._pack.level <= stops_at:
            # Off until a charger wakes it.
            self._dropped = True
        on = self._on
        load_w = self._load_w() if on else 0.0
        if self._pack_connected:
            self._pack.advance(seconds, offered_w=self._offered_w, load_w=load_w, ambient_c=_AMBIENT_C)
        heat_w = load_w * _PROCESSOR_SHARE_OF_LOAD
        hot_c = self._faults.value("sensor-hot") if on else None
        loose = "heat-sink-loose" in self._faults
        k_per_w, tau_s = (_LOOSE_K_PER_W, _LOOSE_TAU_S) if loose else (_PROCESSOR_K_PER_W, _PROCESSOR_TAU_S)
        final_c = _AMBIENT_C + k_per_w * heat_w if hot_c is None else hot_c
        self._processor_c += (final_c - self._processor_c) * min(1.0, seconds / tau_s)
        if hot_c is not None:
            self._processor_c = hot_c
        board_c = _AMBIENT_C + _BOARD_SHARE * (self._processor_c - _AMBIENT_C)
        self._board_c += (board_c - self._board_c) * min(1.0, seconds / _BOARD_TAU_S)
        above_k = self._processor_c - _FAN_FROM_C
        rpm = min(_FAN_RPM_MAX, _FAN_RPM_AT_START + _FAN_RPM_PER_K * above_k) if on and above_k > 0 else 0.0
        self._rpm += (rpm - self._rpm) * min(1.0, seconds / _FAN_TAU_S)

    # What can be read.

    def identity(self) -> Identity:
        """Return who the machine says it is."""
        design = self._design
        return Identity(
            maker=design.maker,
            model=design.model,
            version="1.0",
            serial=design.serial,
            board=design.board,
            firmware="0.9 (simulated)",
            chassis="clamshell",
            virtual=False,
            system="simulated",
        )

    def sample(self) -> Sample:
        """Move on to the present and read everything once."""
        self._move_on()
        now = self.clock.now()
        if not self._on:
            groups = ("batteries", "adapters", "temperatures", "fans", "lid")
            return Sample(
                at=now,
                cpu=Cpu(reasons=dict.fromkeys(_CPU_FIELDS, _OFF)),
                reasons=dict.fromkeys(groups, _OFF),
            )
        reasons = {}
        vanish_s = self._faults.value("sensors-vanish-after")
        vanished = vanish_s is not None and now.elapsed_s - self._began_s >= vanish_s
        if vanished or not self._pack_seen:
            reasons["batteries"] = _PACK_GONE if vanished else NO_BATTERY
        blind = "no-sensors" in self._faults
        if blind:
            reasons["temperatures"] = reasons["fans"] = _NO_SENSORS
        elif vanished:
            reasons["temperatures"] = _GONE
        return Sample(
            at=now,
            packs=(self._read_pack(),) if self._pack_seen and not vanished else (),
            adapters=(Adapter(name="charger", online=self._powered),),
            temperatures=() if blind or vanished else self._read_temperatures(),
            fans=() if blind else self._read_fans(),
            cpu=Cpu(
                logical_cores=self._design.cores,
                load=round(self._load(), 3),
                frequency_mhz=self._design.frequency_max_mhz
                if self._under_load
                else self._design.frequency_mhz,
                frequency_max_mhz=self._design.frequency_max_mhz,
            ),
            lid_open=self._lid_open or "lid-switch-dead" in self._faults,
            reasons=reasons,
        )

    def marks(self) -> Mapping[str, str]:
        """Tell this machine from others of its model."""
        return {"network 1": self._design.network, "storage 1": self._design.drive}

    def inventory(self, *, salt: str) -> Inventory:
        """Read what the machine has; nothing where it is off."""
        self._move_on()
        now = self.clock.now()
        if not self._on:
            return Inventory(
                at=now, reasons=dict.fromkeys(("items", *Inventory.__struct_fields__[2:-1]), _OFF)
            )
        return simulated_inventory(self._design, self._faults, at=now, salt=salt, pack_seen=self._pack_seen)

    def start_load(self, *, longest_s: float) -> Load:
        """Make ready to load all simulated cores; a load that runs already is ended."""
        self._move_on()
        if self._full_load is not None:
            self._full_load.stop()
        self._full_load = SimulatedLoad(self.clock, longest_s=longest_s)
        return self._full_load

    def keep_awake(self, why: str) -> Awake:
        """Do nothing: a simulated machine sleeps only when its clock is told to."""
        del why
        return NoSleep()

    def _read_pack(self) -> Pack:
        """Return what the pack tells now, or told first where its readings stand still."""
        frozen, temperatures = self._frozen
        if frozen is not None:
            return frozen
        pack = self._fresh_pack()
        if "frozen-sensors" in self._faults:
            self._frozen = pack, temperatures
        return pack

    def _fresh_pack(self) -> Pack:
        pack, design = self._pack, self._pack.design
        reasons = {}
        cycles: int | None = design.cycle_count
        if "gauge-not-learned" in self._faults:
            cycles, reasons["cycle_count"] = None, "The gauge does not report cycles."
        temperature_c: float | None = round(pack.temperature_c, 1)
        if "no-sensors" in self._faults:
            temperature_c, reasons["temperature_c"] = None, _NO_SENSORS
        limit = self._faults.value("charge-limit")
        if limit is None:
            reasons["charge_limit"] = "No charge limit is visible."
        full_wh, remaining_wh = round(pack.gauge_full_wh, 2), round(pack.gauge_remaining_wh, 2)
        voltage_v, current_a = round(pack.gauge_voltage_v, 3), round(pack.current_a, 3)
        return Pack(
            name="pack",
            state=pack.state,
            state_of_charge=round(remaining_wh / full_wh, 4),
            remaining_wh=remaining_wh,
            full_charge_wh=full_wh,
            design_wh=design.design_wh,
            power_w=round(voltage_v * current_a, 3),
            voltage_v=voltage_v,
            design_voltage_v=design.design_voltage_v,
            current_a=current_a,
            cycle_count=cycles,
            temperature_c=temperature_c,
            manufacturer=design.manufacturer,
            model=design.model,
            serial=design.serial,
            technology="Li-ion",
            charge_limit=limit,
            reasons=reasons,
        )

    def _read_temperatures(self) -> tuple[Temperature, ...]:
        """Return the temperatures now, or the first ones where they stand still."""
        pack, frozen = self._frozen
        if frozen is not None:
            return frozen
        temperatures = self._fresh_temperatures()
        if "frozen-sensors" in self._faults:
            self._frozen = pack, temperatures
        return temperatures

    def _fresh_temperatures(self) -> tuple[Temperature, ...]:
        design = self._design
        return (
            Temperature(
                chip="cpu_thermal",
                label="processor",
                celsius=float(round(self._processor_c)),
                high=design.high_c,
                critical=design.critical_c,
            ),
            Temperature(
                chip="acpitz",
                label="board",
                celsius=None if "sensor-lost" in self._faults else float(round(self._board_c)),
                critical=design.critical_c,
                reason=_LEAD_OFF if "sensor-lost" in self._faults else None,
            ),
        )

    def _read_fans(self) -> tuple[Fan, ...]:
        dead = "second-fan-dead" in self._faults
        return tuple(
            Fan(chip="board", label=label, rpm=0 if dead and place > 0 else self._read_rpm())
            for place, label in enumerate(fan_labels(self._design))
        )

    def _read_rpm(self) -> int:
        # A fan below its lowest speed stands still.
        return round(self._rpm / 10) * 10 if self._rpm >= 0.5 * _FAN_RPM_AT_START else 0
