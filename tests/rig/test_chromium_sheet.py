"""The sheet to fill by hand, printed by a real browser on both sizes of paper."""

import re
from collections.abc import Callable

import pytest

from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.report.blank import blank_page

pytestmark = pytest.mark.rig


@pytest.mark.parametrize(
    ("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))], ids=["A4", "Letter"]
)
def test_every_check_is_on_the_paper_and_none_is_cut_off_at_the_side(
    paper: str, points: tuple[int, int], printed: Callable[[str, str], tuple[str, str]]
) -> None:
    composition = compose(shipped_checklists(), ["battery", "keyboard-deck"])
    boxes, text = printed(blank_page(composition), paper)
    for width, height in re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', boxes):
        assert (round(float(width)), round(float(height))) == points
    right = max(float(x) for x in re.findall(r'xMax="([\d.]+)"', boxes))
    assert right < points[0] - 28  # a centimetre is left free: no printer reaches the edge
    told = "".join(text.split())
    for check in composition.checks:
        assert "".join(check.ask.split()) in told, check.id
    pages = text.split("\f")[:-1]
    for number, one in enumerate(pages, 1):
        assert f"page {number} / {len(pages)}" in one
