"""`handback attach`: the copy, its hash and its proof, through the real command line."""

import hashlib
from pathlib import Path

import msgspec
import pytest

from verify.cli import main
from verify.record.key_store import KeyStore
from verify.report.render import render
from verify.report.summary import render_summary
from verify.testing.sample_record import fit_record
from verify.testing.sample_signatures import SIGNED_AT, sample_key, signed_by, summary_signed_by

_KEYS = (sample_key("technician"), sample_key("reviewer"))


@pytest.fixture(autouse=True)
def report(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDBACK_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    for key in _KEYS:
        KeyStore(tmp_path / "home").trust(key.card, at=SIGNED_AT)
    path = tmp_path / "reports" / "TW-1042" / "report.html"
    path.parent.mkdir(parents=True)
    path.write_bytes(signed_by(fit_record(), *_KEYS))
    return path


def _attach(capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    with pytest.raises(SystemExit) as left:
        main(("attach", "TW-1042", "--to", "tickets"))
    said = capsys.readouterr()
    assert isinstance(left.value.code, int)
    return left.value.code, said.out + said.err


def test_the_copy_is_told_with_its_hash_and_proven(report: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out = _attach(capsys)
    assert code == 0
    assert hashlib.sha256(report.read_bytes()).hexdigest() in out
    assert "Proven: the copy is whole and signed by known keys." in out
    assert Path("tickets/TW-1042.html").read_bytes() == report.read_bytes()


def test_a_half_signed_report_says_who_is_missing(report: Path, capsys: pytest.CaptureFixture[str]) -> None:
    report.write_bytes(signed_by(fit_record(), _KEYS[0]))
    code, out = _attach(capsys)
    assert (code, "Still to be signed by the reviewer." in out) == (0, True)


def test_an_unknown_signer_is_said(report: Path, capsys: pytest.CaptureFixture[str]) -> None:
    report.write_bytes(signed_by(fit_record(), sample_key("technician", "Stranger")))
    _, out = _attach(capsys)
    assert "not proven here" in out


@pytest.mark.parametrize(
    ("data", "code", "says"),
    [
        (render(fit_record()), 3, "Sign it first"),
        (signed_by(fit_record(), *_KEYS).replace(b"<h1>Ready", b"<h1>Reddy", 1), 1, "changed after"),
    ],
    ids=["unsigned", "altered"],
)
def test_what_must_not_leave_the_bench_does_not(
    data: bytes, code: int, says: str, report: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report.write_bytes(data)
    found, out = _attach(capsys)
    assert (found, says in out) == (code, True)
    assert not Path("tickets").exists()


def test_the_summary_goes_along(report: Path, capsys: pytest.CaptureFixture[str]) -> None:
    summary = report.with_name("summary.html")
    summary.write_bytes(summary_signed_by(fit_record(), *_KEYS))
    code, out = _attach(capsys)
    assert code == 0
    assert Path("tickets/TW-1042-summary.html").read_bytes() == summary.read_bytes()
    assert hashlib.sha256(summary.read_bytes()).hexdigest() in out
    assert out.count("Proven: the copy is whole and signed by known keys.") == 2
    assert "It lay there already: tickets/TW-1042-summary.html" in _attach(capsys)[1]


_OTHER = msgspec.structs.replace(fit_record(), journal_count=7)


@pytest.mark.parametrize(
    ("data", "code", "says"),
    [
        (render_summary(fit_record()), 3, "The summary is not signed, so it was not taken along."),
        (summary_signed_by(_OTHER, *_KEYS), 3, "not of the same record as the report"),
        (signed_by(fit_record(), *_KEYS), 3, "summary.html is not a summary"),
        (summary_signed_by(fit_record(), *_KEYS)[:-200], 1, "is cut off before its end"),
    ],
    ids=["unsigned", "of another state", "a report", "cut off"],
)
def test_a_summary_that_does_not_belong_stays_and_the_report_goes_all_the_same(
    data: bytes, code: int, says: str, report: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report.with_name("summary.html").write_bytes(data)
    found, out = _attach(capsys)
    assert (found, says in out) == (code, True)
    assert Path("tickets/TW-1042.html").read_bytes() == report.read_bytes()
    assert not Path("tickets/TW-1042-summary.html").exists()


def test_a_summary_in_the_report_s_place_is_not_attached_as_the_report(
    report: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report.write_bytes(summary_signed_by(fit_record(), *_KEYS))
    code, out = _attach(capsys)
    assert (code, "is the summary, not the whole report" in out) == (3, True)
    assert not Path("tickets").exists()
