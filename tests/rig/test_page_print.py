"""The report on paper, A4 and Letter: nothing torn, no heading left at a foot, a number on each page.

What stands where is read from the PDF by poppler's pdftotext, a reader that knows nothing of the page.
"""

import re
import subprocess
import xml.etree.ElementTree as ET
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest

from verify.record.page import parts_of
from verify.report.render import render
from verify.testing.rigs import require_program
from verify.testing.sample_course import conceded_record, practice_record, returned_record, sample_pictures
from verify.testing.sample_pages import long_record, made_anew, pictured_record
from verify.testing.sample_record import held_record

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.rig

_SAMPLES = Path(__file__).parents[2] / "reports" / "samples"
_TECHNICIAN = "For the technician"
_FOOT_PT = 40.0  # below this from the bottom stand page number and ticket


PAGES: dict[str, Callable[[], bytes]] = {
    "sample, ready": lambda: made_anew(_SAMPLES / "TW-1042.html"),
    "sample, not ready": lambda: made_anew(_SAMPLES / "TW-1057.html"),
    "held": lambda: render(held_record()),
    "accepted flaws": lambda: render(conceded_record(), sample_pictures()),
    "forty pictures": lambda: render(*pictured_record()),
    "lost pictures": lambda: render(pictured_record(0)[0]),
    "returned unrepaired": lambda: render(returned_record()),
    "practice": lambda: render(practice_record(), sample_pictures()),
    "long": lambda: render(long_record()),
}
_CASES = [(name, paper) for name in PAGES for paper in ("A4", "Letter")]


class Line(NamedTuple):
    """A line of print: its words, its box in points from the top left, its page from 0."""

    words: str
    left: float
    top: float
    bottom: float
    page: int


class Printed(NamedTuple):
    """A printed page: its HTML, its PDF, lines from top to bottom, and height and width in points."""

    html: bytes
    pdf: Path
    lines: tuple[tuple[Line, ...], ...]
    size: tuple[float, float]

    def body(self, page: int) -> tuple[Line, ...]:
        """Return the lines of a page without those of its foot."""
        return tuple(line for line in self.lines[page] if line.bottom < self.size[1] - _FOOT_PT)


@pytest.fixture(scope="module", params=_CASES, ids=lambda case: f"{case[0]}, {case[1]}")
def printed(
    request: pytest.FixtureRequest, browser: "Browser", tmp_path_factory: pytest.TempPathFactory
) -> Printed:
    name, paper = request.param
    folder = tmp_path_factory.mktemp("printed")
    file, pdf = folder / "page.html", folder / "page.pdf"
    file.write_bytes(PAGES[name]())
    page = browser.new_page()
    page.goto(file.as_uri())
    page.pdf(path=pdf, format=paper, print_background=True)
    page.close()
    laid_out = subprocess.run(
        [require_program("pdftotext"), "-bbox-layout", str(pdf), "-"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    return Printed(file.read_bytes(), pdf, *_read(laid_out))


def _read(laid_out: str) -> tuple[tuple[tuple[Line, ...], ...], tuple[float, float]]:
    root = ET.fromstring(re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "", laid_out))
    space = "{http://www.w3.org/1999/xhtml}"
    pages, size = [], (0.0, 0.0)
    for at, page in enumerate(root.iter(f"{space}page")):
        size = (float(page.attrib["width"]), float(page.attrib["height"]))
        lines = [
            Line(
                " ".join(word.text or "" for word in line.iter(f"{space}word")),
                float(line.attrib["xMin"]),
                float(line.attrib["yMin"]),
                float(line.attrib["yMax"]),
                at,
            )
            for line in page.iter(f"{space}line")
        ]
        pages.append(tuple(sorted(lines, key=lambda line: (round(line.top), line.left))))
    return tuple(pages), size


class _Told(HTMLParser):
    """Headings that stand above what they head, and what each check asks, from the page."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.headings: list[str] = []
        self.asks: list[str] = []
        self._into: list[str] | None = None
        self._tag = ""
        self.feed(page.decode())
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if self._into is not None:
            return
        kind = dict(attrs).get("class") or ""
        if tag in {"h2", "h3"}:
            self._into = self.headings
        elif tag == "span" and kind == "ask":
            self._into = self.asks
        if self._into is not None:
            self._tag = tag
            self._into.append("")

    def handle_endtag(self, tag: str) -> None:
        if tag == self._tag:
            self._into = None

    def handle_data(self, data: str) -> None:
        if self._into is not None:
            self._into[-1] += data


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()


def test_every_page_has_its_number_of_all_and_the_ticket(printed: Printed) -> None:
    count = len(printed.lines)
    told = subprocess.run(
        [require_program("pdfinfo"), str(printed.pdf)], capture_output=True, text=True, check=True
    ).stdout
    assert re.search(rf"^Pages: +{count}$", told, re.MULTILINE)
    for number, lines in enumerate(printed.lines, start=1):
        foot = _plain(" ".join(line.words for line in lines if line.bottom >= printed.size[1] - _FOOT_PT))
        assert f"page {number} / {count}" in foot
        assert re.search(r"TW-\d{4}", foot)


def test_no_heading_is_left_at_the_foot_of_a_page(printed: Printed) -> None:
    headings = {_plain(one) for one in _Told(printed.html).headings}
    assert len(headings) > 10
    heads = {
        "Result",
        "Check",
        "Reading",
        "Limit",
        "What",
        "As it was",
        "SHA-256",
        "Checklist",
        "Trace",
        "Picture",
    }
    for page in range(len(printed.lines)):
        last = max(printed.body(page), key=lambda line: line.bottom)
        on_it = [line.words for line in printed.body(page) if line.bottom > last.bottom - 2]
        alone = len(on_it) == 1 and _plain(on_it[0]) in headings
        assert not alone, f"page {page + 1} ends with the heading {on_it[0]}"
        assert not set(on_it) <= heads, f"page {page + 1} ends with the head of a table"


def test_no_page_is_nearly_empty(printed: Printed) -> None:
    for page in range(len(printed.lines)):
        assert len(printed.body(page)) > 3 or b"picture shown" in printed.html, f"page {page + 1}"
    assert any("Last sheet of" in line.words for line in printed.body(len(printed.lines) - 1))


def test_the_owners_part_has_few_sheets_and_the_technicians_begins_on_one_of_its_own(
    printed: Printed,
) -> None:
    begins = [line for page in printed.lines for line in page if line.words == _TECHNICIAN]
    assert len(begins) == 1
    owner = parts_of(printed.html)["owner"]
    # Two sheets; accepted flaws with their reasons take one more, five hundred checks what they take.
    allowed = 2 + (b'"judged flaws"' in owner)
    assert begins[0].page <= allowed or printed.html.count(b'class="came"') > 100
    assert begins[0] == min(
        (line for line in printed.body(begins[0].page) if line.left > 40), key=lambda line: line.top
    )


def test_the_head_of_the_table_stands_again_on_each_page_that_it_runs_to(printed: Printed) -> None:
    asks = {_plain(one)[:24] for one in _Told(parts_of(printed.html)["technician"]).asks}
    begins = next(line.page for page in printed.lines for line in page if line.words == _TECHNICIAN)
    for page in range(begins, len(printed.lines)):
        body = printed.body(page)
        rows = [line for line in body if _plain(line.words)[:24] in asks and len(line.words) >= 24]
        verdicts = [
            line for line in body if re.fullmatch(r"good|not good|cannot tell yet|not done", line.words)
        ]
        if len(rows) > 2 and len(verdicts) > 2:
            assert any(line.words == "Result" for line in body), f"page {page + 1}"


def test_the_lines_of_a_check_stand_on_one_page(printed: Printed) -> None:
    # Each ask with all the words of its first row; a row that is higher than a page cannot be tested so.
    rows = re.findall(rb'<tbody[^>]*>\n<tr>\n<td class="came">.*?</tr>', printed.html, re.DOTALL)
    assert rows
    texts = ["".join(line.words for line in printed.body(page)) for page in range(len(printed.lines))]
    squeezed = [re.sub(r"\s|\u00ad", "", text) for text in texts]
    for row in rows:
        small = re.search(rb'<span class="small">(.*?)</span></th>', row, re.DOTALL)
        ask = re.search(rb'<span class="ask">(.*?)</span>', row, re.DOTALL)
        assert small is not None
        assert ask is not None
        # The end by its words: what stands beside it in another column may be read between its lines.
        first, last = (
            _bare(ask[1])[:20],
            [re.sub(r"\s", "", word)[-14:] for word in _told(small[1]).split()[-3:]],
        )
        pages = [at for at, text in enumerate(squeezed) if first in text]
        assert any(all(word in squeezed[at] for word in last) for at in pages), f"{first} … {last}"


def _bare(markup: bytes) -> str:
    return re.sub(r"\s", "", _told(markup))


def _told(markup: bytes) -> str:
    found = _Text()
    found.feed(markup.decode())
    return found.text


class _Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.text = ""

    def handle_data(self, data: str) -> None:
        self.text += data


def test_a_hash_takes_one_line(printed: Printed) -> None:
    for page in printed.lines:
        for line in page:
            pieces = re.findall(r"\b[0-9a-f]{20,}\b", line.words)
            assert all(len(piece) == 64 for piece in pieces), line.words


def test_no_picture_is_cut_and_two_stand_in_a_row(printed: Printed) -> None:
    shown = printed.html.count(b'class="picture shown"')
    listed = subprocess.run(
        [require_program("pdfimages"), "-list", str(printed.pdf)], capture_output=True, text=True, check=True
    ).stdout.splitlines()[2:]
    images = [line.split() for line in listed if line.split()[2] == "image"]
    assert len(images) == shown  # one that is cut by the end of a page is drawn on both
    captions: dict[int, list[Line]] = {}
    for page in printed.lines:
        for line in page:
            if re.match(r"Picture \d+:", line.words):
                captions.setdefault(line.page, []).append(line)
    assert sum(map(len, captions.values())) == printed.html.count(b'<figure id="picture-')
    assert {int(image[0]) - 1 for image in images} == (set(captions) if shown else set())
    for lines in captions.values():
        rows: dict[int, int] = {}
        for line in lines:
            rows[round(line.bottom / 4)] = rows.get(round(line.bottom / 4), 0) + 1
        assert max(rows.values()) <= 2
        assert len(lines) < 3 or max(rows.values()) == 2
