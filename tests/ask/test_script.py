from pathlib import Path

import pytest

from verify.ask.script import AnswerFile, parse_answer
from verify.checklist import Check, Kind
from verify.checklist.answers import Counted, Hazard, Look, Measured, Seen, Span, Tally
from verify.values.errors import FileFormatError, InvalidValueError


def check(kind: Kind) -> Check:
    return Check(id="c", kind=kind, ask="Look.", good="Good.", place="here", stage="open", minutes=1)


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
        (Kind.PROBE, "good"),
    ],
)
def test_an_answer_that_does_not_fit_its_check_names_the_file(
    kind: Kind, given: object, tmp_path: Path
) -> None:
    import yaml

    path = tmp_path / "answers.yaml"
    path.write_text(yaml.safe_dump({"format": "answers/1", "answers": {"c": given}}), encoding="utf-8")
    with pytest.raises(FileFormatError, match=r"answers\.yaml"):
        AnswerFile(path).answer(check(kind))


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
