"""The pages in a real browser, by the rules of WCAG 2.2: axe-core, reflow, larger text, size of targets."""

import html
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.report.blank import blank_page
from verify.report.render import render
from verify.report.summary import render_summary
from verify.testing.rigs import missing
from verify.testing.sample_course import conceded_record, practice_record, returned_record, sample_pictures
from verify.testing.sample_pages import full_of, long_record, made_anew, pictured_record
from verify.testing.sample_record import held_record

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.rig

_SAMPLES = Path(__file__).parents[2] / "reports" / "samples"
_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


PAGES: dict[str, Callable[[], bytes]] = {
    "sample, ready": lambda: made_anew(_SAMPLES / "TW-1042.html"),
    "sample, not ready": lambda: made_anew(_SAMPLES / "TW-1057.html"),
    "held": lambda: render(held_record()),
    "accepted flaws": lambda: render(conceded_record(), sample_pictures()),
    "forty pictures": lambda: render(*pictured_record()),
    "returned unrepaired": lambda: render(returned_record()),
    "practice": lambda: render(practice_record()),
    "everything": lambda: render(full_of(""), sample_pictures()),
    "summary": lambda: render_summary(conceded_record()),
    "summary, held": lambda: render_summary(held_record()),
    "blank sheet": lambda: blank_page(compose(shipped_checklists(), ["battery", "feet"])).encode(),
}


@pytest.fixture
def show(browser: "Browser", tmp_path: Path) -> "Iterator[Callable[..., Page]]":
    """Open a page of the above. The page's own policy is passed over: it refuses the checker's script."""
    context = []

    def shown(name: str, *, width: int, colours_of_the_reader: bool = False) -> "Page":
        file = tmp_path / "page.html"
        file.write_bytes(PAGES[name]())
        context.append(
            browser.new_context(
                viewport={"width": width, "height": 900},
                bypass_csp=True,
                forced_colors="active" if colours_of_the_reader else "none",
                color_scheme="dark" if colours_of_the_reader else "light",
            )
        )
        page = context[-1].new_page()
        page.goto(file.as_uri())
        return page

    yield shown
    for one in context:
        one.close()


def _violations(page: "Page") -> list[str]:
    try:
        from axe_playwright_python.sync_playwright import Axe
    except ImportError:
        missing("axe-playwright-python is not installed")
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": _TAGS}}).response
    assert len(found["passes"]) > 15, "the checker saw next to nothing"
    return [f"{one['id']}: {node['html'][:200]}" for one in found["violations"] for node in one["nodes"]]


@pytest.mark.parametrize("name", list(PAGES))
def test_axe_core_finds_nothing_against_the_page(show: "Callable[..., Page]", name: str) -> None:
    page = show(name, width=390)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    for width in (390, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert _violations(page) == [], f"{width} px, {scheme}"


def test_axe_core_would_find_a_heading_left_out_and_a_pale_word(show: "Callable[..., Page]") -> None:
    page = show("held", width=1440)
    page.evaluate(
        "document.querySelector('.plate dd').style.color = '#999';"
        "document.querySelector('h1').outerHTML = '<h4>Not ready</h4>'"
    )
    assert {one.partition(":")[0] for one in _violations(page)} >= {"color-contrast", "page-has-heading-one"}


@pytest.mark.parametrize("name", list(PAGES))
def test_nothing_is_wider_than_the_narrowest_screen(show: "Callable[..., Page]", name: str) -> None:
    # WCAG 2.2, 1.4.10: 320 CSS pixels, without scrolling sideways.
    assert _sticking_out(show(name, width=320)) == []


@pytest.mark.parametrize("name", list(PAGES))
def test_text_of_twice_the_size_is_not_cut_and_needs_no_scrolling_sideways(
    show: "Callable[..., Page]", name: str
) -> None:
    # WCAG 2.2, 1.4.4: 200 per cent.
    page = show(name, width=1280)
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    assert _sticking_out(page) == []
    assert page.evaluate(
        """() => [...document.querySelectorAll('main *, .sheet *')].filter(one => {
            const style = getComputedStyle(one);
            return ['hidden', 'clip'].includes(style.overflowY) && one.clientHeight > 1
                && one.scrollHeight > one.clientHeight + 1 && !one.closest('svg');
        }).map(one => one.outerHTML.slice(0, 120))"""
    ) == []  # fmt: skip


def _sticking_out(page: "Page") -> list[str]:
    """Return what lies beyond the right edge of the window, as markup."""
    found: list[str] = page.evaluate(
        """() => {
            const wide = document.documentElement.clientWidth;
            if (document.documentElement.scrollWidth <= wide) return [];
            return [...document.querySelectorAll('body *')].filter(
                one => one.getBoundingClientRect().right > wide + 1 && !one.closest('svg svg, .marks')
            ).map(one => one.outerHTML.slice(0, 120)).concat('wider than the window');
        }"""
    )
    return found


@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("name", list(PAGES))
def test_what_can_be_pressed_is_large_enough_to_be_hit(
    show: "Callable[..., Page]", name: str, width: int
) -> None:
    # WCAG 2.2, 2.5.8: 24 by 24 CSS pixels.
    page = show(name, width=width)
    small = page.evaluate(
        """() => [...document.querySelectorAll('summary, a, button, input')].map(one =>
            [one.outerHTML.slice(0, 120), one.getBoundingClientRect()]
        ).filter(([, box]) => box.width && (box.width < 24 || box.height < 24)).map(([what]) => what)"""
    )
    assert small == []


def test_in_colours_of_the_readers_own_the_signs_and_the_band_still_tell(show: "Callable[..., Page]") -> None:
    page = show("practice", width=820, colours_of_the_reader=True)
    paper, ink = page.evaluate(
        """() => { const one = document.body.appendChild(document.createElement("i"));
        one.style.cssText = "color: CanvasText; background: Canvas"; const told = getComputedStyle(one);
        return [told.backgroundColor, told.color]; }"""
    )
    assert paper != ink
    band = page.locator(".band").evaluate(
        "one => [getComputedStyle(one).backgroundColor, getComputedStyle(one).color]"
    )
    assert band == [paper, ink]
    # The bar in the sign of what is not good is cut out of it: it has to be of the paper's colour.
    cut = page.locator("#mark-struck .cut").evaluate("one => getComputedStyle(one).stroke")
    slab = page.locator("#mark-struck .slab").evaluate("one => getComputedStyle(one).fill")
    assert (cut, slab) == (paper, ink)


@pytest.mark.parametrize("name", [one for one in PAGES if not one.startswith(("blank", "summary"))])
def test_the_first_two_screens_of_a_phone_reach_the_outcome_and_what_was_not_checked(
    show: "Callable[..., Page]", name: str
) -> None:
    page = show(name, width=390)
    bottom = "one => one.getBoundingClientRect().bottom"
    assert page.locator(".outcome").evaluate(bottom) < 844
    unchecked = page.locator(".glance dt", has_text=re.compile("^Not checked$"))
    assert unchecked.count() == 1
    assert unchecked.evaluate(bottom) < 844


def test_five_hundred_checks_of_three_days_are_laid_out_without_a_gap(
    browser: "Browser", tmp_path: Path
) -> None:
    record = long_record()
    file = tmp_path / "long.html"
    file.write_bytes(render(record))
    for width in (390, 1440):
        page = browser.new_page(viewport={"width": width, "height": 900})
        page.goto(file.as_uri())
        assert page.locator(".asked > tbody:not(.shots)").count() == len(record.results)
        assert _sticking_out(page) == []
        heights = page.evaluate(
            "() => [...document.querySelectorAll('.asked > tbody')].map(one => one.offsetHeight)"
        )
        # A good look is a line or two of its question and one small line, whatever the others are.
        plain = sorted(heights)[len(heights) // 2]
        assert plain < (160 if width == 390 else 75)
        text = html.unescape(page.locator("body").inner_text())
        assert "2026-03-11" in text
        assert "2026-03-12" in text
        page.close()
