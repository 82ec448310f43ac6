"""What hands can do to a simulated machine: plug, pull, connect, close, press, rest, and what befalls it."""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta

from verify.machine.simulated.body import SimulatedBody
from verify.machine.simulated.design import SimulatedDesign
from verify.machine.simulated.faults import ParsedFaults
from verify.machine.simulated.readings import Readings
from verify.values import VirtualClock
from verify.values.errors import InvalidValueError, WrongUseError

__all__ = ["Hands"]

_SECONDS_EACH_WAY = 5
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)  # where a clock begins that nothing has kept
_REST_S, _OFF_W = 24 * 3600.0, 0.04  # what a machine that is off draws [common practice, no source]


class Hands:
    """A simulated machine as it lies on the bench: all that is done to it. `SimulatedMachine` reads it."""

    def __init__(
        self,
        *,
        clock: VirtualClock,
        seed: int,
        faults: Mapping[str, str],
        description: SimulatedDesign,
        level: float,
    ) -> None:
        if not 0 <= level <= 1:
            raise InvalidValueError(f"A level is between 0 and 1, {level:g} was given.")
        self._virtual = clock
        self._design = description
        self._given = dict(faults)
        self._faults = ParsedFaults(faults)
        self._body = SimulatedBody(
            description, self._faults, seed=seed, level=level, at_s=clock.now().elapsed_s
        )
        self._readings = Readings(description, self._faults)
        self._began_s = self._body.at_s
        self._moves = 0
        self._lid_open = True
        self._boots = 1
        self._clock_behind = timedelta()
        self._hands: dict[str, Callable[[], None]] = {
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

    def _move_on(self) -> None:
        self._body.to(self._virtual.now().elapsed_s)

    def plug_in(self) -> None:
        """Put the charger in."""
        self._move_on()
        body = self._body
        body.plugged, body.plugged_at_s = True, body.at_s
        body.dropped = body.let_go = False
        self._moves = 0
        body.settle()

    def pull_out(self) -> None:
        """Pull the charger out."""
        self._move_on()
        body = self._body
        body.dropped = body.plugged and "dead-on-unplug" in self._faults
        body.plugged = False
        body.settle()

    def turn_plug(self) -> None:
        """Pull the charger's plug, turn it round and push it in again."""
        self.pull_out()
        self._body.turned = not self._body.turned
        self.plug_in()

    def move_plug(self) -> None:
        """Press the plug for a second; each five of them are a way. A loose port lets go once a way."""
        self._move_on()
        way, second = divmod(self._moves, _SECONDS_EACH_WAY)
        self._moves += 1
        body = self._body
        body.let_go = second == 1 and way < (self._faults.value("loose-port") or 0)
        if body.let_go and "dead-on-unplug" in self._faults:
            body.dropped = True
        body.settle()

    def connect_pack(self) -> None:
        """Connect the pack."""
        self._move_on()
        self._body.pack_connected = True
        self._body.settle()

    def disconnect_pack(self) -> None:
        """Take the pack's connector off."""
        self._move_on()
        self._body.pack_connected = False
        self._body.settle()

    def rest(self) -> None:
        """Pull the charger out and leave it for a day: it draws next to nothing, and its clock goes on."""
        self.pull_out()
        drawn_w = self._faults.value("drains-when-off") or _OFF_W
        self._virtual.sleep_through(_REST_S)
        self._body.rest(energy_wh=drawn_w * _REST_S / 3600, at_s=self._virtual.now().elapsed_s)

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
        self._readings = Readings(self._design, self._faults)
        self._body.fit(self._faults, level=min(max(self._body.pack.level, 0.0), 1.0))

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
