"""A repair as a story: a machine taken in, worked on, found at fault, mended, and what came of it.

The technician is truthful: every answer follows from the physical facts by the shipped specimens' own
table, and the facts change as faults befall the machine and are mended. Nothing is answered beside them.
"""

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

import msgspec

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench, Truthful
from verify.checklist import Check, Step
from verify.checklist.answers import Answer, Counted, Entered, Hazard, Look, Measured, Photo, Seen
from verify.checklist.shipped import SPECIMENS_SUFFIX, shipped_checklists, shipped_dir
from verify.checklist.specimen_files import load_specimens
from verify.checklist.specimens import Fault, Sight
from verify.probe import Want
from verify.record.model import Record, Ticket, Work
from verify.report import issue_report
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.events import Arrived
from verify.values import Verdict
from verify.values.errors import SpecimenError

TICKET = "TW-2001"


class Trade(msgspec.Struct, frozen=True, kw_only=True):
    """What the shipped specimens know: a sound machine's facts, what is seen of them, faults by name."""

    facts: Mapping[str, str]
    sees: Mapping[str, Sight]
    faults: Mapping[str, Fault]


@cache
def shipped_trade() -> Trade:
    """Put all shipped specimen files together; where two speak of one thing, the one that knows more lists.

    Raises SpecimenError where a fact of a sound machine differs between two of them.
    """
    files = [load_specimens(path) for path in sorted(shipped_dir().glob(f"*{SPECIMENS_SUFFIX}"))]
    facts: dict[str, str] = {}
    sees: dict[str, Sight] = {}
    faults: dict[str, Fault] = {}
    for file in sorted(files, key=lambda each: len(each.checklists)):
        differing = sorted(
            name for name in file.facts if facts.get(name, file.facts[name]) != file.facts[name]
        )
        if differing:
            raise SpecimenError(f"A sound machine has two kinds of: {', '.join(differing)}.")
        facts.update(file.facts)
        sees.update(file.sees)
        faults.update(file.faults)
    return Trade(facts=facts, sees=sees, faults=faults)


class Story:
    """One machine on the simulated bench, its truthful technician, and the run of its ticket.

    before: faults that it comes in with. own: faults that only this story has. notes: what the technician
    writes beside a good answer. Close it at the end.
    """

    def __init__(
        self,
        reports: Path,
        *,
        complaint: str,
        bench: SimulatedBench,
        own: Mapping[str, Fault] | None = None,
        notes: Mapping[str, str] | None = None,
    ) -> None:
        trade = shipped_trade()
        self.bench = bench
        self.facts = dict(trade.facts)
        self._faults = {**trade.faults, **(own or {})}
        self._truth = Truthful(self.facts, trade.sees)
        self._notes = dict(notes or {})
        self.then: dict[str, Callable[[], None]] = {}
        """What happens as a step is taken, by the step's name; once."""
        self.looking: dict[str, Callable[[], None]] = {}
        """What the technician does to find out, just before a check is answered."""
        self.steps: list[str] = []
        self.asked: list[str] = []
        self.reports = reports
        self._path = reports / TICKET
        self._open(complaint)

    def _open(self, complaint: str | None = None) -> None:
        self._folder = RunFolder(self._path)
        self._folder.__enter__()
        if complaint is not None:
            begin(
                self._folder,
                ticket=Ticket(id=TICKET, maker="Fennel", model="Larkspur 15", complaint=complaint),
                checklists=shipped_checklists(),
                clock=self.bench.clock,
                arriving=True,
            )
        self.owner = Owner(self._folder, machine=self.bench.machine, scripted=True, on_machine=True)

    def close(self) -> None:
        """End the session."""
        self.owner.close()
        self._folder.__exit__(None, None, None)

    def boot_again(self) -> None:
        """Start the machine again after it went off: only the folder is left of the session.

        What had been written by then is whole; a cut in the middle of a write is tested by its own rig.
        """
        self.close()
        self.bench.clock.start_again(boot_id="the second boot")
        self._open()

    # What happens to the machine.

    def befall(self, *names: str) -> None:
        """Let faults come over the machine, by their names in the shipped specimens or in this story."""
        for name in names:
            self.facts.update(self._faults[name].facts)
            self.bench.machine.befall(self._faults[name].machine)

    def mend(self, *names: str) -> None:
        """Put right what those faults had changed."""
        sound = shipped_trade().facts
        for name in names:
            self.facts.update({fact: sound[fact] for fact in self._faults[name].facts})
            self.bench.machine.mend(*self._faults[name].machine)

    # What the technician and the hands do.

    def answer(self, check: Check) -> Answer | None:
        """Return what a truthful technician finds, with the story's note."""
        self.asked.append(check.id)
        self.looking.get(check.id, _nothing)()
        found = self._truth.answer(check)
        if isinstance(found, Look) and found.seen is Seen.GOOD:
            return Look(seen=found.seen, note=self._notes.get(check.id, ""))
        return found

    def arrival(self, topic: str) -> Arrived | None:
        """Return what is so on arrival."""
        return self._truth.arrival(topic)

    def did(self, step: Step) -> None:
        """Do the step, and let happen what the story tells."""
        self.steps.append(step.id)
        self.bench.did(step)
        self.then.pop(step.id, _nothing)()

    def give(self, want: Want) -> None:
        """Do what a running check asks for."""
        self.bench.give(want)

    def takes_s(self, check: Check) -> float:
        """Return the hands' time of a check, in s."""
        return self.bench.takes_s(check)

    # The run.

    def take_in(self) -> plan.Due:
        """Take the machine in; what is due then is to say the work."""
        return self.go_on()

    def work(self, *work: Work) -> plan.Due:
        """Say what is repaired and go on to where the run stops."""
        self.owner.add_work(work, shipped_checklists())
        return self.go_on()

    def go_on(self) -> plan.Due:
        """Go on to where nothing is due that can be answered or done; return what is due there."""
        self.asked, self.steps = [], []
        return play(self.owner, self, self.bench.sampler, hands=self)

    def told(self) -> tuple[Record, str]:
        """Return the record as it stands on disk, and its rendered page's text."""
        record = load_record(self.reports, TICKET)
        return record, issue_report(self._path, record).read_text(encoding="utf-8")


def _nothing() -> None:
    """Nothing happens."""


def caught(record: Record) -> tuple[str, ...]:
    """Return the checks that are not good or cannot be told now, in their order; no mere notes."""
    return tuple(
        result.check
        for result in record.results
        if result.verdict is Verdict.DOES_NOT_CONFORM
        or (result.verdict is Verdict.UNDECIDED and not result.note_only)
    )


def written(answer: Answer) -> object:
    """Return the answer as a file of answers writes it."""
    match answer:
        case Hazard(present=present):
            return "cannot tell" if present is None else present
        case Photo(seen=seen, note=note):
            return {"answer": "none" if seen is None else seen.value, "note": note}
        case Look(seen=seen, note=note):
            return {"answer": seen.value, "note": note} if note else seen.value
        case Measured(spans=spans):
            return {place: [span.enters_mm, span.stops_mm] for place, span in spans.items()}
        case Entered(values=values):
            return {place: str(quantity) for place, quantity in values.items()}
        case Counted(tallies=tallies):
            return {kind: msgspec.to_builtins(tally) for kind, tally in tallies.items()}
