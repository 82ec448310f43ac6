"""The page: same bytes for the same record, no script, no request, right order, nothing hidden."""

import itertools
import re
from html.parser import HTMLParser
from pathlib import Path

import msgspec
import pytest

from verify.record.canonical import record_bytes, record_from
from verify.record.model import HazardSeen, Record, Result, Ticket
from verify.record.page import MARKER, PAGE_END, record_in
from verify.report import words
from verify.report.render import render
from verify.testing.sample_course import conceded_record, returned_record, sample_pictures
from verify.testing.sample_record import fit_record, held_record
from verify.values import Outcome, Verdict

_VOID = {"meta", "br", "path", "use", "img"}
_SVG_EMPTY = {"path", "use"}


class _Page(HTMLParser):
    """Collects what a reader meets: elements, attributes, headings, text; and whether tags balance."""

    def __init__(self, data: bytes) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.headings: list[tuple[int, str]] = []
        self.text: list[str] = []
        self._open: list[str] = []
        self.unbalanced: list[str] = []
        self.feed(data.decode())
        self.close()
        self.unbalanced += self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in _VOID:
            self._open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append((int(tag[1]), ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        if not self._open or self._open.pop() != tag:
            self.unbalanced.append(tag)

    def handle_data(self, data: str) -> None:
        if "style" in self._open:
            return
        self.text.append(data)
        if self._open and re.fullmatch("h[1-6]", self._open[-1]):
            level, text = self.headings[-1]
            self.headings[-1] = (level, text + data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


_BARE = Record(
    format="record/1",
    tool="handback",
    ticket=Ticket(id="TW-1"),
    simulated=False,
    scripted=False,
    began="2026-03-10T09:00:00Z",
    ended="2026-03-10T09:00:00Z",
    clock_note="",
    outcome=Outcome.HELD,
    reasons=(),
    machine={},
    read_by="",
    results=(),
    steps=(),
    checklists=(),
    signers=(),
    journal_head="",
    journal_count=0,
)
_RECORDS = [fit_record(), held_record(), _BARE, conceded_record(), returned_record()]
_IDS = ["fit", "held", "bare", "conceded", "returned"]


def test_the_same_record_gives_the_same_bytes() -> None:
    # A run keeps names in the order it met them, the record in a page has them sorted.
    machine = {
        "system": "x",
        "serial": "FN15-000142",
        "model": "Larkspur 15",
        "maker": "Fennel",
        "board": "y",
    }
    record = msgspec.structs.replace(fit_record(), machine=machine)
    assert render(record_from(record_bytes(record))) == render(record)
    shown = _Page(render(record)).words
    assert "Maker Fennel Model Larkspur 15 Serial FN15-000142 Board y System x" in shown


@pytest.mark.parametrize("record", _RECORDS, ids=_IDS)
def test_the_page_carries_its_record_and_ends_as_pages_do(record: Record) -> None:
    page = render(record)
    assert record_in(page) == record_bytes(record)
    assert page.endswith(PAGE_END)
    assert MARKER not in page


@pytest.mark.parametrize("record", _RECORDS, ids=_IDS)
def test_nothing_on_the_page_runs_or_leaves_it(record: Record) -> None:
    data = render(record, sample_pictures())
    page = _Page(data)
    forbidden = {
        "script",
        "iframe",
        "object",
        "embed",
        "link",
        "form",
        "input",
        "base",
        "audio",
        "video",
        "a",
    }
    assert not set(page.tags) & forbidden
    assert [name for _, name, _ in page.attributes if name.startswith("on")] == []
    links = [
        value
        for _, name, value in page.attributes
        if name in {"href", "src", "action", "srcset", "xlink:href"}
    ]
    inside = "#[a-z0-9-]+|data:image/jpeg;base64,[A-Za-z0-9+/]+=*"
    assert all(re.fullmatch(inside, link) for link in links)
    assert b"url(" not in data
    assert b"@import" not in data
    assert b"http:" not in data
    assert b"https:" not in data
    policy = [
        value for tag, name, value in page.attributes if tag == "meta" and "default-src" in value and name
    ]
    assert policy == [
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    ]


@pytest.mark.parametrize("record", _RECORDS, ids=_IDS)
def test_the_page_is_well_formed_for_a_screen_reader(record: Record) -> None:
    page = _Page(render(record, sample_pictures()))
    assert page.unbalanced == []
    assert page.tags.count("img") == sum(
        tag == "img" and name == "alt" and value != "" for tag, name, value in page.attributes
    )
    levels = [level for level, _ in page.headings]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert all(text.strip() for _, text in page.headings)
    assert ("html", "lang", "en") in page.attributes
    assert page.tags.count("title") == 1 + page.tags.count("desc")  # one for each drawing
    assert ("meta", "name", "viewport") in page.attributes
    ids = [value for _, name, value in page.attributes if name == "id"]
    assert len(ids) == len(set(ids))


def test_the_owners_page_keeps_its_order() -> None:
    page = _Page(render(fit_record()))
    owner = [text.strip() for _, text in page.headings][:11]
    assert owner == [
        "Ready",
        "The complaint",
        "The work",
        "The battery",
        "Not checked",
        "Seen, not repaired",
        "Care",
        "Danger signs",
        "The shop",
        "Signatures",
        "For the technician",
    ]


def test_a_held_job_says_first_what_is_missing() -> None:
    page = _Page(render(held_record()))
    assert [text for _, text in page.headings][:2] == ["Not ready", "What is missing"]
    owner = _Page(render(held_record()).partition(b"<!--part technician-->")[0]).words
    missing = owner.partition("Last entry")[2].partition("What is missing")[2].partition("The complaint")[0]
    assert "not good The tool reads how much the battery says it holds." in missing
    assert "31.2 Wh lies below 45.0 Wh by more than its uncertainty." in missing
    assert "3 checks are not done." in missing
    assert "Not yet: fit the feet" in missing


def test_a_reason_that_no_check_tells_stands_as_it_was_given() -> None:
    record = msgspec.structs.replace(_BARE, reasons=("There was nothing to check.",))
    assert "What is missing There was nothing to check." in _Page(render(record)).words


def test_a_not_good_on_a_machine_that_is_ready_is_told_as_seen_not_hidden() -> None:
    fit = fit_record()
    not_good = tuple(
        msgspec.structs.replace(result, verdict=Verdict.DOES_NOT_CONFORM, because="It squeaks.")
        if result.check == "hinge-moves"
        else result
        for result in fit.results
    )
    owner = _Page(
        render(msgspec.structs.replace(fit, results=not_good)).partition(b"<!--part technician-->")[0]
    ).words
    seen = owner.partition("Seen, not repaired")[2].partition("Care")[0]
    assert "It squeaks. A little stiff on the left, as on arrival." in seen


def test_a_known_flaw_is_as_prominent_as_the_good_news() -> None:
    flawed = msgspec.structs.replace(
        held_record(),
        outcome=Outcome.FIT_UNDER_CONCESSION,
        reasons=("claimed-capacity: not good, accepted with a known flaw.",),
    )
    headings = [text for _, text in _Page(render(flawed)).headings]
    assert headings[:2] == ["Ready, with a known flaw", "Known flaws"]


def test_a_hazard_that_was_not_made_safe_is_told_to_the_owner() -> None:
    record = msgspec.structs.replace(
        held_record(), hazards=(HazardSeen(at="2026-03-10T09:04:00Z", what="The battery bulges."),)
    )
    owner = render(record).partition(b"<!--part technician-->")[0].decode()
    assert "Not made safe: The battery bulges." in owner


def test_every_verdict_and_outcome_has_a_word_and_a_shape_of_its_own() -> None:
    for texts in (words.VERDICTS, words.MARKS):
        assert set(texts) == set(Verdict)
        assert len(set(texts.values())) == len(Verdict)
    assert set(words.COMPLAINT) == set(Verdict)
    assert set(words.HEADLINES) == set(words.OUTCOME_MARKS) == set(Outcome)
    drawn = set(re.findall(r'id="mark-([a-z]+)"', render(fit_record()).decode()))
    assert drawn == set(words.MARKS.values())


def test_every_check_stands_in_the_technicians_part_with_all_attempts() -> None:
    record = fit_record()
    technician = _Page(render(record).partition(b"<!--part technician-->")[2]).words
    for result in record.results:
        assert result.ask in technician
        assert sum(attempt.note in technician for attempt in result.attempts) == len(result.attempts)
        for attempt in result.attempts if len(result.attempts) > 1 else ():
            assert attempt.because in technician
    assert "Out of date: The base was opened again." in technician
    assert "First verdict: not good" in technician
    assert "55.1 Wh ± 1.2 Wh" in technician
    assert "common practice, no source" in technician
    for sha256 in (record.checklists[0].sha256, record.traces[0].sha256, record.journal_head):
        assert sha256 in technician


def test_the_sentence_that_defers_to_local_rules_stands_on_the_page() -> None:
    assert words.DEFERS in _Page(render(fit_record())).words


@pytest.mark.parametrize("word", ["safe ", "certif", "guarant"])
def test_the_page_claims_nothing_that_a_record_cannot(word: str) -> None:
    text = _Page(render(fit_record())).words.lower().replace("made safe", "")
    assert word not in text


@pytest.mark.parametrize(
    ("change", "bands"),
    [
        ({}, []),
        ({"simulated": True}, ["SIMULATION — not an acceptance"]),
        ({"scripted": True}, ["Answers came from a script — not an acceptance"]),
    ],
    ids=["real", "simulated", "scripted"],
)
def test_a_run_that_is_no_acceptance_says_so_on_a_band(change: dict[str, bool], bands: list[str]) -> None:
    text = render(msgspec.structs.replace(fit_record(), **change)).decode()
    assert re.findall(r"<p class=\"band\" role=\"note\"><span>(.*?)</span></p>", text) == bands
    # in print the band is fixed, so that each sheet repeats it
    assert re.search(r"\.band \{ position: fixed", text)


def test_a_step_that_may_be_taken_is_not_told_as_if_something_stood_against_it() -> None:
    def last_step(record: Record) -> str:
        steps = (*record.steps[:-1], msgspec.structs.replace(record.steps[-1], at=None, held_because=()))
        words_of_page = _Page(render(msgspec.structs.replace(record, steps=steps))).words
        return words_of_page.partition(record.steps[-1].name)[2].partition("Hazards")[0]

    assert "nothing stands against it" in last_step(fit_record())
    assert "nothing stands against it" not in last_step(held_record())


def test_nothing_checked_is_told_and_not_glossed_over() -> None:
    page = _Page(render(_BARE))
    assert "No check was called for. A record without checks is held." in page.words
    assert "Nothing was left out" not in page.words
    assert "No check asked whether it is gone." in page.words
    assert "Machine not named" in page.words


def test_unchecked_checks_are_listed_for_the_owner_with_their_reason() -> None:
    owner = _Page(render(fit_record()).partition(b"<!--part technician-->")[0]).words
    assert "Of 9 checks: 8 good, 1 cannot be told yet." in owner
    assert (
        "Open the camera and look at the picture. It cannot be seen. The owner's account is locked." in owner
    )


def test_care_follows_the_work_and_only_a_machine_that_goes_home() -> None:
    def owner(record: Record) -> str:
        return _Page(render(record).partition(b"<!--part technician-->")[0]).words

    assert "72 hours" in owner(fit_record())
    assert "three or four charges" in owner(fit_record())
    assert "three or four charges" not in owner(held_record())
    ticket = fit_record().ticket
    sure = tuple(
        msgspec.structs.replace(work, kind="doubtful-battery") if work.kind == "battery" else work
        for work in ticket.work
    )
    drained = msgspec.structs.replace(fit_record(), ticket=msgspec.structs.replace(ticket, work=sure))
    assert "three or four charges" in owner(drained)
    assert "oubtful" not in owner(drained)
    assert "Danger signs" in owner(held_record())


def test_contrast_of_all_text_colours_meets_wcag_aa() -> None:
    # WCAG 2.2, 1.4.3: 4.5 to 1 for text; relative luminance by its own definition.
    css = render(fit_record()).decode()
    schemes = re.findall(r":root \{(.*?)\}", css, re.DOTALL)
    light = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6})", schemes[0]))
    dark = light | dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6})", schemes[1]))
    for colours in (light, dark):
        for text in ("ink", "soft", "accent"):
            for ground in ("paper", "wash"):
                assert _contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
        assert _contrast(colours["on-slab"], colours["slab"]) >= 4.5


def _contrast(one: str, other: str) -> float:
    darker, lighter = sorted((_luminance(one), _luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_the_contrast_measure_itself_gives_the_published_extremes() -> None:
    # WCAG 2.2, definition of contrast ratio: 1 to 21
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert _contrast("#777777", "#777777") == pytest.approx(1.0)


def test_a_long_job_keeps_every_check() -> None:
    many = tuple(
        Result(
            check=f"c{number}",
            checklist="long",
            kind="look",
            stage=f"stage {number % 7}",
            place="somewhere",
            ask=f"Look at place number {number}.",
            good="Good.",
            verdict=Verdict.NOT_DONE,
            because="Not done.",
        )
        for number in range(500)
    )
    page = _Page(render(msgspec.structs.replace(fit_record(), results=many)))
    assert page.unbalanced == []
    assert sum(f"Look at place number {number}." in page.words for number in range(500)) == 500


def test_no_word_of_the_page_is_left_over() -> None:
    folder = Path(words.__file__).parent
    templates = "".join(
        path.read_text(encoding="utf-8") for path in sorted((folder / "templates").glob("*.html"))
    )
    sources = "".join(
        path.read_text(encoding="utf-8") for path in folder.rglob("*.py") if path.name != "words.py"
    )
    used = set(re.findall(r"\bt\.([a-z_]+)", templates)) | set(re.findall(r'"([a-z_]+)"', sources))
    assert set(words.PAGE) - used - set(re.findall(r"PAGE\['([a-z_]+)'\]", sources)) == set()
    told = {f"{name}{one}" for name in ("hazards", "things", "flaws", "unchecked") for one in ("", "_one")}
    assert set(words.GLANCE) - used == told - used


@pytest.mark.parametrize("verdict", list(Verdict), ids=str)
def test_only_what_cannot_be_told_is_said_to_hold_nothing(verdict: Verdict) -> None:
    """A note is a note while it is undecided; where such a check is not good, it holds the machine."""
    record = fit_record()
    noted = next(result for result in record.results if result.note_only)
    one = msgspec.structs.replace(noted, verdict=verdict, because="So it was.")
    page = render(msgspec.structs.replace(record, results=(one,))).decode()
    assert (words.PAGE["note_only"] in page) is (verdict is Verdict.UNDECIDED)
