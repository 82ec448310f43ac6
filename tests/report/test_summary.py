"""The summary: what it must tell, and that it says how much it leaves out."""

import html
import re

import msgspec
import pytest

from verify.record.model import HazardSeen, RequiredSigner, SeenBeside
from verify.record.page import parts_of, record_in
from verify.report.letters import clipped, width_of
from verify.report.page_kind import PageKind, kind_of, made_again
from verify.report.render import render
from verify.report.summary import render_summary, summary_view
from verify.report.words import COMPLAINT, HEADLINES, PAGE
from verify.testing.sample_course import conceded_record, full_record, returned_record
from verify.testing.sample_record import fit_record, held_record
from verify.testing.sample_shop import LOGO, sample_logo, sample_shop, with_shop
from verify.values import Verdict

_RECORDS = {
    "fit": fit_record(),
    "full": full_record(),
    "held": held_record(),
    "conceded": conceded_record(),
    "returned": returned_record(),
}
_HOSTILE = "</style></p><script>alert(1)</script>\u202e\x1b[2J<!--part record--><!--handback-signature "


def _shown(page: bytes) -> str:
    part = re.sub(rb"<[^>]*>", b"", parts_of(page)["summary"])
    return " ".join(html.unescape(part.decode()).split())


@pytest.mark.parametrize("name", _RECORDS)
def test_it_is_the_same_page_every_time_and_from_itself(name: str) -> None:
    record = with_shop(_RECORDS[name])
    page = render_summary(record, {LOGO: sample_logo()})
    assert tuple(parts_of(page)) == ("head", "summary", "record", "end")
    assert kind_of(page) is PageKind.SUMMARY
    assert made_again(page, record) == page
    assert kind_of(render(record)) is PageKind.REPORT
    assert record_in(page) == record_in(render(record))


@pytest.mark.parametrize("name", _RECORDS)
def test_it_tells_outcome_ticket_machine_complaint_and_danger(name: str) -> None:
    record = with_shop(_RECORDS[name])
    told = _shown(render_summary(record))
    assert HEADLINES[record.outcome][0] in told
    assert record.ticket.id in told
    assert record.ticket.model in told
    assert record.ticket.complaint in told
    assert any(says in told for says in COMPLAINT.values())
    assert "Call the shop: +1 202 555 0142" in told
    assert "90 days" in told
    assert PAGE["only_touched"] in told


@pytest.mark.parametrize("mark", ["simulated", "scripted", "practice"])
def test_a_run_that_is_no_acceptance_says_so_on_it(mark: str) -> None:
    record = msgspec.structs.replace(fit_record(), **{mark: True})
    assert PAGE[mark] in _shown(render_summary(record))
    assert PAGE[mark] not in _shown(render_summary(fit_record()))


@pytest.mark.parametrize("verdict", [Verdict.NOT_DONE, Verdict.UNDECIDED])
@pytest.mark.parametrize("count", [1, 7, 60, 500])
def test_each_check_that_was_not_made_is_named_or_counted(count: int, verdict: Verdict) -> None:
    one = msgspec.structs.replace(held_record().results[0], verdict=verdict, note_only=True)
    results = tuple(
        msgspec.structs.replace(one, check=f"check-{at}", ask=f"Look at part {at}.", about="")
        for at in range(count)
    )
    record = msgspec.structs.replace(held_record(), results=results)
    view = summary_view(record, {})
    left = re.fullmatch(r"and (\d+) more: see the whole report", view.unchecked.more)
    shown = _shown(render_summary(record))
    named = [at for at in range(count) if f"Look at part {at}." in shown]
    assert len(named) >= 1
    assert len(named) + int(left[1] if left else 0) == count
    assert view.unchecked.more in shown


def test_no_flaw_is_left_out_in_silence_however_long_its_words_are() -> None:
    conceded = conceded_record()
    flaw = next(result for result in conceded.results if result.accepted is not None)
    many = tuple(
        msgspec.structs.replace(flaw, check=f"flaw-{at}", ask=f"Flaw {at}. " + "words " * 60)
        for at in range(40)
    )
    view = summary_view(msgspec.structs.replace(conceded, results=many), {})
    shown = len(view.flaws.entries)
    assert 1 <= shown < 40
    assert view.flaws.more == f"and {40 - shown} more: see the whole report"
    assert all(entry.what.startswith("Flaw") and entry.accepted for entry in view.flaws.entries)


def test_a_hazard_that_stands_is_the_first_thing_that_is_missing() -> None:
    hazard = HazardSeen(at="2026-03-10T11:00:00Z", what="The pack bulges.")
    view = summary_view(msgspec.structs.replace(held_record(), hazards=(hazard,)), {})
    assert view.missing.entries[0].what.startswith("Not made safe: The pack bulges.")


def test_a_telephone_number_is_never_cut() -> None:
    long = "words and more words " * 40
    record = with_shop(held_record())
    record = msgspec.structs.replace(
        record,
        shop=msgspec.structs.replace(sample_shop(), warranty=long, address=(long,) * 6),
        ticket=msgspec.structs.replace(record.ticket, complaint=long, owner=long, model=long),
        seen_beside=(SeenBeside(at="2026-03-10T11:00:00Z", what=long),) * 9,
        signers=tuple(RequiredSigner(order=at, role=f"signer {at}") for at in range(1, 9)),
    )
    told = _shown(render_summary(record))
    assert "Telephone +1 202 555 0142" in told
    assert "and 5 more: see the whole report" in told  # signers


def test_nothing_foreign_becomes_markup_or_an_order() -> None:
    ticket = msgspec.structs.replace(
        held_record().ticket,
        id=_HOSTILE,
        complaint=_HOSTILE,
        owner=_HOSTILE,
        model=_HOSTILE,
        bench=_HOSTILE,
    )
    results = tuple(
        msgspec.structs.replace(one, ask=_HOSTILE, because=_HOSTILE) for one in held_record().results
    )
    record = msgspec.structs.replace(held_record(), ticket=ticket, results=results)
    page = render_summary(record)
    before = page[: page.index(b'<pre id="handback-record">')].decode()
    assert "<script" not in page.decode()
    assert "\u202e" not in before
    assert "\x1b" not in before


@pytest.mark.parametrize(
    ("text", "most", "made"),
    [
        ("short", 130, "short"),
        ("one two three four", 125, "one two…"),
        ("a" * 30, 130, "a" * 8 + "…"),
        ("WWWWWWWW", 130, "WWWW…"),
        ("the end. and", 130, "the end…"),
        ("", 130, ""),
        ("nothing", 19, ""),
    ],
)
def test_a_text_is_cut_before_a_word_and_ends_in_dots(text: str, most: float, made: str) -> None:
    assert clipped(text, most) == made
    assert width_of(clipped(text, most)) <= most
