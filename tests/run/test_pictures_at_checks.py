"""Pictures that belong to a check: kept at once, told with it, out of date with it, never written over."""

import resource
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec
import pytest
from PIL import Image

from verify.ask.simulated import SimulatedBench
from verify.checklist.answers import Answer, Hazard, Look, Photo, Seen
from verify.checklist.loader import parse_checklist
from verify.record.arrival import Picture
from verify.record.canonical import record_bytes, record_from, sha256_hex
from verify.record.model import Result, Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.events import Ended, Pictured
from verify.run.pictures import take_over
from verify.values import Outcome, Verdict
from verify.values.errors import (
    BrokenJournalError,
    FileFormatError,
    FileWriteError,
    HandbackError,
    InvalidValueError,
    OrderError,
    WrongUseError,
)

LIST = """\
format: checklist/1
id: main
revision: 1
title: Main
steps:
  - {id: open-up, name: open the base, stage: arrived, leads_to: open}
  - {id: close-base, name: close the base, do: Put it on., stage: open, leads_to: closed, voided_by: [base]}
  - {id: hand-back, name: hand the machine back, stage: closed}
checks:
  - {id: first-look, kind: hazard, ask: Does anything bulge?, good: Nothing., place: whole machine,
     stage: arrived, minutes: 0.5, before: [open-up], stop: yes, caution: Stop if so.}
  - {id: leads, kind: look, ask: Look at the leads., good: Home., place: inside, stage: open, minutes: 0.5,
     before: [close-base], voided_by: [base]}
  - {id: inside, kind: photo, ask: Photograph the inside., good: All of it shows., place: inside,
     stage: open, minutes: 0.5, before: [close-base], voided_by: [base]%s}
  - {id: flush, kind: look, ask: Look along the seam., good: Even., place: outside, stage: closed,
     minutes: 0.5, voided_by: [base]}
"""
MORE = """\
format: checklist/1
id: more
revision: 1
title: More
for_work: [feet]
checks:
  - {id: feet-hold, kind: look, ask: Look at the feet., good: They hold., place: outside, stage: closed,
     minutes: 0.5}
"""
GOOD, TAKEN = Look(seen=Seen.GOOD), Photo(seen=Seen.GOOD)


class Job:
    """A run of the small list in a folder, and a camera whose pictures differ from one another."""

    def __init__(self, place: Path, *, note_only: bool = False) -> None:
        self.reports = place
        self.bench = SimulatedBench(faults={})
        self.lists = (
            parse_checklist(LIST % (", note_only: yes" if note_only else ""), name="main.yaml"),
            parse_checklist(MORE, name="more.yaml"),
        )
        self._held = RunFolder(place / "TW-1042")
        self._held.__enter__()
        begin(self._held, ticket=Ticket(id="TW-1042"), checklists=self.lists, clock=self.bench.clock)
        self.owner = self.opened()
        self.owner.answer("first-look", Hazard(present=False))

    @property
    def folder(self) -> Path:
        return self._held.path

    def opened(self) -> Owner:
        return Owner(self._held, machine=self.bench.machine, scripted=False, on_machine=True)

    def again(self) -> None:
        """Leave the run and open it anew from what lies on disk."""
        self.owner.close()
        self.owner = self.opened()

    def close(self) -> None:
        self.owner.close()
        self._held.__exit__(None, None, None)

    def picture(self, check: str, shows: str = "") -> Picture:
        number = self.owner.next_picture()
        source = self.reports / "camera.png"
        Image.new("RGB", (30, 20), (number * 20, 90, 40)).save(source)
        taken = take_over(self.folder, source, number=number, shows=shows)
        self.owner.add_picture(check, taken)
        return taken

    def answers(self, **said: Answer) -> None:
        for check, answer in said.items():
            self.owner.answer(check, answer)

    def to_the_end(self) -> None:
        self.answers(leads=GOOD)
        self.picture("inside")
        self.answers(inside=TAKEN)
        self.owner.take_step("close-base")
        self.answers(flush=GOOD)

    def result(self, check: str) -> Result:
        record = load_record(self.reports, "TW-1042")
        assert record_from(record_bytes(record)) == record
        return next(result for result in record.results if result.check == check)


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Job]:
    job = Job(tmp_path)
    yield job
    job.close()


# The kind "photo".


@pytest.mark.parametrize("seen", list(Seen))
def test_a_picture_alone_judges_nothing_and_nothing_is_judged_without_one(job: Job, seen: Seen) -> None:
    with pytest.raises(OrderError, match="no picture yet"):
        job.answers(inside=Photo(seen=seen, note="dark"))
    job.picture("inside")
    assert job.owner.state.verdict("inside") is Verdict.NOT_DONE
    assert isinstance(job.owner.due(), plan.Ask)
    job.answers(inside=Photo(seen=seen, note="dark"))
    wanted = {
        Seen.GOOD: Verdict.CONFORMS,
        Seen.NOT_GOOD: Verdict.DOES_NOT_CONFORM,
        Seen.CANNOT_SEE: Verdict.UNDECIDED,
    }
    result = job.result("inside")
    assert result.verdict is wanted[seen]
    assert "dark" in result.because


@pytest.mark.parametrize("note_only", [True, False], ids=["only a note", "holds"])
def test_no_camera_is_said_with_a_reason_and_holds_unless_it_is_only_a_note(
    tmp_path: Path, *, note_only: bool
) -> None:
    job = Job(tmp_path, note_only=note_only)
    job.answers(leads=GOOD, inside=Photo(seen=None, note="The camera is at the other bench."))
    assert isinstance(job.owner.due(), plan.Do if note_only else plan.Held)
    result = job.result("inside")
    assert result.verdict is Verdict.UNDECIDED
    assert result.because == "Not done: no picture was taken. The camera is at the other bench."
    if note_only:
        job.owner.take_step("close-base")
        job.answers(flush=GOOD)
        assert load_record(tmp_path, "TW-1042").outcome is Outcome.FIT
    job.close()


def test_no_picture_without_a_reason_is_no_answer() -> None:
    with pytest.raises(InvalidValueError, match="reason"):
        Photo(seen=None, note="  ")


def test_that_there_is_none_is_not_said_beside_one_nor_one_added_to_it(job: Job) -> None:
    job.picture("inside")
    with pytest.raises(OrderError, match="There is a picture"):
        job.answers(inside=Photo(seen=None, note="No camera."))
    job.owner.undo()
    job.answers(inside=Photo(seen=None, note="No camera."))
    with pytest.raises(OrderError):
        job.picture("inside")
    assert job.result("inside").pictures == ()


def test_a_look_is_no_answer_to_a_photo_nor_the_other_way_round(job: Job) -> None:
    for check, answer in (("inside", GOOD), ("leads", TAKEN)):
        with pytest.raises(OrderError, match="not an answer to it"):
            job.owner.answer(check, answer)


# At any check.


def test_several_pictures_stand_with_their_check_in_the_order_they_were_taken(job: Job) -> None:
    first = job.picture("leads", "before it was pushed home")
    job.answers(leads=Look(seen=Seen.NOT_GOOD, note="one is off"))
    second = job.picture("leads", "as it was found")
    third = job.picture("first-look")
    assert job.result("leads").pictures == (first, second)
    assert job.result("first-look").pictures == (third,)
    assert [one.file for one in (first, second, third)] == [f"pictures/0{n}.jpg" for n in (1, 2, 3)]
    job.again()
    assert job.result("leads").pictures == (first, second)
    for picture in (first, second, third):
        assert sha256_hex((job.folder / picture.file).read_bytes()) == picture.sha256


@pytest.mark.parametrize("check", ["flush", "nothing-such"])
def test_what_is_neither_asked_nor_answered_gets_none(job: Job, check: str) -> None:
    lines = len(job.owner.lines)
    with pytest.raises(OrderError):
        job.picture(check)
    assert len(job.owner.lines) == lines


def test_while_a_hazard_stands_none_is_taken(job: Job) -> None:
    job.owner.meet_hazard("A smell.")
    with pytest.raises(OrderError, match="hazard"):
        job.picture("leads")


def test_undo_takes_the_picture_back_then_the_answer_and_its_number_is_not_used_again(job: Job) -> None:
    job.answers(leads=GOOD)
    job.picture("leads")
    assert job.owner.undo()
    assert job.result("leads").pictures == ()
    assert job.owner.state.verdict("leads") is Verdict.CONFORMS
    again = job.picture("leads")
    assert again.file == "pictures/02.jpg"
    assert (job.folder / "pictures" / "01.jpg").exists()
    job.owner.undo()
    job.owner.undo()
    assert job.owner.state.verdict("leads") is Verdict.NOT_DONE


def test_an_ended_run_takes_one_more_and_ends_again(job: Job) -> None:
    job.to_the_end()
    assert isinstance(job.owner.lines[-1].event, Ended)
    late = job.picture("flush")
    assert isinstance(job.owner.due(), plan.Complete)
    assert isinstance(job.owner.lines[-1].event, Ended)
    assert job.owner.lines[-1].event.counts["pictured"] == 2
    assert job.result("flush").pictures == (late,)


# Going back, and growing.


def test_opened_again_the_old_picture_stays_out_of_date_and_a_new_one_is_asked_for(job: Job) -> None:
    job.to_the_end()
    job.picture("first-look")
    job.owner.reopen(["base"], why="A lead was off.")
    old = job.result("inside").pictures
    assert [picture.out_of_date for picture in old] == ["opened again: base"]
    assert job.result("first-look").pictures[0].out_of_date == ""
    job.answers(leads=GOOD)
    with pytest.raises(OrderError, match="no picture yet"):
        job.answers(inside=TAKEN)
    new = job.picture("inside")
    job.answers(inside=TAKEN)
    assert job.result("inside").pictures == (*old, new)
    assert len({picture.file for picture in job.result("inside").pictures}) == 2
    job.again()
    assert job.result("inside").pictures == (*old, new)


def test_asked_again_a_picture_that_was_not_good_is_taken_anew(job: Job) -> None:
    job.answers(leads=GOOD)
    job.picture("inside")
    job.answers(inside=Photo(seen=Seen.NOT_GOOD, note="cut off"))
    job.owner.ask_again("inside")
    assert not job.owner.state.has_picture("inside")
    job.picture("inside")
    job.answers(inside=TAKEN)
    assert isinstance(job.owner.due(), plan.Do)
    assert [bool(one.out_of_date) for one in job.result("inside").pictures] == [True, False]


def test_a_picture_taken_while_a_check_is_open_goes_out_of_date_by_what_opens_it_again(job: Job) -> None:
    job.to_the_end()
    job.owner.reopen(["base"], why="A lead was off.")
    job.picture("inside")
    job.owner.reopen(["base"], why="It was pushed home.")
    assert not job.owner.state.has_picture("inside")


def test_made_safe_leaves_the_picture_of_the_hazard_out_of_date_in_the_record(tmp_path: Path) -> None:
    job = Job(tmp_path)
    shown = job.picture("first-look", "the seam stands open")
    job.owner.meet_hazard("It bulges.")
    job.owner.made_safe("The pack is in the sand box.", by="Demo Technician")
    kept = job.result("first-look").pictures
    assert [(one.file, one.shows, one.sha256) for one in kept] == [(shown.file, shown.shows, shown.sha256)]
    assert kept[0].out_of_date == "made safe since"
    job.close()


def test_work_that_grows_leaves_every_picture_where_it_was(job: Job) -> None:
    job.to_the_end()
    before = job.result("inside").pictures
    job.owner.add_work([Work(kind="feet")], job.lists)
    assert job.result("inside").pictures == before
    job.picture("feet-hold")
    assert len(job.result("feet-hold").pictures) == 1


# What cannot be taken over, and what lies broken on disk.


def _no_picture(place: Path) -> Path:
    (place / "notes.jpg").write_bytes(b"no picture at all")
    return place / "notes.jpg"


def _heic(place: Path) -> Path:
    # ISO/IEC 14496-12, 4.3: a file type box is size, "ftyp", the major brand, a version, more brands.
    box = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"
    (place / "phone.heic").write_bytes(box + bytes(200))
    return place / "phone.heic"


def _huge(place: Path) -> Path:
    path = place / "huge.jpg"
    with path.open("wb") as file:
        file.truncate(61_000_000)
    return path


@pytest.mark.parametrize(
    ("make", "error", "says"),
    [
        (_no_picture, FileFormatError, "JPEG or PNG"),
        (_heic, FileFormatError, "HEIC picture; this kind is not read here. Save it as JPEG"),
        (_huge, WrongUseError, "smaller picture"),
        (lambda place: place / "gone.jpg", WrongUseError, "is the card or stick still in"),
    ],
    ids=["none", "heic", "huge", "vanished"],
)
def test_what_cannot_be_taken_over_is_one_line_and_the_question_stands(
    job: Job, tmp_path: Path, make: object, error: type[HandbackError], says: str
) -> None:
    assert callable(make)
    due, lines = job.owner.due(), len(job.owner.lines)
    with pytest.raises(error) as caught:
        take_over(job.folder, make(tmp_path), number=job.owner.next_picture())
    told = str(caught.value)
    assert says in told
    assert "\n" not in told
    assert (job.owner.due(), len(job.owner.lines), job.owner.next_picture()) == (due, lines, 1)
    assert job.picture("leads").file == "pictures/01.jpg"


@contextmanager
def _room_for_100_bytes() -> Iterator[None]:
    """Let the kernel refuse what a file holds beyond 100 bytes: a write that really fails half way."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)


def test_no_room_for_the_picture_loses_nothing(job: Job, tmp_path: Path) -> None:
    job.answers(leads=GOOD)
    Image.new("RGB", (30, 20), "teal").save(tmp_path / "a.png")
    with _room_for_100_bytes(), pytest.raises(FileWriteError) as caught:
        take_over(job.folder, tmp_path / "a.png", number=job.owner.next_picture())
    assert "\n" not in str(caught.value)
    assert list((job.folder / "pictures").glob("*.jpg")) == []
    job.again()
    assert job.result("leads").verdict is Verdict.CONFORMS
    job.picture("inside")
    job.answers(inside=TAKEN)
    assert len(job.result("inside").pictures) == 1


def test_a_torn_line_of_a_picture_is_cut_off_and_the_picture_taken_once_more(job: Job) -> None:
    job.answers(leads=GOOD)
    job.picture("inside")
    job.owner.close()
    journal = job.folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes()[:-20])
    job.owner = job.opened()
    assert not job.owner.state.has_picture("inside")
    assert job.owner.state.verdict("leads") is Verdict.CONFORMS
    again = job.picture("inside")
    assert again.file == "pictures/01.jpg"  # no line ever told of the first
    assert sha256_hex((job.folder / again.file).read_bytes()) == again.sha256


def test_a_picture_of_a_check_that_is_not_there_is_refused_when_the_run_is_opened(job: Job) -> None:
    job.picture("leads")
    event = job.owner.lines[-1].event
    assert isinstance(event, Pictured)
    with pytest.raises(BrokenJournalError):
        job.owner._fold.take(
            msgspec.structs.replace(
                job.owner.lines[-1], event=msgspec.structs.replace(event, check="nothing-such")
            )
        )


def test_a_record_without_pictures_at_its_checks_reads_as_before(job: Job) -> None:
    """Those of before had no such field."""
    job.to_the_end()
    plain = msgspec.to_builtins(load_record(job.reports, "TW-1042"))
    for result in plain["results"]:
        del result["pictures"]
    results = msgspec.convert(plain["results"], tuple[Result, ...])
    assert {result.pictures for result in results} == {()}
