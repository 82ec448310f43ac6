"""The report in a real browser: printed, and asked for nothing from outside."""

import subprocess
from pathlib import Path

import pytest

from verify.testing.rigs import require_program

pytestmark = pytest.mark.rig

_SAMPLES = Path(__file__).parents[2] / "reports" / "samples"


def chromium(tmp_path: Path, *arguments: str) -> str:
    finished = subprocess.run(
        [
            require_program("chromium"),
            *(
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--no-first-run",
                "--disable-background-networking",
            ),
            *("--disable-component-update", "--disable-sync", f"--user-data-dir={tmp_path / 'profile'}"),
            *arguments,
        ],
        capture_output=True,
        text=True,
        check=True,
        timeout=90,
    )
    return finished.stdout


@pytest.mark.parametrize("ticket", ["TW-1042", "TW-1057"])
def test_every_printed_page_names_the_ticket_and_says_that_it_is_a_simulation(
    ticket: str, tmp_path: Path
) -> None:
    pdf = tmp_path / "page.pdf"
    chromium(
        tmp_path, f"--print-to-pdf={pdf}", "--no-pdf-header-footer", (_SAMPLES / f"{ticket}.html").as_uri()
    )
    text = subprocess.run(
        [require_program("pdftotext"), "-layout", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout
    pages = text.split("\f")[:-1]
    assert len(pages) > 2
    for number, page in enumerate(pages, start=1):
        assert "SIMULATION" in page, f"page {number} of {len(pages)} does not say that it is a simulation"
        assert ticket in page, f"page {number} of {len(pages)} does not name the ticket"


def test_the_page_that_the_browser_builds_has_no_script_and_no_address_from_outside(tmp_path: Path) -> None:
    built = chromium(tmp_path, "--dump-dom", (_SAMPLES / "TW-1042.html").as_uri())
    assert "<h1>" in built
    assert "<script" not in built
    assert "http://" not in built
    assert "https://" not in built
