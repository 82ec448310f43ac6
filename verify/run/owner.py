"""The owner of a run: takes commands, checks that they are due, writes the journal, folds it.

One owner, one thread. Whoever asks the technician (terminal, script) sends commands and reads what is
`shown`; no rule of the run stands anywhere else.
"""

import itertools
from collections.abc import Iterable, Sequence

from verify import TOOL
from verify.checklist import Check, Checklist, Kind
from verify.checklist.answers import Answer
from verify.checklist.work import with_included
from verify.machine import Machine, Sample
from verify.probe import Context, Working
from verify.probe.registry import make_probe
from verify.record.arrival import Picture
from verify.record.model import Ticket, Work
from verify.run import arrival, commands, plan
from verify.run.background import Background, Watch
from verify.run.beginning import composition_of
from verify.run.events import (
    NO_LINE_BEFORE,
    Arrived,
    Began,
    Ended,
    Event,
    Found,
    Line,
    Opened,
    Pictured,
    Placed,
    Stepped,
    Undone,
    Waited,
    WatchBegan,
    WorkAdded,
    counts_of,
)
from verify.run.fold import fold_lines
from verify.run.folder import RunFolder
from verify.run.journal import Journal
from verify.run.outcome import outcome_of
from verify.run.shown import Shown
from verify.run.standing import hashed_marks, stands_on_machine, who_this_is
from verify.run.state import State, witnessed_s
from verify.run.trace import Trace
from verify.values import Instant, Reading
from verify.values.errors import OrderError, WrongUseError


class Owner:
    """A run, owned. Hold the folder's lock while it lives."""

    def __init__(
        self,
        folder: RunFolder,
        *,
        machine: Machine,
        scripted: bool,
        practice: bool = False,
        on_machine: bool | None = None,
        brief: bool = False,
    ) -> None:
        """Open the journal and fold it. A session that writes nothing else leaves no line of its own.

        on_machine: whether this computer is the repaired machine itself; None: found out from earlier
        sessions, or asked. brief: one command is taken; nothing is begun in the background.
        Raises WrongUseError where the folder holds no run; JournalError as `Journal` does.
        """
        self._folder = folder
        self._machine = machine
        self._journal = Journal(folder.journal_path)
        if not self._journal.lines or not isinstance(self._journal.lines[0].event, Began):
            raise WrongUseError(
                f"{folder.path.name} is not open yet.",
                next_step=f"Open it with: handback start {folder.path.name}",
            )
        self._scripted, self._practice, self._brief = scripted, practice, brief
        self._told = False
        self._background = Background(machine, salt=self._journal.lines[0].event.ticket.id)
        # Both follow from the journal alone: found once for each line, as they are asked with each sample.
        self._due: tuple[tuple[int, bool | None], plan.Due] | None = None
        self._progress: tuple[int, plan.Progress] | None = None
        self.state: State
        self.composition = composition_of(self.lines)
        self._refold()
        self._identity = who_this_is(machine, self.ticket)
        self._marks = hashed_marks(self.ticket.id, machine.marks())
        self.on_machine: bool | None = on_machine
        if on_machine is None:
            self.on_machine = stands_on_machine(
                self.state.sessions, machine=self._identity, marks=self._marks
            )
        self._settle()

    # What is to be shown.

    @property
    def ticket(self) -> Ticket:
        """The ticket."""
        return self.state.ticket

    @property
    def simulated(self) -> bool:
        """Whether anything of this run is, or is going to be, read from a simulated machine."""
        return self._machine.simulated or self.state.simulated

    @property
    def scripted(self) -> bool:
        """Whether anything of this run was, or is going to be, answered by a script."""
        return self._scripted or self.state.scripted

    @property
    def lines(self) -> Sequence[Line]:
        """The journal so far; grows with each line that is written."""
        return self._journal.lines

    @property
    def loads(self) -> bool:
        """Whether a load runs now."""
        return self._background.loads

    @property
    def often(self) -> bool:
        """Whether a sample a second is needed now."""
        return self._background.often

    def now(self) -> Instant:
        """Return the present instant on the machine's clock."""
        return self._machine.clock.now()

    def due(self) -> plan.Due:
        """Tell what is due now."""
        key = (len(self.lines), self.on_machine)
        if self._due is None or self._due[0] != key:
            self._due = key, plan.due(self.composition, self.state, on_machine=self.on_machine)
        return self._due[1]

    def progress(self) -> plan.Progress:
        """Tell how far the run is."""
        if self._progress is None or self._progress[0] != len(self.lines):
            self._progress = len(self.lines), plan.progress(self.composition, self.state)
        return self._progress[1]

    @property
    def strip(self) -> tuple[Check, Working] | None:
        """What runs in the background, for the quiet strip; None where nothing does."""
        working = self._background.working
        if self._background.watch is not None and working is not None:
            return self._background.watch.check, working
        wait = plan.wait_due(self.composition, self.state)
        if wait is None:
            return None
        passed = self._waited_s(wait, self._machine.clock.now())
        left = max(0.0, wait.wait_s - passed)
        text = f"Waiting: {wait.ask}"
        return wait, Working(text=text, fraction=min(1.0, passed / wait.wait_s), seconds_left=left)

    def shown(self) -> Shown:
        """Return all that whoever asks may show, as one value that never changes."""
        return Shown(
            ticket=self.ticket,
            simulated=self.simulated,
            scripted=self.scripted,
            practice=self._practice or self.state.practice,
            on_machine=self.on_machine,
            composition=self.composition,
            state=self.state,
            due=self.due(),
            progress=self.progress(),
            strip=self.strip,
            awake_note=self._background.awake_note,
            loads=self._background.loads,
        )

    # Commands. What each refuses, and why, stands in `commands`.

    def stand(self, *, on_machine: bool) -> None:
        """Take in whether this computer is the repaired machine itself.

        Raises OrderError where it is known already.
        """
        if not isinstance(self.due(), plan.Where):
            raise OrderError("It is known already whether this is the repaired machine.")
        self._append(Placed(on_machine=on_machine))
        self.on_machine = on_machine
        self._settle()

    def arrive(self, said: Arrived) -> None:
        """Take in a line of what there is on arrival.

        Raises OrderError where arrival is over or not asked.
        """
        if not isinstance(self.due(), plan.Arrive):
            raise OrderError("Nothing is taken in on arrival now.")
        self._do(said)

    def add_work(
        self,
        work: Iterable[Work],
        checklists: Iterable[Checklist],
        *,
        signers: tuple[str, ...] = (),
        whole: bool = True,
    ) -> tuple[Check, ...]:
        """Say what is repaired, or let the work grow; return the checks that it brings.

        checklists: all that are known (whole: as for `begin`). What was answered stays; only what is new is
        asked.
        """
        event, new = commands.work_added(
            self.state, self.composition, tuple(work), checklists=checklists, signers=signers, whole=whole
        )
        self._do(event)
        return new

    def answer(self, check_id: str, answer: Answer) -> None:
        """Take an answer to a check that is due."""
        self._do(commands.answered(self.state, self.due(), check_id, answer))

    def add_picture(self, check_id: str, picture: Picture) -> None:
        """Add a picture, taken over into the run's folder already, to a check that is asked or answered."""
        self._do(commands.pictured(self.composition, self.state, self.due(), check_id, picture))

    def next_picture(self) -> int:
        """Return the number of the next picture: one that was taken back keeps its own."""
        return 1 + sum(
            1 if isinstance(line.event, Pictured) else len(line.event.pictures or ())
            for line in self.lines
            if isinstance(line.event, Pictured | Arrived)
        )

    def take_step(self, step_id: str) -> None:
        """Take a step whose hold is lifted."""
        self._do(commands.stepped(self.due(), step_id))

    def ask_again(self, check_id: str) -> None:
        """Ask a check again after something was mended; what was answered stays in the record."""
        self._do(commands.asked_again(self.due(), check_id))

    def accept(self, check_id: str, *, by: str, reason: str, owner_agreed: str = "") -> None:
        """Accept a check that is not good as a known flaw.

        by: who accepts it. owner_agreed: how and when the owner said yes; may be empty only where the
        checklist says that the owner cannot notice it.
        """
        self._do(commands.accepted(self.due(), check_id, by=by, reason=reason, owner_agreed=owner_agreed))

    def undo(self) -> bool:
        """Take back the last answer or step, and what followed from it by itself.

        Returns False where there is nothing to take back. Nothing is erased: the line stays, undone; what
        was read after a step that is taken back stays too, out of date.
        """
        event = commands.undone(self.state)
        if event is None:
            return False
        if any(isinstance(self.lines[n].event, Placed) for n in event.lines):
            self.on_machine = None
        self._do(event)
        return True

    def reopen(
        self,
        opened: Iterable[str],
        *,
        why: str,
        work: tuple[Work, ...] = (),
        checklists: Iterable[Checklist] = (),
    ) -> tuple[Check, ...]:
        """Take in what was opened again, and why; what that voids is asked again, and only that.

        opened: of `OPENINGS`. work: what was done besides; returns the checks that it brings. Where that
        is refused, nothing of it is written.
        """
        event = commands.reopened(self.composition, self.state, opened, why=why)
        if not work:
            self._do(event)
            return ()
        then = Line(n=len(self.lines), before=NO_LINE_BEFORE, at=self.now(), event=event)
        added, new = commands.work_added(
            fold_lines((*self.lines, then), self.composition).state(),
            self.composition,
            work,
            checklists=checklists,
            signers=(),
        )
        self._do(event)
        self._do(added)
        return new

    def notice(self, what: str) -> None:
        """Keep something that was seen outside the work: told to the owner, never a reason to hold."""
        self._do(commands.noticed(what))

    def meet_hazard(self, what: str) -> None:
        """Stop everything for a hazard, whatever is asked now. what: may be empty."""
        # The load first: not even the journal comes before it.
        self._background.drop()
        self._do(commands.hazard_met(what))

    def made_safe(self, how: str, *, by: str) -> None:
        """End every open hazard: which part was isolated and where it is now, and by whom."""
        self._do(commands.made_safe(self.state, how, by=by))

    def give_back(self, *, why: str, risks_told: str, owner_signed: str) -> None:
        """End the run as returned unrepaired.

        why: why it is not repaired. risks_told: which risks, by whom. owner_signed: where the owner's
        signature is, or why there is none.
        """
        self._do(
            commands.given_back(
                self.composition, self.state, why=why, risks_told=risks_told, owner_signed=owner_signed
            )
        )

    def _do(self, event: Event) -> None:
        self._append(event)
        self._settle()

    # What runs in the background.

    def take_sample(self, sample: Sample) -> None:
        """Feed a sample to the automatic check that runs, and let waits end."""
        strip = self.strip
        if strip is not None:
            missed = self._background.missed(sample, check=strip[0].id)
            if missed is not None:
                self._append(missed)
        watch = self._background.watch
        finding = self._background.feed(sample)
        if watch is not None and finding is not None:
            watch.finding = finding
            self._finish(watch)
        self._end_wait(sample.at)

    def wants_samples(self) -> bool:
        """Tell whether anything in the background is to be fed."""
        return self._background.watch is not None or plan.wait_due(self.composition, self.state) is not None

    def _finish(self, watch: Watch) -> None:
        finding = watch.finding
        if finding is None:
            return
        sha256 = watch.trace.seal()
        self._background.watch = None
        self._background.end_load()
        self._append(
            Found(
                check=watch.check.id,
                readings=finding.readings,
                aside=finding.aside,
                text=finding.text,
                stop=finding.stop,
                trace=watch.trace_name,
                samples=watch.trace.samples,
                sha256=sha256,
                inventory=watch.inventory,
            )
        )
        self._settle()

    def _waited_s(self, wait: Check, now: Instant) -> float:
        # A step that the work does not need is not waited after: then the last one taken counts.
        taken = {step: n for step, (n, _) in self.state.steps.items()}
        since = taken.get(wait.after or "", max(taken.values(), default=0))
        return witnessed_s(self.lines, since=since, now=now)

    def _end_wait(self, now: Instant) -> None:
        wait = plan.wait_due(self.composition, self.state)
        if wait is not None:
            passed = self._waited_s(wait, now)
            if passed >= wait.wait_s:
                self._append(Waited(check=wait.id, seconds=passed))
                self._settle()

    def _probe_due(self) -> Check | None:
        return plan.probe_due(self.composition, self.state, on_machine=self.on_machine)

    def _start_watch(self) -> None:
        check = self._probe_due()
        if self._background.watch is not None or check is None or self._brief:
            return
        name = self.state.watching.get(check.id)
        if name is None:
            name = f"{len(self.lines):05d}-{check.id}.jsonl"
            self._append(WatchBegan(check=check.id, trace=name))
        began = next(
            line.n
            for line in reversed(self.lines)
            if isinstance(line.event, WatchBegan) and line.event.trace == name
        )
        probe = make_probe(check.probe or "", check.options, self._context(check, since=began))
        trace = Trace(self._folder.trace_path(name))
        watch = Watch(check, probe, name, trace, since=self._machine.clock.now())
        self._background.watch = watch
        self._finish(watch)

    def _context(self, check: Check, *, since: int) -> Context:
        """Return what an automatic check may know of the ticket. since: the line with which it began."""
        tries = self.state.tries
        before = [one.n for one in tries.get(check.id, ())]
        return Context(
            label_wh=self.ticket.label_wh(),
            label=self.ticket.label(),
            earlier=self._counting(Kind.PROBE),
            newer=frozenset(one for one, its in tries.items() if its[-1].n > before[-1]) if before else None,
            entered=self._counting(Kind.MEASURE),
            work=with_included(self.composition.checklists, (work.kind for work in self.ticket.work)),
            arrival_inventory=self.state.arrival.inventory,
            arrival_readings=self.state.arrival.readings or (),
            said_at=max(line.at.wall for line in self.lines),
            said_on_arrival=max(line.at.wall for line in itertools.takewhile(_is_before, self.lines)),
            witnessed_s=witnessed_s(self.lines, since=since, now=self.now()),
        )

    def _counting(self, kind: Kind) -> dict[str, tuple[Reading, ...]]:
        """Return the readings that count, by check; nothing that was undone, voided or not done."""
        current = {
            check.id: self.state.current(check.id) for check in self.composition.checks if check.kind is kind
        }
        return {check_id: tried.readings for check_id, tried in current.items() if tried is not None}

    # The journal.

    def _append(self, event: Event) -> None:
        self._tell()
        self._write(event)

    def _write(self, event: Event) -> None:
        line = self._journal.append(event, self._machine.clock.now())
        if isinstance(event, WorkAdded):
            self.composition = composition_of(self.lines)
        if isinstance(event, Undone | WorkAdded):
            self._refold()
        else:
            self._fold.take(line)
            self.state = self._fold.state()

    def _tell(self) -> None:
        """Write once that this session works on the run, and what it reads."""
        if not self._told:
            self._write(
                Opened(
                    tool=TOOL,
                    read_by=self._machine.name,
                    machine=self._identity,
                    marks=self._marks,
                    on_machine=self.on_machine,
                    simulated=self._machine.simulated,
                    scripted=self._scripted,
                    practice=self._practice,
                )
            )
            self._told = True

    def _refold(self) -> None:
        self._fold = fold_lines(self.lines, self.composition)
        self.state = self._fold.state()

    def _settle(self) -> None:
        """Let what needs nobody happen: a hazard stops the watch; steps take themselves; watches start."""
        if self.state.hazards_open:
            self._background.close()
            return
        if arrival.wants_readings(self.state, on_machine=self.on_machine) and not self._brief:
            sample = self._machine.sample()
            self._append(
                Arrived(
                    readings=arrival.short_readings(sample),
                    readings_note=arrival.readings_note(sample),
                    inventory=self._machine.inventory(salt=self.ticket.id),
                )
            )
        while isinstance(due := self.due(), plan.Do) and due.step.do is None:
            self._append(Stepped(step=due.step.id, by_itself=True))
        watch = self._background.watch
        due_probe = self._probe_due()
        if watch is not None and (
            due_probe is None or due_probe.id != watch.check.id or watch.check.id not in self.state.watching
        ):
            self._background.drop()
        self._start_watch()
        if plan.wait_due(self.composition, self.state) is not None and not self._brief:
            # From here on this session witnesses the time.
            self._tell()
        self._background.keep_awake(wanted=self.strip is not None and not self._brief)
        if isinstance(self.due(), plan.Complete | plan.Declined) and self.state.ended is None:
            # First: the session's own line is among those that are counted.
            self._tell()
            outcome, _ = outcome_of(self.composition, self.state)
            self._append(Ended(outcome=outcome, counts=counts_of(self.lines)))

    def close(self) -> None:
        """Leave the run as it is; it can be gone on with at any time."""
        self._background.close()


def _is_before(line: Line) -> bool:
    """Whether the line comes before what the machine has was taken on arrival."""
    return not (isinstance(line.event, Arrived) and line.event.inventory is not None)
