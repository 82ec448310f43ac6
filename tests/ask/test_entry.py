from pathlib import Path

import pytest

from verify.ask.entry import parse_list, parse_paths, parse_span, parse_tally
from verify.checklist.answers import Span, Tally
from verify.values.errors import InvalidValueError


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("0.25 0.30", Span(enters_mm=0.25, stops_mm=0.30)),
        ("0,25  0,3", Span(enters_mm=0.25, stops_mm=0.3)),
        ("0 0.05", Span(enters_mm=0, stops_mm=0.05)),
        ("1.00 -", Span(enters_mm=1.0, stops_mm=None)),
    ],
)
def test_a_gap_is_read_as_typed(text: str, span: Span) -> None:
    assert parse_span(text) == span


@pytest.mark.parametrize(
    "text", ["", "0.25", "0.30 0.25", "0.3 0.3", "- 0.3", "a b", "nan 1", "-1 0.3", "1 2 3", "30 31"]
)
def test_a_gap_that_cannot_be_is_refused_with_what_to_type(text: str) -> None:
    with pytest.raises(InvalidValueError) as caught:
        parse_span(text)
    assert caught.value.next_step


@pytest.mark.parametrize(
    ("text", "kind", "tally"),
    [
        ("short 6 6", "short", Tally(out=6, back=6)),
        ("M2 x 4 7 6 0 0 1", "M2 x 4", Tally(out=7, back=6, scrapped=1)),
        ("long black 2 3 1", "long black", Tally(out=2, back=3, new=1)),
    ],
)
def test_a_count_is_read_as_typed(text: str, kind: str, tally: Tally) -> None:
    assert parse_tally(text) == (kind, tally)


@pytest.mark.parametrize("text", ["", "short", "short 6", "6 6", "short -6 6", "short six six"])
def test_a_count_that_cannot_be_is_refused_with_what_to_type(text: str) -> None:
    with pytest.raises(InvalidValueError) as caught:
        parse_tally(text)
    assert caught.value.next_step


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ()),
        ("none", ()),
        ("-", ()),
        (" , ,", ()),
        ("charger", ("charger",)),
        ("charger, blue  sleeve ,", ("charger", "blue sleeve")),
    ],
)
def test_a_list_is_read_as_typed(text: str, words: tuple[str, ...]) -> None:
    assert parse_list(text) == words


@pytest.mark.parametrize(
    ("text", "paths"),
    [
        ("/tmp/a.jpg", ["/tmp/a.jpg"]),
        ("/tmp/left\\ side.jpg", ["/tmp/left side.jpg"]),
        ("'/tmp/left side.jpg'", ["/tmp/left side.jpg"]),
        ('"/tmp/it\'s.jpg"', ["/tmp/it's.jpg"]),
        ("'/tmp/a b.jpg' /tmp/c.jpg", ["/tmp/a b.jpg", "/tmp/c.jpg"]),
        ("file:///tmp/left%20side.jpg", ["/tmp/left side.jpg"]),
        ("~/a.jpg", [str(Path.home() / "a.jpg")]),
    ],
)
def test_a_path_is_read_as_typed_or_dragged_in(text: str, paths: list[str]) -> None:
    assert parse_paths(text) == tuple(map(Path, paths))


@pytest.mark.parametrize("name", ["left side.jpg", "it's.jpg", "Gerät 1 offen.jpg"])
def test_who_types_the_path_of_a_file_that_is_there_puts_no_quotes(tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    file.touch()
    assert parse_paths(f" {file} ") == (file,)
    assert parse_paths(f"{tmp_path}/a.jpg {tmp_path}/b.jpg") == (tmp_path / "a.jpg", tmp_path / "b.jpg")


def test_a_quote_that_is_not_closed_is_refused_with_what_to_do() -> None:
    with pytest.raises(InvalidValueError) as caught:
        parse_paths("'/tmp/left side.jpg")
    assert caught.value.next_step
