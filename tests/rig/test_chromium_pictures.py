"""A practice run's report with pictures, printed by a real browser: marked on every sheet, pictures shown."""

import subprocess
from pathlib import Path

import pytest

from verify.report.render import render
from verify.testing.rigs import require_program
from verify.testing.sample_course import practice_record, sample_pictures

pytestmark = pytest.mark.rig


@pytest.fixture
def printed(tmp_path: Path) -> Path:
    page, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_bytes(render(practice_record(), sample_pictures()))
    subprocess.run(
        [
            require_program("chromium"),
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            f"--user-data-dir={tmp_path / 'profile'}",
            f"--print-to-pdf={pdf}",
            "--no-pdf-header-footer",
            page.as_uri(),
        ],
        capture_output=True,
        check=True,
        timeout=90,
    )
    return pdf


def test_every_printed_sheet_is_marked_as_practice_and_as_a_simulation(printed: Path) -> None:
    text = subprocess.run(
        [require_program("pdftotext"), "-layout", str(printed), "-"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    pages = text.split("\f")[:-1]
    assert len(pages) > 3
    for number, page in enumerate(pages, start=1):
        for mark in ("PRACTICE", "SIMULATION", "TW-1042"):
            assert mark in page, f"sheet {number} of {len(pages)} lacks {mark}"


def test_the_pages_own_policy_lets_its_pictures_be_seen(printed: Path) -> None:
    listed = subprocess.run(
        [require_program("pdfimages"), "-list", str(printed)], capture_output=True, text=True, check=True
    ).stdout
    sizes = {tuple(line.split()[3:5]) for line in listed.splitlines()[2:] if line.split()[2] == "image"}
    assert {("1600", "1067"), ("900", "1600")} <= sizes
