"""Each attack on a signed report, as the user of `handback prove` sees it: told apart in words, and where.

The attacks are made by hand on bytes, as an attacker without a known key makes them.
"""

import base64
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path

import msgspec
import pytest

from verify.cli import main
from verify.record.base64url import encode
from verify.record.canonical import canonical
from verify.record.demo_key import demo_signing_key
from verify.record.key_store import KeyStore
from verify.record.model import Record
from verify.record.page import MARKER
from verify.testing.sample_course import full_record, sample_pictures
from verify.testing.sample_record import held_record
from verify.testing.sample_signatures import SIGNED_AT, sample_key, signed_by
from verify.values import Outcome

_KEYS = (sample_key("technician"), sample_key("reviewer"))
_GONE = sample_key("technician", "Former Technician")
_STRANGER = sample_key("technician", "Stranger")


@cache
def _whole() -> bytes:
    return signed_by(full_record(), *_KEYS, pictures=sample_pictures())


@cache
def _simulated() -> bytes:
    return signed_by(
        msgspec.structs.replace(full_record(), simulated=True), *_KEYS, pictures=sample_pictures()
    )


def _page(data: bytes) -> bytes:
    return data[: data.index(MARKER)]


def _line(data: bytes, number: int) -> bytes:
    return MARKER + data.split(MARKER)[number]


def _changed(data: bytes, old: bytes, new: bytes) -> bytes:
    assert old in data, "the attack does not find its place"
    return data.replace(old, new, 1)


def _number_edited(data: bytes) -> bytes:
    at = data.index(b"<!--part technician-->")
    match = re.compile(rb">[^<>]*?(\d)\.\d").search(data, at)  # in a text, not inside a tag
    assert match is not None
    digit = b"9" if match.group(1) != b"9" else b"8"
    return data[: match.start(1)] + digit + data[match.end(1) :]


def _picture_swapped(data: bytes) -> bytes:
    first, second = (base64.b64encode(picture) for picture in sample_pictures().values())
    assert first != second
    return _changed(data, first, second)


def _algorithm(name: str) -> Callable[[bytes], bytes]:
    def change(data: bytes) -> bytes:
        key = _KEYS[1].public
        header = {
            "alg": name,
            "jwk": msgspec.to_builtins(key),
            "kid": key.thumbprint,
            "typ": "handback-signature",
        }
        line = _line(data, 2)
        own = line[len(MARKER) :].split(b".")[0]
        return data.replace(line, line.replace(own, encode(canonical(header)).encode(), 1))

    return change


def _second_broken(data: bytes) -> bytes:
    at = data.rindex(b"-->") - 20
    return data[:at] + (b"A" if data[at : at + 1] != b"A" else b"B") + data[at + 1 :]


def _band_removed(data: bytes) -> bytes:
    """Take every word of the simulation out of what the page shows; the record keeps it."""
    head, part, rest = data.partition(b"<!--part owner-->")
    shown, *after = rest.split(b"<!--part technician-->", 1)
    return (
        head + part + re.sub(rb"(?i)simulation", b"acceptance", shown) + b"<!--part technician-->" + after[0]
    )


def _earlier() -> Record:
    """Return the record of the same ticket before it went on."""
    held = msgspec.structs.replace(full_record(), outcome=Outcome.HELD)
    return msgspec.structs.replace(held, journal_head="0" * 64, journal_count=7, ended="2026-03-10T10:00:00Z")


# Name: how it is made, the exit code, what is said of it.
_ATTACKS: dict[str, tuple[Callable[[], bytes], int, str]] = {
    "picture swapped": (
        lambda: _picture_swapped(_whole()),
        1,
        "ALTERED. The file was changed after Sample Reviewer signed it. Changed: the pictures.",
    ),
    "number edited": (lambda: _number_edited(_whole()), 1, "Changed: the technician's part."),
    "text hidden by style": (
        lambda: _changed(_whole(), b"</style>", b".weighty { display: none }</style>"),
        1,
        "Changed: the head of the page (title, style).",
    ),
    "headline and record edited": (
        lambda: _changed(
            _changed(_whole(), b"<h1>Ready", b"<h1>Reddy"), b'"outcome":"fit"', b'"outcome":"fat"'
        ),
        1,
        "Changed: the owner's part, the record kept in the page.",
    ),
    "signatures moved": (
        lambda: _page(_whole()) + _line(_whole(), 2) + _line(_whole(), 1),
        1,
        "ALTERED. The signatures were moved: they stand in the order 2, 1.",
    ),
    "signature doubled": (
        lambda: _whole() + _line(_whole(), 2),
        1,
        "ALTERED. Two signatures claim the same place in the order of signing: 1, 2, 2.",
    ),
    "signature of another report": (
        lambda: _page(_whole()) + _line(signed_by(held_record(), *_KEYS), 1),
        1,
        "does not belong to this page. It was made for ticket TW-1057, held; this page is of ticket TW-1042",
    ),
    "second signature of another report": (
        lambda: _whole().replace(_line(_whole(), 2), _line(signed_by(held_record(), *_KEYS), 2)),
        1,
        "ALTERED. Signature 2, by Sample Reviewer, does not belong to this page.",
    ),
    "signature of an earlier state of the ticket": (
        lambda: _page(_whole()) + _line(signed_by(_earlier(), *_KEYS), 1),
        1,
        "It was made for ticket TW-1042, held; this page is of another state of that ticket.",
    ),
    "serial number edited everywhere": (
        lambda: _whole().replace(b"FN15-000142", b"FN15-000143"),
        1,
        "Changed: the owner's part, the technician's part, the record kept in the page.",
    ),
    "first signature exchanged": (
        lambda: (
            _page(_whole())
            + _line(signed_by(full_record(), _GONE, pictures=sample_pictures()), 1)
            + _line(_whole(), 2)
        ),
        1,
        "after Sample Reviewer signed it. Changed: the signatures before that one.",
    ),
    "last signature cut off": (
        lambda: _whole()[: _whole().rindex(MARKER)],
        0,
        "Not complete: still to be signed by the reviewer. A signature that was cut off leaves the same.",
    ),
    "last signature cut in two": (
        lambda: _whole()[:-200],
        1,
        "ALTERED. Signature 2 is cut off before its end.",
    ),
    "first signature cut off": (
        lambda: _whole().replace(_line(_whole(), 1), b""),
        1,
        "ALTERED. Signature 1 is missing: of the order of signing only 2 stands there.",
    ),
    "all signatures cut off": (lambda: _page(_whole()), 3, "NOT PROVEN. This file carries no signature."),
    "algorithm none": (
        lambda: _algorithm("none")(_whole()),
        1,
        'ALTERED. Signature 2 of 2 is broken. It says algorithm "none"; it can only be Ed25519.',
    ),
    "algorithm with a shared secret": (lambda: _algorithm("HS256")(_whole()), 1, 'It says algorithm "HS256"'),
    "unknown key": (
        lambda: signed_by(full_record(), _STRANGER),
        3,
        f"NOT PROVEN. Whole, but signed by a key that is not known here: {_STRANGER.card.thumbprint}",
    ),
    "revoked key": (
        lambda: signed_by(full_record(), _GONE),
        3,
        "NOT PROVEN. Whole, but the key of Former Technician was revoked on 2026-03-10T12:10:00Z.",
    ),
    "demo key": (
        lambda: signed_by(full_record(), *(demo_signing_key(role) for role in ("technician", "reviewer"))),
        3,
        "NOT PROVEN. Whole, but signed with the published demo key: that proves nothing about who signed.",
    ),
    "two signatures, one broken": (
        lambda: _second_broken(_whole()),
        1,
        "ALTERED. Signature 2 of 2 is broken. It does not fit what it signs.",
    ),
    "two signatures, the first broken": (
        lambda: _second_broken(_whole()[: _whole().rindex(MARKER)]) + _line(_whole(), 2),
        1,
        "ALTERED. Signature 1 of 2 is broken. It does not fit what it signs.",
    ),
    "simulation dressed as real in the record": (
        lambda: _changed(_simulated(), b'"simulated":true', b'"simulated":false'),
        1,
        "record kept in the page. It was signed as a simulation, and the page no longer says so.",
    ),
    "simulation dressed as real to the eye": (
        lambda: _band_removed(_simulated()),
        1,
        "Changed: the owner's part. It was signed as a simulation.",
    ),
    "second marker inside the page": (
        lambda: _changed(_whole(), b"<main>", b"<main>" + MARKER + b"a.b.c-->\n"),
        1,
        "ALTERED. A second signature marker stands inside the page, before its end.",
    ),
    "second marker after the signatures": (
        lambda: _whole() + MARKER + b"-->\n",
        1,
        "ALTERED. After signature 2 stands another signature marker, with no signature in it.",
    ),
    "marker without a signature": (
        lambda: _page(_whole()) + MARKER + b"\x00-->\n",
        1,
        "ALTERED. A signature marker stands after the page, with no signature in it.",
    ),
    "trailing bytes": (
        lambda: _whole() + b"<p>Ready</p>\n",
        1,
        "ALTERED. After the last signature something was added: 13 bytes.",
    ),
    "one trailing byte": (
        lambda: _whole() + b"\0",
        1,
        "ALTERED. After the last signature something was added: 1 byte.",
    ),
    "bytes between the signatures": (
        lambda: _page(_whole()) + _line(_whole(), 1) + b"\n" + _line(_whole(), 2),
        1,
        "ALTERED. Between signature 1 and the next something was put in: 1 byte.",
    ),
    "bytes between page and signature": (
        lambda: _page(_whole()) + b"<p>Ready</p>\n" + _line(_whole(), 1),
        1,
        "ALTERED. Between the end of the page and its first signature something was put in: 13 bytes.",
    ),
    "line ends of another system": (
        lambda: _whole().replace(b"\n", b"\r\n"),
        1,
        "ALTERED. Its line ends were changed.",
    ),
    "line ends of the last line": (
        lambda: _whole()[:-1] + b"\r\n",
        1,
        "ALTERED. Its line ends were changed.",
    ),
    "end of the page cut off": (
        lambda: _changed(_whole(), b"</html>\n", b""),
        1,
        "ALTERED. There is a signature, but no whole report page before it.",
    ),
}


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDBACK_HOME", str(tmp_path / "home"))
    store = KeyStore(tmp_path / "home")
    for key in (*_KEYS, _GONE):
        store.trust(key.card, at=SIGNED_AT)
    store.revoke(_GONE.card.name, at=SIGNED_AT)
    return tmp_path


def _told(capsys: pytest.CaptureFixture[str], file: Path) -> tuple[object, str]:
    with pytest.raises(SystemExit) as left:
        main(("prove", str(file)))
    said = capsys.readouterr()
    assert said.err == ""
    return left.value.code, said.out


@pytest.mark.parametrize("attack", _ATTACKS)
def test_each_attack_is_told_in_its_own_words(
    attack: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make, code, words = _ATTACKS[attack]
    data = make()
    assert data not in (_whole(), _simulated())
    file = bench / "report.html"
    file.write_bytes(data)
    found, said = _told(capsys, file)
    assert words in said
    assert found == code
    assert "Released:" not in said
    assert ("Whole: not a byte" in said) == (code == 0)


def test_what_was_not_attacked_is_released(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = bench / "report.html"
    file.write_bytes(_whole())
    code, said = _told(capsys, file)
    assert code == 0
    assert "Released: fit, and signed by all who have to." in said


def test_no_two_attacks_of_another_kind_share_their_words() -> None:
    words = [words for _, _, words in _ATTACKS.values()]
    alike = {word for word in words if words.count(word) > 1}
    assert alike == {"ALTERED. Its line ends were changed."}  # the same, wherever it was done
