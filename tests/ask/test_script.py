from pathlib import Path

import pytest
import yaml
from PIL import Image

from verify.ask.given import parse_answer
from verify.ask.script import ANSWERS_FORMAT, AnswerFile, NoHands, play
from verify.ask.simulated import SimulatedBench, Truthful
from verify.checklist import Check, Kind
from verify.checklist.answers import Counted, Hazard, Look, Measured, Photo, Seen, Span, Tally
from verify.checklist.shipped import shipped_checklists
from verify.record.arrival import FUNCTIONS, FoundAs, Tried
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, arrival, begin, plan
from verify.run.events import Arrived
from verify.values.errors import FileFormatError, InvalidValueError, WrongUseError


def check(kind: Kind) -> Check:
    return Check(id="c", kind=kind, ask="Look.", good="Good.", place="here", stage="open", minutes=1)


def written(folder: Path, **parts: object) -> Path:
    path = folder / "answers.yaml"
    path.write_text(yaml.safe_dump({"format": ANSWERS_FORMAT, **parts}), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("kind", "given", "answer"),
    [
        (Kind.LOOK, "good", Look(seen=Seen.GOOD)),
        (Kind.LOOK, {"answer": "cannot see", "note": "dark"}, Look(seen=Seen.CANNOT_SEE, note="dark")),
        (Kind.HAZARD, False, Hazard(present=False)),
        (Kind.HAZARD, "no", Hazard(present=False)),
        (Kind.HAZARD, True, Hazard(present=True)),
        (Kind.HAZARD, "cannot tell", Hazard(present=None)),
        (
            Kind.MEASURE,
            {"front": [0.25, 0.3], "rear": [1, None]},
            Measured(
                spans={"front": Span(enters_mm=0.25, stops_mm=0.3), "rear": Span(enters_mm=1, stops_mm=None)}
            ),
        ),
        (Kind.PHOTO, "good", Photo(seen=Seen.GOOD)),
        (Kind.PHOTO, {"answer": "not good", "note": "cut"}, Photo(seen=Seen.NOT_GOOD, note="cut")),
        (Kind.PHOTO, {"answer": "none", "note": "no camera"}, Photo(seen=None, note="no camera")),
        (Kind.COUNT, {"short": {"out": 6, "back": 5}}, Counted(tallies={"short": Tally(out=6, back=5)})),
    ],
)
def test_an_answer_is_read_as_its_kind(kind: Kind, given: object, answer: object) -> None:
    assert parse_answer(check(kind), given) == answer


@pytest.mark.parametrize(
    ("kind", "given"),
    [
        (Kind.LOOK, "perfect"),
        (Kind.LOOK, None),
        (Kind.LOOK, {"note": "no answer"}),
        (Kind.HAZARD, "good"),
        (Kind.HAZARD, 0),
        (Kind.MEASURE, "0.25"),
        (Kind.MEASURE, {"front": [0.3, 0.25]}),
        (Kind.MEASURE, {"front": [0.3]}),
        (Kind.COUNT, {"short": {"out": 6}}),
        (Kind.COUNT, {"short": {"out": 6, "back": 6, "lost": 1}}),
        (Kind.COUNT, {"short": {"out": -1, "back": -1}}),
        (Kind.COUNT, {"short": {"out": "six", "back": 6}}),
        (Kind.PHOTO, "none"),
        (Kind.PHOTO, "open.jpg"),
        (Kind.PROBE, "good"),
    ],
)
def test_an_answer_that_does_not_fit_its_check_names_the_file(
    kind: Kind, given: object, tmp_path: Path
) -> None:
    with pytest.raises(FileFormatError, match=r"answers\.yaml"):
        AnswerFile(written(tmp_path, answers={"c": given})).answer(check(kind))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "format: answers/2\nanswers: {}",
        "format: answers/1",
        "[",
        "- a",
        "\x00",
        "a: &a [*a]",
        "format: answers/1\nanswers: []",
        "format: answers/1\narrival: []",
        "format: answers/1\nanswers: {}\narrival: []",
    ],
)
def test_a_file_that_is_no_file_of_answers_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "answers.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileFormatError):
        AnswerFile(path)


def test_a_probe_cannot_be_answered_from_a_script() -> None:
    with pytest.raises(InvalidValueError):
        parse_answer(check(Kind.PROBE), "good")


@pytest.mark.parametrize(
    ("parts", "meant"),
    [
        ({"answers": {}, "arival": {}}, "arrival"),
        ({"arrival": {"complain": "x"}}, "complaint"),
        ({"arrival": {"tried": {"sound and camra": "works"}}}, "sound and camera"),
        ({"arrival": {"tried": []}}, ""),
    ],
)
def test_what_is_not_asked_on_arrival_is_refused_with_what_was_meant(
    parts: dict[str, object], meant: str, tmp_path: Path
) -> None:
    with pytest.raises(FileFormatError) as caught:
        AnswerFile(written(tmp_path, **parts))
    assert meant in str(caught.value)


@pytest.mark.parametrize("answer", ["pack-flatt", "feet"])
def test_an_answer_that_nothing_asks_for_is_refused_before_anything_is_answered(
    answer: str, tmp_path: Path
) -> None:
    bench = SimulatedBench(faults={})
    # No feet in this job: an answer about them may stand in the file.
    path = written(tmp_path, answers={"first-look": "no", "feet-hold": "good", answer: "good"})
    with RunFolder(tmp_path / "T-1") as folder:
        ticket = Ticket(id="T-1", work=(Work(kind="battery"),))
        begin(folder, ticket=ticket, checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        before = len(owner.lines)
        with pytest.raises(FileFormatError, match="Did you mean"):
            play(owner, AnswerFile(path), bench.sampler, hands=NoHands())
        assert len(owner.lines) == before


ON_ARRIVAL: dict[str, object] = {
    "found_as": "runs",
    "complaint": "It dies at noon.",
    "accessories": ["charger", "sleeve"],
    "pictures": ["a.png", {"file": "b.png", "shows": "left side"}],
    "tried": dict.fromkeys(FUNCTIONS, "works") | {"sound and camera": "not tried"},
}


def test_a_machine_is_taken_in_from_a_file(tmp_path: Path) -> None:
    bench = SimulatedBench(faults={})
    for name in ("a.png", "b.png"):
        Image.new("RGB", (4, 3)).save(tmp_path / name)
    path = written(tmp_path, answers={"first-look": False}, arrival=ON_ARRIVAL)
    with RunFolder(tmp_path / "T-1") as folder:
        begin(
            folder, ticket=Ticket(id="T-1"), checklists=shipped_checklists(), clock=bench.clock, arriving=True
        )
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        due = play(owner, AnswerFile(path, folder=folder.path), bench.sampler, hands=NoHands())
        assert isinstance(due, plan.SayWork)
        taken = owner.state.arrival
        assert taken.found_as is FoundAs.RUNS
        assert owner.ticket.complaint == "It dies at noon."
        assert taken.accessories == ("charger", "sleeve")
        assert [(one.file, one.shows) for one in taken.pictures or ()] == [
            ("pictures/01.jpg", ""),
            ("pictures/02.jpg", "left side"),
        ]
        assert (taken.tried or {})["sound and camera"] is Tried.NOT_TRIED
        assert taken.readings
        owner.close()


def test_pictures_of_a_file_go_to_their_checks_after_those_of_the_arrival(tmp_path: Path) -> None:
    bench = SimulatedBench(faults={})
    for name in ("a.png", "b.png"):
        Image.new("RGB", (4, 3)).save(tmp_path / name)
    path = written(
        tmp_path,
        answers={"first-look": False, "pack-flat": "good", "wiped-clean": "good"},
        pictures={"first-look": ["b.png"], "pack-flat": ["a.png", {"file": "b.png", "shows": "from below"}]},
        arrival=ON_ARRIVAL,
    )
    with RunFolder(tmp_path / "T-1") as folder:
        begin(
            folder, ticket=Ticket(id="T-1"), checklists=shipped_checklists(), clock=bench.clock, arriving=True
        )
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        answers = AnswerFile(path, folder=folder.path)
        play(owner, answers, bench.sampler, hands=NoHands())
        owner.add_work([Work(kind="base-cover")], shipped_checklists())
        play(owner, answers, bench.sampler, hands=NoHands())
        told = {check: [(one.file, one.shows) for one in its] for check, its in owner.state.pictures.items()}
        assert told == {
            "first-look": [("pictures/01.jpg", "")],
            "pack-flat": [("pictures/04.jpg", ""), ("pictures/05.jpg", "from below")],
        }
        assert [one.file for one in owner.state.arrival.pictures or ()] == [
            "pictures/02.jpg",
            "pictures/03.jpg",
        ]
        owner.close()


@pytest.mark.parametrize("given", ["a.png", [{"shows": "left"}], [{"file": "a.png", "show": "left"}], [1]])
def test_pictures_that_are_no_list_of_files_name_the_check(given: object, tmp_path: Path) -> None:
    file = AnswerFile(written(tmp_path, answers={}, pictures={"c": given}), folder=tmp_path)
    with pytest.raises(FileFormatError, match='pictures of "c" cannot be taken'):
        file.pictures(check(Kind.PHOTO), number=1)


def test_pictures_of_a_check_that_there_is_not_are_refused(tmp_path: Path) -> None:
    bench = SimulatedBench(faults={})
    path = written(tmp_path, answers={}, pictures={"pack-flatt": ["a.png"]})
    with RunFolder(tmp_path / "T-1") as folder:
        begin(folder, ticket=Ticket(id="T-1"), checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        with pytest.raises(FileFormatError, match="Did you mean"):
            play(owner, AnswerFile(path, folder=folder.path), bench.sampler, hands=NoHands())


def test_what_a_file_does_not_say_on_arrival_is_left_to_be_asked(tmp_path: Path) -> None:
    file = AnswerFile(written(tmp_path, arrival={"found_as": "already apart"}))
    assert file.arrival(arrival.FOUND_AS) == Arrived(found_as=FoundAs.APART)
    assert [file.arrival(topic) for topic in (arrival.COMPLAINT, arrival.PICTURES, FUNCTIONS[0])] == [
        None
    ] * 3


@pytest.mark.parametrize(
    ("topic", "given"),
    [
        (arrival.FOUND_AS, {"found_as": "dead"}),
        (arrival.COMPLAINT, {"complaint": ["x"]}),
        (arrival.ACCESSORIES, {"accessories": "charger"}),
        (arrival.PICTURES, {"pictures": "a.png"}),
        (arrival.PICTURES, {"pictures": [{"shows": "left"}]}),
        (arrival.PICTURES, {"pictures": [{"file": "a.png", "show": "left"}]}),
        (FUNCTIONS[0], {"tried": {FUNCTIONS[0]: True}}),
    ],
)
def test_what_does_not_fit_on_arrival_names_the_file(
    topic: str, given: dict[str, object], tmp_path: Path
) -> None:
    with pytest.raises(FileFormatError, match=r"answers\.yaml"):
        AnswerFile(written(tmp_path, arrival=given), folder=tmp_path).arrival(topic)


def test_a_picture_that_is_not_there_is_a_plain_sentence(tmp_path: Path) -> None:
    file = AnswerFile(written(tmp_path, arrival={"pictures": ["none.png"]}), folder=tmp_path)
    with pytest.raises(WrongUseError, match=r"none\.png"):
        file.arrival(arrival.PICTURES)


def test_a_simulated_technician_takes_a_machine_in_and_leaves_the_complaint_as_it_is() -> None:
    truthful = Truthful({}, {})
    assert truthful.arrival(arrival.COMPLAINT) is None
    assert truthful.arrival(arrival.ACCESSORIES) == Arrived(accessories=("charger",))
    assert truthful.arrival(arrival.PICTURES) == Arrived(pictures=())
    assert all(truthful.arrival(name) == Arrived(tried={name: Tried.WORKS}) for name in FUNCTIONS)
