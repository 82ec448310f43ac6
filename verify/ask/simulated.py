"""A simulated bench: a machine with faults, the hands that work on it, and a truthful technician.

The demo and the specimens run on it. Whatever is done here is marked as simulated and as scripted.
"""

from collections.abc import Collection, Mapping
from datetime import UTC, datetime

from verify.ask.drawn import DrawingCamera
from verify.checklist import Check, Step
from verify.checklist.answers import Answer, Photo
from verify.checklist.specimens import Sight, answer_for
from verify.machine.simulated import LARKSPUR_15, SimulatedDesign, SimulatedMachine
from verify.probe import Want
from verify.record.arrival import FUNCTIONS, FoundAs, Picture, Tried
from verify.run import arrival
from verify.run.events import Arrived
from verify.run.sampling import VirtualSampler
from verify.values import VirtualClock

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
"""When simulated runs begin: a fixed time, so that they come out the same every time."""

EVERY_S = 10.0
"""Seconds between two samples of a simulated run."""


class SimulatedBench:
    """A simulated machine, its sampler, and hands that do what steps and checks need."""

    def __init__(
        self,
        *,
        faults: Mapping[str, str],
        design: SimulatedDesign = LARKSPUR_15,
        seed: int = 0,
        start: datetime = START,
        level: float = 0.35,
    ) -> None:
        self.clock = VirtualClock(start=start)
        self.machine = SimulatedMachine(
            clock=self.clock, seed=seed, faults=faults, description=design, level=level
        )
        self.sampler = VirtualSampler(self.machine, self.clock, every_s=EVERY_S)

    def did(self, step: Step) -> None:
        """Do a step: the ones that change what the machine can tell."""
        match step.id:
            case "connect-pack":
                self.machine.connect_pack()
            case "charge":
                self.machine.plug_in()
                self.machine.start_again()
            case "turn-plug":
                self.machine.turn_plug()
            case _:
                pass

    def give(self, want: Want) -> None:
        """Do what a running check asks for."""
        self.machine.obey(want)

    def takes_s(self, check: Check) -> float:
        """Return the hands' time that the checklist gives the check, in s."""
        return check.minutes * 60


def without_camera(answer: Answer) -> Answer:
    """Return what is answered on a bench without a camera: that there is none of what is asked for."""
    if isinstance(answer, Photo) and answer.seen is not None:
        return Photo(seen=None, note="There is no camera on this bench.")
    return answer


class Truthful:
    """A technician who answers what the facts are."""

    def __init__(
        self,
        facts: Mapping[str, str],
        table: Mapping[str, Sight],
        *,
        came_in_broken: Collection[str] = (),
        camera: DrawingCamera | None = None,
    ) -> None:
        """came_in_broken: the functions, as the arrival names them, that did not work when it came in.

        camera: None: there is none on this bench.
        """
        self._facts = facts
        self._table = table
        self._came_in_broken = came_in_broken
        self._camera = camera

    def answer(self, check: Check) -> Answer | None:
        """Return the truthful answer.

        Raises SpecimenError where the table does not say what is seen there.
        """
        answer = answer_for(check, self._facts, self._table)
        return without_camera(answer) if self._camera is None else answer

    def pictures(self, check: Check, *, number: int) -> tuple[Picture, ...]:
        """Take the pictures of the check: none without a camera, or where none can be taken."""
        if self._camera is None:
            return ()
        answer = answer_for(check, self._facts, self._table)
        if isinstance(answer, Photo) and answer.seen is None:
            return ()
        return self._camera.pictures(check, number=number)

    def arrival(self, topic: str) -> Arrived | None:
        """Return what is so: it runs, its charger came with it, everything could be tried.

        None for the complaint: it stands on the ticket.
        """
        if topic in FUNCTIONS:
            return Arrived(tried={topic: Tried.FAILS if topic in self._came_in_broken else Tried.WORKS})
        return {
            arrival.FOUND_AS: Arrived(found_as=FoundAs.RUNS),
            arrival.PICTURES: Arrived(pictures=() if self._camera is None else self._camera.arrival()),
            arrival.ACCESSORIES: Arrived(accessories=("charger",)),
        }.get(topic)
