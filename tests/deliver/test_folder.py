"""The copy in the ticket's folder: signed, whole, read back, never over somebody else's file."""

from pathlib import Path

import pytest

from verify.deliver import folder as deliver
from verify.deliver.folder import attach
from verify.record.canonical import sha256_hex
from verify.report.issue import issue_report
from verify.testing.sample_record import fit_record
from verify.testing.sample_signatures import sample_key, signed_by
from verify.values.errors import AlteredError, DeliveryError

_SIGNED = signed_by(fit_record(), sample_key("technician"))


@pytest.fixture
def run(tmp_path: Path) -> Path:
    run = tmp_path / "run"
    run.mkdir()
    (run / "report.html").write_bytes(_SIGNED)
    return run


def test_the_copy_is_the_same_and_its_hash_is_told(run: Path, tmp_path: Path) -> None:
    delivered = attach(run, "TW-1042", tmp_path / "tickets" / "TW-1042")
    assert delivered.path == tmp_path / "tickets" / "TW-1042" / "TW-1042.html"
    assert delivered.path.read_bytes() == _SIGNED
    assert delivered.sha256 == sha256_hex(_SIGNED)
    assert not delivered.already_there


def test_attached_twice_it_lies_there_once(run: Path, tmp_path: Path) -> None:
    attach(run, "TW-1042", tmp_path / "to")
    assert attach(run, "TW-1042", tmp_path / "to").already_there
    assert [path.name for path in (tmp_path / "to").iterdir()] == ["TW-1042.html"]


def test_a_different_file_is_never_overwritten(run: Path, tmp_path: Path) -> None:
    target = tmp_path / "to"
    target.mkdir()
    (target / "TW-1042.html").write_bytes(b"somebody else's")
    assert attach(run, "TW-1042", target).path.name == "TW-1042-2.html"
    assert (target / "TW-1042.html").read_bytes() == b"somebody else's"


def test_an_unsigned_page_is_refused_and_says_to_sign_first(tmp_path: Path) -> None:
    issue_report(tmp_path, fit_record())
    with pytest.raises(DeliveryError, match="not signed") as caught:
        attach(tmp_path, "TW-1042", tmp_path / "to")
    assert "handback sign TW-1042" in caught.value.next_step
    assert not (tmp_path / "to").exists()


def test_no_report_at_all_is_told(tmp_path: Path) -> None:
    with pytest.raises(DeliveryError, match="no report"):
        attach(tmp_path, "TW-1042", tmp_path / "to")


def test_an_altered_report_does_not_leave_the_bench(run: Path, tmp_path: Path) -> None:
    (run / "report.html").write_bytes(_SIGNED.replace(b"Ready", b"Reedy", 1))
    with pytest.raises(AlteredError):
        attach(run, "TW-1042", tmp_path / "to")
    assert not (tmp_path / "to").exists()


def test_another_tickets_report_is_refused(run: Path, tmp_path: Path) -> None:
    with pytest.raises(DeliveryError, match="not that of"):
        attach(run, "TW-1057", tmp_path / "to")


def test_a_target_that_is_a_file_is_told(run: Path, tmp_path: Path) -> None:
    (tmp_path / "to").write_bytes(b"")
    with pytest.raises(DeliveryError):
        attach(run, "TW-1042", tmp_path / "to")


def test_a_medium_that_writes_something_else_is_noticed(
    run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(path: Path, data: bytes, *, overwrite: bool) -> None:
        assert not overwrite
        path.write_bytes(data[:-100])

    monkeypatch.setattr(deliver, "write_whole", torn)
    with pytest.raises(DeliveryError, match="not what was written"):
        attach(run, "TW-1042", tmp_path / "to")
