"""The page to try tones, colours and keys, in a real browser: real keys, real clicks, rendered sound."""

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from verify.machine.tones import RISE_FROM_HZ, RISE_TO_HZ, STEADY_HZ
from verify.report.try_page import COLOURS, write_try_page
from verify.testing.rigs import require_program

pytestmark = pytest.mark.rig

_PATIENCE_S = 60
WIDTHS = {"telephone": (390, 844), "desk": (1280, 900)}

# Whatever goes to the loudspeakers goes to two meters as well, one a side. There is no device in a test's
# computer: the browser renders into nothing.
_METERS = """
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (to, ...rest) {
  if (to instanceof AudioDestinationNode) {
    const split = this.context.createChannelSplitter(2);
    window.meters = [0, 1].map((side) => {
      const meter = this.context.createAnalyser();
      meter.fftSize = 16384;
      connect.call(split, meter, side);
      return meter;
    });
    connect.call(this, split);
  }
  return connect.call(this, to, ...rest);
};
window.heard = () => window.meters.map((meter) => {
  const wave = new Float32Array(meter.fftSize);
  meter.getFloatTimeDomainData(wave);
  const peak = Math.max(...wave.map(Math.abs));
  const bins = new Float32Array(meter.frequencyBinCount);
  meter.getFloatFrequencyData(bins);
  return [peak, bins.indexOf(Math.max(...bins)) * meter.context.sampleRate / meter.fftSize];
});
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=require_program("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser
        browser.close()


@pytest.fixture(params=WIDTHS)
def page(request: pytest.FixtureRequest, browser: Browser, tmp_path: Path) -> Iterator[Page]:
    """The page; whatever it asked for or complained of fails the test."""
    path = tmp_path / "try.html"
    write_try_page(path)
    width, height = WIDTHS[request.param]
    page = browser.new_page(viewport={"width": width, "height": height})
    asked: list[str] = []
    wrong: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.add_init_script(_METERS)
    page.goto(path.as_uri())
    yield page
    assert asked == [path.as_uri()]
    assert wrong == []
    page.close()


def until(page: Page, true: str) -> None:
    """Wait until this is so in the page; its policy keeps the browser's own waiting out."""
    end = time.monotonic() + _PATIENCE_S
    while not page.evaluate(true):
        assert time.monotonic() < end, f"It did not come to {true}."
        page.wait_for_timeout(20)


def count(page: Page, code: str) -> str:
    return page.locator(f'[data-code="{code}"] .count').inner_text()


def test_nothing_is_wider_than_the_screen_and_every_button_takes_a_finger(page: Page) -> None:
    size = page.viewport_size
    assert size is not None
    page.click("#keys")
    for key in ("q", "Shift", "F12", "Space", "NumpadMultiply"):
        page.keyboard.press(key)
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    for button in page.locator("button:visible").all():
        box = button.bounding_box()
        assert box is not None
        # 44 CSS px: the target size of WCAG 2.2, success criterion 2.5.5 (W3C).
        assert min(box["width"], box["height"]) >= 44


def test_every_key_is_counted_by_its_place_those_that_write_nothing_too(page: Page) -> None:
    page.click("#keys")
    for key in ("KeyQ", "Shift", "ShiftRight", "Control", "AltRight", "F5", "Tab", "Space", "Backspace"):
        page.keyboard.press(key)
    for code in ("KeyQ", "ShiftLeft", "ShiftRight", "ControlLeft", "AltRight", "F5", "Tab", "Space"):
        assert count(page, code) == "1", code
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    assert count(page, "ArrowUp") == "2"
    assert "10 keys came, 1 of them more than once" in page.inner_text("#tally")
    # None of them did what it does elsewhere: the page is still here, at its first address.
    assert page.locator("#keys").inner_text() == "Stop counting"


def test_a_key_that_stays_down_repeats_and_is_not_counted_as_pressed_again(page: Page) -> None:
    page.click("#keys")
    for _ in range(4):
        page.keyboard.down("b")
    assert count(page, "KeyB") == "1+3"
    cell = page.locator('[data-code="KeyB"]')
    assert "down" in (cell.get_attribute("class") or "")
    page.keyboard.up("b")
    assert "down" not in (cell.get_attribute("class") or "")


def test_keys_that_the_map_lacks_or_nobody_knows_are_added(page: Page) -> None:
    page.click("#keys")
    page.keyboard.press("NumpadMultiply")
    page.evaluate("window.dispatchEvent(new KeyboardEvent('keydown', {key: 'Strange', code: ''}))")
    others = page.locator("#others").inner_text()
    assert "NumpadMultiply" in others
    assert "unknown Strange" in others
    page.click("#anew")
    assert page.locator("#others .key").count() == 0
    assert page.inner_text("#tally").startswith("0 keys came")


def test_escape_is_a_key_and_pressed_twice_lets_the_keyboard_go(page: Page) -> None:
    page.click("#keys")
    page.keyboard.press("Escape")
    page.keyboard.press("a")
    page.wait_for_timeout(150)
    page.keyboard.press("Escape")
    assert page.locator("#keys").inner_text() == "Stop counting"
    page.wait_for_timeout(150)
    page.keyboard.press("Escape")
    assert page.locator("#keys").inner_text() == "Begin counting"
    assert count(page, "Escape") == "3"
    page.keyboard.press("a")
    assert count(page, "KeyA") == "1"
    # The keyboard goes through the page again.
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "anew"


def test_an_escape_key_that_sends_twice_is_seen_and_does_not_leave(page: Page) -> None:
    page.click("#keys")
    page.evaluate(
        "for (let n = 0; n < 2; n += 1) "
        "window.dispatchEvent(new KeyboardEvent('keydown', {key: 'Escape', code: 'Escape'}))"
    )
    assert page.locator("#keys").inner_text() == "Stop counting"
    assert count(page, "Escape") == "2"


@pytest.mark.parametrize("by", ["click", "key"])
def test_each_colour_fills_the_screen_and_the_last_one_leads_back(page: Page, by: str) -> None:
    page.click("#colours")
    until(page, "document.fullscreenElement !== null")
    for name, (red, green, blue) in COLOURS.items():
        field = page.locator("#field")
        assert field.get_attribute("data-colour") == name
        told = field.evaluate("(each) => getComputedStyle(each).backgroundColor")
        assert told == f"rgb({red}, {green}, {blue})"
        covered = "[[0, 0], [innerWidth - 1, 0], [0, innerHeight - 1], [innerWidth - 1, innerHeight - 1]]"
        assert page.evaluate(f"{covered}.every(([x, y]) => document.elementFromPoint(x, y).id === 'field')")
        if by == "click":
            page.mouse.click(50, 50)
        else:
            page.keyboard.press("Space")
    assert page.locator("#field").is_hidden()
    until(page, "document.fullscreenElement === null")
    until(page, "document.activeElement.id === 'colours'")


def test_backspace_shows_the_colour_before_and_escape_leaves(page: Page) -> None:
    page.click("#colours")
    for key in ("Enter", "ArrowRight", "Backspace", "Shift"):
        page.keyboard.press(key)
    assert page.locator("#field").get_attribute("data-colour") == "black"
    page.keyboard.press("Escape")
    assert page.locator("#field").is_hidden()


@pytest.mark.parametrize("side", [0, 1], ids=["left", "right"])
def test_a_side_tone_sounds_on_its_side_only(page: Page, side: int) -> None:
    name = ("left", "right")[side]
    page.click(f'[data-tone="{name}"]')
    assert page.inner_text("#heard").startswith(f"{name.capitalize()} tone now.")
    until(page, f"window.heard()[{side}][0] > 0.15")
    page.wait_for_timeout(500)
    heard = page.evaluate("window.heard()")
    assert 0.15 < heard[side][0] <= 0.21
    assert heard[side][1] == pytest.approx(STEADY_HZ, abs=4)
    assert heard[1 - side][0] == 0
    until(page, "document.getElementById('heard').textContent === 'Played.'")


def test_the_rising_tone_rises_on_both_sides_and_can_be_stopped(page: Page) -> None:
    page.click('[data-tone="rising"]')
    until(page, "window.heard().every(([peak]) => peak > 0.15)")
    pitches = []
    for _ in range(4):
        page.wait_for_timeout(500)
        (_, left_hz), (_, right_hz) = page.evaluate("window.heard()")
        assert left_hz == pytest.approx(right_hz, rel=0.2)
        pitches.append(left_hz)
    assert pitches == sorted(set(pitches))
    assert RISE_FROM_HZ * 0.8 < pitches[0] < pitches[-1] < RISE_TO_HZ
    page.click("#hush")
    until(page, "window.heard().every(([peak]) => peak === 0)")


def test_only_its_own_script_may_run_and_nothing_may_be_fetched(tmp_path: Path, browser: Browser) -> None:
    path = tmp_path / "try.html"
    write_try_page(path)
    text = path.read_text(encoding="utf-8")
    policy = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    assert len(policy) == 1
    assert policy[0].startswith("default-src 'none';")
    assert "unsafe-eval" not in policy[0]
    assert "script-src 'sha256-" in policy[0]
    assert not re.search(r"(https?:)?//[a-z]", text.replace("<!DOCTYPE html>", ""), re.IGNORECASE)
    # One sign more, and the browser refuses it.
    path.write_text(text.replace('"use strict";', '"use strict"; '), encoding="utf-8")
    page = browser.new_page()
    page.goto(path.as_uri())
    page.click("#keys")
    page.keyboard.press("q")
    assert count(page, "KeyQ") == ""
    page.close()
