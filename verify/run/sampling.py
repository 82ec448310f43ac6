"""Where a run's samples come from: a thread that reads a real machine, or a simulated one moved on.

Both answer `next(timeout_s)`; neither is asked faster than the machine's figures change.
"""

import queue
import threading
from typing import Protocol

from verify.machine import Machine, Sample
from verify.values import VirtualClock
from verify.values.errors import HandbackError, MachineError


class Sampler(Protocol):
    """A source of samples."""

    def next(self, timeout_s: float) -> Sample | None:
        """Return the next sample, or None where none came within `timeout_s`."""
        ...

    def close(self) -> None:
        """Stop reading."""
        ...


class ThreadSampler:
    """Reads a real machine every `every_s` seconds in a thread of its own: a read may take its time."""

    def __init__(self, machine: Machine, *, every_s: float) -> None:
        self._machine = machine
        self._every_s = every_s
        # Only the newest matters to a screen, but a watch needs them all: never drop, never block.
        self._samples: queue.SimpleQueue[Sample | HandbackError] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._read, name="sampler", daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while not self._stop.is_set():
            try:
                self._samples.put(self._machine.sample())
            except HandbackError as error:
                self._samples.put(error)
                return
            except Exception as error:  # noqa: BLE001 - handed to the owner's thread, which tells it
                told = MachineError(
                    f"The machine could not be read ({type(error).__name__}: {error}).",
                    next_step="What was answered is kept. Run it again; if it comes back, report it.",
                )
                told.__cause__ = error
                self._samples.put(told)
                return
            self._stop.wait(self._every_s)

    def next(self, timeout_s: float) -> Sample | None:
        """Return the next sample, or None where none came in time.

        Raises MachineError, or another of the family, where the machine could not be read.
        """
        try:
            item = self._samples.get(timeout=timeout_s)
        except queue.Empty:
            return None
        if isinstance(item, HandbackError):
            raise item
        return item

    def close(self) -> None:
        """Stop reading."""
        self._stop.set()


class VirtualSampler:
    """Moves a simulated machine's clock on by `every_s` and reads it: nothing sleeps."""

    def __init__(self, machine: Machine, clock: VirtualClock, *, every_s: float) -> None:
        self._machine = machine
        self._clock = clock
        self._every_s = every_s

    def next(self, timeout_s: float) -> Sample | None:
        """Return the sample one step later."""
        del timeout_s
        self._clock.wait(self._every_s)
        return self._machine.sample()

    def close(self) -> None:
        """Nothing to stop."""
