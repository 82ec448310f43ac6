"""The owner of a run: takes commands and samples, writes the journal, folds, says what is due.

One owner, one thread. Whoever asks the technician (terminal, script) sends commands and reads
`due`, `strip` and `progress`; no rule of the run stands anywhere else.
"""

import hashlib
from collections.abc import Iterable

import msgspec

from verify import VERSION
from verify.checklist import Check, Checklist, Composition, Kind
from verify.checklist.answers import Answer
from verify.checklist.compose import compose
from verify.checklist.loader import parse_checklist
from verify.machine import Machine, Sample
from verify.probe import Context, Finding, Probe, Working
from verify.probe.registry import make_probe
from verify.record.model import Ticket, UsedChecklist
from verify.run import plan
from verify.run.events import (
    JOURNAL_FORMAT,
    Answered,
    AskedAgain,
    Began,
    Ended,
    Event,
    Found,
    Line,
    MadeSafe,
    Opened,
    Stepped,
    Undone,
    Waited,
    WatchBegan,
    counts_of,
)
from verify.run.findings import judge_answer
from verify.run.folder import RunFolder
from verify.run.journal import Journal
from verify.run.outcome import outcome_of
from verify.run.state import State, fold, witnessed_s
from verify.run.trace import Trace
from verify.values import Clock, Instant
from verify.values.errors import OrderError, WrongUseError

TOOL = f"handback {VERSION}"


def begin(
    folder: RunFolder,
    *,
    ticket: Ticket,
    checklists: Iterable[Checklist],
    clock: Clock,
    signers: tuple[str, ...] = (),
) -> None:
    """Write a new run's first line. Hold the folder's lock.

    signers: roles that have to sign besides those that the checklists ask for.
    Raises WrongUseError where the folder already holds a run, the work cannot be composed, or an automatic
    check cannot be made.
    """
    composition = compose(tuple(checklists), [work.kind for work in ticket.work])
    used = composition.checklists
    for check in composition.checks:
        if check.kind is Kind.PROBE:
            make_probe(check.probe or "", check.options, Context())
    journal = Journal(folder.journal_path)
    if journal.lines:
        raise WrongUseError(
            f"{ticket.id} is open already.", next_step=f"Go on with: handback run {ticket.id}"
        )
    began = Began(
        format=JOURNAL_FORMAT,
        tool=TOOL,
        ticket=ticket,
        signers=signers,
        checklists=tuple(
            UsedChecklist(
                id=checklist.id,
                revision=checklist.revision,
                title=checklist.title,
                sha256=hashlib.sha256(checklist.text.encode()).hexdigest(),
                text=checklist.text,
            )
            for checklist in used
        ),
    )
    journal.append(began, clock.now())


def composition_of(began: Began) -> Composition:
    """Compose the checklists that the run began with, from the texts kept in its journal.

    Raises ChecklistError where this version of the tool reads them differently.
    """
    checklists = [parse_checklist(used.text, name=f"{used.id}.yaml") for used in began.checklists]
    composed = compose(tuple(checklists), [work.kind for work in began.ticket.work])
    signers = tuple(dict.fromkeys((*composed.signers, *began.signers)))
    return msgspec.structs.replace(composed, signers=signers)


class _Watch:
    """An automatic check under way: the stepper and its trace."""

    def __init__(self, check: Check, probe: Probe, trace_name: str, trace: Trace, *, since: Instant) -> None:
        self.check = check
        self.probe = probe
        self.trace_name = trace_name
        self.trace = trace
        self._since = since
        self.working = Working(text="Starting.")
        # Not None: it had ended, and the run was cut off before that was written down.
        self.finding: Finding | None = None
        for sample in trace.earlier:
            self.finding = self.step(sample)
            if self.finding is not None:
                break

    def began_after(self, at: Instant) -> bool:
        """Tell whether a sample was read before the check began: it says nothing about it."""
        return at.boot_id == self._since.boot_id and at.elapsed_s < self._since.elapsed_s

    def step(self, sample: Sample) -> Finding | None:
        # A fault in one check must not take the run with it: it is written down as not established.
        try:
            result = self.probe.step(sample)
        except Exception as error:  # noqa: BLE001 - the top of a background probe
            kind = type(error).__name__
            return Finding(readings=(), text=f"The check itself failed ({kind}: {error}). Report it.")
        if isinstance(result, Finding):
            return result
        self.working = result
        return None


class Owner:
    """A run, owned. Hold the folder's lock while it lives."""

    def __init__(self, folder: RunFolder, *, machine: Machine, scripted: bool) -> None:
        """Open the journal and fold it. A session that writes nothing else leaves no line of its own.

        Raises WrongUseError where the folder holds no run; JournalError as `Journal` does.
        """
        self._folder = folder
        self._machine = machine
        self._journal = Journal(folder.journal_path)
        if not self._journal.lines:
            raise WrongUseError(
                f"{folder.path.name} is not open yet.",
                next_step=f"Open it with: handback start {folder.path.name}",
            )
        began = self._journal.lines[0].event
        if not isinstance(began, Began):
            raise TypeError("A journal begins with its Began line.")
        self.composition = composition_of(began)
        self._context = Context(label_wh=began.ticket.label_wh())
        self._watch: _Watch | None = None
        self._refold()
        self._scripted = scripted
        self._told = False
        self._settle()

    # What is to be shown.

    @property
    def ticket(self) -> Ticket:
        """The ticket."""
        return self.state.began.ticket

    @property
    def simulated(self) -> bool:
        """Whether anything of this run is, or is going to be, read from a simulated machine."""
        return self._machine.simulated or self.state.simulated

    @property
    def scripted(self) -> bool:
        """Whether anything of this run was, or is going to be, answered by a script."""
        return self._scripted or self.state.scripted

    @property
    def lines(self) -> tuple[Line, ...]:
        """The journal so far."""
        return self._journal.lines

    def now(self) -> Instant:
        """Return the present instant on the machine's clock."""
        return self._machine.clock.now()

    def due(self) -> plan.Due:
        """Tell what is due now."""
        return plan.due(self.composition, self.state)

    def progress(self) -> plan.Progress:
        """Tell how far the run is."""
        return plan.progress(self.composition, self.state)

    @property
    def strip(self) -> tuple[Check, Working] | None:
        """What runs in the background, for the quiet strip; None where nothing does."""
        if self._watch is not None:
            return self._watch.check, self._watch.working
        wait = plan.wait_due(self.composition, self.state)
        if wait is None:
            return None
        passed = self._waited_s(wait, self._machine.clock.now())
        left = max(0.0, wait.wait_s - passed)
        text = f"Waiting: {wait.ask}"
        return wait, Working(text=text, fraction=min(1.0, passed / wait.wait_s), seconds_left=left)

    # Commands.

    def answer(self, check_id: str, answer: Answer) -> None:
        """Take an answer to a check that is due.

        Raises OrderError where it is not due, or is not an answer to such a check.
        """
        due = self.due()
        if not isinstance(due, plan.Ask) or check_id not in {check.id for check in due.checks}:
            raise OrderError(f'"{check_id}" is not asked now.')
        check = next(check for check in due.checks if check.id == check_id)
        judge_answer(check, answer)
        self._append(Answered(check=check_id, answer=answer))
        self._settle()

    def take_step(self, step_id: str) -> None:
        """Take a step whose hold is lifted.

        Raises OrderError where it is not due.
        """
        due = self.due()
        if not isinstance(due, plan.Do) or due.step.id != step_id:
            raise OrderError(f'"{step_id}" is not due now.')
        self._append(Stepped(step=step_id))
        self._settle()

    def ask_again(self, check_id: str) -> None:
        """Ask a check again after something was mended; what was answered stays in the record.

        Raises OrderError where it does not keep the due step's hold closed.
        """
        due = self.due()
        if not isinstance(due, plan.Held) or check_id not in {block.check.id for block in due.blocked}:
            raise OrderError(f'"{check_id}" does not hold anything now.')
        self._append(AskedAgain(check=check_id))
        self._settle()

    def undo(self) -> bool:
        """Take back the last answer or step, and what followed from it by itself.

        Returns False where there is nothing to take back. Nothing is erased: the line stays, undone; what
        was read after a step that is taken back stays too, out of date.
        Raises OrderError while a hazard is open: only making it safe ends it.
        """
        if self.state.hazards_open:
            raise OrderError("A hazard cannot be taken back.", next_step="Say how it was made safe.")
        lines = self.state.last_by_hand
        if not lines:
            return False
        self._append(Undone(lines=lines))
        self._settle()
        return True

    def made_safe(self, how: str) -> None:
        """End every open hazard: who isolated which part, where it is now.

        Raises OrderError where no hazard is open; WrongUseError where `how` is empty.
        """
        if not self.state.hazards_open:
            raise OrderError("No hazard is open.")
        if not how.strip():
            raise WrongUseError("Say who made it safe, and where the part is now.")
        self._append(MadeSafe(how=how.strip()))
        self._settle()

    # What runs in the background.

    def take_sample(self, sample: Sample) -> None:
        """Feed a sample to the automatic check that runs, and let waits end."""
        if self._watch is not None and not self._watch.began_after(sample.at):
            self._watch.trace.write(sample)
            finding = self._watch.step(sample)
            if finding is not None:
                self._finish(self._watch, finding)
        self._end_wait(sample.at)

    def wants_samples(self) -> bool:
        """Tell whether anything in the background is to be fed."""
        return self._watch is not None or plan.wait_due(self.composition, self.state) is not None

    def _finish(self, watch: _Watch, finding: Finding) -> None:
        sha256 = watch.trace.seal()
        self._watch = None
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

    def _start_watch(self) -> None:
        check = plan.probe_due(self.composition, self.state)
        if self._watch is not None or check is None:
            return
        name = self.state.watching.get(check.id)
        if name is None:
            name = f"{len(self.lines):05d}-{check.id}.jsonl"
            self._append(WatchBegan(check=check.id, trace=name))
        probe = make_probe(check.probe or "", check.options, self._context)
        trace = Trace(self._folder.trace_path(name))
        self._watch = _Watch(check, probe, name, trace, since=self._machine.clock.now())
        if self._watch.finding is not None:
            self._finish(self._watch, self._watch.finding)

    def _drop_watch(self) -> None:
        if self._watch is not None:
            self._watch.trace.close()
            self._watch = None

    # The journal.

    def _append(self, event: Event) -> None:
        self._tell()
        self._journal.append(event, self._machine.clock.now())
        self._refold()

    def _tell(self) -> None:
        """Write once that this session works on the run, and what it reads."""
        if not self._told:
            self._journal.append(self._opened(), self._machine.clock.now())
            self._told = True
            self._refold()

    def _opened(self) -> Opened:
        identity = self._machine.identity()
        known = {
            name: str(value)
            for name, value in msgspec.structs.asdict(identity).items()
            if value is not None and name != "reasons"
        }
        return Opened(
            tool=TOOL,
            read_by=self._machine.name,
            machine=known,
            simulated=self._machine.simulated,
            scripted=self._scripted,
        )

    def _refold(self) -> None:
        self.state: State = fold(self._journal.lines, self.composition)

    def _settle(self) -> None:
        """Let what needs nobody happen: a hazard stops the watch; steps take themselves; watches start."""
        if self.state.hazards_open:
            self._drop_watch()
            return
        while isinstance(due := self.due(), plan.Do) and due.step.do is None:
            self._append(Stepped(step=due.step.id, by_itself=True))
        if self._watch is not None and plan.probe_due(self.composition, self.state) != self._watch.check:
            self._drop_watch()
        self._start_watch()
        if plan.wait_due(self.composition, self.state) is not None:
            # From here on this session witnesses the time.
            self._tell()
        if isinstance(self.due(), plan.Complete) and self.state.ended is None:
            outcome, _ = outcome_of(self.composition, self.state)
            self._append(Ended(outcome=outcome, counts=counts_of(self.lines)))

    def close(self) -> None:
        """Leave the run as it is; it can be gone on with at any time."""
        self._drop_watch()
