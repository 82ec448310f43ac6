"""Where a run stands: the fold of its journal, and nothing else.

Undone lines do not count; attempts that were overtaken stay, marked out of date.
"""

import itertools
from collections.abc import Iterable, Mapping

import msgspec

from verify.checklist import Check, Composition
from verify.checklist.answers import Hazard
from verify.judge import Judgement
from verify.run.events import (
    Answered,
    AskedAgain,
    Began,
    Ended,
    Found,
    Line,
    MadeSafe,
    Opened,
    Stepped,
    Undone,
    Waited,
    WatchBegan,
)
from verify.run.findings import judge_answer, judge_readings, readings_of
from verify.run.journal import RESTORE
from verify.values import Instant, Reading, Verdict
from verify.values.errors import BrokenJournalError, OrderError


class Try(msgspec.Struct, frozen=True, kw_only=True):
    """One attempt at a check. n: the journal line. out_of_date: why it no longer counts, or empty."""

    n: int
    at: Instant
    judgement: Judgement
    readings: tuple[Reading, ...] = ()
    note: str = ""
    out_of_date: str = ""


class OpenHazard(msgspec.Struct, frozen=True, kw_only=True):
    """A hazard that was seen. made_safe: how, or None while it stands."""

    at: Instant
    check: str
    what: str
    made_safe: str | None = None
    made_safe_at: Instant | None = None


class State(msgspec.Struct, frozen=True, kw_only=True):
    """The run as its journal tells it.

    tries: attempts by check, oldest first. steps: the instants of the steps taken, and the number of
    the line. watching: trace names of automatic checks that began and have not ended.
    last_by_hand: the lines that an undo would take back, or empty. read_by: the last session in which an
    automatic check ended; None where none did.
    """

    began: Began
    began_at: Instant
    last_at: Instant
    sessions: tuple[Opened, ...]
    tries: Mapping[str, tuple[Try, ...]]
    steps: Mapping[str, tuple[int, Instant]]
    watching: Mapping[str, str]
    hazards: tuple[OpenHazard, ...]
    found: tuple[Found, ...]
    last_by_hand: tuple[int, ...]
    read_by: Opened | None
    ended: Ended | None

    @property
    def simulated(self) -> bool:
        """True as soon as one session read a simulated machine."""
        return any(session.simulated for session in self.sessions)

    @property
    def scripted(self) -> bool:
        """True as soon as one session took its answers from a script."""
        return any(session.scripted for session in self.sessions)

    @property
    def hazards_open(self) -> tuple[OpenHazard, ...]:
        """The hazards that nobody made safe yet."""
        return tuple(hazard for hazard in self.hazards if hazard.made_safe is None)

    def current(self, check_id: str) -> Try | None:
        """Return the attempt that counts, or None where the check is not done."""
        tries = self.tries.get(check_id, ())
        return tries[-1] if tries and not tries[-1].out_of_date else None

    def verdict(self, check_id: str) -> Verdict:
        """Return the verdict that counts; NOT_DONE where there is none."""
        current = self.current(check_id)
        return Verdict.NOT_DONE if current is None else current.judgement.verdict


class _Fold:
    """Takes the lines in, one by one. Lives only inside `fold`."""

    def __init__(self, composition: Composition, lines: tuple[Line, ...]) -> None:
        self._lines = lines
        self._checks = {check.id: check for check in composition.checks}
        self._steps = {step.id for step in composition.steps}
        self._begun: dict[str, int] = {}
        self.read_by: Opened | None = None
        self.sessions: list[Opened] = []
        self.tries: dict[str, list[Try]] = {}
        self.steps: dict[str, tuple[int, Instant]] = {}
        self.watching: dict[str, str] = {}
        self.hazards: list[OpenHazard] = []
        self.found: list[Found] = []
        self.by_hand: list[int] = []

    def take(self, line: Line) -> None:
        event = line.event
        match event:
            case Undone():
                self._undone(event)
            case Opened():
                self.sessions.append(event)
            case Answered():
                self._answered(line, event)
            case WatchBegan():
                self.watching[event.check] = event.trace
                self._begun[event.check] = line.n
            case Found():
                self._found(line, event)
            case Waited():
                minutes = f"{event.seconds / 60:.0f} min"
                judgement = Judgement(verdict=Verdict.CONFORMS, because=f"{minutes} have passed.")
                self._try(event.check, Try(n=line.n, at=line.at, judgement=judgement))
            case Stepped():
                self._stepped(line, event)
            case AskedAgain():
                self._out_of_date(event.check, "asked again")
                self.by_hand = []
            case MadeSafe():
                self._made_safe(line, event)
            case Began() | Ended():
                pass

    def _stepped(self, line: Line, event: Stepped) -> None:
        if event.step not in self._steps:
            raise KeyError(event.step)
        self.steps[event.step] = (line.n, line.at)
        self._by_hand(line.n, new=not event.by_itself)

    def _by_hand(self, n: int, *, new: bool) -> None:
        if new:
            self.by_hand = [n]
        elif self.by_hand:
            # A step that took itself goes back together with the answer that let it.
            self.by_hand.append(n)

    def _try(self, check_id: str, attempt: Try) -> None:
        self._out_of_date(check_id, "answered again")
        self.tries.setdefault(check_id, []).append(attempt)

    def _out_of_date(self, check_id: str, why: str) -> None:
        tries = self.tries.get(check_id)
        if tries and not tries[-1].out_of_date:
            tries[-1] = msgspec.structs.replace(tries[-1], out_of_date=why)

    def _answered(self, line: Line, event: Answered) -> None:
        check = self._checks[event.check]
        judgement = judge_answer(check, event.answer)
        self._try(
            check.id,
            Try(
                n=line.n,
                at=line.at,
                judgement=judgement,
                readings=readings_of(event.answer),
                note=event.answer.note,
            ),
        )
        self._by_hand(line.n, new=True)
        if is_hazard(check, event, judgement):
            self.hazards.append(OpenHazard(at=line.at, check=check.id, what=judgement.because))

    def _undone(self, event: Undone) -> None:
        """Let nothing stand that was established by itself after a step that was not taken after all.

        Which lines do not count was settled before the fold began.
        """
        steps = [n for n in event.lines if isinstance(self._lines[n].event, Stepped)]
        if not steps:
            return
        for check_id, tries in self.tries.items():
            if tries[-1].n > min(steps):
                self._out_of_date(check_id, "the step before it was taken back")
        for check_id, begun in self._begun.items():
            if begun > min(steps):
                self.watching.pop(check_id, None)

    def _found(self, line: Line, event: Found) -> None:
        check = self._checks[event.check]
        self.read_by = self.sessions[-1] if self.sessions else None
        self.watching.pop(event.check, None)
        self.found.append(event)
        judgement = judge_readings(check, event.readings, event.text)
        self._try(
            check.id,
            Try(
                n=line.n,
                at=line.at,
                judgement=judgement,
                readings=(*event.readings, *event.aside),
                note=event.text,
            ),
        )
        if event.stop is not None:
            self.hazards.append(OpenHazard(at=line.at, check=check.id, what=event.stop))

    def _made_safe(self, line: Line, event: MadeSafe) -> None:
        for index, hazard in enumerate(self.hazards):
            if hazard.made_safe is None:
                self._out_of_date(hazard.check, "made safe since")
                self.hazards[index] = msgspec.structs.replace(
                    hazard, made_safe=event.how, made_safe_at=line.at
                )
        # What was being watched may have been taken out since.
        self.watching.clear()
        self.by_hand = []


def is_hazard(check: Check, event: Answered, judgement: Judgement) -> bool:
    """Tell whether an answer is a hazard: said so, or a stop check that is not good or cannot be seen."""
    if isinstance(event.answer, Hazard):
        return event.answer.present is not False
    return check.stop and judgement.verdict in (Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED)


def fold(lines: Iterable[Line], composition: Composition) -> State:
    """Fold the journal's lines into the state. The first line is the Began line.

    Raises BrokenJournalError for a line that does not fit the ticket's checks.
    """
    lines = tuple(lines)
    began = lines[0].event
    if not isinstance(began, Began):
        raise TypeError("A journal begins with its Began line.")
    undone: set[int] = set()
    for line in lines:
        if isinstance(line.event, Undone):
            if not all(0 < n < line.n and _can_be_undone(lines[n]) for n in line.event.lines):
                raise _does_not_fit(line)
            undone.update(line.event.lines)
    taking = _Fold(composition, lines)
    ended: Ended | None = None
    for line in lines:
        if line.n in undone:
            continue
        try:
            taking.take(line)
        except (KeyError, OrderError) as error:
            raise _does_not_fit(line) from error
        if not isinstance(line.event, Opened):
            # Looking into an ended run leaves it ended; anything else goes on with it.
            ended = line.event if isinstance(line.event, Ended) else None
    return State(
        began=began,
        began_at=lines[0].at,
        last_at=lines[-1].at,
        sessions=tuple(taking.sessions),
        tries={check: tuple(tries) for check, tries in taking.tries.items()},
        steps=taking.steps,
        watching=taking.watching,
        hazards=tuple(taking.hazards),
        found=tuple(taking.found),
        last_by_hand=tuple(taking.by_hand),
        read_by=taking.read_by,
        ended=ended,
    )


def _can_be_undone(line: Line) -> bool:
    """Answers and steps only: which machine was read, and by whom, cannot be taken back."""
    return isinstance(line.event, Answered | Stepped)


def _does_not_fit(line: Line) -> BrokenJournalError:
    return BrokenJournalError(
        f"Line {line.n + 1} of the journal does not fit the checks of this ticket.", next_step=RESTORE
    )


def witnessed_s(lines: Iterable[Line], *, since: int, now: Instant) -> float:
    """Return how much time the run saw pass since line `since`, in s; `now` is in the last line's session.

    Only time within one boot counts: a wall clock proves nothing. Where the system names no boot, only
    time within one session.
    """
    told = [(line.at, isinstance(line.event, Opened)) for line in lines if line.n >= since]
    told.append((now, False))
    return sum(
        max(0.0, later.elapsed_s - earlier.elapsed_s)
        for (earlier, _), (later, new_session) in itertools.pairwise(told)
        if earlier.boot_id == later.boot_id and not (new_session and later.boot_id is None)
    )


def first_verdicts(state: State) -> dict[str, Verdict]:
    """Return the verdict of each check's first attempt: the first-pass result."""
    return {check: tries[0].judgement.verdict for check, tries in state.tries.items() if tries}
