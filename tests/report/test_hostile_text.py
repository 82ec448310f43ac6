"""Hostile text in any field shows itself as text: no element, no style, no hidden or turned character."""

from html.parser import HTMLParser

import msgspec
import pytest

from verify.record.model import Record
from verify.record.page import parts_of
from verify.report.prove import prove
from verify.report.render import render
from verify.testing.sample_course import sample_pictures
from verify.testing.sample_pages import (
    HOSTILE,
    declared_text_fields,
    eventful_record,
    full_of,
    text_fields,
)
from verify.testing.sample_record import fit_record
from verify.testing.sample_signatures import known, sample_key, signed_by

_PARTS = ["part owner", "part technician", "part pictures", "part record", "part end"]


def test_every_text_field_that_a_record_can_have_is_tried() -> None:
    # What is empty in the sample would not be tried: a new field must be filled there.
    assert declared_text_fields(Record) - set(text_fields(eventful_record())) == frozenset()
    hostile, plain = set(text_fields(full_of("@@"))), set(text_fields(eventful_record()))
    assert hostile == plain
    page = render(full_of("@@"), sample_pictures()).decode()
    before, _, after = page.partition('<pre id="handback-record">')
    assert (before + after.partition("</pre>")[2]).count("@@") > 200


class _Elements(HTMLParser):
    def __init__(self, data: bytes) -> None:
        super().__init__()
        self.found: list[tuple[str, tuple[str, ...]]] = []
        self.comments: list[str] = []
        self.feed(data.decode())
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, tuple(name for name, _ in attrs)))

    def handle_comment(self, data: str) -> None:
        self.comments.append(data)


def _shape(record: Record) -> list[tuple[str, tuple[str, ...]]]:
    return _Elements(render(record, sample_pictures())).found


@pytest.mark.parametrize("name", list(HOSTILE))
def test_hostile_text_adds_no_element_no_attribute_and_no_comment(name: str) -> None:
    hostile = full_of(HOSTILE[name])
    # The same record with harmless text in the same places must have the very same elements.
    assert _shape(hostile) == _shape(full_of(" harmless"))
    comments = _Elements(render(hostile, sample_pictures())).comments
    assert comments == _PARTS
    assert list(parts_of(render(hostile, sample_pictures()))) == ["head", *(one[5:] for one in _PARTS)]


@pytest.mark.parametrize("name", list(HOSTILE))
def test_a_page_with_hostile_text_still_proves(name: str) -> None:
    keys = (sample_key("technician"), sample_key("reviewer"))
    record = full_of(HOSTILE[name])
    proof = prove(signed_by(record, *keys, pictures=sample_pictures()), trusted=known(*keys))
    assert proof.record == record
    assert not [doubt for doubt in proof.doubts if "page" in doubt]


def test_hidden_and_turning_characters_stand_as_codes_outside_the_record() -> None:
    page = render(full_of(HOSTILE["bidi"] + HOSTILE["controls"]), sample_pictures()).decode()
    before, _, after = page.partition('<pre id="handback-record">')
    visible = before + after.partition("</pre>")[2]
    for character in "\x00\x08\x1b\x7f\x85\x9b\r\u202e\u202c\u2066\u2069\u200f\u200b\ufeff\u2028":
        assert character not in visible, f"U+{ord(character):04X}"
    assert "⟨U+202E⟩evil" in visible


def test_a_ticket_cannot_break_out_of_the_style_sheet() -> None:
    ticket = msgspec.structs.replace(fit_record().ticket, id=HOSTILE["css"] + HOSTILE["style"])
    page = render(msgspec.structs.replace(fit_record(), ticket=ticket)).decode()
    style = page.partition("<style>")[2].partition("</style>")[0]
    plain = render(fit_record()).decode().partition("<style>")[2].partition("</style>")[0]
    # Only the one coded string differs, and it holds nothing but codes.
    opens = '@bottom-left { content: "'
    old, new = plain.rpartition(opens)[2], style.rpartition(opens)[2]
    assert style.replace(new.partition('"')[0], "") == plain.replace(old.partition('"')[0], "")
    assert set(new.partition('"')[0]) <= set("\\0123456789abcdef")
