"""`handback prove`: the exit codes and the words, through the real command line."""

import json
import os
import threading
from pathlib import Path

import msgspec
import pytest

from verify.cli import main
from verify.cli import prove as module
from verify.record.demo_key import demo_signing_key
from verify.record.key_store import KeyStore
from verify.record.keys import card_bytes
from verify.record.sign import sign_page
from verify.report.render import render
from verify.testing.sample_record import fit_record, held_record
from verify.testing.sample_signatures import SIGNED_AT, sample_key, signed_by

_KEYS = (sample_key("technician"), sample_key("reviewer"))
_WHOLE = signed_by(fit_record(), *_KEYS)
_SIMULATED = msgspec.structs.replace(fit_record(), simulated=True)
_FILES = {
    "whole": _WHOLE,
    "held": signed_by(held_record(), *_KEYS),
    "half": signed_by(fit_record(), _KEYS[0]),
    "altered": _WHOLE.replace(b"<h1>Ready", b"<h1>Reddy", 1),
    "unsigned": render(fit_record()),
    "dressed": sign_page(
        render(fit_record()).replace(b"<h1>Ready", b"<h1>Quite ready"), key=_KEYS[0], at=SIGNED_AT
    ),
    "unknown": signed_by(fit_record(), sample_key("technician", "Stranger")),
    "demo": signed_by(_SIMULATED, demo_signing_key("technician"), demo_signing_key("reviewer")),
}


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDBACK_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    for key in _KEYS:
        KeyStore(tmp_path / "home").trust(key.card, at=SIGNED_AT)
    for name, data in _FILES.items():
        (tmp_path / f"{name}.html").write_bytes(data)
    return tmp_path


def _run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as left:
        main(("prove", *arguments))
    said = capsys.readouterr()
    assert isinstance(left.value.code, int)
    assert "Traceback" not in said.err
    return left.value.code, said.out + said.err


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("whole.html",), 0, "Released"),
        (("whole.html",), 0, "Machine: Fennel Larkspur 15, serial number FN15-000142."),
        (("dressed.html",), 0, "DOUBTFUL. The page is not the one that its record makes"),
        (("dressed.html", "--require", "released"), 1, "whole, but not released"),
        (("held.html",), 0, "TW-1057: not ready"),
        (("half.html",), 0, "still to be signed by the reviewer"),
        (("whole.html", "--require", "released"), 0, "Released"),
        (("held.html", "--require", "released"), 1, "whole, but not released"),
        (("half.html", "--require", "complete"), 1, "whole, but not complete"),
        (
            ("altered.html",),
            1,
            "ALTERED. The file was changed after Sample Reviewer signed it. Changed: the owner's",
        ),
        (("unsigned.html",), 3, "carries no signature"),
        (("unknown.html",), 3, "not known here"),
        (("demo.html",), 3, "signed with the published demo key: that proves nothing about who"),
        (("demo.html",), 3, "What it says of itself: ticket TW-1042, ready, simulation."),
        (("gone.html",), 2, "cannot be read"),
        ((), 2, "Missing argument"),
        (("whole.html", "unsigned.html"), 3, "carries no signature"),
        (("unsigned.html", "altered.html", "whole.html"), 1, "ALTERED"),
        (("whole.html", "--card", "gone.json"), 2, "cannot be read"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
def test_each_case_has_its_exit_code_and_its_words(
    arguments: tuple[str, ...], code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    found, out = _run(capsys, *arguments)
    assert says in out
    assert found == code


def test_json_tells_the_same_to_a_program(capsys: pytest.CaptureFixture[str]) -> None:
    code, out = _run(capsys, "whole.html", "altered.html", "demo.html", "--json")
    rows = json.loads(out)
    assert code == 1
    assert [row["code"] for row in rows] == [0, 1, 3]
    assert [row["whole"] for row in rows] == [True, False, True]
    assert rows[0]["proof"]["released"] is True
    assert [signer["role"] for signer in rows[0]["proof"]["signers"]] == ["technician", "reviewer"]
    assert rows[2]["claims"] == {
        "ticket": "TW-1042",
        "kind": "report",
        "outcome": "fit",
        "simulated": True,
        "scripted": False,
    }
    assert rows[0]["proof"]["kind"] == "report"


def test_a_card_makes_a_key_known_for_once(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "card.json").write_bytes(card_bytes(sample_key("technician", "Stranger").card))
    assert _run(capsys, "unknown.html", "--card", "card.json")[0] == 0
    assert _run(capsys, "unknown.html")[0] == 3


def test_a_card_does_not_revive_a_revoked_key(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    KeyStore(folder / "home").revoke("Sample Technician", at=SIGNED_AT)
    (folder / "card.json").write_bytes(card_bytes(_KEYS[0].card))
    code, out = _run(capsys, "whole.html", "--card", "card.json")
    assert code == 3
    assert "revoked" in out


def test_hostile_text_of_an_unknown_signer_does_not_reach_the_terminal(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ticket = msgspec.structs.replace(fit_record().ticket, id="\x1b[2J\u202eTW")
    record = msgspec.structs.replace(fit_record(), ticket=ticket)
    (folder / "hostile.html").write_bytes(signed_by(record, sample_key("technician", "Stranger")))
    _, out = _run(capsys, "hostile.html")
    assert "\x1b" not in out
    assert "\u202e" not in out
    assert "⟨U+001B⟩" in out


# Many files: each gets its word, whatever the others are


@pytest.fixture
def mixed(folder: Path) -> list[str]:
    """Files of every kind, a whole report last: it must be reached."""
    (folder / "folder").mkdir()
    (folder / "empty.html").write_bytes(b"")
    (folder / "noise.html").write_bytes(bytes(range(256)) * 40)
    (folder / "deep.html").write_bytes(
        b'<pre id="handback-record">' + b"[" * 100_000 + b"</pre></html>\n<!--handback-signature a.b.c-->\n"
    )
    return [
        *("gone.html", "folder", "empty.html", "noise.html", "deep.html"),
        *("altered.html", "unknown.html", "demo.html", "unsigned.html", "whole.html"),
    ]


def test_one_that_cannot_be_read_does_not_end_the_call(
    mixed: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out = _run(capsys, *mixed)
    assert [line for line in out.splitlines() if not line.startswith(" ")] == mixed
    assert "Released: fit" in out.partition("whole.html")[2]
    assert code == 1


def test_json_has_one_object_for_each_of_many_files(
    mixed: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out = _run(capsys, *mixed, "--json")
    rows = json.loads(out)
    assert [row["file"] for row in rows] == mixed
    assert [row["code"] for row in rows] == [2, 2, 3, 3, 1, 1, 3, 3, 3, 0]
    assert [row["whole"] for row in rows] == [None, None, None, None, False, False, True, True, None, True]
    assert [bool(row["problem"]) for row in rows] == [True] * 9 + [False]
    assert code == 1


@pytest.mark.parametrize(
    ("files", "code"),
    [
        (("whole.html", "gone.html"), 2),
        (("gone.html", "unsigned.html", "whole.html"), 3),
        (("unknown.html", "altered.html", "gone.html"), 1),
        (("whole.html", "held.html"), 0),
    ],
    ids=["not read", "no report", "altered", "all whole"],
)
def test_the_worst_of_many_is_the_exit_code(
    files: tuple[str, ...], code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(capsys, *files)[0] == code
    assert _run(capsys, *reversed(files))[0] == code


def test_a_file_larger_than_any_report_is_refused_without_taking_all_of_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(module, "_MOST_BYTES", 2**20)
    with (folder / "huge.html").open("wb") as file:
        file.truncate(2**40)  # takes no room: nothing was written to it
    code, out = _run(capsys, "huge.html", "/dev/zero", "whole.html")
    assert out.count("It is larger than 1 MiB: no report is.") == 2
    assert "Released: fit" in out
    assert code == 2


def test_a_report_that_comes_through_a_pipe_is_proven(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    os.mkfifo(folder / "pipe")
    writer = threading.Thread(target=(folder / "pipe").write_bytes, args=(_WHOLE,))
    writer.start()
    code, out = _run(capsys, "pipe")
    writer.join(timeout=10)
    assert code == 0
    assert "Released: fit" in out
