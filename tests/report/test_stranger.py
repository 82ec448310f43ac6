"""A stranger with a common JOSE library and a SHA-256 proves a report without this tool."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from verify.record.page import MARKER
from verify.testing.sample_record import fit_record, held_record
from verify.testing.sample_signatures import sample_key, signed_by

_STEPS = Path(__file__).with_name("stranger.py")
_KEYS = (sample_key("technician"), sample_key("reviewer"))
_KNOWN = [key.card.thumbprint for key in _KEYS]


def _run(tmp_path: Path, data: bytes, known: list[str]) -> subprocess.CompletedProcess[str]:
    report = tmp_path / "report.html"
    report.write_bytes(data)
    return subprocess.run(
        [sys.executable, str(_STEPS), str(report), *known], capture_output=True, text=True, check=False
    )


def test_the_steps_use_nothing_of_ours() -> None:
    assert "verify" not in _STEPS.read_text(encoding="utf-8").replace("token.verify(key)", "")


def test_a_stranger_proves_a_whole_report(tmp_path: Path) -> None:
    done = _run(tmp_path, signed_by(fit_record(), *_KEYS), _KNOWN)
    assert done.stdout.splitlines() == [
        "technician Sample Technician 2026-03-10T12:10:00Z TW-1042 fit",
        "reviewer Sample Reviewer 2026-03-10T12:15:00Z TW-1042 fit",
    ], done.stderr
    assert done.returncode == 0


@pytest.mark.parametrize("mark", ["simulated", "scripted"])
def test_a_stranger_is_told_what_is_no_acceptance(tmp_path: Path, mark: str) -> None:
    record = msgspec.structs.replace(fit_record(), **{mark: True})
    done = _run(tmp_path, signed_by(record, *_KEYS), _KNOWN)
    assert all(line.endswith(f"fit but {mark}: no acceptance") for line in done.stdout.splitlines())
    assert len(done.stdout.splitlines()) == 2


@pytest.mark.parametrize(
    ("old", "new"),
    [(b"<h1>Ready", b"<h1>Reddy"), (b"-->\n", b"-->"), (b"</html>\n", b"</html>\n\n")],
    ids=["edited headline", "line feeds gone", "line put in"],
)
def test_a_stranger_notices_an_altered_report(tmp_path: Path, old: bytes, new: bytes) -> None:
    whole = signed_by(fit_record(), *_KEYS)
    assert old in whole
    assert _run(tmp_path, whole.replace(old, new), _KNOWN).returncode != 0


def _line(data: bytes, number: int) -> bytes:
    return MARKER + data.split(MARKER)[number]


def _broken(line: bytes) -> bytes:
    last = line[-10:-9]
    return line[:-10] + (b"A" if last != b"A" else b"B") + line[-9:]


@pytest.mark.parametrize(
    "attack",
    [
        lambda page, first, second: page + _broken(first) + second,
        lambda page, first, second: page + first + _broken(second),
        lambda page, first, second: page + second + first,
        lambda page, _, second: page + second,
        lambda page, first, second: page + first + second + second,
        lambda page, first, second: page + first + second[:-30],
        lambda page, first, second: page + first + second + b"<p>Ready</p>\n",
        lambda page, first, second: page + first + b"\n" + second,
        lambda page, first, _: page + first + _line(signed_by(held_record(), *_KEYS), 2),
    ],
    ids=[
        "first broken",
        "second broken",
        "order changed",
        "first cut off",
        "second doubled",
        "second cut in two",
        "bytes added",
        "line put between",
        "second of another report",
    ],
)
def test_a_stranger_notices_what_was_done_to_one_of_two_signatures(
    tmp_path: Path, attack: Callable[[bytes, bytes, bytes], bytes]
) -> None:
    whole = signed_by(fit_record(), *_KEYS)
    page, first, second = whole[: whole.index(MARKER)], _line(whole, 1), _line(whole, 2)
    assert page + first + second == whole
    assert _run(tmp_path, attack(page, first, second), _KNOWN).returncode != 0


def test_a_stranger_sees_who_signed_where_the_last_signature_was_cut_off(tmp_path: Path) -> None:
    whole = signed_by(fit_record(), *_KEYS)
    done = _run(tmp_path, whole[: whole.rindex(MARKER)], _KNOWN)
    assert [line.split()[0] for line in done.stdout.splitlines()] == ["technician"]


def test_a_stranger_notices_an_unknown_key(tmp_path: Path) -> None:
    done = _run(tmp_path, signed_by(fit_record(), *_KEYS), _KNOWN[:1])
    assert done.returncode != 0
    assert "do not know" in done.stderr


def test_readme_shows_these_very_steps() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert f"```python\n{_STEPS.read_text(encoding='utf-8')}```\n" in readme
