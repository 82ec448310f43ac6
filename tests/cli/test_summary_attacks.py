"""Attacks on a signed summary, and between it and the report of the same record: told apart in words.

The attacks are made by hand on bytes, as an attacker without a known key makes them.
"""

import base64
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path

import msgspec
import pytest

from verify.cli import main
from verify.record.demo_key import demo_signing_key
from verify.record.key_store import KeyStore
from verify.record.page import MARKER, record_in
from verify.record.sign import sign_page
from verify.report.summary import render_summary
from verify.testing.sample_course import full_record, sample_pictures
from verify.testing.sample_record import held_record
from verify.testing.sample_shop import LOGO, sample_logo, with_shop
from verify.testing.sample_signatures import SIGNED_AT, sample_key, signed_by, summary_signed_by

_KEYS = (sample_key("technician"), sample_key("reviewer"))
_STRANGER = sample_key("technician", "Stranger")
_PICTURES = {**sample_pictures(), LOGO: sample_logo()}
_IS_SUMMARY = "This is the SUMMARY, one page for the counter, and not the whole report."


@cache
def _report() -> bytes:
    return signed_by(with_shop(full_record()), *_KEYS, pictures=_PICTURES)


@cache
def _summary() -> bytes:
    return summary_signed_by(with_shop(full_record()), *_KEYS, pictures=_PICTURES)


@cache
def _simulated() -> bytes:
    return summary_signed_by(msgspec.structs.replace(full_record(), simulated=True), *_KEYS)


def _page(data: bytes) -> bytes:
    return data[: data.index(MARKER)]


def _lines(data: bytes) -> bytes:
    return data[data.index(MARKER) :]


def _line(data: bytes, number: int) -> bytes:
    return MARKER + data.split(MARKER)[number]


def _changed(data: bytes, old: bytes, new: bytes) -> bytes:
    assert old in data, "the attack does not find its place"
    return data.replace(old, new, 1)


def _mark_exchanged(data: bytes) -> bytes:
    own = base64.b64encode(sample_logo())
    return _changed(data, own, base64.b64encode(sample_logo()[:-20]))


# Name: how it is made, the exit code, what is said of it.
_ATTACKS: dict[str, tuple[Callable[[], bytes], int, str]] = {
    "report's signatures under the summary": (
        lambda: _page(_summary()) + _lines(_report()),
        1,
        "It was made for the whole report of ticket TW-1042; this page is the summary.",
    ),
    "summary's signatures under the report": (
        lambda: _page(_report()) + _lines(_summary()),
        1,
        "by Sample Reviewer, does not belong to this page. It was made for the summary of ticket TW-1042",
    ),
    "second signature from the report": (
        lambda: _page(_summary()) + _line(_summary(), 1) + _line(_report(), 2),
        1,
        "Signature 2, by Sample Reviewer, does not belong to this page. It was made for the whole report",
    ),
    "signatures of another ticket's summary": (
        lambda: _page(_summary()) + _lines(summary_signed_by(held_record(), *_KEYS)),
        1,
        "It was made for ticket TW-1057, held; this page is of ticket TW-1042",
    ),
    "signatures of another ticket's report": (
        lambda: _page(_summary()) + _lines(signed_by(held_record(), *_KEYS)),
        1,
        "It was made for the whole report of ticket TW-1057; this page is the summary.",
    ),
    "its mark taken off": (
        lambda: _changed(_summary(), b"<!--part summary-->", b"<!--part owner-->"),
        1,
        "It was made for the summary of ticket TW-1042; this page is the whole report.",
    ),
    "its mark taken away": (
        lambda: _changed(_summary(), b"<!--part summary-->\n", b""),
        1,
        "Its parts are not the ones that were signed.",
    ),
    "number of unnamed ones edited": (
        lambda: _changed(_summary(), b"Not checked", b"All checked"),
        1,
        "Changed: the summary.",
    ),
    "telephone exchanged": (
        lambda: _summary().replace(b"+1 202 555 0142", b"+1 202 555 0143"),
        1,
        "Changed: the summary, the record kept in the page.",
    ),
    "mark of the shop exchanged": (
        lambda: _changed(_summary(), b'alt="Tidewater Repairs"', b'alt="Tidewater Repair"'),
        1,
        "Changed: the summary.",
    ),
    "another shop's mark": (
        lambda: _mark_exchanged(_summary()),
        1,
        "Changed: the summary. The shop's mark is not the one that was taken over.",
    ),
    "another shop's mark on the report": (
        lambda: _mark_exchanged(_report()),
        1,
        "Changed: the owner's part. The shop's mark is not the one that was taken over.",
    ),
    "text hidden by style": (
        lambda: _changed(_summary(), b"</style>", b".weighty { display: none }</style>"),
        1,
        "Changed: the head of the page (title, style).",
    ),
    "simulation dressed as real": (
        lambda: _changed(_simulated(), b"SIMULATION", b"ACCEPTANCE"),
        1,
        "Changed: the summary. It was signed as a simulation.",
    ),
    "simulation dressed as real in the record": (
        lambda: _changed(_simulated(), b'"simulated":true', b'"simulated":false'),
        1,
        "It was signed as a simulation, and the page no longer says so.",
    ),
    "signatures moved": (
        lambda: _page(_summary()) + _line(_summary(), 2) + _line(_summary(), 1),
        1,
        "ALTERED. The signatures were moved: they stand in the order 2, 1.",
    ),
    "last signature cut off": (
        lambda: _summary()[: _summary().rindex(MARKER)],
        0,
        "Not complete: still to be signed by the reviewer.",
    ),
    "all signatures cut off": (lambda: _page(_summary()), 3, "NOT PROVEN. This file carries no signature."),
    "unknown key": (
        lambda: summary_signed_by(full_record(), _STRANGER),
        3,
        "NOT PROVEN. Whole, but signed by a key that is not known here",
    ),
    "demo key": (
        lambda: summary_signed_by(full_record(), demo_signing_key("technician")),
        3,
        "signed with the published demo key",
    ),
    "trailing bytes": (
        lambda: _summary() + b"<p>Ready</p>\n",
        1,
        "ALTERED. After the last signature something was added: 13 bytes.",
    ),
}


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDBACK_HOME", str(tmp_path / "home"))
    for key in _KEYS:
        KeyStore(tmp_path / "home").trust(key.card, at=SIGNED_AT)
    return tmp_path


def _prove(capsys: pytest.CaptureFixture[str], data: bytes, bench: Path, *more: str) -> tuple[object, str]:
    # Under the report's name: what it is called is the attacker's choice.
    file = bench / "report.html"
    file.write_bytes(data)
    with pytest.raises(SystemExit) as left:
        main(("prove", str(file), *more))
    said = capsys.readouterr()
    assert said.err == ""
    return left.value.code, said.out


@pytest.mark.parametrize("attack", _ATTACKS)
def test_each_attack_is_told_in_its_own_words(
    attack: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make, code, words = _ATTACKS[attack]
    data = make()
    assert data not in (_report(), _summary(), _simulated())
    found, said = _prove(capsys, data, bench)
    assert words in said
    assert found == code
    assert "Released:" not in said
    assert ("Whole: not a byte" in said) == (code == 0)


def test_a_whole_summary_called_a_report_is_told_as_what_it_is(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = _prove(capsys, _summary(), bench)
    assert code == 0
    assert _IS_SUMMARY in said
    assert "DOUBTFUL" not in said
    code, said = _prove(capsys, _report(), bench)
    assert (code, _IS_SUMMARY in said) == (0, False)


@pytest.mark.parametrize("more", [(), ("--json",)], ids=["text", "json"])
def test_a_summary_is_not_taken_where_a_release_is_asked_for(
    more: tuple[str, ...], bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _prove(capsys, _report(), bench, "--require", "released", *more)[0] == 0
    code, said = _prove(capsys, _summary(), bench, "--require", "released", *more)
    assert code == 1
    assert "It is whole, but not released." in said
    assert ('"released": false' if more else "only the whole report releases a machine") in said


def test_one_by_an_unknown_key_is_told_as_a_summary_too(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _IS_SUMMARY in _prove(capsys, summary_signed_by(full_record(), _STRANGER), bench)[1]


def test_a_program_is_told_which_of_the_two_it_is(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for data, kind in ((_summary(), "summary"), (_report(), "report")):
        row = json.loads(_prove(capsys, data, bench, "--json")[1])[0]
        assert row["proof"]["kind"] == kind
    row = json.loads(_prove(capsys, summary_signed_by(full_record(), _STRANGER), bench, "--json")[1])[0]
    assert row["claims"]["kind"] == "summary"


def test_a_signer_s_own_page_that_says_more_than_its_record_is_doubtful(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = render_summary(held_record())
    false = page.replace(b"<h1>Not ready</h1>", b"<h1>Ready</h1>")
    assert false != page
    assert record_in(false) == record_in(page)
    code, said = _prove(capsys, sign_page(false, key=_KEYS[0], at=SIGNED_AT), bench)
    assert code == 0
    assert "DOUBTFUL. The page is not the one that its record makes" in said
