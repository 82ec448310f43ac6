"""`handback sign`: what is shown, asked and written."""

import io
from pathlib import Path

import msgspec
import pytest

from verify import TOOL, run
from verify.cli import main
from verify.record.key_store import KeyStore
from verify.record.model import Record
from verify.record.page import MARKER
from verify.report.page_kind import PageKind
from verify.report.prove import prove
from verify.report.render import render
from verify.report.summary import render_summary
from verify.testing.sample_course import conceded_record
from verify.testing.sample_record import fit_record, held_record
from verify.testing.sample_shop import with_shop
from verify.testing.sample_signatures import SIGNED_AT


class _Bench:
    """A bench with one ticket whose record the test decides, in place of a journal."""

    def __init__(self, home: Path, reports: Path) -> None:
        self.record: Record = fit_record()
        self.store = KeyStore(home)
        self.folder = reports / "TW-1042"
        self.folder.mkdir(parents=True)

    def load(self, reports: Path, ticket: str) -> Record:
        del reports, ticket
        return self.record


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> _Bench:
    monkeypatch.setenv("HANDBACK_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("HANDBACK_PASSPHRASE", raising=False)
    monkeypatch.chdir(tmp_path)
    bench = _Bench(tmp_path / "home", tmp_path / "reports")
    monkeypatch.setattr(run, "load_record", bench.load)
    monkeypatch.setattr(run, "is_repaired_machine", lambda folder, machine: bool(folder == machine))
    return bench


def _sign(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as left:
        main(("sign", "TW-1042", *arguments))
    said = capsys.readouterr()
    assert isinstance(left.value.code, int)
    assert "Traceback" not in said.err
    return left.value.code, said.out + said.err


def test_both_sign_in_order_and_the_report_is_released(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    bench.store.new("Second", "reviewer", None, at=SIGNED_AT)
    code, out = _sign(capsys, "--yes")
    assert code == 0
    assert "Ready" in out
    assert "as number 1 of 2, the technician: First, technician" in out
    assert "Next: the reviewer signs" in out
    code, out = _sign(capsys, "--yes")
    assert code == 0
    assert "First, technician" in out
    assert "handback attach TW-1042" in out
    data = (bench.folder / "report.html").read_bytes()
    assert prove(data, trusted=bench.store.trusted()).released


def test_a_held_job_shows_its_reasons_before_it_is_signed(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    bench.record = held_record()
    code, out = _sign(capsys, "--yes")
    assert code == 0
    assert "Not ready" in out
    assert "not good: The tool reads how much the battery says it holds." in out
    assert "3 checks are not done." in out


@pytest.mark.parametrize("marks", [{"simulated": True}, {"scripted": True}], ids=["simulated", "scripted"])
def test_a_run_that_is_no_acceptance_is_said_before_it_is_signed(
    marks: dict[str, bool], bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    bench.record = msgspec.structs.replace(fit_record(), **marks)
    assert "not an acceptance" in _sign(capsys, "--yes")[1]


def test_without_a_yes_nothing_is_signed_and_the_page_to_read_lies_there(
    bench: _Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    report = bench.folder / "report.html"
    report.write_bytes(b"edited by somebody")
    code, out = _sign(capsys)  # no terminal: the question cannot be answered
    assert code == 2
    assert "nobody to ask here" in out
    assert f"{Path('reports', 'TW-1042', 'report.html')} (read it first)" in out
    assert report.read_bytes() == render(bench.record, {}, {})


def test_a_signed_report_stays_where_the_new_one_is_read_and_not_signed(
    bench: _Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    _sign(capsys, "--yes")
    signed = (bench.folder / "report.html").read_bytes()
    bench.record = msgspec.structs.replace(fit_record(), journal_count=99)
    beside = Path("reports", "TW-1042", "report.to-sign.html")
    read: list[bytes] = []
    monkeypatch.setattr("verify.cli.sign._agreed", lambda: read.append(beside.read_bytes()))
    code, out = _sign(capsys, "--new-report")
    assert code != 0
    assert "the old one is kept" in out
    assert f"{beside} (read it first)" in out
    assert read == [render(bench.record, {}, {})]
    assert not beside.exists()
    assert (bench.folder / "report.html").read_bytes() == signed
    assert not (bench.folder / "report.superseded-1.html").exists()


def test_the_signer_is_shown_machine_complaint_counts_and_key(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    card = bench.store.new("First", "technician", None, at=SIGNED_AT)
    _, out = _sign(capsys, "--yes")
    for told in (
        "Fennel Larkspur 15, serial number FN15-000142",
        "Tea went over the keyboard. Some keys stick, others type twice. It is gone.",
        "Of 9 checks: 8 good, 1 cannot be told yet.",
        "not good: ",
        card.thumbprint,
    ):
        assert (told in out) is (told != "not good: ")


def test_a_locked_key_signs_with_its_passphrase_only(
    bench: _Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.store.new("First", "technician", "right", at=SIGNED_AT)
    assert _sign(capsys, "--yes")[0] == 2
    monkeypatch.setenv("HANDBACK_PASSPHRASE", "wrong")
    code, out = _sign(capsys, "--yes")
    assert code == 2
    assert "cannot be opened" in out
    monkeypatch.setenv("HANDBACK_PASSPHRASE", "right")
    assert _sign(capsys, "--yes")[0] == 0


@pytest.mark.parametrize(
    ("names", "arguments", "says"),
    [
        ((), (), "No key here signs as technician"),
        ((("First", "reviewer"),), (), "No key here signs as technician"),
        ((("First", "reviewer"),), ("--key", "First"), "The next signature is the technician's"),
        ((("First", "technician"), ("Other", "technician")), (), "More than one key here"),
        ((("First", "technician"),), ("--key", "Nobody"), "no key named Nobody"),
    ],
    ids=["no key", "other role only", "wrong role", "open choice", "no such key"],
)
def test_the_wrong_key_is_refused_by_name(
    names: tuple[tuple[str, str], ...],
    arguments: tuple[str, ...],
    says: str,
    bench: _Bench,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for name, role in names:
        bench.store.new(name, role, None, at=SIGNED_AT)
    code, out = _sign(capsys, "--yes", *arguments)
    assert code == 2
    assert says in out
    report = bench.folder / "report.html"
    assert not report.exists() or MARKER not in report.read_bytes()


def test_nobody_is_shown_as_due_who_is_not(bench: _Bench, capsys: pytest.CaptureFixture[str]) -> None:
    bench.store.new("Second", "reviewer", None, at=SIGNED_AT)
    code, out = _sign(capsys, "--key", "Second")  # without a terminal: it must not come to the question
    assert code == 2
    assert "The next signature is the technician's; Second signs as reviewer." in out
    assert "To sign" not in out


def test_a_revoked_key_is_not_chosen_and_named_before_anything_is_asked(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", "locked", at=SIGNED_AT)
    bench.store.revoke("First", at=SIGNED_AT)
    code, out = _sign(capsys, "--key", "First")
    assert code == 2
    assert "The key of First was revoked on 2026-03-10T12:10:00Z." in out
    assert "To sign" not in out
    bench.store.new("First again", "technician", None, at=SIGNED_AT)
    code, out = _sign(capsys, "--yes")  # only one counts: there is nothing to choose
    assert code == 0
    assert "the technician: First again, technician" in out


def test_a_report_of_another_version_of_the_tool_is_told_as_that(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    assert _sign(capsys, "--yes")[0] == 0
    bench.record = msgspec.structs.replace(bench.record, tool="handback 9.0")
    code, out = _sign(capsys, "--yes")
    assert code == 2
    assert f"was made and signed by {TOOL}; handback 9.0 does not make the same." in out
    assert "gone on" not in out


def test_what_the_page_promises_in_the_shop_s_name_is_shown_before_one_signs(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    record = with_shop(fit_record())
    strict = next(one for one in record.results if one.limit is not None)
    bench.record = msgspec.structs.replace(
        record,
        results=tuple(
            msgspec.structs.replace(one, shipped_limit=one.limit) if one is strict else one
            for one in record.results
        ),
    )
    _, out = _sign(capsys, "--yes")
    assert record.shop is not None
    told = out[: out.index("Signed: ")]
    assert "Shop     Tidewater Repairs" in told
    assert record.shop.warranty in told
    assert f"{len(record.shop.terms)} terms stand on the page." in told
    assert f"Judged by the shop's own limit: {strict.ask}" in told
    assert "terms stand on the page" not in _sign(capsys, "--summary", "--yes")[1]  # they are not on it


def test_a_run_that_went_on_needs_a_new_report(bench: _Bench, capsys: pytest.CaptureFixture[str]) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    _sign(capsys, "--yes")
    bench.record = msgspec.structs.replace(fit_record(), journal_count=99)
    code, out = _sign(capsys, "--yes")
    assert code == 2
    assert "--new-report" in out
    assert _sign(capsys, "--yes", "--new-report")[0] == 0
    assert (bench.folder / "report.superseded-1.html").exists()


def test_a_ticket_that_is_none_gets_no_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _ = _sign(capsys, "--yes", "--reports", str(tmp_path / "reports"))
    assert code == 2
    assert not (tmp_path / "reports").exists()


def test_accepted_flaws_practice_and_pictures_that_are_not_shown_are_told_before_one_signs(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.record = msgspec.structs.replace(conceded_record(), practice=True)  # its pictures are in no folder
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    code, out = _sign(capsys, "--yes")
    assert code == 0
    assert (
        "not good, accepted as a known flaw: The tool reads how much the battery says it holds. "
        "31.2 Wh lies below 45.0 Wh by more than its uncertainty."
    ) in out
    assert "Picture 2: Not shown: it was not in the run's folder" in out
    assert "PRACTICE — not an acceptance" in out
    assert out.index("PRACTICE") < out.index("Signed: ")


def test_report_and_summary_are_signed_each_for_itself(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    bench.store.new("Second", "reviewer", None, at=SIGNED_AT)
    code, out = _sign(capsys, "--summary", "--yes")
    assert code == 0
    assert "the summary, one page for the counter" in out
    assert "Next: the reviewer signs: handback sign TW-1042 --summary" in out
    assert not (bench.folder / "report.html").exists()
    code, out = _sign(capsys, "--yes")
    assert code == 0
    assert "as number 1 of 2, the technician" in out  # the summary's signature is none of the report's
    report = (bench.folder / "report.html").read_bytes()
    assert _sign(capsys, "--summary", "--yes")[0] == 0
    assert (bench.folder / "report.html").read_bytes() == report
    proofs = [
        prove((bench.folder / f"{name}.html").read_bytes(), trusted=bench.store.trusted())
        for name in ("report", "summary")
    ]
    assert [proof.kind for proof in proofs] == [PageKind.REPORT, PageKind.SUMMARY]
    assert [proof.complete for proof in proofs] == [False, True]
    assert proofs[0].missing == ("reviewer",)
    assert proofs[1].doubts == ()


def test_before_the_summary_is_signed_the_same_is_shown_and_the_page_lies_there(
    bench: _Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    bench.record = held_record()
    told = [_sign(capsys, *more)[1].splitlines() for more in ((), ("--summary",))]
    page = [[line for line in lines if line.startswith("Page")] for lines in told]
    rest = [[line for line in lines if not line.startswith("Page")] for lines in told]
    assert rest[0] == rest[1]
    assert "3 checks are not done." in " ".join(rest[1])
    assert f"{Path('reports', 'TW-1042', 'summary.html')} (read it first)" in page[1][0]
    assert (bench.folder / "summary.html").read_bytes() == render_summary(bench.record)


def test_a_signed_summary_of_an_older_state_is_kept_and_named_in_the_next_step(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    _sign(capsys, "--summary", "--yes")
    signed = (bench.folder / "summary.html").read_bytes()
    bench.record = msgspec.structs.replace(fit_record(), journal_count=99)
    code, out = _sign(capsys, "--summary", "--yes")
    assert code == 2
    assert "TW-1042 has gone on since its summary was signed." in out
    assert "handback sign TW-1042 --summary --new-report" in out
    assert _sign(capsys, "--summary", "--new-report", "--yes")[0] == 0
    assert (bench.folder / "summary.superseded-1.html").read_bytes() == signed


def test_a_signed_summary_that_lies_in_the_report_s_place_gets_no_signature(
    bench: _Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.store.new("First", "technician", None, at=SIGNED_AT)
    bench.store.new("Second", "reviewer", None, at=SIGNED_AT)
    _sign(capsys, "--summary", "--yes")
    report, summary = (bench.folder / f"{name}.html" for name in ("report", "summary"))
    report.write_bytes(summary.read_bytes())
    code, out = _sign(capsys, "--yes")
    assert code == 1
    assert "report.html is not the report: it is the summary. Nothing is added to it." in out
    assert report.read_bytes() == summary.read_bytes()
