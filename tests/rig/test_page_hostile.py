"""Hostile text in every field, in a real browser: it shows itself as text and reaches nothing."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from verify.report.render import render
from verify.testing.sample_course import sample_pictures
from verify.testing.sample_pages import HOSTILE, full_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Dialog

pytestmark = pytest.mark.rig

_LONG_NAME = "Fennel" + "x" * 194  # 200 characters without a place to break

_LOOK = """() => {
    const names = {};
    for (const one of document.querySelectorAll('*')) {
        names[one.tagName] = (names[one.tagName] || 0) + 1;
    }
    const over = [];
    document.querySelector('.outcome').scrollIntoView();
    for (const part of document.querySelectorAll('.outcome h1, .outcome p, .glance dd')) {
        for (const box of part.getClientRects()) {
            for (const [right, down] of [[.05, .5], [.5, .5], [.95, .5], [.5, .1], [.5, .9]]) {
                const x = box.left + box.width * right, y = box.top + box.height * down;
                const top = document.elementFromPoint(x, y);
                const same = top && (part.contains(top) || top.contains(part));
                if (!same) over.push(top && top.outerHTML.slice(0, 80));
            }
        }
    }
    return {
        names, over,
        scripts: document.scripts.length,
        outcome: document.querySelector('.outcome').innerText,
        handlers: [...document.querySelectorAll('*')].flatMap(one => [...one.attributes])
            .filter(one => one.name.startsWith('on')).length,
        wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    };
}"""


def _looked_at(browser: "Browser", file: Path, text: str) -> dict[str, Any]:
    """Return what the browser makes of the page with this text in every field."""
    file.write_bytes(render(full_of(text), sample_pictures()))

    def dismissed(dialog: "Dialog") -> None:
        dialogs.append(dialog.message)
        dialog.dismiss()

    page = browser.new_page(viewport={"width": 390, "height": 844})
    asked: list[str] = []
    dialogs: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", dismissed)
    page.goto(file.as_uri())
    found: dict[str, Any] = page.evaluate(_LOOK)
    found["asked"] = [url for url in asked if not url.startswith("data:") and url != file.as_uri()]
    found["dialogs"] = dialogs
    found["text"] = page.evaluate("document.body.innerText")
    page.close()
    return found


@pytest.fixture(scope="module")
def harmless(browser: "Browser", tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    return _looked_at(browser, tmp_path_factory.mktemp("harmless") / "page.html", " harmless")


@pytest.mark.parametrize("name", [*HOSTILE, "long name"])
def test_the_browser_builds_the_same_page_and_nothing_covers_the_outcome(
    browser: "Browser", harmless: dict[str, Any], tmp_path: Path, name: str
) -> None:
    found = _looked_at(browser, tmp_path / "page.html", HOSTILE.get(name, f" {_LONG_NAME}"))
    assert found["names"] == harmless["names"]
    assert found["outcome"] == harmless["outcome"]
    assert found["over"] == []
    assert (found["scripts"], found["handlers"], found["asked"], found["dialogs"]) == (0, 0, [], [])
    assert found["wide"] == 0


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("markup", "<script>alert(1)</script>"),
        ("style", "</style><style>body{display:none}</style>"),
        ("marker", "<!--handback-signature e30.e30.e30-->"),
        ("part", "<!--part owner--><!--part pictures-->"),
        ("drawing", '</svg><use href="#picture-data-1"/>'),
        ("entities", "&lt;b&gt; &amp;amp;"),
        ("controls", "a⟨U+0000⟩b⟨U+0008⟩c⟨U+001B⟩[2Jd"),
        ("bidi", "⟨U+202E⟩evil⟨U+202C⟩"),
        ("right to left", "שלום עולם، مرحبا"),
        ("emoji", "👩\u200d🔧🔋"),
    ],
)
def test_every_character_of_it_is_there_to_be_read(
    browser: "Browser", tmp_path: Path, name: str, shown: str
) -> None:
    text = _looked_at(browser, tmp_path / "page.html", HOSTILE[name])["text"]
    assert text.count(shown) > 100


def test_text_that_runs_from_right_to_left_does_not_turn_what_stands_around_it(
    browser: "Browser", tmp_path: Path
) -> None:
    file = tmp_path / "page.html"
    file.write_bytes(render(full_of(HOSTILE["right to left"]), sample_pictures()))
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    page.goto(file.as_uri())
    # The verdict stays left of its check, and the word "Good:" left of what good is.
    turned = page.evaluate(
        """() => [...document.querySelectorAll('.asked > tbody:has(.came)')].filter(row => {
            const came = row.querySelector('.came').getBoundingClientRect();
            return came.right > row.querySelector('th').getBoundingClientRect().left + 1;
        }).length"""
    )
    directions = page.evaluate(
        "() => [...new Set([...document.querySelectorAll('.asked *:not(bdi):not(bdi *)')]"
        ".map(one => getComputedStyle(one).direction))]"
    )
    page.close()
    assert turned == 0
    assert directions == ["ltr"]
