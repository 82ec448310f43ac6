"""What is due now: the order of the run and its holds, as a pure function of the state."""

from collections.abc import Iterable

import msgspec

from verify.checklist import HAND_BACK, Check, Composition, Kind, Segment, Step
from verify.checklist.placing import needs_nobody
from verify.checklist.screens import screens, segment_screens
from verify.judge import lifts_hold
from verify.run.state import OpenHazard, State
from verify.values import Verdict


class Blocked(msgspec.Struct, frozen=True, kw_only=True):
    """A check that keeps a hold closed, and why."""

    check: Check
    verdict: Verdict
    because: str


class Ask(msgspec.Struct, frozen=True, kw_only=True):
    """Manual checks to be answered now, at one place; the answered ones stay on the screen."""

    stage: str
    checks: tuple[Check, ...]
    pending: tuple[str, ...]


class Do(msgspec.Struct, frozen=True, kw_only=True):
    """A step whose hold is lifted: do it now, then say so."""

    step: Step


class Watching(msgspec.Struct, frozen=True, kw_only=True):
    """Nothing to be asked until these checks have ended; `step` comes after them."""

    checks: tuple[Check, ...]
    step: Step


class Held(msgspec.Struct, frozen=True, kw_only=True):
    """A step that is not due, and everything that would lift its hold."""

    step: Step
    blocked: tuple[Blocked, ...]


class Stopped(msgspec.Struct, frozen=True, kw_only=True):
    """A hazard stands: nothing goes on until it is made safe."""

    hazards: tuple[OpenHazard, ...]


class Complete(msgspec.Struct, frozen=True, kw_only=True):
    """Every check of the work is good; only signing and handing back are left."""

    step: Step


Due = Ask | Do | Watching | Held | Stopped | Complete


class Progress(msgspec.Struct, frozen=True, kw_only=True):
    """How far a run is. Screens count what a person must look at; minutes are what is left."""

    screens_done: int
    screens: int
    hands_min: float
    waiting_min: float


def _reached(composition: Composition, state: State) -> tuple[Segment, ...]:
    """Return the segments up to the one that the run stands in: the first whose step is not taken.

    In an earlier one a check is open again only because it is asked again.
    """
    for index, segment in enumerate(composition.segments):
        if segment.step.id not in state.steps:
            return composition.segments[: index + 1]
    return composition.segments


def stage_of(composition: Composition, state: State) -> str:
    """Return the stage that the job stands in."""
    return _reached(composition, state)[-1].stage


def is_open(check: Check, state: State) -> bool:
    """Tell whether the check still has to be done."""
    return state.current(check.id) is None


def blocked_by(composition: Composition, state: State, step: Step) -> tuple[Blocked, ...]:
    """Return the checks that keep the step's hold closed, in order."""
    blocked = []
    for check in composition.guards(step.id):
        verdict = state.verdict(check.id)
        if not lifts_hold(verdict, note_only=check.note_only):
            current = state.current(check.id)
            because = "Not done yet." if current is None else current.judgement.because
            blocked.append(Blocked(check=check, verdict=verdict, because=because))
    return tuple(blocked)


def due(composition: Composition, state: State) -> Due:
    """Tell what is due now.

    (1) A hazard stops everything. (2) Up to the first step that is not taken: manual checks that are
    open, one screen at a time. (3) Automatic checks and waits that have not ended. (4) The step: held,
    complete, or to be done.
    """
    # (1)
    if state.hazards_open:
        return Stopped(hazards=state.hazards_open)
    reached = _reached(composition, state)
    step = reached[-1].step
    # (2)
    for index, segment in enumerate(reached):
        for screen in segment_screens(segment, index):
            pending = tuple(
                check.id
                for check in screen.checks
                if is_open(check, state) and not _waits_first(check, segment, state)
            )
            if pending:
                return Ask(stage=segment.stage, checks=screen.checks, pending=pending)
    # (3)
    running = tuple(check for segment in reached for check in segment.checks if is_open(check, state))
    if running:
        return Watching(checks=running, step=step)
    # (4)
    blocked = blocked_by(composition, state, step)
    if blocked:
        return Held(step=step, blocked=blocked)
    if step.id == HAND_BACK:
        return Complete(step=step)
    return Do(step=step)


def _waits_first(check: Check, segment: Segment, state: State) -> bool:
    """Tell whether a wait at the check's own place is open before it; looks at other places go on."""
    earlier = segment.checks[: segment.checks.index(check)]
    return any(
        other.kind is Kind.WAIT and other.place == check.place and is_open(other, state) for other in earlier
    )


def probe_due(composition: Composition, state: State) -> Check | None:
    """Return the automatic check that should be running now: one at a time, in order.

    None while a hazard stands or the first question is open: no reading comes before it.
    """
    checks = [check for segment in _reached(composition, state) for check in segment.checks]
    if state.hazards_open or any(check.kind is Kind.HAZARD and is_open(check, state) for check in checks):
        return None
    return _first_open(checks, Kind.PROBE, state)


def wait_due(composition: Composition, state: State) -> Check | None:
    """Return the wait that runs now, if any."""
    checks = [check for segment in _reached(composition, state) for check in segment.checks]
    return _first_open(checks, Kind.WAIT, state)


def _first_open(checks: Iterable[Check], kind: Kind, state: State) -> Check | None:
    return next((check for check in checks if check.kind is kind and is_open(check, state)), None)


def progress(composition: Composition, state: State) -> Progress:
    """Tell how far the run is, in screens and minutes."""
    every = screens(composition)
    done = sum(
        screen.step.id in state.steps
        if screen.step is not None
        else all(not is_open(check, state) for check in screen.checks)
        for screen in every
    )
    left = [check for check in composition.checks if is_open(check, state)]
    return Progress(
        screens_done=done,
        screens=len(every),
        hands_min=sum(check.minutes for check in left if not needs_nobody(check)),
        waiting_min=sum(check.minutes for check in left if needs_nobody(check)),
    )
