"""Where a run's samples come from: a thread that reads a real machine, or a simulated one moved on.

A sampler is asked with `next`, or delivers by itself; it never reads faster than the machine's figures
change, and not at all while nobody wants to know.
"""

import queue
import threading
from collections.abc import Callable
from enum import Enum
from typing import Protocol

from verify.machine import Machine, Sample
from verify.values import VirtualClock
from verify.values.errors import HandbackError, MachineError


class Pace(Enum):
    """How often the machine is read. FAST: once a second, while a load hangs on it or a check asks for it."""

    REST = "rest"
    USUAL = "usual"
    FAST = "fast"


_FAST_S = 1.0


class Sampler(Protocol):
    """A source of samples."""

    by_itself: bool
    """Whether it reads in a thread of its own, and delivers."""

    def next(self, timeout_s: float) -> Sample | None:
        """Return the next sample, or None where none came within `timeout_s`."""
        ...

    def deliver(self, put: Callable[[Sample], None], *, failed: Callable[[HandbackError], None]) -> None:
        """Hand each sample to `put` from here on, in the sampler's own thread, where it has one."""
        ...

    def pace(self, pace: Pace) -> None:
        """Read so often from here on."""
        ...

    def close(self) -> None:
        """Stop reading."""
        ...


class ThreadSampler:
    """Reads a real machine every `every_s` seconds in a thread of its own: a read may take its time."""

    by_itself = True

    def __init__(self, machine: Machine, *, every_s: float) -> None:
        self._machine = machine
        self._usual_s = every_s
        # A machine that may have a hazard is not read before somebody asks.
        self._pace = Pace.REST
        # A watch needs them all: never drop, never block.
        self._samples: queue.SimpleQueue[Sample | HandbackError] = queue.SimpleQueue()
        self._put: Callable[[Sample], None] = self._samples.put
        self._failed: Callable[[HandbackError], None] = self._samples.put
        self._changed = threading.Condition()
        self._stopped = False
        self._thread = threading.Thread(target=self._read, name="sampler", daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while self._wait_for_turn():
            try:
                sample = self._machine.sample()
            except HandbackError as error:
                self._failed(error)
                return
            except Exception as error:  # noqa: BLE001 - handed to the owner's thread, which tells it
                told = MachineError(
                    f"The machine could not be read ({type(error).__name__}: {error}).",
                    next_step="What was answered is kept. Run it again; if it comes back, report it.",
                )
                told.__cause__ = error
                self._failed(told)
                return
            self._put(sample)
            self._sleep()

    def _wait_for_turn(self) -> bool:
        with self._changed:
            self._changed.wait_for(lambda: self._stopped or self._pace is not Pace.REST)
            return not self._stopped

    def _sleep(self) -> None:
        with self._changed:
            every_s = min(_FAST_S, self._usual_s) if self._pace is Pace.FAST else self._usual_s
            before = self._pace
            self._changed.wait_for(
                lambda: self._stopped or (self._pace is Pace.FAST and before is not Pace.FAST), every_s
            )

    def next(self, timeout_s: float) -> Sample | None:
        """Return the next sample, or None where none came in time; the first call begins to read.

        Raises MachineError, or another of the family, where the machine could not be read.
        """
        if self._pace is Pace.REST:
            self.pace(Pace.USUAL)
        try:
            item = self._samples.get(timeout=timeout_s)
        except queue.Empty:
            return None
        if isinstance(item, HandbackError):
            raise item
        return item

    def deliver(self, put: Callable[[Sample], None], *, failed: Callable[[HandbackError], None]) -> None:
        """Hand each sample to `put` from here on, and what ended the reading to `failed`."""
        with self._changed:
            self._put, self._failed = put, failed
        # What came before is not lost, nor is the reason why nothing more will come.
        while not self._samples.empty():
            item = self._samples.get()
            if isinstance(item, HandbackError):
                failed(item)
            else:
                put(item)

    def pace(self, pace: Pace) -> None:
        """Read so often from here on."""
        if pace is not self._pace:
            with self._changed:
                self._pace = pace
                self._changed.notify_all()

    def close(self) -> None:
        """Stop reading."""
        with self._changed:
            self._stopped = True
            self._changed.notify_all()


class VirtualSampler:
    """Moves a simulated machine's clock on by `every_s` and reads it: nothing sleeps."""

    by_itself = False

    def __init__(self, machine: Machine, clock: VirtualClock, *, every_s: float) -> None:
        self._machine = machine
        self._clock = clock
        self._every_s = self._step_s = every_s

    def next(self, timeout_s: float) -> Sample | None:
        """Return the sample one step later."""
        del timeout_s
        self._clock.wait(self._step_s)
        return self._machine.sample()

    def deliver(self, put: Callable[[Sample], None], *, failed: Callable[[HandbackError], None]) -> None:
        """Nothing: it is asked with `next`."""

    def pace(self, pace: Pace) -> None:
        """Step a second only where it has to be fast."""
        self._step_s = min(_FAST_S, self._every_s) if pace is Pace.FAST else self._every_s

    def close(self) -> None:
        """Nothing to stop."""
