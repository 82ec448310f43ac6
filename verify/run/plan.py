"""What is due now: the order of the run and its holds, as a pure function of the state.

`on_machine` says whether the tool stands on the repaired machine: True, False, or None where it has to be
asked. Automatic checks run there only; everything else is asked wherever the folder is.
"""

from collections.abc import Iterable

import msgspec

from verify.checklist import HAND_BACK, Check, Composition, Kind, Segment, Step
from verify.checklist.placing import needs_nobody
from verify.checklist.screens import screens, segment_screens
from verify.judge import lifts_hold
from verify.record.arrival import FoundAs
from verify.run import arrival
from verify.run.state import OpenHazard, State
from verify.values import Verdict

MINUTES_ON_ARRIVAL = 3.0
"""Pictures, accessories, a look at what works: hands' time on arrival [common practice, no source]."""


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


class Where(msgspec.Struct, frozen=True, kw_only=True):
    """It has to be said whether this computer is the repaired machine itself."""


class Arrive(msgspec.Struct, frozen=True, kw_only=True):
    """What is to be taken on arrival, a line each; pending: the ones that are left."""

    topics: tuple[str, ...]
    pending: tuple[str, ...]


class SayWork(msgspec.Struct, frozen=True, kw_only=True):
    """The machine was taken in; what is going to be repaired has to be said."""


class Do(msgspec.Struct, frozen=True, kw_only=True):
    """A step whose hold is lifted: do it now, then say so."""

    step: Step


class Watching(msgspec.Struct, frozen=True, kw_only=True):
    """Nothing to be asked until these checks have ended; `step` comes after them.

    blocked: what is not good so far; it holds that step or a later one, and can be mended meanwhile.
    """

    checks: tuple[Check, ...]
    step: Step
    blocked: tuple[Blocked, ...] = ()


class Elsewhere(msgspec.Struct, frozen=True, kw_only=True):
    """All that is left before `step` waits for the repaired machine: open the folder there.

    blocked: as in Watching.
    """

    checks: tuple[Check, ...]
    step: Step
    blocked: tuple[Blocked, ...] = ()


class Held(msgspec.Struct, frozen=True, kw_only=True):
    """A step that is not due, and everything that would lift its hold."""

    step: Step
    blocked: tuple[Blocked, ...]


class Stopped(msgspec.Struct, frozen=True, kw_only=True):
    """A hazard stands: nothing goes on until it is made safe."""

    hazards: tuple[OpenHazard, ...]


class Declined(msgspec.Struct, frozen=True, kw_only=True):
    """The repair was declined: the machine goes back as it is, and only signing is left."""


class Complete(msgspec.Struct, frozen=True, kw_only=True):
    """Every check of the work is good or accepted; only signing and handing back are left."""

    step: Step


Due = Ask | Where | Arrive | SayWork | Do | Watching | Elsewhere | Held | Stopped | Declined | Complete


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


def _reached_checks(reached: Iterable[Segment]) -> tuple[Check, ...]:
    return tuple(check for segment in reached for check in segment.checks)


def stage_of(composition: Composition, state: State) -> str:
    """Return the stage that the job stands in."""
    return _reached(composition, state)[-1].stage


def blocked_by(composition: Composition, state: State, step: Step) -> tuple[Blocked, ...]:
    """Return the checks that keep the step's hold closed, in order; none that was accepted."""
    return _not_good(composition.guards(step.id), state)


def _not_good(checks: Iterable[Check], state: State) -> tuple[Blocked, ...]:
    blocked = []
    for check in checks:
        verdict = state.verdict(check.id)
        if check.id not in state.accepted and not lifts_hold(verdict, note_only=check.note_only):
            current = state.current(check.id)
            because = "Not done yet." if current is None else current.judgement.because
            blocked.append(Blocked(check=check, verdict=verdict, because=because))
    return tuple(blocked)


def due(composition: Composition, state: State, *, on_machine: bool | None) -> Due:
    """Tell what is due now.

    (1) A hazard stops everything. (2) The first question comes before all else. (3) A declined repair ends
    it. Then which computer this is, then what is taken on arrival, then the work. (4) Up to the first
    step that is not taken: manual checks that are open, one screen at a time. (5) Automatic checks and
    waits that have not ended. (6) The step: held, complete, or to be done.
    """
    # (1)
    if state.hazards_open:
        return Stopped(hazards=state.hazards_open)
    reached = _reached(composition, state)
    # (2)
    if _first_question(reached, state) is not None and (asked := _asked(reached, state)) is not None:
        return asked
    # (3)
    if state.given_back is not None:
        return Declined()
    before_all = _before_all(state, on_machine=on_machine)
    if before_all is not None:
        return before_all
    # (4)
    asked = _asked(reached, state)
    if asked is not None:
        return asked
    # (5)
    step = reached[-1].step
    checks = _reached_checks(reached)
    running = tuple(check for check in checks if state.is_open(check.id))
    if running:
        bad = _not_good((check for check in checks if not state.is_open(check.id)), state)
        if not on_machine and all(check.kind is Kind.PROBE for check in running):
            return Elsewhere(checks=running, step=step, blocked=bad)
        return Watching(checks=running, step=step, blocked=bad)
    # (6)
    blocked = blocked_by(composition, state, step)
    if blocked:
        return Held(step=step, blocked=blocked)
    if step.id == HAND_BACK:
        return Complete(step=step)
    return Do(step=step)


def _before_all(state: State, *, on_machine: bool | None) -> Due | None:
    if on_machine is None and not _all_apart(state):
        return Where()
    if arrival.arriving(state):
        return Arrive(topics=arrival.topics(state), pending=arrival.topics_left(state))
    return None if state.started else SayWork()


def _all_apart(state: State) -> bool:
    """Tell whether only taking in is left of a machine that no tool can stand on."""
    return not state.started and state.arrival.found_as in (FoundAs.DEAD, FoundAs.APART)


def first_question(composition: Composition, state: State) -> Check | None:
    """Return the first question where it is not answered, or has to be answered anew."""
    return _first_question(_reached(composition, state), state)


def _first_question(reached: tuple[Segment, ...], state: State) -> Check | None:
    return _first_open(_reached_checks(reached), Kind.HAZARD, state)


def _asked(reached: tuple[Segment, ...], state: State) -> Ask | None:
    for index, segment in enumerate(reached):
        for screen in segment_screens(segment, index):
            pending = tuple(
                check.id
                for check in screen.checks
                if state.is_open(check.id) and not _waits_first(check, segment, state)
            )
            if pending:
                return Ask(stage=segment.stage, checks=screen.checks, pending=pending)
    return None


def _waits_first(check: Check, segment: Segment, state: State) -> bool:
    """Tell whether a wait at the check's own place is open before it; looks at other places go on."""
    earlier = segment.checks[: segment.checks.index(check)]
    return any(
        other.kind is Kind.WAIT and other.place == check.place and state.is_open(other.id)
        for other in earlier
    )


def probe_due(composition: Composition, state: State, *, on_machine: bool | None) -> Check | None:
    """Return the automatic check that should be running now: one at a time, in order.

    None while a hazard stands or the first question is open, as no reading comes before it; before the work
    is said; and on any computer but the repaired machine.
    """
    reached = _reached(composition, state)
    if (
        state.hazards_open
        or state.given_back is not None
        or not state.started
        or not on_machine
        or _first_question(reached, state) is not None
    ):
        return None
    return _first_open(_reached_checks(reached), Kind.PROBE, state)


def waiting_for_machine(composition: Composition, state: State) -> tuple[Check, ...]:
    """Return the automatic checks that are reached and open."""
    return tuple(
        check
        for check in _reached_checks(_reached(composition, state))
        if check.kind is Kind.PROBE and state.is_open(check.id)
    )


def wait_due(composition: Composition, state: State) -> Check | None:
    """Return the wait that runs now; None while a hazard stands, or before the work is said."""
    if state.hazards_open or not state.started:
        return None
    return _first_open(_reached_checks(_reached(composition, state)), Kind.WAIT, state)


def may_be_asked_again(now_due: Due) -> tuple[Blocked, ...]:
    """Return the checks that can be asked again now."""
    return now_due.blocked if isinstance(now_due, Held | Watching | Elsewhere) else ()


def may_be_accepted(now_due: Due) -> tuple[Check, ...]:
    """Return the checks that a named person can accept now as a known flaw, never a hazard.

    Elsewhere also those that wait for the machine: it may never start again.
    """
    checks = [block.check for block in may_be_asked_again(now_due)]
    if isinstance(now_due, Elsewhere):
        checks += now_due.checks
    return tuple(check for check in checks if check.may_be_accepted)


def may_be_pictured(composition: Composition, state: State, now_due: Due) -> tuple[Check, ...]:
    """Return the checks that a picture can be added to: what is asked now, then what was answered last first.

    None while a hazard stands. Whoever said that there is no picture has to take that back first.
    """
    if state.hazards_open:
        return ()
    asked: tuple[Check, ...] = ()
    if isinstance(now_due, Ask):
        asked = tuple(check for check in now_due.checks if check.id in now_due.pending)
    answered = [
        (current.n, check)
        for check in composition.checks
        if (current := state.current(check.id)) is not None
        and (check.kind is not Kind.PHOTO or state.has_picture(check.id))
    ]
    return (*asked, *(check for _, check in sorted(answered, key=lambda one: -one[0])))


def _first_open(checks: Iterable[Check], kind: Kind, state: State) -> Check | None:
    return next((check for check in checks if check.kind is kind and state.is_open(check.id)), None)


def progress(composition: Composition, state: State) -> Progress:
    """Tell how far the run is, in screens and minutes."""
    every = screens(composition)
    done = sum(
        screen.step.id in state.steps
        if screen.step is not None
        else all(not state.is_open(check.id) for check in screen.checks)
        for screen in every
    )
    left = [check for check in composition.checks if state.is_open(check.id)]
    took_in = state.began.arriving
    arrived = took_in and not arrival.topics_left(state)
    return Progress(
        screens_done=done + arrived,
        screens=len(every) + took_in,
        hands_min=sum(check.minutes for check in left if not needs_nobody(check))
        + MINUTES_ON_ARRIVAL * (took_in and not arrived and not state.started),
        waiting_min=sum(check.minutes for check in left if needs_nobody(check)),
    )
