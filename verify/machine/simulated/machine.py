"""A simulated machine: pack and heat as physics on a virtual clock, for the demo, specimens and tests.

Nothing here is real: maker, models, serial numbers and magnitudes are invented. The state moves on, in
steps of at most 5 s, from the last look to the present one; the same seed, faults, hands and clock give
the same bytes. What a person does at the bench are its hands: plug in, pull out, connect, close the lid.

A machine with neither pack nor charger is off and shows nothing, with that as the reason.
"""

from collections.abc import Mapping

from verify.machine.inventory import Inventory
from verify.machine.model import NO_BATTERY, Adapter, Awake, Cpu, Identity, Load, Sample
from verify.machine.simulated.design import LARKSPUR_15, SimulatedDesign
from verify.machine.simulated.hands import Hands
from verify.machine.simulated.inventory import simulated_inventory
from verify.machine.simulated.load import NoSleep, SimulatedLoad
from verify.machine.simulated.readings import NO_SENSORS
from verify.values import Clock, VirtualClock

__all__ = ["SimulatedMachine"]

_GONE = "The sensor went away while it was watched."
_PACK_GONE = "The battery's gauge went away while it was watched."
_OFF = "The machine is off: no battery carries it and no charger gives power."


class SimulatedMachine(Hands):
    """A machine that is read like any other; nothing it says is ever an acceptance.

    clock: moved by whoever runs it. seed: of the small changes of load, and of the gauge's small errors.
    faults: name to parameter, as in `FAULTS`. level: of the pack at the start, 0 to 1, as is true. The pack
    is connected and the charger out.
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
        super().__init__(clock=clock, seed=seed, faults=faults, description=description, level=level)
        self.clock: Clock = clock

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
        now, body, readings = self.clock.now(), self._body, self._readings
        if not body.on:
            groups = ("batteries", "adapters", "temperatures", "fans", "lid")
            fields = (field for field in Cpu.__struct_fields__ if field != "reasons")
            return Sample(
                at=now, cpu=Cpu(reasons=dict.fromkeys(fields, _OFF)), reasons=dict.fromkeys(groups, _OFF)
            )
        reasons = {}
        vanish_s = self._faults.value("sensors-vanish-after")
        vanished = vanish_s is not None and now.elapsed_s - self._began_s >= vanish_s
        if vanished or not body.pack_seen:
            reasons["batteries"] = _PACK_GONE if vanished else NO_BATTERY
        blind = "no-sensors" in self._faults
        if blind:
            reasons["temperatures"] = reasons["fans"] = NO_SENSORS
        elif vanished:
            reasons["temperatures"] = _GONE
        return Sample(
            at=now,
            packs=(readings.pack(body.pack),) if body.pack_seen and not vanished else (),
            adapters=(Adapter(name="charger", online=body.powered),),
            temperatures=() if blind or vanished else readings.temperatures(body.heat),
            fans=() if blind else readings.fans(body.heat),
            cpu=readings.processor(body.heat, load=body.load(), under_load=body.under_load),
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
        if not self._body.on:
            return Inventory(
                at=now, reasons=dict.fromkeys(("items", *Inventory.__struct_fields__[2:-1]), _OFF)
            )
        return simulated_inventory(
            self._design, self._faults, at=now, salt=salt, pack_seen=self._body.pack_seen
        )

    def start_load(self, *, longest_s: float) -> Load:
        """Make ready to load all simulated cores; a load that runs already is ended."""
        self._move_on()
        body = self._body
        if body.full_load is not None:
            body.full_load.stop()
        body.full_load = SimulatedLoad(self.clock, longest_s=longest_s)
        return body.full_load

    def keep_awake(self, why: str) -> Awake:
        """Do nothing: a simulated machine sleeps only when its clock is told to."""
        del why
        return NoSleep()
