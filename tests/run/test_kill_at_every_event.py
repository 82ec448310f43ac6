"""Kill -9 at every line that a whole run writes, in both places, and go on from what lies on disk.

Real processes (forked from a warm one) are killed while they write; the machine and the hands are simulated,
and outlive the kill in the memory of the process that forks. A kill leaves the system's own memory of the
files standing: what a lost mains supply does to it is shown on a virtual machine, not here.
"""

import copy
import functools
import hashlib
import json
import os
import re
import shutil
import signal
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple, get_args

import msgspec
import pytest
from PIL import Image

from verify.ask.simulated import SimulatedBench
from verify.checklist import Check, Kind, Step
from verify.checklist.answers import Answer, Look, Photo, Seen
from verify.checklist.shipped import shipped_checklists
from verify.machine.simulated import SimulatedMachine
from verify.record.arrival import FUNCTIONS, FoundAs, Tried
from verify.record.model import Part, Record, Ticket, Work
from verify.run import Owner, RunFolder, arrival, begin, load_record, plan
from verify.run.events import (
    Answered,
    Arrived,
    Event,
    GivenBack,
    Line,
    Missed,
    Opened,
    Pictured,
    Placed,
    Stepped,
    Undone,
    Waited,
    WorkAdded,
)
from verify.run.journal import Journal
from verify.run.pictures import take_over
from verify.run.reading import read_run
from verify.run.sampling import VirtualSampler
from verify.testing.good_answers import GoodAnswers
from verify.values import Outcome, Verdict

TICKET = "TW-1042"
BATTERY = Work(kind="battery", part=Part(source="reproduction", label={"energy": "57.0 Wh"}))
BAD = Look(seen=Seen.NOT_GOOD, note="bent")
EVERY_S = 10.0


# The record apart from times, sessions and gaps.

_TIMES_OF_THE_RUN = ("began", "ended", "clock_note", "gaps", "journal_head", "journal_count")
_A_TIME = ("at", "made_safe_at")


def without_times(record: Record | dict[str, Any]) -> Any:
    """Return the record as plain data without what a restart changes: times, gaps, the journal's own size.

    A time that is there stays a time; one that is not (a step that was not taken) stays None. A trace keeps
    its name but for the number of the journal line that it began at; its bytes hold the times of the samples.
    A measured value is compared to a thousandth of its unit: a load dies with the process and is begun again,
    and what the machine drew meanwhile shows in the charge.
    """
    plain = json.loads(msgspec.json.encode(record))
    for name in _TIMES_OF_THE_RUN:
        del plain[name]
    for trace in plain["traces"]:
        trace["name"] = re.sub(r"^\d{5}-", "", trace["name"])
        del trace["sha256"]
    return _timeless(plain)


def _timeless(plain: Any) -> Any:
    if isinstance(plain, dict):
        return {
            key: "a time"
            if key in _A_TIME and value is not None
            else round(value, 3)
            if key == "value" and isinstance(value, float)
            else _timeless(value)
            for key, value in plain.items()
        }
    return [_timeless(one) for one in plain] if isinstance(plain, list) else plain


_BEGUN_AGAIN = re.compile(r"at rest, before the load|fan at rest|net energy that went in")


def but_for_a_load(plain: Any) -> Any:
    """Leave out of a record without times the values that a load leaves behind that was begun twice.

    The machine is then warmer when it rests before the second one, its fans turn faster, and it drew more.
    That such a value is there is compared.
    """
    for result in plain["results"]:
        for attempt in result["attempts"]:
            for reading in attempt.get("readings", ()):
                if _BEGUN_AGAIN.search(reading["source"]) and reading["value"] is not None:
                    reading["value"] = "a value"
    return plain


_MAY_DIFFER = re.compile(
    r"/(began|ended|clock_note|journal_head|journal_count)|/gaps/.*|/traces/\d+/sha256|(/arrival)?/inventory/at/.*"
    r"|/(results/\d+/attempts/\d+|results/\d+/accepted|steps/\d+|hazards/\d+|arrival|reopenings/\d+"
    r"|growths/\d+|seen_beside/\d+)/at|/hazards/\d+/made_safe_at"
)


def leaves(plain: Any, path: str = "") -> Iterator[tuple[str, Any, Callable[[Any], None]]]:
    """Give each value in it, where it stands, and how to set it."""
    pairs = plain.items() if isinstance(plain, dict) else enumerate(plain)
    for key, value in list(pairs):
        if isinstance(value, dict | list) and value:
            yield from leaves(value, f"{path}/{key}")
        else:
            yield f"{path}/{key}", value, functools.partial(plain.__setitem__, key)


def other(value: Any) -> Any:
    """Return something else of the same kind."""
    match value:
        case bool():
            return not value
        case int() | float():
            return value + 1
        case str():
            return f"{value}x"
        case []:
            return ["x"]
        case dict():
            return {"x": "x"}
        case _:
            return "x"


# Who plays.


class Bench(SimulatedBench):
    """A machine whose pack is nearly full: the charge is short. It takes its samples every 10 s."""

    def __init__(self) -> None:
        super().__init__(faults={})
        self.machine = SimulatedMachine(clock=self.clock, level=0.93)
        self.sampler = VirtualSampler(self.machine, self.clock, every_s=EVERY_S)


class Technician:
    """Does what the run asks for and all that can happen beside it, as the run stands: nothing by heart.

    What hands have done to the machine, and what eyes have looked at, outlives the tool.
    """

    def __init__(self, picture: Path) -> None:
        self.bench = Bench()
        self.asked: list[str] = []
        self.in_flight = ""
        self.sampling = False
        self._picture = picture
        self._slept = False
        self._good = GoodAnswers()
        self._looked: set[str] = set()

    def work(self, owner: Owner) -> None:
        """Go on until the run is at its end."""
        while (act := self._beside(owner) or self._due(owner)) is not None:
            act()

    def _beside(self, owner: Owner) -> Callable[[], object] | None:
        """Return what happens now though nobody asked for it."""
        state = owner.state
        events = [line.event for line in owner.lines]
        undone = [owner.lines[n].event for event in events if isinstance(event, Undone) for n in event.lines]
        if self.sampling:
            return lambda: self._feed(owner)
        if state.hazards_open:
            return lambda: owner.made_safe("The pack was looked at, cold.", by="Demo Technician")
        if state.given_back is not None:
            return owner.undo
        if not state.noticed and state.current("pack-flat"):
            return lambda: owner.notice("The lid's hinge is stiff.")
        if state.current("pack-flat") and "pack-flat" not in state.pictures:
            return lambda: self._say("picture of an answer", lambda: self._show(owner, "pack-flat"))
        if state.current("nothing-loose") and not any(isinstance(event, Answered) for event in undone):
            return owner.undo
        if "screw-base" in state.steps and not state.growths:
            return lambda: owner.add_work([Work(kind="feet")], shipped())
        if "charge-to-full" in state.watching and not self._slept:
            return self._sleep
        if state.current("charger-seen") and not state.hazards:
            return lambda: owner.meet_hazard("A smell.")
        if "end-charge" in state.steps and not state.reopened:
            return lambda: owner.reopen(["base"], why="The antenna plug was off.")
        if state.current("feet-wait") and not any(isinstance(event, GivenBack) for event in events):
            return lambda: owner.give_back(
                why="Too dear.", risks_told="By telephone.", owner_signed="On paper."
            )
        return None

    def _due(self, owner: Owner) -> Callable[[], object] | None:
        due = owner.due()
        match due:
            case plan.Where():
                return lambda: self._say("this is the machine", lambda: owner.stand(on_machine=True))
            case plan.Arrive():
                topic = due.pending[0]
                return lambda: self._say(topic, lambda: owner.arrive(self._taken_in(owner, topic)))
            case plan.SayWork():
                return lambda: self._say("work", lambda: owner.add_work([BATTERY], shipped()))
            case plan.Ask():
                check = next(check for check in due.checks if check.id in due.pending)
                return lambda: self._answer(owner, check)
            case plan.Do():
                return lambda: self._take(owner, due.step)
            case plan.Watching():
                return lambda: self._feed(owner)
            case plan.Held():
                check = due.blocked[0].check
                if check.id == "sound":
                    return lambda: owner.accept(
                        check.id, by="Demo Reviewer", reason="A faint buzz.", owner_agreed="By telephone."
                    )
                return lambda: owner.ask_again(check.id)
            case _:
                assert isinstance(due, plan.Complete), due
                return None

    def _taken_in(self, owner: Owner, topic: str) -> Arrived:
        if topic in FUNCTIONS:
            return Arrived(tried={topic: Tried.WORKS})
        if topic == arrival.PICTURES:
            taken = take_over(owner._folder.path, self._picture, number=1, shows="the lid")
            return Arrived(pictures=(taken,))
        return {
            arrival.FOUND_AS: Arrived(found_as=FoundAs.RUNS),
            arrival.COMPLAINT: Arrived(complaint="No sound on the left."),
            arrival.ACCESSORIES: Arrived(accessories=("charger",)),
        }[topic]

    def _answer(self, owner: Owner, check: Check) -> None:
        tries = len(owner.state.tries.get(check.id, ()))
        undone = sum(isinstance(line.event, Undone) for line in owner.lines)
        key = f"{check.id}, {tries} tries, {undone} taken back"
        if key not in self._looked:
            # Looking takes its time; to say it once more does not.
            self._looked.add(key)
            if owner.wants_samples():
                # What is found meanwhile may come first.
                self._feed(owner)
                return
        if check.kind is Kind.PHOTO and not owner.state.has_picture(check.id):
            self._say(f"picture for {key}", lambda: self._show(owner, check.id))
            return
        self._say(key, lambda: owner.answer(check.id, self._seen(check, first=tries == 0)))

    def _show(self, owner: Owner, check_id: str) -> None:
        taken = take_over(owner._folder.path, self._picture, number=owner.next_picture(), shows=check_id)
        owner.add_picture(check_id, taken)

    def _take(self, owner: Owner, step: Step) -> None:
        self.bench.did(step)
        again = len(owner.state.reopened)
        self._say(f"{step.id}, opened again {again} times", lambda: owner.take_step(step.id))

    def _say(self, asked: str, command: Callable[[], object]) -> None:
        self.asked.append(asked)
        self.in_flight = asked
        command()
        self.in_flight = ""

    def _seen(self, check: Check, *, first: bool) -> Answer:
        if check.id == "sound" or (check.id == "bay-clean" and first):
            return BAD
        if check.kind is Kind.PHOTO:
            return Photo(seen=Seen.GOOD)
        answer = self._good.answer(check)
        assert answer is not None
        return answer

    def _feed(self, owner: Owner) -> None:
        """Read the machine a while later, or at once where the last reading never got anywhere."""
        if not self.sampling:
            self.bench.clock.wait(EVERY_S)
        self.sampling = True
        if owner.wants_samples():
            owner.take_sample(self.bench.machine.sample())
        self.sampling = False
        if owner.strip is not None and (want := owner.strip[1].want) is not None:
            self.bench.give(want)

    def _sleep(self) -> None:
        self._slept = True
        self.bench.clock.sleep_through(300)


@functools.cache
def shipped() -> Sequence[Any]:
    return shipped_checklists()


def open_run(folder: RunFolder, technician: Technician) -> Owner:
    """Open the run where it stands; a run of which not even the first line was kept is begun."""
    if not folder.begun:
        begin(
            folder,
            ticket=Ticket(id=TICKET, maker="Fennel", model="Larkspur 15"),
            checklists=shipped(),
            clock=technician.bench.clock,
            arriving=True,
        )
    return Owner(folder, machine=technician.bench.machine, scripted=True)


# The kills.


class Killed(NamedTuple):
    """One kill: at which line, of which kind, whether in the middle of its write, and what came after it."""

    n: int
    event: Event
    torn: bool
    folder: Path
    may_be_asked_twice: str

    def __str__(self) -> str:
        return f"line {self.n} ({type(self.event).__name__}), {'torn' if self.torn else 'whole'}"

    @property
    def told(self) -> Path:
        return self.folder.with_name("told.json")


class Story(NamedTuple):
    lines: tuple[Line, ...]
    data: bytes
    record: Record
    asked: tuple[str, ...]
    folder: Path
    technician: Technician
    kills: tuple[Killed, ...]


AT_ONCE = 2


class Killer:
    """Stands in front of every write: lets a child die in it, and another one go on from there."""

    def __init__(self, root: Path, technician: Technician) -> None:
        self._root = root
        self._technician = technician
        self._running: list[int] = []
        self.kills: list[Killed] = []
        self._append = Journal.append
        self._write = os.write

    def append(self, journal: Journal, event: Event, at: Any) -> Line:
        for torn in (False, True):
            self._kill(journal, event, at, torn=torn)
        return self._append(journal, event, at)

    def _kill(self, journal: Journal, event: Event, at: Any, *, torn: bool) -> None:
        path = journal._path
        before = path.read_bytes() if path.exists() else None
        child = forked(lambda: self._die(journal, event, at, torn=torn))
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status)
        assert os.WTERMSIG(status) == signal.SIGKILL
        n = len(journal.lines)
        folder = self._root / f"{n:03d}-{'torn' if torn else 'whole'}" / TICKET
        shutil.copytree(path.parent, folder)
        if before is None:
            path.unlink()
        else:
            os.truncate(path, len(before))
        killed = Killed(
            n=n,
            event=event,
            torn=torn,
            folder=folder,
            may_be_asked_twice=self._unheard(event, torn=torn),
        )
        self.kills.append(killed)
        self._let_go_on(killed)

    def _unheard(self, event: Event, *, torn: bool) -> str:
        """Return what was said and is not on disk: the session tells of itself before, all else after it."""
        said = self._technician.in_flight
        own = isinstance(event, Placed | Answered | Pictured | WorkAdded)
        own |= isinstance(event, Arrived) and event.readings is None
        own |= isinstance(event, Stepped) and not event.by_itself
        return said if isinstance(event, Opened) or (torn and own) else ""

    def _die(self, journal: Journal, event: Event, at: Any, *, torn: bool) -> None:
        if torn:

            def half(descriptor: int, data: Any) -> int:
                self._write(descriptor, bytes(data)[: len(data) // 2])
                os.kill(os.getpid(), signal.SIGKILL)
                return 0

            os.write = half
        self._append(journal, event, at)
        os.kill(os.getpid(), signal.SIGKILL)

    def _let_go_on(self, killed: Killed) -> None:
        if len(self._running) == AT_ONCE:
            self._wait_for_one()

        def go_on() -> None:
            Journal.append = self._append  # type: ignore[method-assign] # nobody kills this one
            technician = self._technician
            unseen = isinstance(killed.event, Opened | Missed)
            technician.sampling &= unseen or (isinstance(killed.event, Waited) and killed.torn)
            killed.told.write_text(json.dumps(gone_on(killed.folder, technician)), encoding="utf-8")

        self._running.append(forked(go_on))

    def _wait_for_one(self) -> None:
        _, status = os.waitpid(self._running.pop(0), 0)
        assert status == 0

    def wait_for_all(self) -> None:
        while self._running:
            self._wait_for_one()


def forked(work: Callable[[], None]) -> int:
    """Do the work in a process of its own, which leaves nothing behind; return its id."""
    with warnings.catch_warnings():
        # Newer Pythons warn where other threads run: the child touches nothing of theirs.
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child:
        return child
    status = 1
    try:
        work()
        status = 0
    except BaseException:  # noqa: BLE001 - a child must never come back into the test
        traceback.print_exc()
    finally:
        os._exit(status)


def gone_on(folder: Path, technician: Technician) -> dict[str, Any]:
    """Go on with the run in the folder to its end; tell what came of it."""
    try:
        with RunFolder(folder) as held:
            owner = open_run(held, technician)
            technician.work(owner)
            owner.close()
        return {
            "record": msgspec.to_builtins(load_record(folder.parent, TICKET)),
            "asked": technician.asked,
        }
    except Exception:  # noqa: BLE001 - told to the test in the other process
        return {"failed": traceback.format_exc()}


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Story]:
    """Play the whole story once; at each line that it writes kill two processes, and let two go on."""
    # A kill leaves the files as the system holds them: they need not lie on a slow disk.
    memory = Path("/dev/shm")
    root = tmp_path_factory.mktemp("killed")
    if os.access(memory, os.W_OK):
        root = memory / f"handback-killed-{os.getpid()}"
        root.mkdir()
    picture = root / "picture.png"
    Image.new("RGB", (16, 9), "teal").save(picture)
    technician = Technician(picture)
    killer = Killer(root, technician)
    folder = root / "whole" / TICKET
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Journal, "append", lambda journal, *line: killer.append(journal, *line))  # noqa: PLW0108 - bound
        with RunFolder(folder) as held:
            owner = open_run(held, technician)
            technician.work(owner)
            owner.close()
        killer.wait_for_all()
        patch.setattr(Journal, "append", killer._append)
        yield Story(
            lines=tuple(owner.lines),
            data=(folder / "journal.jsonl").read_bytes(),
            record=load_record(folder.parent, TICKET),
            asked=tuple(technician.asked),
            folder=folder,
            technician=technician,
            kills=tuple(killer.kills),
        )
    shutil.rmtree(root, ignore_errors=True)


def test_the_story_writes_every_kind_of_line(story: Story) -> None:
    assert {type(line.event) for line in story.lines} == set(get_args(Event))
    assert story.record.outcome is Outcome.FIT_UNDER_CONCESSION
    assert len(story.asked) == len(set(story.asked))


def test_a_process_was_killed_in_both_places_of_every_line(story: Story) -> None:
    assert [(killed.n, killed.torn) for killed in story.kills] == [
        (n, torn) for n in range(len(story.lines)) for torn in (False, True)
    ]
    assert [killed.event for killed in story.kills[::2]] == [line.event for line in story.lines]


def test_nothing_acknowledged_is_lost_wherever_the_run_is_killed(story: Story) -> None:
    whole = story.data.splitlines(keepends=True)
    for killed in story.kills:
        kept = (killed.folder / "journal.jsonl").read_bytes().splitlines(keepends=True)
        acknowledged = killed.n if killed.torn else killed.n + 1
        assert kept[:acknowledged] == whole[:acknowledged], str(killed)
        torn = sorted(killed.folder.glob("journal.torn-*"))
        assert len(torn) == killed.torn, str(killed)
        if killed.torn:
            assert whole[killed.n].startswith(torn[0].read_bytes()), str(killed)


def test_nothing_is_asked_again_wherever_the_run_is_killed(story: Story) -> None:
    for killed in story.kills:
        told = json.loads(killed.told.read_text(encoding="utf-8"))
        assert "failed" not in told, f"{killed}: {told['failed']}"
        twice = [key for key, count in Counter(told["asked"]).items() if count > 1]
        assert twice == [key for key in [killed.may_be_asked_twice] if key], str(killed)
        assert list(dict.fromkeys(told["asked"])) == list(story.asked), str(killed)


def test_the_record_is_the_one_of_the_run_that_was_never_killed(story: Story) -> None:
    whole = but_for_a_load(without_times(story.record))
    for killed in story.kills:
        told = json.loads(killed.told.read_text(encoding="utf-8"))
        record = msgspec.convert(told["record"], Record)
        assert but_for_a_load(without_times(record)) == whole, str(killed)
        if isinstance(killed.event, Opened) and killed.torn:
            # The line after the first was lost: all later ones stand as they stood.
            assert record.journal_count == story.record.journal_count, str(killed)


def test_every_picture_is_told_once_and_lies_in_the_folder_wherever_the_run_is_killed(story: Story) -> None:
    """With its hash, under a number of its own; what the base hid again since is told as out of date."""
    for killed in story.kills:
        told = json.loads(killed.told.read_text(encoding="utf-8"))
        record = msgspec.convert(told["record"], Record)
        assert record.arrival is not None
        pictures = [
            *(record.arrival.pictures or ()),
            *(picture for result in record.results for picture in result.pictures),
        ]
        assert sorted(picture.file for picture in pictures) == [
            f"pictures/{number:02d}.jpg" for number in range(1, 5)
        ], str(killed)
        for picture in pictures:
            data = (killed.folder / picture.file).read_bytes()
            assert hashlib.sha256(data).hexdigest() == picture.sha256, str(killed)
        of_open = next(result.pictures for result in record.results if result.check == "open-picture")
        assert [picture.out_of_date for picture in of_open] == ["opened again: base", ""], str(killed)


def changed_unseen(plain: Any, value: Any, put: Callable[[Any], None], whole: Any) -> bool:
    """Change a value, compare, and put it back; tell whether the change went unseen."""
    put(other(value))
    try:
        return bool(without_times(plain) == whole)
    finally:
        put(value)


def test_what_is_compared_leaves_out_times_sessions_and_gaps_only(story: Story) -> None:
    whole = without_times(story.record)
    plain = json.loads(msgspec.json.encode(story.record))
    left_out = {path for path, value, put in leaves(plain) if changed_unseen(plain, value, put, whole)}
    named = {path for path, value, _ in leaves(plain) if value is not None and _MAY_DIFFER.fullmatch(path)}
    assert left_out == named
    assert {"/began", "/traces/0/sha256", "/gaps/0/seconds", "/hazards/0/made_safe_at"} <= named


def test_a_changed_verdict_or_a_step_not_taken_is_seen(story: Story) -> None:
    whole = without_times(story.record)
    first, *rest = story.record.results
    worse = msgspec.structs.replace(first, verdict=Verdict.UNDECIDED)
    assert without_times(msgspec.structs.replace(story.record, results=(worse, *rest))) != whole
    step, *others = story.record.steps
    untaken = msgspec.structs.replace(step, at=None)
    assert without_times(msgspec.structs.replace(story.record, steps=(untaken, *others))) != whole
    assert without_times(msgspec.structs.replace(story.record, hazards=())) != whole
    renamed = msgspec.structs.replace(story.record.traces[0], name="00009-another.jsonl")
    assert without_times(msgspec.structs.replace(story.record, traces=(renamed,))) != whole


# The last line, cut at every byte.


def last_lines(story: Story) -> dict[str, bytes]:
    """Return the journal up to its end, and up to the last answer."""
    whole = story.data.splitlines(keepends=True)
    answer = max(line.n for line in story.lines if isinstance(line.event, Answered))
    return {"the end": story.data, "an answer": b"".join(whole[: answer + 1])}


@pytest.mark.parametrize("last", ["the end", "an answer"])
def test_a_last_line_cut_at_any_byte_loses_that_line_only(story: Story, last: str) -> None:
    data = last_lines(story)[last]
    start = data[:-1].rfind(b"\n") + 1
    whole = without_times(story.record)
    folder = story.folder.parent.with_name(f"cut in {last}") / TICKET
    shutil.copytree(story.folder, folder)
    for length in range(start, len(data) + 1):
        for left in folder.glob("journal.*"):
            left.unlink()
        (folder / "journal.jsonl").write_bytes(data[:length])
        technician = copy.copy(story.technician)
        technician.asked = []
        with RunFolder(folder) as held:
            owner = open_run(held, technician)
            technician.work(owner)
            owner.close()
        assert without_times(load_record(folder.parent, TICKET)) == whole, length
        again = (folder / "journal.jsonl").read_bytes()
        assert again.startswith(data[: start if length < len(data) else length]), length
        torn = b"".join(path.read_bytes() for path in folder.glob("journal.torn-*"))
        assert torn == (data[start:length] if length < len(data) else b""), length


def test_a_folder_copied_in_the_middle_of_a_line_goes_on_in_both_places(story: Story, tmp_path: Path) -> None:
    data = last_lines(story)["an answer"]
    whole = without_times(story.record)
    start = data[:-1].rfind(b"\n") + 1
    one, two = tmp_path / "bench computer" / TICKET, tmp_path / "STICK Ä" / TICKET
    shutil.copytree(story.folder, one)
    (one / "journal.jsonl").write_bytes(data[: start + 40])
    shutil.copytree(one, two)
    for folder in (one, two):
        technician = copy.copy(story.technician)
        with RunFolder(folder) as held:
            owner = open_run(held, technician)
            technician.work(owner)
            owner.close()
        assert without_times(load_record(folder.parent, TICKET)) == whole
    run = read_run(two)
    assert run is not None
    assert [line.event for line in run.lines[: start and data[:start].count(b"\n")]] == [
        line.event for line in story.lines[: data[:start].count(b"\n")]
    ]
