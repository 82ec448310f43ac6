"""A run that goes on by itself: the owner in a thread of its own, fed by commands and by samples.

Whoever asks sends commands with `do` and shows `shown`; it is never kept waiting by a reading of the machine.
The thread lives as long as the run: loads that it starts end with it.
"""

import contextlib
import os
import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future, wait
from typing import Any, TypeVar

from verify.machine import Sample
from verify.run.owner import Owner
from verify.run.sampling import Pace, Sampler
from verify.run.shown import Shown
from verify.values.errors import HandbackError, MachineError

T = TypeVar("T")
_LOOK_S = 1.0  # how often whoever waits for a command looks whether anybody is still there to do it
_PACE_S = 0.2  # how often a sampler without a thread of its own is asked


class Live:
    """An owner in its thread. Use it as long as the run is shown, then `close`."""

    def __init__(self, owner: Owner, sampler: Sampler) -> None:
        """Begin. The owner belongs to the thread from here on, until `close` has returned."""
        self._owner = owner
        self._sampler = sampler
        self._inbox: queue.SimpleQueue[tuple[Callable[[Owner], Any], Future[Any]] | Sample | None] = (
            queue.SimpleQueue()
        )
        self._failed: HandbackError | None = None
        self._failed_to_close: HandbackError | None = None
        self._ended = False
        self._shown = owner.shown()
        # Whoever waits for keys waits for this end as well: nothing is polled.
        self._woken, self._wake = os.pipe()
        os.set_blocking(self._woken, False)
        os.set_blocking(self._wake, False)
        self._thread = threading.Thread(target=self._run, name="owner", daemon=True)
        self._thread.start()

    @property
    def shown(self) -> Shown:
        """The run as it stands.

        Raises what ended the run in the background: an answer that could not be kept, an unreadable machine.
        """
        if self._failed is not None:
            raise self._failed
        return self._shown

    @property
    def woken(self) -> int:
        """A file descriptor that can be read when something changed; `rest` empties it."""
        return self._woken

    def rest(self) -> None:
        """Forget that something changed."""
        with contextlib.suppress(BlockingIOError):
            while os.read(self._woken, 4096):
                pass

    def do(self, command: Callable[[Owner], T]) -> T:
        """Let the owner do a command, and return what it returned.

        Raises what the command raised.
        """
        if self._failed is not None:
            raise self._failed
        done: Future[T] = Future()
        self._inbox.put((command, done))
        while not wait([done], _LOOK_S).done:
            if not self._thread.is_alive() and not done.done():
                raise self._why_gone()
        return done.result()

    def _why_gone(self) -> HandbackError:
        return self._failed or _told(RuntimeError("nobody does any command any more"))

    def close(self) -> None:
        """End the thread; what is in the journal stays as it is.

        Raises JournalWriteError where the last of a measurement could not be written.
        """
        if not self._ended:
            self._ended = True
            self._inbox.put(None)
            self._thread.join()
            self._sampler.close()
            os.close(self._woken)
            os.close(self._wake)
            if self._failed_to_close is not None and self._failed is None:
                raise self._failed_to_close

    # In the thread.

    def _run(self) -> None:
        try:
            self._go_on()
        except HandbackError as error:
            self._fail(error)
        except Exception as error:  # noqa: BLE001 - the top of the thread: whoever asks tells it
            self._fail(_told(error))
        try:
            # Whatever ended it: no load goes on.
            self._owner.close()
        except HandbackError as error:
            self._failed_to_close = error

    def _go_on(self) -> None:
        self._sampler.deliver(self._inbox.put, failed=self._fail)
        while True:
            self._sampler.pace(self._pace())
            try:
                item = self._inbox.get(timeout=None if self._sampler.by_itself else _PACE_S)
            except queue.Empty:
                item = self._sampler.next(0) if self._owner.wants_samples() else None
                if item is None:
                    continue
            else:
                if item is None:
                    break
            if isinstance(item, Sample):
                self._take(item)
            else:
                self._command(*item)
            self._show()

    def _pace(self) -> Pace:
        if self._failed is not None or not self._owner.wants_samples():
            return Pace.REST
        return Pace.FAST if self._owner.often else Pace.USUAL

    def _take(self, sample: Sample) -> None:
        if self._failed is None and self._owner.wants_samples():
            self._owner.take_sample(sample)

    def _command(self, command: Callable[[Owner], Any], done: "Future[Any]") -> None:
        try:
            result = command(self._owner)
        except Exception as error:  # noqa: BLE001 - raised again where the command came from
            done.set_exception(error)
        else:
            # Shown first: whoever sent it looks at what came of it as soon as it has returned.
            self._show()
            done.set_result(result)

    def _fail(self, error: HandbackError) -> None:
        self._failed = error
        self._ring()

    def _show(self) -> None:
        if self._failed is None:
            self._shown = self._owner.shown()
        self._ring()

    def _ring(self) -> None:
        # Full: it has been called often enough already.
        with contextlib.suppress(BlockingIOError):
            os.write(self._wake, b".")


def _told(error: Exception) -> HandbackError:
    told = MachineError(
        f"The run in the background failed ({type(error).__name__}: {error}).",
        next_step="What was answered is kept. Run it again; if it comes back, report it.",
    )
    told.__cause__ = error
    return told
