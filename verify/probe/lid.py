"""Automatic check: whether the lid switch feels the lid."""

from collections.abc import Mapping

from verify.machine import Sample
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.watching import Asking, counted, not_found, refuse_others
from verify.values import Instant, Unit
from verify.values.errors import WrongUseError

WITHIN_S = 60.0
"""How long the lid has to be felt after it was asked for, in s [common practice, no source]."""

_TIMES = 3
_MOST_TIMES = 20
_SLEPT_S = 1.0  # a shorter difference of the two clocks is no sleep
_SOURCE = "lid switch"


def lid_switch(options: Mapping[str, str], context: Context) -> Probe:
    """Count how often the lid was felt to close and open again, out of `times` (3).

    Unit: pieces. Wants the lid closed, then open. A closing or opening that is not felt within 60 s ends it
    with the number so far. Unknown where no switch is visible, where it never says "open", or where the
    computer fell asleep over it.
    Source: the switch as the firmware reports it (Linux drivers/acpi/button.c); the 60 s are common practice,
    no source.
    Caution: nothing may lie on the keyboard, and no fingers at the hinge: a panel breaks, a finger is caught.
    """
    del context
    refuse_others("lid-switch", options, "times")
    return _LidSwitch(_times(options.get("times", str(_TIMES))))


def _times(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= _MOST_TIMES):
        raise WrongUseError(f'"times" is "{text}": it must be a whole number from 1 to {_MOST_TIMES}.')
    return int(text)


class _LidSwitch:
    def __init__(self, times: int) -> None:
        self._times = times
        self._felt = 0
        self._close_next = self._was_closed = self._ever_open = False
        self._slept = False
        self._before: Instant | None = None
        self._asking = Asking(want=Want.LID_OPEN, patience_s=WITHIN_S)

    def step(self, sample: Sample) -> Working | Finding:
        self._slept = self._slept or _slept_between(self._before, sample.at)
        self._before = sample.at
        if sample.lid_open is None:
            reason = sample.reasons.get("lid") or "Whether the lid is open cannot be read here."
            return not_found(Unit.COUNT, _SOURCE, reason)
        self._ever_open = self._ever_open or sample.lid_open
        if sample.lid_open is not self._close_next:
            self._turn(closed=not sample.lid_open)
            if self._felt == self._times:
                return self._end(f"The lid was felt to close and open {self._times} times.")
        todo = "close" if self._close_next else "open"
        count = f"{self._felt} of {self._times} felt."
        working = self._asking.ask(sample, f"Waiting for the lid to {todo}: {count}")
        return working or self._not_felt(todo)

    def _turn(self, *, closed: bool) -> None:
        """Go on to the other want: the lid is where it was asked to be."""
        if closed:
            self._close_next = False
        else:
            # A first opening only makes ready; each later one ends a closing that was felt.
            self._felt += self._was_closed
            self._close_next = True
        self._was_closed = closed
        want = Want.LID_CLOSED if self._close_next else Want.LID_OPEN
        self._asking = Asking(want=want, patience_s=WITHIN_S)

    def _not_felt(self, todo: str) -> Finding:
        if self._slept:
            reason = (
                "The computer fell asleep while the lid was closed. "
                "Switch off sleep on closing the lid in its power settings, then try again."
            )
            return not_found(Unit.COUNT, _SOURCE, reason)
        if not self._ever_open:
            reason = "The lid switch says “closed” all the time. Check the magnet, and its cable or sensor."
            return not_found(Unit.COUNT, _SOURCE, reason)
        text = (
            f"The lid was to {todo}, and the switch did not feel it within {WITHIN_S:.0f} s: "
            f"{self._felt} of {self._times} felt."
        )
        return self._end(text)

    def _end(self, text: str) -> Finding:
        return Finding(readings=(counted(self._felt, _SOURCE),), text=text)


def _slept_between(earlier: Instant | None, later: Instant) -> bool:
    """Tell whether the computer slept; False where its clocks cannot tell."""
    if earlier is None or earlier.awake_s is None or later.awake_s is None:
        return False
    if earlier.boot_id != later.boot_id:
        return False
    step_s, awake_s = later.elapsed_s - earlier.elapsed_s, later.awake_s - earlier.awake_s
    return step_s - awake_s > _SLEPT_S
