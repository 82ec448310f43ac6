"""Hostile text in any field shows itself as text: no element, no style, no hidden or turned character."""

from html.parser import HTMLParser

import msgspec
import pytest

from verify.record.canonical import canonical, record_from
from verify.record.model import Record
from verify.report.prove import prove
from verify.report.render import render
from verify.testing.sample_course import conceded_record, returned_record, sample_pictures
from verify.testing.sample_record import fit_record
from verify.testing.sample_signatures import known, sample_key, signed_by

_HOSTILE = {
    "markup": "<script>alert(1)</script><img src=x onerror=alert(1)><h1>Ready</h1>",
    "attribute": '" onclick="alert(1)" x=\'',
    "style": "</style><style>body{display:none}</style>",
    "css": '"; } body { display: none; } @import "x"; /*',
    "marker": "<!--handback-signature e30.e30.e30-->\n",
    "comment": "<!-- --> --!> <!--part record-->",
    "end of page": "</pre></details></body></html>\n",
    "record": '<pre id="handback-record">{}</pre>',
    "entities": "&lt;b&gt; &amp;amp; &#60;b&#62; &nbsp",
    "template": "{{ 7 * 7 }}{% raw %}{# x #}",
    "controls": "a\x00b\x08c\x1b[2Jd\x7fe\x85f\x9bg\r\nh",
    "bidi": "\u202eevil\u202c \u2066x\u2069 \u200f \u200b\ufeff\u2028",
    "format codes": "{0} {why} %s %(x)s {ticket.__class__}",
    "long": "x" * 5000,
    "blank and stacked": "\u3164\u2800" + "z" + "\u0335" * 40,
    "right to left": "שלום עולם، مرحبا",
    "emoji": "👩\u200d🔧🔋",
    "non-characters": "\ufffe\uffff\U0010ffff",
}


def _texts(plain: object, path: tuple[object, ...] = ()) -> list[tuple[object, ...]]:
    """Return the paths of all free text in a record: not the enumerations, units and the format."""
    closed = {
        "format",
        "outcome",
        "verdict",
        "rule",
        "unit",
        "first_pass",
        "first_pass_outcome",
        "found_as",
        "tried",
    }
    match plain:
        case str():
            return [path]
        case dict():
            return [
                p for key, value in plain.items() if key not in closed for p in _texts(value, (*path, key))
            ]
        case list() | tuple():
            return [p for at, value in enumerate(plain) for p in _texts(value, (*path, at))]
        case _:
            return []


def _everywhere(text: str) -> Record:
    """Return a record in which everything happened, the text put into every free text field there is."""
    sample = msgspec.structs.replace(conceded_record(), given_back=returned_record().given_back)
    plain = msgspec.json.decode(canonical(sample))
    for name in ("arrival", "reopenings", "growths", "seen_beside", "given_back", "gaps", "hazards"):
        assert plain[name], name  # what is empty would not be tried
    paths = _texts(plain)
    assert len(paths) > 150
    for path in paths:
        place = plain
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = place[path[-1]] + text
    plain["signers"] = msgspec.to_builtins(fit_record().signers)
    # One picture that is shown, so that its words stand in an attribute too; the other one is not there.
    shown = msgspec.to_builtins(sample.arrival)["pictures"][0]
    plain["arrival"]["pictures"][0] |= {"file": shown["file"], "sha256": shown["sha256"]}
    plain["machine"] |= {text: text}
    plain["arrival"]["tried"] |= {text: "works"}
    plain["ticket"]["work"][1]["part"]["label"] |= {text: text}
    return record_from(canonical(plain))


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


@pytest.mark.parametrize("name", list(_HOSTILE))
def test_hostile_text_adds_no_element_no_attribute_and_no_comment(name: str) -> None:
    hostile = _everywhere(_HOSTILE[name])
    # The same record with harmless text in the same places must have the very same elements.
    assert _shape(hostile) == _shape(_everywhere(" harmless"))
    comments = _Elements(render(hostile, sample_pictures())).comments
    assert comments == ["part owner", "part technician", "part pictures", "part record", "part end"]


@pytest.mark.parametrize("name", list(_HOSTILE))
def test_a_page_with_hostile_text_still_proves(name: str) -> None:
    keys = (sample_key("technician"), sample_key("reviewer"))
    record = _everywhere(_HOSTILE[name])
    proof = prove(signed_by(record, *keys, pictures=sample_pictures()), trusted=known(*keys))
    assert proof.record == record
    assert not [doubt for doubt in proof.doubts if "page" in doubt]


def test_hidden_and_turning_characters_stand_as_codes_outside_the_record() -> None:
    page = render(_everywhere(_HOSTILE["bidi"] + _HOSTILE["controls"]), sample_pictures()).decode()
    before, _, after = page.partition('<pre id="handback-record">')
    visible = before + after.partition("</pre>")[2]
    for character in "\x00\x08\x1b\x7f\x85\x9b\r\u202e\u202c\u2066\u2069\u200f\u200b\ufeff\u2028":
        assert character not in visible, f"U+{ord(character):04X}"
    assert "⟨U+202E⟩evil" in visible


def test_a_ticket_cannot_break_out_of_the_style_sheet() -> None:
    ticket = msgspec.structs.replace(fit_record().ticket, id=_HOSTILE["css"] + _HOSTILE["style"])
    page = render(msgspec.structs.replace(fit_record(), ticket=ticket)).decode()
    style = page.partition("<style>")[2].partition("</style>")[0]
    plain = render(fit_record()).decode().partition("<style>")[2].partition("</style>")[0]
    # Only the one coded string differs, and it holds nothing but codes.
    opens = '@bottom-left { content: "'
    old, new = plain.rpartition(opens)[2], style.rpartition(opens)[2]
    assert style.replace(new.partition('"')[0], "") == plain.replace(old.partition('"')[0], "")
    assert set(new.partition('"')[0]) <= set("\\0123456789abcdef")
