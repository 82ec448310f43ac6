"""What the rigs share: the system's Chromium, driven, and as one prints with it."""

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from verify.testing.rigs import missing, require_program

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=require_program("chromium"), args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture
def printed(tmp_path: Path) -> Callable[[str, str], tuple[str, str]]:
    """Print a page on A4 or Letter; give where its words stand (pdftotext -bbox), and its text."""

    def print_on(page: str, paper: str) -> tuple[str, str]:
        source, pdf = tmp_path / "page.html", tmp_path / f"{paper}.pdf"
        # Whoever prints picks the paper; the browser without a screen asks the page for it.
        source.write_text(page.replace("</style>", f"@page {{ size: {paper}; }}</style>"), encoding="utf-8")
        subprocess.run(
            [
                require_program("chromium"),
                *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"),
                *("--disable-background-networking", "--disable-component-update", "--no-pdf-header-footer"),
                *(f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={pdf}", source.as_uri()),
            ],
            capture_output=True,
            check=True,
            timeout=90,
        )
        boxes, text = (
            subprocess.run(
                [require_program("pdftotext"), how, str(pdf), "-"], capture_output=True, text=True, check=True
            ).stdout
            for how in ("-bbox", "-raw")
        )
        return boxes, text

    return print_on
