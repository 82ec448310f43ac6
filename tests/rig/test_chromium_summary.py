"""The summary printed by a real browser: one page of A4 and of Letter, whatever stands in the record."""

import re
from collections.abc import Callable

import msgspec
import pytest

from verify.record.model import (
    Accepted,
    GivenBack,
    HazardSeen,
    Part,
    Record,
    RequiredSigner,
    SeenBeside,
    Work,
)
from verify.report.summary import render_summary
from verify.testing.sample_course import conceded_record, full_record
from verify.testing.sample_record import fit_record, held_record
from verify.testing.sample_shop import LOGO, sample_logo, sample_shop, with_shop
from verify.values import Outcome, Verdict

pytestmark = pytest.mark.rig

_AT = "2026-03-10T11:00:00Z"
_LONG = {
    "wide letters": "W" * 900,
    "words": "Whichever reasonably lengthy sentence " * 30,
    "ideographs": "修理工場" * 200,
    "right to left": "הבדיקה הזו ארוכה מאוד " * 40,
}


def _fullest(text: str, base: Record, **more: object) -> Record:
    """Return a record in which everything that may be long is."""
    accepted = Accepted(at=_AT, by=text[:60], reason=text[:200], owner_agreed=text[:100])
    verdicts = tuple(Verdict)
    results = [
        msgspec.structs.replace(
            base.results[at % len(base.results)],
            check=f"check-{at}",
            ask=text[:300],
            because=text,
            verdict=verdicts[at % len(verdicts)],
            accepted=accepted if at % 7 == 0 else None,
        )
        for at in range(500)
    ]
    results.append(
        msgspec.structs.replace(
            base.results[0], check="complaint-gone", verdict=Verdict.UNDECIDED, because=text
        )
    )
    ticket = msgspec.structs.replace(
        base.ticket,
        id="T" * 64,
        shop=text[:80],
        bench=text,
        owner=text,
        maker=text,
        model=text,
        serial=text,
        complaint=text,
        work=tuple(
            Work(kind=f"kind-{at}" + "k" * 40, part=Part(source="original", identity=text))
            for at in range(12)
        ),
    )
    shop = msgspec.structs.replace(
        sample_shop(),
        address=(text[:80],) * 6,
        telephone="+1 202 555 0142 ext. 123456789012345678",
        mail="m" * 100 + "@" + "x" * 19,
        web="W" * 120,
        warranty=text[:300],
        warranty_days=3650,
    )
    return msgspec.structs.replace(
        base,
        ticket=ticket,
        shop=shop,
        results=tuple(results),
        hazards=(HazardSeen(at=_AT, what=text),) * 5,
        seen_beside=(SeenBeside(at=_AT, what=text),) * 9,
        signers=tuple(RequiredSigner(order=at, role=text[:80]) for at in range(1, 9)),
        **more,
    )


def _records() -> dict[str, Record]:
    found = {
        "fit": with_shop(fit_record()),
        "full": with_shop(full_record()),
        "no shop": held_record(),
        "conceded, simulated": msgspec.structs.replace(with_shop(conceded_record()), simulated=True),
    }
    for name, text in _LONG.items():
        marks = {"practice": True, "simulated": True, "scripted": True}
        found[f"held, {name}"] = _fullest(text, held_record(), **marks)
        told = GivenBack(at=_AT, why=text, risks_told=text, owner_signed=text)
        found[f"returned, {name}"] = _fullest(
            text, held_record(), outcome=Outcome.RETURNED_UNREPAIRED, given_back=told
        )
    return found


_RECORDS = _records()


@pytest.mark.parametrize("name", _RECORDS)
def test_it_is_one_page_on_both_papers_with_all_that_must_be_on_it(
    name: str, printed: Callable[[str, str], tuple[str, str]]
) -> None:
    record = _RECORDS[name]
    page = render_summary(record, {LOGO: sample_logo()}).decode()
    for paper, points in (("A4", (595, 842)), ("Letter", (612, 792))):
        boxes, raw = printed(page, paper)
        text, size = " ".join(raw.split()), _sizes(boxes)
        assert size == [points], f"{len(size)} pages of {paper}"
        assert "page 1 / 1" in text
        for word in ("Not checked", "Danger signs", "Name and date, on paper", "Signature, on paper"):
            assert word in text, word
        left = text.count("see the whole report")
        assert left >= 4 if len(record.results) > 100 else left <= 3
        if record.simulated:
            assert "SIMULATION" in text


def _sizes(boxes: str) -> list[tuple[int, int]]:
    return [
        (round(float(width)), round(float(height)))
        for width, height in re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', boxes)
    ]
