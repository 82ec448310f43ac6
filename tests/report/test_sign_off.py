"""The report in the ticket's folder: made anew, signed in order, never lost, never signed when edited."""

from collections.abc import Mapping
from pathlib import Path

import msgspec
import pytest

from verify.record.canonical import sha256_hex
from verify.record.model import Record, Trace
from verify.record.page import MARKER
from verify.record.sign import sign_page
from verify.report.issue import issue_report
from verify.report.packed import Packed
from verify.report.page_kind import PageKind
from verify.report.prove import prove
from verify.report.render import render
from verify.report.sign_off import Page, prepare, sign_off
from verify.testing.sample_record import fit_record, held_record
from verify.testing.sample_signatures import SIGNED_AT, known, sample_key, signed_by
from verify.values.errors import AlteredError, FileFormatError, OrderError

_TECHNICIAN, _REVIEWER = sample_key("technician"), sample_key("reviewer")
_TRACE = "00012-charge-to-full.jsonl"
_LATER = msgspec.structs.replace(fit_record(), journal_count=64, journal_head="ab" * 32)


def _sign(folder: Path, *, key: object = _TECHNICIAN) -> bytes:
    assert key in (_TECHNICIAN, _REVIEWER)
    chosen = _REVIEWER if key is _REVIEWER else _TECHNICIAN
    path = sign_off(folder, prepare(folder, fit_record()), key=chosen, at=SIGNED_AT)
    return path.read_bytes()


def test_two_signers_one_after_the_other_make_a_complete_report(tmp_path: Path) -> None:
    assert prepare(tmp_path, fit_record()).page is Page.UNSIGNED
    _sign(tmp_path)
    prepared = prepare(tmp_path, fit_record())
    assert prepared.signed_by == ("Sample Technician, technician",)
    assert prepared.due.role == "reviewer"
    data = _sign(tmp_path, key=_REVIEWER)
    assert prove(data, trusted=known(_TECHNICIAN, _REVIEWER)).released
    with pytest.raises(OrderError, match="All who have to sign"):
        prepare(tmp_path, fit_record())


def test_an_edited_unsigned_page_is_never_what_gets_signed(tmp_path: Path) -> None:
    path = issue_report(tmp_path, fit_record())
    path.write_bytes(path.read_bytes().replace(b"Ready", b"Perfect"))
    assert _sign(tmp_path).startswith(render(fit_record(), {}, {}))


def test_a_signed_page_of_an_older_state_is_refused_and_kept_when_renewed(tmp_path: Path) -> None:
    old = _sign(tmp_path)
    with pytest.raises(OrderError, match="gone on") as caught:
        prepare(tmp_path, _LATER)
    assert "--new-report" in caught.value.next_step
    assert (tmp_path / "report.html").read_bytes() == old
    prepared = prepare(tmp_path, _LATER, new_report=True)
    assert prepared.page is Page.STALE
    new = sign_off(tmp_path, prepared, key=_TECHNICIAN, at=SIGNED_AT).read_bytes()
    assert prove(new, trusted=known(_TECHNICIAN)).record == _LATER
    assert (tmp_path / "report.superseded-1.html").read_bytes() == old


def test_superseded_reports_are_numbered_and_none_is_lost(tmp_path: Path) -> None:
    for _ in range(3):
        prepared = prepare(tmp_path, fit_record(), new_report=True)
        sign_off(tmp_path, prepared, key=_TECHNICIAN, at=SIGNED_AT)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "report.html",
        "report.superseded-1.html",
        "report.superseded-2.html",
    ]


def test_an_altered_signed_page_gets_no_signature_and_stays(tmp_path: Path) -> None:
    _sign(tmp_path)
    path = tmp_path / "report.html"
    path.write_bytes(path.read_bytes().replace(b"Ready", b"Reedy", 1))
    with pytest.raises(AlteredError) as caught:
        prepare(tmp_path, fit_record())
    assert "--new-report" in caught.value.next_step


@pytest.mark.parametrize("signed", [False, True], ids=["unsigned", "signed"])
def test_the_wrong_key_leaves_the_page_that_stood_there(tmp_path: Path, signed: bool) -> None:  # noqa: FBT001 - a table
    issue_report(tmp_path, fit_record())
    if signed:
        _sign(tmp_path)
    before = (tmp_path / "report.html").read_bytes()
    with pytest.raises(OrderError):
        sign_off(tmp_path, prepare(tmp_path, _LATER, new_report=True), key=_REVIEWER, at=SIGNED_AT)
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [before]


def test_what_was_prepared_is_what_gets_signed_whatever_the_file_says_by_then(tmp_path: Path) -> None:
    prepared = prepare(tmp_path, fit_record())
    (tmp_path / "report.html").write_bytes(render(_LATER))
    assert sign_off(tmp_path, prepared, key=_TECHNICIAN, at=SIGNED_AT).read_bytes().startswith(prepared.data)


def test_a_signed_report_that_was_swapped_after_it_was_shown_is_not_signed(tmp_path: Path) -> None:
    _sign(tmp_path)
    prepared = prepare(tmp_path, fit_record())
    other = signed_by(held_record(), _TECHNICIAN)
    (tmp_path / "report.html").write_bytes(other)
    with pytest.raises(OrderError, match="meanwhile"):
        sign_off(tmp_path, prepared, key=_REVIEWER, at=SIGNED_AT)
    assert (tmp_path / "report.html").read_bytes() == other


def test_a_second_signer_is_not_led_to_sign_a_page_that_shows_something_else(tmp_path: Path) -> None:
    # The first signer's own client made another page around the honest record of a held job.
    dressed = render(held_record()).replace(b"<h1>Not ready</h1>", b"<h1>Ready</h1>", 1)
    (tmp_path / "report.html").write_bytes(sign_page(dressed, key=_TECHNICIAN, at=SIGNED_AT))
    with pytest.raises(AlteredError, match="show something else") as caught:
        prepare(tmp_path, held_record())
    assert "--new-report" in caught.value.next_step


def _traced(folder: Path) -> Record:
    """Return a record with a trace that lies in the folder as it was sealed."""
    (folder / "traces").mkdir()
    (folder / "traces" / _TRACE).write_bytes(b"as it was read\n")
    seal = Trace(name=_TRACE, check="charge-to-full", sha256=sha256_hex(b"as it was read\n"), samples=1)
    return msgspec.structs.replace(fit_record(), traces=(seal,))


@pytest.mark.parametrize("kind", PageKind)
@pytest.mark.parametrize(
    ("data", "says"),
    [(b"as it was edited\n", "is not the trace that was sealed"), (None, "was not in the run's folder")],
    ids=["edited", "gone"],
)
def test_a_trace_that_is_not_the_sealed_one_is_told_before_anybody_signs(
    kind: PageKind, data: bytes | None, says: str, tmp_path: Path
) -> None:
    record = _traced(tmp_path)
    assert prepare(tmp_path, record, kind=kind).unseen == ()
    path = tmp_path / "traces" / _TRACE
    if data is None:
        path.unlink()
    else:
        path.write_bytes(data)
    prepared = prepare(tmp_path, record, kind=kind)
    assert len(prepared.unseen) == 1
    assert _TRACE in prepared.unseen[0]
    assert says in prepared.unseen[0]
    # The second signer is told as the first one was.
    signed = sign_off(tmp_path, prepared, key=_TECHNICIAN, at=SIGNED_AT).read_bytes()
    assert prepare(tmp_path, record, kind=kind).unseen == prepared.unseen
    # Proof notes what the page should show and does not; the summary shows no trace.
    notes = prove(signed, trusted=known(_TECHNICIAN)).notes
    assert (prepared.unseen[0] in notes) is (kind is PageKind.REPORT)


@pytest.mark.parametrize("traces", [{}, None], ids=["said to be missing", "left out"])
def test_a_second_signer_is_not_led_to_sign_a_page_that_hides_a_trace(
    traces: Mapping[str, Packed] | None, tmp_path: Path
) -> None:
    record = _traced(tmp_path)
    hidden = render(record, {}, traces)  # as if it had been lost; it lies there
    (tmp_path / "report.html").write_bytes(sign_page(hidden, key=_TECHNICIAN, at=SIGNED_AT))
    with pytest.raises(AlteredError, match="show something else"):
        prepare(tmp_path, record)


def test_the_second_signer_of_a_whole_page_is_told_nothing_of_what_was_lost_since(tmp_path: Path) -> None:
    record = _traced(tmp_path)
    sign_off(tmp_path, prepare(tmp_path, record), key=_TECHNICIAN, at=SIGNED_AT)
    (tmp_path / "traces" / _TRACE).unlink()
    assert prepare(tmp_path, record).unseen == ()  # the page carries it


def test_making_the_report_again_keeps_the_signatures_of_the_same_record(tmp_path: Path) -> None:
    signed = _sign(tmp_path)
    assert issue_report(tmp_path, fit_record()).read_bytes() == signed
    assert MARKER not in issue_report(tmp_path, _LATER).read_bytes()
    assert (tmp_path / "report.superseded-1.html").read_bytes() == signed


def test_a_report_that_cannot_be_read_is_told_in_our_words(tmp_path: Path) -> None:
    (tmp_path / "report.html").mkdir()
    with pytest.raises(FileFormatError):
        prepare(tmp_path, fit_record())
