"""From the journal's lines to the state. Pure: the same lines always give the same state.

Lines are taken in one by one, so that a run that goes on costs only its new line. A line that was undone
does not count at all: the state is folded anew without it.
"""

from collections.abc import Iterable, Sequence

import msgspec

from verify.checklist import Check, Composition, Kind
from verify.checklist.answers import Hazard
from verify.judge import Judgement
from verify.machine import Inventory
from verify.record.arrival import Picture
from verify.record.model import Work
from verify.run.events import (
    Accepted,
    Answered,
    Arrived,
    AskedAgain,
    Began,
    Ended,
    Found,
    GivenBack,
    HazardMet,
    Line,
    MadeSafe,
    Missed,
    Noticed,
    Opened,
    Pictured,
    Placed,
    Reopened,
    Stepped,
    Undone,
    Waited,
    WatchBegan,
    WorkAdded,
)
from verify.run.findings import judge_answer, judge_readings, readings_of
from verify.run.journal import RESTORE
from verify.run.state import OpenedAgain, OpenHazard, State, Try
from verify.values import Instant, Reading, Verdict
from verify.values.errors import BrokenJournalError, OrderError

_CAN_BE_UNDONE = (Placed, Answered, Pictured, Stepped, Accepted, Noticed, Arrived, Reopened, GivenBack)
"""What hands and eyes said. What was read, a hazard and more work cannot be taken back."""


class Fold:
    """Takes the lines in, one by one. The first is the Began line."""

    def __init__(self, began: Line, composition: Composition) -> None:
        event = began.event
        if not isinstance(event, Began):
            raise TypeError("A journal begins with its Began line.")
        self._began, self._began_at, self._last_at = event, began.at, began.at
        self._composition = composition
        self._checks = {check.id: check for check in composition.checks}
        # Work that was added may have done without a step that was taken before it came.
        self._steps_known = {step.id for each in composition.checklists for step in each.steps}
        # Lines after which something goes on by itself.
        self._let_go_on: set[int] = set()
        self._begun: dict[str, int] = {}
        self._sessions: list[Opened] = []
        self._work: list[Work] = list(event.ticket.work)
        self._started = not event.arriving
        self._arrival = Arrived()
        self._arrived_at: Instant | None = None
        self._read_on_arrival = -1
        self._tries: dict[str, tuple[Try, ...]] = {}
        self._pictures: dict[str, tuple[Picture, ...]] = {}
        self._steps: dict[str, tuple[int, Instant]] = {}
        self._accepted: dict[str, tuple[Instant, Accepted]] = {}
        self._watching: dict[str, str] = {}
        self._hazards: list[OpenHazard] = []
        self._reopened: list[OpenedAgain] = []
        self._growths: list[tuple[Instant, tuple[str, ...]]] = []
        self._noticed: list[tuple[Instant, str]] = []
        self._given_back: tuple[Instant, GivenBack] | None = None
        self._missed: list[tuple[Instant, Missed]] = []
        self._found: list[Found] = []
        self._inventory: Inventory | None = None
        self._by_hand: list[int] = []
        self._read_by: Opened | None = None
        self._ended: Ended | None = None

    def state(self) -> State:
        """Return where the run stands after the lines so far."""
        complaint = self._arrival.complaint
        ticket = self._began.ticket
        return State(
            began=self._began,
            ticket=msgspec.structs.replace(
                ticket,
                work=tuple(self._work),
                complaint=ticket.complaint if complaint is None else complaint,
            ),
            began_at=self._began_at,
            last_at=self._last_at,
            started=self._started,
            sessions=tuple(self._sessions),
            arrival=self._arrival,
            arrived_at=self._arrived_at,
            tries=dict(self._tries),
            pictures=dict(self._pictures),
            steps=dict(self._steps),
            accepted=dict(self._accepted),
            watching=dict(self._watching),
            hazards=tuple(self._hazards),
            reopened=tuple(self._reopened),
            growths=tuple(self._growths),
            noticed=tuple(self._noticed),
            given_back=self._given_back,
            missed=tuple(self._missed),
            found=tuple(self._found),
            inventory=self._inventory,
            last_by_hand=tuple(self._by_hand),
            read_by=self._read_by,
            ended=self._ended,
        )

    def take(self, line: Line) -> None:
        """Take in the next line that counts.

        Raises BrokenJournalError where it does not fit the ticket's checks.
        """
        try:
            self._take(line)
        except (LookupError, OrderError) as error:
            raise _does_not_fit(line) from error
        self._last_at = line.at
        if not isinstance(line.event, Opened):
            # Looking into an ended run leaves it ended; anything else goes on with it.
            self._ended = line.event if isinstance(line.event, Ended) else None

    def take_undone(self, line: Line) -> None:
        """Take in a line that was undone later: it stands there, and nothing comes of it."""
        self._last_at = line.at
        if isinstance(line.event, Stepped | Placed):
            self._let_go_on.add(line.n)

    def _take(self, line: Line) -> None:  # noqa: C901 - a line for each kind of event
        event = line.event
        match event:
            case Undone():
                self._undone(event)
            case Opened():
                self._sessions.append(event)
            case Placed():
                self._sessions[-1] = msgspec.structs.replace(self._sessions[-1], on_machine=event.on_machine)
                self._let_go_on.add(line.n)
                self._done_by_hand(line.n)
            case Arrived():
                self._arrived(line, event)
            case WorkAdded():
                self._work_added(line, event)
            case Answered():
                self._answered(line, event)
            case Pictured():
                check_id = self._check(event.check).id
                self._pictures[check_id] = (*self._pictures.get(check_id, ()), event.picture)
                self._done_by_hand(line.n)
            case WatchBegan():
                self._check(event.check)
                self._watching[event.check] = event.trace
                self._begun[event.check] = line.n
            case Found():
                self._found_out(line, event)
            case Waited():
                minutes = f"{event.seconds / 60:.0f} min"
                judgement = Judgement(verdict=Verdict.CONFORMS, because=f"{minutes} have passed.")
                self._try(line, self._check(event.check), judgement)
            case Missed():
                self._missed.append((line.at, event))
            case Stepped():
                self._stepped(line, event)
            case AskedAgain():
                check = self._check(event.check)
                self._out_of_date(check.id, "asked again")
                for read in check.reads:
                    # Else it would judge the same readings anew.
                    self._out_of_date(read, f"{check.id} is asked again")
                self._by_hand = []
            case Reopened():
                self._reopen(line, event)
            case Accepted():
                self._accepted[self._check(event.check).id] = (line.at, event)
                self._done_by_hand(line.n)
            case Noticed():
                self._noticed.append((line.at, event.what))
                self._done_by_hand(line.n)
            case HazardMet():
                self._hazards.append(OpenHazard(at=line.at, check="", what=event.what))
                self._by_hand = []
            case MadeSafe():
                self._made_safe(line, event)
            case GivenBack():
                self._given_back = (line.at, event)
                self._done_by_hand(line.n)
            case Began() | Ended():
                pass

    def _check(self, check_id: str) -> Check:
        return self._checks[check_id]

    def _done_by_hand(self, n: int, *, new: bool = True) -> None:
        if new:
            self._by_hand = [n]
        elif self._by_hand:
            # A step that took itself goes back together with the answer that let it.
            self._by_hand.append(n)

    # Arrival and work.

    def _arrived(self, line: Line, event: Arrived) -> None:
        said = {name: value for name, value in msgspec.structs.asdict(event).items() if value is not None}
        if event.tried is not None:
            said["tried"] = {**(self._arrival.tried or {}), **event.tried}
        if event.pictures is not None:
            said["pictures"] = (*(self._arrival.pictures or ()), *event.pictures)
        if event.readings is None:
            said.pop("readings_note")
            self._done_by_hand(line.n)
        else:
            self._read_on_arrival = line.n
        self._arrival = msgspec.structs.replace(self._arrival, **said)
        self._arrived_at = line.at

    def _work_added(self, line: Line, event: WorkAdded) -> None:
        kinds = {work.kind for work in event.work}
        # A part that is named later takes the place of work that named none.
        self._work = [work for work in self._work if work.kind not in kinds] + list(event.work)
        if self._started:
            self._growths.append((line.at, tuple(work.kind for work in event.work)))
        self._started = True
        self._given_back = None
        self._untake_what_follows()
        self._by_hand = []

    # Checks.

    def _try(
        self,
        line: Line,
        check: Check,
        judgement: Judgement,
        *,
        readings: tuple[Reading, ...] = (),
        note: str = "",
    ) -> None:
        # Its pictures stay: they were taken for this answer, or show what has not changed since the last.
        self._attempt_out_of_date(check.id, "answered again")
        attempt = Try(n=line.n, at=line.at, judgement=judgement, readings=readings, note=note)
        self._tries[check.id] = (*self._tries.get(check.id, ()), attempt)

    def _out_of_date(self, check_id: str, why: str, *, taken_back: bool = False) -> bool:
        """Let the attempt that counts, and what was accepted, no longer count; tell whether there was one.

        taken_back: it never should have been made. What its pictures show need not be so any more.
        """
        if check_id in self._pictures:
            self._pictures[check_id] = tuple(
                picture if picture.out_of_date else msgspec.structs.replace(picture, out_of_date=why)
                for picture in self._pictures[check_id]
            )
        return self._attempt_out_of_date(check_id, why, taken_back=taken_back)

    def _attempt_out_of_date(self, check_id: str, why: str, *, taken_back: bool = False) -> bool:
        accepted = self._accepted.pop(check_id, None)
        tries = self._tries.get(check_id, ())
        if not tries or tries[-1].out_of_date:
            return accepted is not None
        last = msgspec.structs.replace(tries[-1], out_of_date=why, taken_back=taken_back)
        self._tries[check_id] = (*tries[:-1], last)
        return True

    def _answered(self, line: Line, event: Answered) -> None:
        check = self._check(event.check)
        judgement = judge_answer(check, event.answer)
        self._try(line, check, judgement, readings=readings_of(event.answer), note=event.answer.note)
        self._done_by_hand(line.n)
        if is_hazard(check, event, judgement):
            self._hazards.append(OpenHazard(at=line.at, check=check.id, what=judgement.because))

    def _found_out(self, line: Line, event: Found) -> None:
        check = self._check(event.check)
        self._read_by = self._sessions[-1] if self._sessions else None
        self._watching.pop(event.check, None)
        self._found.append(event)
        self._inventory = event.inventory or self._inventory
        judgement = judge_readings(check, event.readings, event.text)
        self._try(line, check, judgement, readings=(*event.readings, *event.aside), note=event.text)
        if event.stop is not None:
            self._hazards.append(OpenHazard(at=line.at, check=check.id, what=event.stop))

    # Steps, and going back.

    def _stepped(self, line: Line, event: Stepped) -> None:
        if event.step not in self._steps_known:
            raise KeyError(event.step)
        self._let_go_on.add(line.n)
        self._steps[event.step] = (line.n, line.at)
        self._done_by_hand(line.n, new=not event.by_itself)

    def _reopen(self, line: Line, event: Reopened) -> None:
        """Let what the opening voids be asked and done again, and only that."""
        opened = set(event.opened)
        why = f"opened again: {', '.join(event.opened)}"
        voided = tuple(
            check.id
            for check in self._composition.checks
            if opened & set(check.voided_by) and self._out_of_date(check.id, why)
        )
        gone = [
            step.id
            for step in self._composition.steps
            if opened & set(step.voided_by) and self._steps.pop(step.id, None) is not None
        ]
        self._untake_what_follows()
        # What is watched may have been disturbed, or is not due any more; a lid does not disturb a charge.
        for check_id in tuple(self._watching):
            if gone or opened & set(self._check(check_id).voided_by):
                del self._watching[check_id]
        self._given_back = None
        self._reopened.append(OpenedAgain(at=line.at, opened=event.opened, why=event.why, voided=voided))
        self._done_by_hand(line.n)

    def _untake_what_follows(self) -> None:
        """Let the steps that take themselves wait again for those before them."""
        waiting = False
        for step in self._composition.steps:
            if waiting and step.do is None:
                self._steps.pop(step.id, None)
            waiting = waiting or step.id not in self._steps

    def _undone(self, event: Undone) -> None:
        """Let nothing stand that was established by itself after what was not so after all."""
        since = min((n for n in event.lines if n in self._let_go_on), default=None)
        if since is None:
            return
        for check_id, tries in tuple(self._tries.items()):
            if tries[-1].n > since:
                self._out_of_date(check_id, "what was said before it was taken back", taken_back=True)
        if self._read_on_arrival > since:
            self._arrival = msgspec.structs.replace(
                self._arrival, readings=None, readings_note="", inventory=None
            )
        for check_id, begun in self._begun.items():
            if begun > since:
                self._watching.pop(check_id, None)

    def _made_safe(self, line: Line, event: MadeSafe) -> None:
        for index, hazard in enumerate(self._hazards):
            if hazard.made_safe is None:
                for check_id in (hazard.check,) if hazard.check else self._first_questions():
                    self._out_of_date(check_id, "made safe since")
                self._hazards[index] = msgspec.structs.replace(
                    hazard, made_safe=event.how, made_safe_by=event.by, made_safe_at=line.at
                )
        # What was being watched may have been taken out since.
        self._watching.clear()
        self._by_hand = []

    def _first_questions(self) -> tuple[str, ...]:
        """Return what is asked anew after a hazard that no check found: no other would look at it again."""
        return tuple(check.id for check in self._composition.checks if check.kind is Kind.HAZARD)


def is_hazard(check: Check, event: Answered, judgement: Judgement) -> bool:
    """Tell whether an answer is a hazard: said so, or a stop check that is not good or cannot be seen."""
    if isinstance(event.answer, Hazard):
        return event.answer.present is not False
    return check.stop and judgement.verdict in (Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED)


def fold_lines(lines: Iterable[Line], composition: Composition) -> Fold:
    """Take all lines in; more may follow. The first line is the Began line.

    Raises BrokenJournalError for a line that does not fit the ticket's checks.
    """
    lines = tuple(lines)
    undone = _undone_lines(lines)
    taking = Fold(lines[0], composition)
    for line in lines[1:]:
        if line.n in undone:
            taking.take_undone(line)
        else:
            taking.take(line)
    return taking


def fold(lines: Iterable[Line], composition: Composition) -> State:
    """Fold the journal's lines into the state.

    Raises BrokenJournalError for a line that does not fit the ticket's checks.
    """
    return fold_lines(lines, composition).state()


def _undone_lines(lines: Sequence[Line]) -> frozenset[int]:
    undone: set[int] = set()
    for line in lines:
        if isinstance(line.event, Undone):
            if not all(
                0 < n < line.n and isinstance(lines[n].event, _CAN_BE_UNDONE) for n in line.event.lines
            ):
                raise _does_not_fit(line)
            undone.update(line.event.lines)
    return frozenset(undone)


def _does_not_fit(line: Line) -> BrokenJournalError:
    return BrokenJournalError(
        f"Line {line.n + 1} of the journal does not fit the checks of this ticket.", next_step=RESTORE
    )
