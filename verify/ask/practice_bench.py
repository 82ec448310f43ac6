"""The bench of an exercise: simulated hands and eyes, and a clock that runs much faster than the real one.

It needs no thread: whoever runs the owner asks it for samples, one each fifth of a second.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from verify.ask.practice import Exercise
from verify.ask.practice_follow import follow
from verify.ask.sight import what_is_seen
from verify.ask.simulated import START, SimulatedBench
from verify.checklist import Check
from verify.machine import Sample
from verify.probe import Want
from verify.run import Owner
from verify.run.events import AskedAgain, Line, MadeSafe, Reopened, Stepped
from verify.run.live import Live
from verify.run.sampling import Pace
from verify.run.state import State
from verify.values.errors import HandbackError

STEP_S = 18.0
"""Between two samples, in s of the simulated clock: 90 times real time, so that 90 minutes take one."""

_LOADED_STEP_S = 1.0  # while a load runs: as a real machine is read then

_HANDS_STEP_S = 4.0  # while hands are waited for: they have a minute or less for some of it

_MOMENT = 5
"""Samples, about a real second, until the hands do what a check asks for: it is to be read first."""


class PracticeBench:
    """A simulated machine with the exercise's faults in it."""

    def __init__(self, exercise: Exercise, *, start: datetime = START) -> None:
        self.exercise = exercise
        self._bench = SimulatedBench(
            faults=exercise.machine_faults(), design=exercise.design, seed=exercise.seed, start=start
        )
        self.machine = self._bench.machine
        self.clock = self._bench.clock

    def sampler(self, owner: Owner) -> "PracticeSampler":
        """Return what feeds the owner, with hands that follow the run."""
        return PracticeSampler(self._bench, owner, self.exercise)


class Eyes:
    """Tells what is to be seen at a check of a live run, as the journal stands."""

    def __init__(self, live: Live, exercise: Exercise) -> None:
        self._live = live
        self._exercise = exercise
        self._state: State | None = None
        self._facts: Mapping[str, str] = exercise.facts

    def __call__(self, check: Check) -> str:
        """Return the facts behind the check, in words."""
        state = self._live.shown.state
        # Each command makes the screen be drawn anew, which comes here again: only where something is new.
        if state is not self._state:
            self._facts = self._live.do(self._facts_now)
            self._state = state
        return what_is_seen(check, self._facts, self._exercise.sees)

    def _facts_now(self, owner: Owner) -> Mapping[str, str]:
        inside = follow(self._exercise, owner.composition, owner.lines).inside
        return self._exercise.facts_with(inside)


class PracticeSampler:
    """Does what hands have to do, moves the clock on, reads the machine. Belongs to the owner's thread."""

    by_itself = False

    def __init__(self, bench: SimulatedBench, owner: Owner, exercise: Exercise) -> None:
        self._bench = bench
        self._owner = owner
        self._exercise = exercise
        self._known = 0
        self._mended: set[str] = set()
        self._wanted: Want | None = None
        self._waited = 0

    def next(self, timeout_s: float) -> Sample | None:
        """Return the next sample; nothing sleeps."""
        del timeout_s
        self._follow()
        self._give()
        self._bench.clock.wait(self._step_s())
        return self._bench.machine.sample()

    def _step_s(self) -> float:
        if self._owner.often:
            return _LOADED_STEP_S
        return _HANDS_STEP_S if self._wanted is not None and self._waited < _MOMENT else STEP_S

    def deliver(self, put: Callable[[Sample], None], *, failed: Callable[[HandbackError], None]) -> None:
        """Nothing: it is asked with `next`."""

    def pace(self, pace: Pace) -> None:
        """Nothing: whether a load runs is seen at the owner."""

    def close(self) -> None:
        """Nothing to stop."""

    def _follow(self) -> None:
        """Do what was confirmed since the last sample: steps, and what was mended."""
        new, self._known = self._owner.lines[self._known :], len(self._owner.lines)
        steps = {step.id: step for step in self._owner.composition.steps}
        for line in new:
            if isinstance(line.event, Stepped) and line.event.step in steps:
                self._bench.did(steps[line.event.step])
        if any(isinstance(line.event, AskedAgain | MadeSafe | Reopened) for line in new):
            self._mend(self._owner.lines)

    def _mend(self, lines: Sequence[Line]) -> None:
        inside = follow(self._exercise, self._owner.composition, lines).inside
        for fault in self._exercise.planted:
            if fault not in inside and fault.name not in self._mended:
                self._mended.add(fault.name)
                self._bench.machine.mend(*fault.machine)

    def _give(self) -> None:
        """Do what a check asks for, a moment after it asks; again and again where that does not help."""
        strip = self._owner.strip
        want = None if strip is None else strip[1].want
        self._waited = self._waited + 1 if want is self._wanted else 1
        self._wanted = want
        if want is not None and self._waited >= _MOMENT:
            self._bench.machine.obey(want)
