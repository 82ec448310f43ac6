"""The owner's page is read by someone who knows nothing of computers: plain words, counts that read well."""

import re
from html import unescape
from pathlib import Path

import msgspec
import pytest

import verify
from verify.record.canonical import record_from
from verify.record.model import HazardSeen, Part, Record, Result, Work
from verify.record.page import record_in
from verify.report import words
from verify.report.glance import glance_of
from verify.report.owner import headline_of, owner_view, part_words, work_words
from verify.report.render import render
from verify.testing.sample_course import returned_record
from verify.testing.sample_record import fit_record, held_record
from verify.values import Unit, Verdict

SAMPLES = Path(verify.__file__).parent.parent / "reports" / "samples"


def _demo(ticket: str) -> Record:
    return record_from(record_in((SAMPLES / f"{ticket}.html").read_bytes()))


def _counted(*verdicts: Verdict) -> str:
    results = tuple(
        msgspec.structs.replace(one, verdict=verdict, accepted=None)
        for verdict, one in zip(verdicts, _ten(), strict=False)
    )
    return owner_view(msgspec.structs.replace(fit_record(), results=results)).counted


def _ten() -> tuple[Result, ...]:
    return (fit_record().results * 10)[:10]


GOOD, BAD, UNSURE, OUT, UNDONE = (
    Verdict.CONFORMS,
    Verdict.DOES_NOT_CONFORM,
    Verdict.UNDECIDED,
    Verdict.NOT_APPLICABLE,
    Verdict.NOT_DONE,
)


@pytest.mark.parametrize(
    ("verdicts", "said"),
    [
        ((GOOD,) * 3 + (OUT,) * 2, "Of 5 checks: 3 good, 2 do not apply."),
        ((GOOD, OUT), "Of 2 checks: 1 good, 1 does not apply."),
        ((OUT,), "Of one check: 1 does not apply."),
        ((UNSURE, BAD, UNDONE), "Of 3 checks: 1 not good, 1 cannot be told yet, 1 not done."),
        (
            (UNSURE, BAD, UNDONE) * 2,
            "Of 6 checks: 2 not good, 2 cannot be told yet, 2 not done.",
        ),
    ],
    ids=["several", "one of each", "one in all", "none good", "none good, several"],
)
def test_counts_agree_with_their_verbs(verdicts: tuple[Verdict, ...], said: str) -> None:
    assert _counted(*verdicts) == said


def test_every_verdict_can_be_counted() -> None:
    assert set(words.COUNTED) == set(Verdict) == set(words.VERDICTS)


def _owners_part(record: Record) -> str:
    page = render(record).partition(b"<!--part owner-->")[2].partition(b"<!--part technician-->")[0].decode()
    bare = re.sub(r"<(style|symbol|svg|figure).*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", bare)).split())


@pytest.mark.parametrize(
    "record",
    [_demo("TW-1042"), _demo("TW-1057"), fit_record(), held_record()],
    ids=["demo ready", "demo held", "fit", "held"],
)
def test_the_owner_is_spared_what_only_a_technician_needs(record: Record) -> None:
    said = _owners_part(record)
    for technical in ("±", "k = 2", "SHA", "handback ", "gauge pack", "sensor", "uncertainty not stated"):
        assert technical not in said
    ids = {result.check for result in record.results if "-" in result.check}
    assert [one for one in ids if one in said] == []


def test_the_owner_reads_what_a_check_is_about_and_no_order_to_a_technician() -> None:
    said = _owners_part(_demo("TW-1057"))
    open_ones = [one for one in _demo("TW-1057").results if one.verdict is not Verdict.CONFORMS]
    told = [one for one in open_ones if one.verdict is not Verdict.NOT_APPLICABLE]
    assert len(told) > 3
    assert [one.about for one in told if one.about not in said] == []
    assert [one.ask for one in told if one.ask in said] == []


def test_what_has_no_name_for_the_owner_stands_as_it_was_asked() -> None:
    held = held_record()
    nameless = tuple(msgspec.structs.replace(one, about="") for one in held.results)
    said = _owners_part(msgspec.structs.replace(held, results=nameless))
    bad = [one for one in nameless if one.verdict is Verdict.DOES_NOT_CONFORM]
    assert bad
    assert [one.ask for one in bad if one.ask not in said] == []


def test_a_watt_hour_is_explained_where_it_first_stands() -> None:
    for ticket in ("TW-1042", "TW-1057"):
        said = _owners_part(_demo(ticket)).partition("The work")[2]
        assert re.search(r".{12}\bWh\b", said.replace("\u00a0", " ")).group().endswith("att-hours (Wh")  # type: ignore[union-attr]


def test_a_label_is_read_with_the_names_of_its_units_and_kept_where_it_is_no_quantity() -> None:
    label = {"energy": "57.0 Wh", "weight": "236g", "voltage": "eleven volts"}
    said = part_words(Part(source="reproduction", label=label))
    assert "energy 57.0 watt-hours (Wh), weight 236 grams, voltage eleven volts." in said


def test_every_unit_that_is_a_bare_sign_has_a_name_for_the_owner() -> None:
    signs = {Unit.CELSIUS, Unit.MILLIMETRE, Unit.PERCENT, Unit.ONE, Unit.DBM, Unit.DECIBEL, Unit.MEGAHERTZ}
    assert set(words.OWNER_NUMBERS.units) == set(Unit) - signs


def _with_verdicts(verdict: Verdict) -> Record:
    results = tuple(
        msgspec.structs.replace(one, verdict=verdict, accepted=None) for one in fit_record().results
    )
    return msgspec.structs.replace(fit_record(), results=results)


def test_ready_claims_that_all_was_checked_only_where_it_was() -> None:
    assert headline_of(_with_verdicts(GOOD)) == words.HEADLINES[fit_record().outcome]
    assert any(one.verdict is UNSURE for one in fit_record().results)
    assert headline_of(fit_record()) == words.HEADLINE_NOT_ALL
    assert words.HEADLINE_NOT_ALL[1] in _owners_part(fit_record())


def test_a_hazard_stands_before_all_else_without_an_id_and_is_counted_once() -> None:
    hazard = HazardSeen(at="2026-03-10T09:04:00Z", what="Looked at and not good. a dent")
    held = held_record()
    record = msgspec.structs.replace(
        held, hazards=(hazard,), reasons=(f"Not made safe: pack-flat: {hazard.what}", *held.reasons)
    )
    said = _owners_part(record)
    assert "pack-flat" not in said
    assert said.count("a dent") == 1
    first, second, *_ = glance_of(record, owner_view(record))
    assert (first.what, first.told) == ("Danger", "one hazard is not made safe, told below")
    assert second.told == "2 things, told below"  # one not good, and the checks that are not done
    missing = said.partition("What is missing 2")[0] + said.rpartition("What is missing ")[2]
    assert missing.index("Not made safe: ") < missing.index("checks are not done")


@pytest.mark.parametrize("verdict", [GOOD, UNDONE], ids=str)
def test_what_nobody_complained_of_is_not_called_gone(verdict: Verdict) -> None:
    record = _with_verdicts(verdict)
    silent = msgspec.structs.replace(record, ticket=msgspec.structs.replace(record.ticket, complaint=" "))
    said = _owners_part(silent)
    assert "gone" not in said.partition("Care")[0].replace("Do what the owner described", "")
    assert said.count("None was written down.") == 2


def test_what_stayed_in_its_place_is_not_called_taken_out() -> None:
    loosened = words.PAGE["disturbed"]
    assert work_words(fit_record(), Work(kind="hinge")) == loosened
    for kind in ("software-only", "liquid"):
        assert work_words(fit_record(), Work(kind=kind)) == "No new part."
    for record in (returned_record(), held_record()):
        assert work_words(record, Work(kind="hinge")) == "No new part."


def test_what_is_seen_beside_the_work_says_that_it_is_not_good() -> None:
    said = _owners_part(_with_verdicts(BAD)).partition("Seen, not repaired")[2]
    assert said.startswith(" not good ")
