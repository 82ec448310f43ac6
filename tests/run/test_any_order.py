"""Any order of commands: what the owner holds is the fold of what lies on disk; no way leads to a false fit.

Lists of commands are drawn, most of them such as the run asks for, others at any moment whatever; refused
ones belong to it. The oracles read the journal's lines on their own.
"""

import contextlib
import functools
import os
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, get_args

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.ask.simulated import SimulatedBench
from verify.checklist import OPENINGS, Check, Checklist, Kind
from verify.checklist.answers import (
    Answer,
    Counted,
    Entered,
    Hazard,
    Look,
    Measured,
    Photo,
    Seen,
    Span,
    Tally,
)
from verify.checklist.loader import parse_checklist
from verify.checklist.shipped import shipped_checklists
from verify.machine.simulated import SimulatedMachine
from verify.record.arrival import FUNCTIONS, FoundAs, Picture, Tried
from verify.record.model import Part, Record, Ticket, Work
from verify.run import Owner, RunFolder, arrival, begin, plan, record_of
from verify.run.events import (
    Accepted,
    Answered,
    Arrived,
    AskedAgain,
    Event,
    Found,
    GivenBack,
    HazardMet,
    Line,
    MadeSafe,
    Missed,
    Noticed,
    Pictured,
    Reopened,
    Stepped,
    Undone,
    Waited,
    WorkAdded,
)
from verify.run.fold import fold
from verify.run.outcome import outcome_of
from verify.run.reading import read_run
from verify.run.state import State
from verify.values import Outcome, Verdict
from verify.values.errors import HandbackError

TICKET = "TW-1042"
MAIN = """\
format: checklist/1
id: main
revision: 1
title: Main
signers: [technician]
steps:
  - {id: open-up, name: open the base, stage: arrived, leads_to: open}
  - {id: connect-pack, name: connect the battery, do: Plug it in., stage: open, voided_by: [pack-unplugged]}
  - {id: close-base, name: close the base, do: Put it on., stage: open, leads_to: closed, voided_by: [base]}
  - {id: end-quiet, name: end the quiet, stage: closed, leads_to: finished}
  - {id: fit-feet, name: fit the feet, do: Stick them on., stage: finished, voided_by: [feet-removed]}
  - {id: hand-back, name: hand the machine back, stage: finished}
checks:
  - id: first-look
    kind: hazard
    ask: Is anything bulging, hot, wet, smoking or smelling?
    good: Nothing.
    place: whole machine
    stage: arrived
    minutes: 0.5
    before: [open-up]
    stop: yes
    caution: Stop if so.
  - id: pack-flat
    kind: look
    ask: Look at the battery.
    good: Flat.
    place: inside
    stage: open
    minutes: 0.5
    before: [connect-pack]
    voided_by: [base]
    stop: yes
    caution: Stop if not.
  - id: plug-home
    kind: look
    ask: Look at the plug.
    good: Home.
    place: inside
    stage: open
    minutes: 0.5
    after: connect-pack
    before: [close-base]
    voided_by: [base, pack-unplugged]
    concession: never
  - id: open-picture
    kind: photo
    ask: Photograph the inside.
    good: All of it shows.
    place: inside
    stage: open
    minutes: 0.5
    before: [close-base]
    voided_by: [base]
  - id: all-back
    kind: count
    ask: Count the screws.
    good: Nothing missing.
    place: tray
    stage: open
    minutes: 0.5
    before: [close-base]
    voided_by: [base]
    counts: [screws]
    limit: {exactly: 0 pieces, rule: count, source: "common practice, no source"}
  - id: pack-present
    kind: probe
    probe: pack-present
    ask: The tool looks for the battery.
    good: It is there.
    place: battery
    stage: closed
    minutes: 1
    before: [end-quiet]
    voided_by: [pack-unplugged]
    limit: {at_least: 1 pieces, rule: count, source: "common practice, no source"}
  - id: fan-turns
    kind: look
    ask: Listen to the fan.
    good: Even sound.
    place: whole machine
    stage: closed
    minutes: 0.5
    before: [end-quiet]
    voided_by: [base]
    note_only: yes
  - id: seam
    kind: measure
    ask: Slide a leaf into the seam.
    good: It does not enter.
    place: seam
    stage: closed
    minutes: 1
    stations: [front, rear]
    before: [fit-feet]
    voided_by: [base]
    concession: shop
    limit: {at_most: 0.30 mm, rule: guarded, source: "common practice, no source"}
  - id: feet-set
    kind: wait
    wait: 40 s
    ask: Let the feet set.
    place: feet
    stage: finished
    after: fit-feet
    voided_by: [feet-removed]
  - id: complaint-gone
    kind: look
    ask: Try the complaint.
    good: Gone.
    place: the complaint
    stage: finished
    minutes: 1
    voided_by: [base, lid, pack-unplugged]
"""
EXTRA = """\
format: checklist/1
id: extra
revision: 1
title: Extra
for_work: [fan]
checks:
  - id: fan-free
    kind: look
    ask: Turn the fan with a finger.
    good: It turns freely.
    place: inside
    stage: open
    minutes: 0.3
    before: [close-base]
    voided_by: [base]
  - id: heat
    kind: probe
    probe: heat-margin
    ask: The tool reads the processor's temperature.
    good: Below critical.
    place: whole machine
    stage: closed
    minutes: 1
    before: [fit-feet]
    voided_by: [base]
    note_only: yes
    limit: {at_least: 1 K, rule: simple, source: "common practice, no source"}
"""
FAN = (Work(kind="fan"), Work(kind="fan", part=Part(source="used")))
BATTERY = Work(kind="battery", part=Part(source="reproduction", label={"energy": "57.0 Wh"}))


@functools.cache
def small() -> tuple[Checklist, ...]:
    return parse_checklist(MAIN, name="main.yaml"), parse_checklist(EXTRA, name="extra.yaml")


@functools.cache
def shipped() -> tuple[Checklist, ...]:
    return tuple(shipped_checklists())


@contextlib.contextmanager
def quick_folder() -> Iterator[RunFolder]:
    """Nothing is pulled here: the files need not lie on a slow disk."""
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    with tempfile.TemporaryDirectory(dir=memory) as place, RunFolder(Path(place) / TICKET) as held:
        yield held


# The commands, as drawn: a name and a number that chooses among what there is.

USUAL = ("on", "on", "on", "on", "answer", "answer badly", "sample", "accept", "ask again")
BESIDE = (
    "answer what is not asked",
    "step",
    "undo",
    "undo",
    "reopen",
    "reopen",
    "notice",
    "picture",
    "hazard",
    "made safe",
    "give back",
    "give back",
    "grow",
    "leave",
    "long pause",
    "stand",
    "arrive",
    "nothing said",
)
COMMANDS = st.lists(
    st.tuples(st.one_of(st.sampled_from(USUAL), st.sampled_from(BESIDE)), st.integers(0, 40)),
    min_size=12,
    max_size=60,
)


BEGUN = st.sampled_from([7, 7, 15])
"""The first commands: on the repaired machine, or (15) elsewhere."""


class Run:
    """A run that commands are thrown at; after each of them everything that must hold is looked at."""

    def __init__(
        self,
        folder: RunFolder,
        checklists: Sequence[Checklist],
        work: tuple[Work, ...],
        growth: Sequence[Work],
        *,
        arriving: bool,
    ) -> None:
        self._folder, self._checklists, self._growth = folder, checklists, growth
        self.bench = SimulatedBench(faults={})
        # Nearly full: the charge is short.
        self.bench.machine = SimulatedMachine(clock=self.bench.clock, level=0.95)
        begin(
            folder,
            ticket=Ticket(id=TICKET, work=work),
            checklists=checklists,
            clock=self.bench.clock,
            arriving=arriving,
        )
        self.owner = self._opened()
        # The state before each by-hand line that can be taken back, by its number.
        self._before: dict[int, State] = {}
        self.due: set[str] = set()

    def _opened(self) -> Owner:
        return Owner(self._folder, machine=self.bench.machine, scripted=True)

    @property
    def on_disk(self) -> bytes:
        return self._folder.journal_path.read_bytes()

    def take(self, name: str, number: int) -> None:
        """Give one command; refused or not, all that must hold does. "on" stands for several."""
        for _ in range(1 + number % 8 if name == "on" else 1):
            self._take_one(name, number)

    def _take_one(self, name: str, number: int) -> None:
        owner = self.owner
        before, disk, due, count = owner.state, self.on_disk, owner.due(), len(owner.lines)
        refused = None
        try:
            self._give(name, number)
        except HandbackError as error:
            refused = error
        if refused is not None:
            assert refused.what
            assert self.on_disk == disk, f"{name} was refused and wrote a line"
            assert owner.state == before
            assert owner.due() == due
        new = self.owner.lines[count:]
        if new or self.owner is not owner or not self._before:
            self._holds()
        for line in new:
            self._look_at(line, before)
        # Of a picture and the answer to it only the picture's own state before is known.
        for line in [each for each in new if by_hand(each)][:1]:
            self._before[line.n] = before

    # The commands.

    def _give(self, name: str, number: int) -> None:  # noqa: C901 - a line for each command
        owner, every = self.owner, self.owner.composition.checks
        check = every[number % len(every)]
        match name:
            case "on":
                self._on(number)
            case "answer" | "answer badly":
                self._answer(number, badly=name == "answer badly")
            case "answer what is not asked":
                owner.answer(check.id, answer(check, number))
            case "sample":
                self._sample(10.0 * (1 + number % 3))
            case "long pause":
                self._sample(10.0)
                self._sample(3000.0)
            case "step":
                steps = owner.composition.steps
                owner.take_step(steps[number % len(steps)].id)
            case "ask again":
                held = plan.may_be_asked_again(owner.due())
                owner.ask_again(held[number % len(held)].check.id if held else check.id)
            case "accept":
                may = plan.may_be_accepted(owner.due())
                which = may[number % len(may)].id if may and number % 3 else check.id
                owner.accept(
                    which,
                    by="Demo Reviewer",
                    reason="Known.",
                    owner_agreed="By telephone." * (number % 4 != 0),
                )
            case "undo":
                owner.undo()
            case "reopen":
                first = OPENINGS[number % len(OPENINGS)]
                owner.reopen([first, OPENINGS[number // 4 % len(OPENINGS)]], why="Something was off.")
            case "notice":
                owner.notice("The hinge is stiff.")
            case "picture":
                may = plan.may_be_pictured(owner.composition, owner.state, owner.due())
                self._picture(may[number % len(may)] if may and number % 5 else check)
            case "hazard":
                owner.meet_hazard("A smell.")
            case "made safe":
                owner.made_safe("In the sand box.", by="Demo Technician")
            case "give back":
                owner.give_back(why="Too dear.", risks_told="By telephone.", owner_signed="On paper.")
            case "grow":
                owner.add_work([self._growth[number % len(self._growth)]], self._checklists)
            case "leave":
                self._leave(number)
            case "stand":
                owner.stand(on_machine=number % 3 > 0)
            case "arrive":
                owner.arrive(taken_in(arrival.topics(owner.state)[number % 4], number))
            case _:
                assert name == "nothing said"
                wordless = (
                    lambda: owner.notice(" "),
                    lambda: owner.reopen(["base"], why=""),
                    lambda: owner.reopen(["roof"], why="It leaks."),
                    lambda: owner.made_safe("", by=""),
                    lambda: owner.give_back(why="", risks_told="", owner_signed=""),
                    lambda: owner.accept(check.id, by="", reason=""),
                    lambda: owner.add_work([Work(kind="roof")], self._checklists),
                )
                wordless[number % len(wordless)]()

    def _on(self, number: int) -> None:
        """Do what is due, well; accept what cannot be made good."""
        owner = self.owner
        match due := owner.due():
            case plan.Ask():
                self._answer(0, badly=False)
            case plan.Where():
                owner.stand(on_machine=number % 5 > 0)
            case plan.Arrive():
                owner.arrive(taken_in(due.pending[0], 0))
            case plan.SayWork():
                owner.add_work([self._growth[0]], self._checklists)
            case plan.Do():
                self.bench.did(due.step)
                owner.take_step(due.step.id)
            case plan.Watching() | plan.Elsewhere() if number % 2 or not plan.may_be_accepted(due):
                self._sample(25.0)
            case plan.Held() if number % 4 < 2:
                owner.ask_again(due.blocked[0].check.id)
            case plan.Watching() | plan.Elsewhere() | plan.Held():
                self._give("accept", 1)
            case plan.Stopped():
                owner.made_safe("In the sand box.", by="Demo Technician")
            case plan.Declined():
                owner.undo()
            case _:
                pass

    def _answer(self, number: int, *, badly: bool) -> None:
        due = self.owner.due()
        if isinstance(due, plan.Ask):
            checks = [check for check in due.checks if check.id in due.pending]
            check = checks[number % len(checks)]
            if check.kind is Kind.PHOTO and not badly:
                self._picture(check)
            self.owner.answer(check.id, answer(check, 1 + number % 2 if badly else 0))

    def _picture(self, check: Check) -> None:
        """Add a picture; that its file is whole is looked at where files are taken over."""
        file = f"pictures/{self.owner.next_picture():02d}.jpg"
        self.owner.add_picture(check.id, Picture(file=file, sha256="0" * 64))

    def _sample(self, after_s: float) -> None:
        self.bench.clock.wait(after_s)
        # A sample may come in late, when nobody wants it any more.
        self.owner.take_sample(self.bench.machine.sample())
        strip = self.owner.strip
        if strip is not None and strip[1].want is not None:
            self.bench.give(strip[1].want)

    def _leave(self, number: int) -> None:
        """Leave the run and take it up again: at once, hours later, or after a restart."""
        due, lines = self.owner.due(), len(self.owner.lines)
        here = self.owner.on_machine
        self.owner.close()
        if number % 3:
            self.bench.clock.wait(7200)
        if number % 3 == 2:
            self.bench.clock._boot_id = f"boot {number}"
        self.owner = self._opened()
        if len(self.owner.lines) == lines and self.owner.on_machine == here:
            assert self.owner.due() == due

    # What must hold, always.

    def _holds(self) -> None:
        owner = self.owner
        run = read_run(self._folder.path)
        assert run is not None
        assert run.lines == tuple(owner.lines)
        assert run.composition == owner.composition
        state = fold(run.lines, run.composition)
        assert owner.state == state
        record = record_of(run.lines, run.composition, head=run.head)
        shown = owner.shown()
        assert shown.due == plan.due(run.composition, state, on_machine=owner.on_machine)
        outcome, _ = outcome_of(run.composition, state)
        assert record.outcome is outcome
        assert {result.check: result.verdict for result in record.results} == {
            check.id: state.verdict(check.id) for check in run.composition.checks
        }
        self._pictures_hold(record)
        self.due.add(type(shown.due).__name__)
        self._no_false_fit(outcome, state)

    def _pictures_hold(self, record: Record) -> None:
        """None is lost or told twice, no file stands for two, and no picture check is good without one."""
        taken = [line.event for line in counting(self.owner.lines) if isinstance(line.event, Pictured)]
        for result in record.results:
            assert [picture.file for picture in result.pictures] == [
                one.picture.file for one in taken if one.check == result.check
            ]
            if result.kind == "photo" and result.verdict in (Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM):
                assert not all(picture.out_of_date for picture in result.pictures)
        files = [line.event.picture.file for line in self.owner.lines if isinstance(line.event, Pictured)]
        assert len(files) == len(set(files))

    def _no_false_fit(self, outcome: Outcome, state: State) -> None:
        checks = self.owner.composition.checks
        good, conceded = established(self.owner.lines, checks)
        left = {check.id for check in checks} - good
        match outcome:
            case Outcome.FIT:
                assert not left
                assert not open_hazards(self.owner.lines, checks)
            case Outcome.FIT_UNDER_CONCESSION:
                assert left
                assert left <= conceded
                assert not any(check.stop for check in checks if check.id in left)
                assert not open_hazards(self.owner.lines, checks)
            case Outcome.RETURNED_UNREPAIRED:
                assert state.given_back is not None
                assert not open_hazards(self.owner.lines, checks)
            case Outcome.HELD:
                pass
        if open_hazards(self.owner.lines, checks):
            assert outcome is Outcome.HELD
            assert isinstance(self.owner.due(), plan.Stopped)
            assert not self.owner.wants_samples()
        if isinstance(self.owner.due(), plan.Complete):
            assert outcome in (Outcome.FIT, Outcome.FIT_UNDER_CONCESSION)
            assert state.ended is not None
            assert state.ended.outcome is outcome

    def _look_at(self, line: Line, before: State) -> None:
        match line.event:
            case Reopened():
                self._looked_back(line, before)
            case WorkAdded():
                self._grown(before)
            case Undone():
                self._undone(line)
            case _:
                pass

    def _looked_back(self, line: Line, before: State) -> None:
        """Voided is what meets what was opened, and nothing else."""
        event, checks, state = line.event, self.owner.composition.checks, self.owner.state
        assert isinstance(event, Reopened)
        opened = set(event.opened)
        met = {check.id for check in checks if opened & set(check.voided_by)}
        assert set(state.reopened[-1].voided) == {each for each in met if not before.is_open(each)}
        for check in checks:
            if check.id in met:
                assert state.is_open(check.id)
            else:
                assert state.current(check.id) == before.current(check.id)
                assert (check.id in state.accepted) == (check.id in before.accepted)
        worded = {step.id for step in self.owner.composition.steps if step.do is not None}
        gone = {step.id for step in self.owner.composition.steps if opened & set(step.voided_by)}
        assert worded & before.steps.keys() - state.steps.keys() == gone & worded & before.steps.keys()

    def _grown(self, before: State) -> None:
        """What was answered stays answered; only what is new is asked."""
        state = self.owner.state
        for check_id in before.tries.keys() | before.accepted.keys():
            assert state.tries.get(check_id) == before.tries.get(check_id)
            assert state.accepted.get(check_id) == before.accepted.get(check_id)

    def _undone(self, line: Line) -> None:
        """Taken back is the last that hands said, alone; then all is as it was before that."""
        event = line.event
        assert isinstance(event, Undone)
        lines = self.owner.lines
        back, *with_it = event.lines
        assert back == last_by_hand(lines[: line.n])
        assert all(isinstance(lines[n].event, Stepped) for n in with_it)
        since = [one.event for one in lines[back + 1 : line.n]]
        if back in self._before and not any(isinstance(one, Found | Waited | Missed) for one in since):
            assert as_said(self.owner.state) == as_said(self._before[back])


def as_said(state: State) -> dict[str, Any]:
    """Return what a state holds of what was said and found; not by which lines, sessions and files."""
    said = msgspec.structs.asdict(state)
    for name in ("last_at", "sessions", "last_by_hand", "read_by", "watching", "ended", "missed"):
        del said[name]
    # Steps that take themselves are taken again, by another line.
    said["steps"] = set(state.steps)
    return said


# Oracles: the lines read without the fold.


def counting(lines: Sequence[Line]) -> list[Line]:
    """Return the lines that were not taken back."""
    undone = {n for line in lines if isinstance(line.event, Undone) for n in line.event.lines}
    return [line for line in lines if line.n not in undone]


def by_hand(line: Line) -> bool:
    event = line.event
    if isinstance(event, Stepped):
        return not event.by_itself
    if isinstance(event, Arrived):
        return event.readings is None
    return isinstance(event, Answered | Pictured | Accepted | Noticed | Reopened | GivenBack)


def last_by_hand(lines: Sequence[Line]) -> int | None:
    """Return the number of the last line that may be taken back; none from before what cannot be."""
    for line in reversed(counting(lines)):
        if isinstance(line.event, WorkAdded | AskedAgain | HazardMet | MadeSafe):
            return None
        if by_hand(line):
            return line.n
    return None


def is_good(check: Check, said: Answer) -> bool:
    match said:
        case Hazard():
            return said.present is False
        case Look():
            return said.seen is Seen.GOOD or (said.seen is Seen.CANNOT_SEE and check.note_only)
        case Photo():
            return said.seen is Seen.GOOD or (said.seen is not Seen.NOT_GOOD and check.note_only)
        case Counted():
            return set(check.counts) <= said.tallies.keys() and all(
                tally.out == tally.back for tally in said.tallies.values()
            )
        case Measured():
            # All limits here are 0.30 mm, guarded: a leaf below it has to stop.
            return set(said.spans) == set(check.stations) and all(
                span.stops_mm is not None and span.stops_mm <= 0.30 for span in said.spans.values()
            )
        case Entered():
            raise AssertionError("No check of these runs is read off an instrument.")


def established(  # noqa: C901 - a line for each kind of event
    lines: Sequence[Line], checks: Sequence[Check]
) -> tuple[set[str], set[str]]:
    """Return the checks of which something good stands, and those that somebody accepted.

    For what the machine found the number of readings has to do: the machine of these runs is sound.
    """
    known = {check.id: check for check in checks}
    good: set[str] = set()
    conceded: set[str] = set()
    told: dict[str, str] = {}

    def forget(check_id: str) -> None:
        good.discard(check_id)
        conceded.discard(check_id)

    for line in counting(lines):
        match event := line.event:
            case Answered():
                forget(event.check)
                if is_good(known[event.check], event.answer):
                    good.add(event.check)
            case Found():
                forget(event.check)
                if known[event.check].note_only or any(one.value is not None for one in event.readings):
                    good.add(event.check)
            case Waited():
                good.add(event.check)
            case Accepted():
                conceded.add(event.check)
            case AskedAgain():
                forget(event.check)
            case Reopened():
                for check in checks:
                    if set(check.voided_by) & set(event.opened):
                        forget(check.id)
            case MadeSafe():
                for check_id in told:
                    forget(check_id)
                told.clear()
            case _:
                pass
        if isinstance(event, Answered) and known[event.check].stop and event.check not in good:
            told[event.check] = event.check
    return good, conceded


def open_hazards(lines: Sequence[Line], checks: Sequence[Check]) -> bool:
    stops = {check.id: check for check in checks if check.stop}
    hazard = False
    for line in counting(lines):
        match event := line.event:
            case Answered():
                check = stops.get(event.check)
                hazard |= check is not None and not is_good(check, event.answer)
            case Found():
                hazard |= event.stop is not None
            case HazardMet():
                hazard = True
            case MadeSafe():
                hazard = False
            case _:
                pass
    return hazard


def answer(check: Check, how: int) -> Answer:
    """Return a good answer (0), one that is not good (1), or one that cannot tell (2)."""
    how %= 3
    match check.kind:
        case Kind.HAZARD:
            return Hazard(present=(False, True, None)[how])
        case Kind.MEASURE:
            wide = Span(enters_mm=0.4, stops_mm=0.5) if how == 1 else Span(enters_mm=0.1, stops_mm=0.15)
            return Measured(spans=dict.fromkeys(check.stations[: -1 if how == 2 else None], wide))
        case Kind.PHOTO:
            return Photo(seen=(Seen.GOOD, Seen.NOT_GOOD, None)[how], note="" if how == 0 else "dark")
        case Kind.COUNT:
            tally = Tally(out=6, back=6 - (how == 1))
            return Counted(tallies={} if how == 2 else dict.fromkeys(check.counts, tally))
        case _:
            seen = (Seen.GOOD, Seen.NOT_GOOD, Seen.CANNOT_SEE)[how]
            return Look(seen=seen, note="" if how == 0 else "dark")


def taken_in(topic: str, number: int) -> Arrived:
    if topic in FUNCTIONS:
        return Arrived(tried={topic: tuple(Tried)[number % 3]})
    return {
        arrival.FOUND_AS: Arrived(found_as=tuple(FoundAs)[number % 3]),
        arrival.COMPLAINT: Arrived(complaint="No sound."),
        arrival.PICTURES: Arrived(pictures=()),
        arrival.ACCESSORIES: Arrived(accessories=("charger",)),
    }[topic]


def played(
    commands: list[tuple[str, int]],
    checklists: Sequence[Checklist],
    work: tuple[Work, ...],
    growth: Sequence[Work],
    *,
    arriving: bool = False,
) -> Run:
    with quick_folder() as folder:
        run = Run(folder, checklists, work, growth, arriving=arriving)
        for name, number in commands:
            run.take(name, number)
        run.owner.close()
        return run


STEADY = settings(derandomize=True, deadline=None, database=None)


class Met:
    """What the drawn runs came to: lines, outcomes, what was due. Runs that go nowhere prove nothing."""

    def __init__(self) -> None:
        self.times: Counter[str] = Counter()

    def by(self, run: Run) -> None:
        outcome, _ = outcome_of(run.owner.composition, run.owner.state)
        kinds = {type(line.event).__name__ for line in run.owner.lines}
        self.times.update({*kinds, *run.due, outcome.value})

    def missing(self, *but: type) -> set[str]:
        """Return what should have come up, whatever was drawn, and did not."""
        kinds = {kind.__name__ for kind in (*get_args(Event), *get_args(plan.Due)) if kind not in but}
        return {name for name in kinds | {each.value for each in Outcome} if not self.times[name]}


def test_any_order_on_a_machine_that_is_taken_in_first() -> None:
    met = Met()

    @settings(STEADY, max_examples=140)
    @given(begun=BEGUN, commands=COMMANDS)
    def runs(begun: int, commands: list[tuple[str, int]]) -> None:
        met.by(played([("on", begun), *commands], small(), (), FAN, arriving=True))

    runs()
    assert not met.missing()


def test_any_order_on_a_small_repair() -> None:
    met = Met()

    @settings(STEADY, max_examples=140)
    @given(begun=BEGUN, commands=COMMANDS)
    def runs(begun: int, commands: list[tuple[str, int]]) -> None:
        met.by(played([("on", begun), *commands], small(), (), FAN))

    runs()
    assert not met.missing(plan.Arrive, plan.SayWork, Arrived, Missed)


def test_any_order_on_the_shipped_checklists() -> None:
    met = Met()
    work = (BATTERY, Work(kind="keyboard-deck"))
    growth = [Work(kind="feet"), Work(kind="keyboard-deck")]

    @settings(STEADY, max_examples=28)
    @given(begun=st.just(7), far=st.sampled_from([1, 6, 12, 40]), commands=COMMANDS)
    def runs(begun: int, far: int, commands: list[tuple[str, int]]) -> None:
        met.by(played([("on", begun)] * far + commands, shipped(), work, growth))

    runs()
    assert {"Complete", "Held", "Reopened", "WorkAdded", "Undone", "MadeSafe", "Accepted"} <= met.times.keys()


def test_work_that_does_without_a_step_that_was_taken_leaves_the_run_whole() -> None:
    with quick_folder() as folder:
        run = Run(folder, shipped(), (BATTERY,), [Work(kind="feet")], arriving=False)
        while "finish" not in run.owner.state.steps:
            run.take("on", 0 if isinstance(run.owner.due(), plan.Ask | plan.Do) else 1)
        # Where feet are fitted, their step opens the last stage: "finish" is none any more.
        run.take("grow", 0)
        assert "finish" not in {step.id for step in run.owner.composition.steps}
        while not isinstance(run.owner.due(), plan.Complete):
            run.take("on", 1)
        assert "fit-feet" in run.owner.state.steps
        run.owner.close()
