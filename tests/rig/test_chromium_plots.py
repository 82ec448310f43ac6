"""The drawings in a real browser: their letters are large enough on a phone, and no two texts meet."""

from html import escape
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import pytest

from verify.record.canonical import record_from
from verify.record.model import Record, Reopening, StepTaken
from verify.record.page import record_in, split
from verify.report.letters import width_of
from verify.report.packed import traces_in
from verify.report.render import render
from verify.report.words import RUN
from verify.testing.sample_record import fit_record

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.rig

_LEAST_PX = 11.0
_MEASURE = """() => [...document.querySelectorAll('svg.plot')].map(svg => ({
  title: svg.querySelector('title').textContent,
  size: parseFloat(getComputedStyle(svg.querySelector('text')).fontSize) * svg.getScreenCTM().a,
  texts: [...svg.querySelectorAll('text')].map(one => [one.textContent, one.getBBox()]).map(([words, box]) =>
    ({words, left: box.x, right: box.x + box.width, top: box.y, bottom: box.y + box.height}))
}))"""


def _long_run() -> Record:
    """Return a run of three days in which much happened."""
    record = fit_record()
    step = StepTaken(step="a", name="charge", stage="closed", at=None)
    return msgspec.structs.replace(
        record,
        ended="2026-03-13T11:00:00Z",
        steps=tuple(
            msgspec.structs.replace(step, at=f"2026-03-1{day}T{hour:02d}:{minute:02d}:00Z")
            for day in (0, 1, 2)
            for hour in (10, 11)
            for minute in (5, 6, 40)
        ),
        reopenings=(Reopening(at="2026-03-11T10:30:00Z", opened=("base",), why="A lead lay loose."),),
    )


@pytest.mark.parametrize("width_px", [390, 820, 1440])
@pytest.mark.parametrize("record", [fit_record(), _long_run()], ids=["a short run", "three days"])
def test_no_text_of_the_run_is_too_small_or_meets_another(
    record: Record, width_px: int, browser: "Browser", tmp_path: Path
) -> None:
    file = tmp_path / "page.html"
    file.write_bytes(render(record))
    page = browser.new_page(viewport={"width": width_px, "height": 900})
    page.goto(file.as_uri())
    (run,) = (one for one in page.evaluate(_MEASURE) if one["title"] == RUN["title"])
    page.close()
    assert run["size"] >= _LEAST_PX
    for one in run["texts"]:
        assert 0 <= one["left"] <= one["right"] <= 640, one
    for one, other in combinations(run["texts"], 2):
        beside = one["right"] <= other["left"] or other["right"] <= one["left"]
        # The box of a line is taller than its letters: rows may share the empty part.
        above = one["bottom"] <= other["top"] + 5 or other["bottom"] <= one["top"] + 5
        assert beside or above, (one, other)


_WORDS = (
    "Charge to full",
    "WWWW MMMM",
    "A day off, lid closed",
    "2026-03-10",
    "// 22\u00a0h\u00a045\u00a0min",
    "1–12",
    "123",
    "停止する",
    "отдых",
    "mmmmwwww@%",
    "Ünïcödé",
)


def test_no_text_is_wider_than_it_is_taken_for(browser: "Browser") -> None:
    page = browser.new_page()
    # As the style sheet has them: numbers over marks are bold, names are not.
    texts = "".join(
        f'<text font-weight="{650 if words[0].isdigit() and len(words) < 6 else 400}">{escape(words)}</text>'
        for words in _WORDS
    )
    font = 'font-size="20" font-family="system-ui, Noto Sans, Liberation Sans, sans-serif"'
    page.set_content(f'<svg viewBox="0 0 640 100" {font}>{texts}</svg>')
    widths = page.evaluate("() => [...document.querySelectorAll('text')].map(one => one.getBBox().width)")
    page.close()
    wider = {words: width for words, width in zip(_WORDS, widths, strict=True) if width > width_of(words)}
    assert wider == {}


_A4_PX = (672.0, 1009.0)
"""What an A4 page has within margins of 16, 14 and 16 mm, at 96 px an inch [CSS Values and Units, 5.2]."""


def test_on_paper_a_drawing_takes_a_third_of_a_page_and_its_words_stand_beside_it(
    browser: "Browser",
) -> None:
    sample = Path(__file__).parents[2] / "reports" / "samples" / "TW-1042.html"
    page_bytes = sample.read_bytes()
    record = record_from(record_in(split(page_bytes)[0]))
    page = browser.new_page(viewport={"width": int(_A4_PX[0]), "height": int(_A4_PX[1])})
    page.emulate_media(media="print")
    page.set_content(render(record, {}, traces_in(split(page_bytes)[0], record)).decode())
    drawn = page.evaluate(
        """() => [...document.querySelectorAll('.courses')].map(one => [one.querySelector('svg.plot'), one])
          .filter(([svg]) => svg).map(([svg, one]) => [svg.getBoundingClientRect().toJSON(),
            one.querySelector('figcaption').getBoundingClientRect().toJSON(),
            getComputedStyle(one).breakInside, one.querySelector('details')?.checkVisibility() ?? false])"""
    )
    page.close()
    assert len(drawn) > 3
    for drawing, words, breaks, folded in drawn:
        assert drawing["height"] <= _A4_PX[1] / 3
        assert (words["left"] >= drawing["right"], breaks, folded) == (True, "avoid", False)
