"""The sheet to fill by hand, printed by a real browser on both sizes of paper."""

import re
import subprocess
from pathlib import Path

import pytest

from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.report.blank import blank_page
from verify.testing.rigs import require_program

pytestmark = pytest.mark.rig


@pytest.mark.parametrize(
    ("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))], ids=["A4", "Letter"]
)
def test_every_check_is_on_the_paper_and_none_is_cut_off_at_the_side(
    paper: str, points: tuple[int, int], tmp_path: Path
) -> None:
    composition = compose(shipped_checklists(), ["battery", "keyboard-deck"])
    page, pdf = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    # Whoever prints picks the paper; the browser without a screen asks the page for it.
    page.write_text(
        blank_page(composition).replace("</style>", f"@page {{ size: {paper}; }}</style>"), encoding="utf-8"
    )
    subprocess.run(
        [
            require_program("chromium"),
            *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"),
            *("--disable-background-networking", "--disable-component-update", "--no-pdf-header-footer"),
            *(f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={pdf}", page.as_uri()),
        ],
        capture_output=True,
        check=True,
        timeout=90,
    )
    boxes = subprocess.run(
        [require_program("pdftotext"), "-bbox", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout
    for width, height in re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', boxes):
        assert (round(float(width)), round(float(height))) == points
    right = max(float(x) for x in re.findall(r'xMax="([\d.]+)"', boxes))
    assert right < points[0] - 28  # a centimetre is left free: no printer reaches the edge
    text = subprocess.run(
        [require_program("pdftotext"), "-raw", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout
    printed = "".join(text.split())
    for check in composition.checks:
        assert "".join(check.ask.split()) in printed, check.id
    pages = text.split("\f")[:-1]
    for number, one in enumerate(pages, 1):
        assert f"page {number} / {len(pages)}" in one
