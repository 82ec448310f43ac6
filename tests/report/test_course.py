"""What happened on the way, on the page: arrival, first pass, going back, gaps, flaws, giving back."""

import re

import msgspec
import pytest

from verify.record.arrival import Arrival, FoundAs
from verify.record.model import Accepted, Gap, HazardSeen, Record, Reopening
from verify.report.arrival import arrival_rows
from verify.report.course import course_of
from verify.report.numbers import lasting
from verify.report.owner import owner_view
from verify.report.render import render
from verify.testing.sample_course import (
    conceded_record,
    full_record,
    practice_record,
    returned_record,
    sample_pictures,
)
from verify.testing.sample_record import fit_record, held_record
from verify.values import Outcome, Verdict


def _words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", page.partition("</style>")[2]).split())


def _owner(record: Record) -> str:
    return _words(render(record, sample_pictures()).decode().partition("<!--part technician-->")[0])


def _technician(record: Record) -> str:
    page = render(record, sample_pictures()).decode().partition("<!--part technician-->")[2]
    # The run on its axis comes first, and names the same things: it has tests of its own.
    return _words(f"</style>{page.partition('<!--part')[0].partition('</figure>')[2]}")


def _between(text: str, opens: str, closes: str) -> str:
    assert opens in text
    rest = text.partition(opens)[2]
    assert closes in rest
    return rest.partition(closes)[0].strip()


# The owner's part


def test_an_accepted_flaw_stands_before_the_good_news_with_who_why_and_the_owners_yes() -> None:
    owner = _owner(conceded_record()).partition("Last entry")[2]
    assert owner.index("Known flaws") < owner.index("The complaint")
    flaws = _between(owner, "Known flaws", "The complaint")
    assert flaws.startswith(
        "not good accepted as a known flaw The tool reads how much the battery says it holds."
    )
    assert (
        "31.2 Wh lies below 45.0 Wh by more than its uncertainty. Accepted by Demo Reviewer , "
        "2026-03-10 11:30 UTC . Why: No better pack can be had before May; it will be exchanged then."
    ) in flaws
    assert "The owner agreed: On the telephone, 10 March, 12:20; repeated back to us." in flaws
    assert flaws.endswith(
        "Why: Stiff since it was new; within its travel. "
        "The owner was not asked: by the checklist it cannot be noticed in use."
    )


def test_a_conceded_check_keeps_its_verdict_and_never_counts_as_good() -> None:
    owner, technician = _owner(conceded_record()), _technician(conceded_record())
    assert "Of 9 checks: 6 good, 1 not good, 2 cannot be told yet. Accepted as a known flaw: 2;" in owner
    assert "not good accepted as a known flaw" in _between(owner, "The battery", "Not checked")
    assert "cannot tell yet Open and close the lid three times. accepted as a known flaw" in owner
    assert "accepted as a known flaw 31.2 Wh lies below 45.0 Wh" in technician
    assert technician.count("Accepted by Demo Reviewer") == 2
    assert "What is missing" not in owner


def test_a_complaint_that_is_not_gone_and_was_accepted_says_both() -> None:
    results = tuple(
        msgspec.structs.replace(
            result,
            verdict=Verdict.DOES_NOT_CONFORM,
            because="It still happens.",
            accepted=Accepted(
                at="2026-03-10T11:52:00Z",
                by="Demo Reviewer",
                reason="Rarely.",
                owner_agreed="At the counter.",
            ),
        )
        if result.check == "complaint-gone"
        else result
        for result in fit_record().results
    )
    record = msgspec.structs.replace(fit_record(), results=results, outcome=Outcome.FIT_UNDER_CONCESSION)
    complaint = _between(_owner(record), "The complaint", "The work")
    assert complaint.endswith("It is not gone. accepted as a known flaw It still happens.")


def test_a_flaw_accepted_on_a_machine_that_is_held_stands_apart_from_what_is_missing() -> None:
    conceded = next(r for r in conceded_record().results if r.check == "claimed-capacity")
    held = held_record()
    results = tuple(conceded if r.check == conceded.check else r for r in held.results)
    view = owner_view(msgspec.structs.replace(held, results=results))
    assert [flaw.check for flaw in view.flaws] == ["claimed-capacity"]
    assert "claimed-capacity" not in [result.check for result in view.wrong]
    owner = _owner(msgspec.structs.replace(held, results=results))
    assert owner.index("What is missing") < owner.index("Known flaws") < owner.index("The complaint")


def test_what_was_seen_beside_the_work_is_listed_for_the_owner() -> None:
    seen = _between(_owner(full_record()), "Seen, not repaired", "Care")
    assert seen == "The left hinge cover has a hair crack. Dust in the fan; it was not asked for."


def test_a_machine_given_back_tells_why_which_risks_and_the_signature_first() -> None:
    first, _, owner = _owner(returned_record()).partition("Last entry")
    assert "Returned unrepaired" in first
    assert owner.index("Why it goes back") < owner.index("The complaint")
    back = _between(owner, "Why it goes back", "Found, and left as it is")
    assert back == (
        "Why The owner declined the repair: it costs more than the machine is worth to her. "
        "Risks told By Demo Technician: the machine has no battery now, and runs on the charger only. "
        "Owner&#39;s signature Signed on paper, sheet kept with the ticket. 2026-03-10 11:57 UTC"
    )
    assert "not good The tool reads how much" in _between(owner, "Found, and left as it is", "The complaint")
    assert "Of 9 checks: 1 good, 1 not good, 7 not done." in owner
    assert "The work that was planned" in owner
    assert "three or four charges" not in owner


def test_a_hazard_still_stands_first_on_a_machine_that_should_go_back() -> None:
    record = msgspec.structs.replace(
        returned_record(),
        outcome=Outcome.HELD,
        hazards=(HazardSeen(at="2026-03-10T09:04:00Z", what="The battery bulges."),),
    )
    assert "Not made safe: The battery bulges." in _between(
        _owner(record), "Found, and left", "The complaint"
    )


# The technician's part


def test_the_table_of_the_arrival_tells_everything_that_was_taken() -> None:
    table = _between(_technician(full_record()), "Taken on arrival", "On arrival")
    for line in (
        "Taken 2026-03-10 09:01 UTC",
        "The machine it runs",
        "Came with it charger, 65 W, sleeve",
        "Picture and lid works",
        "Keys and touchpad does not work",
        "Sound and camera could not be tried",
        "Battery BAT0, level 83\u00a0% (uncertainty not stated)",
        "Fan 1 unknown: The sensor gave no number.",
        "About the readings The wireless network was switched off.",
        "Pictures 2, below",
    ):
        assert " ".join(line.split()) in table


@pytest.mark.parametrize(
    ("arrival", "told"),
    [
        (
            Arrival(at="2026-03-10T09:01:00Z"),
            ["2026-03-10 09:01 UTC", "not said", "not said", "not said", "not said"],
        ),
        (
            Arrival(at="2026-03-10T09:01:00Z", found_as=FoundAs.DEAD, accessories=(), pictures=()),
            ["2026-03-10 09:01 UTC", "it does not start", "nothing", "not said", "none were taken"],
        ),
        (
            Arrival(at="2026-03-10T09:01:00Z", found_as=FoundAs.APART, readings_note="It lies in parts."),
            [
                "2026-03-10 09:01 UTC",
                "already apart: how it was before is not known",
                "not said",
                "It lies in parts.",
                "not said",
            ],
        ),
    ],
    ids=["nothing said", "dead, came alone", "apart"],
)
def test_what_nobody_said_on_arrival_is_not_said_and_not_guessed(arrival: Arrival, told: list[str]) -> None:
    assert [row.told for row in arrival_rows(arrival, ())] == told


def test_a_record_sorts_its_names_and_the_table_keeps_the_order_of_the_bench() -> None:
    arrival = full_record().arrival
    assert arrival is not None
    shuffled = msgspec.structs.replace(arrival, tried={n: arrival.tried[n] for n in sorted(arrival.tried)})
    assert list(shuffled.tried) != list(arrival.tried)
    assert arrival_rows(shuffled, ()) == arrival_rows(arrival, ())


def test_first_pass_and_last_are_kept_apart() -> None:
    first = _between(_technician(full_record()), "First pass Had", "Opened again")
    assert first.startswith("nothing been asked twice: Not ready .")
    assert first.endswith("Follow both radio leads to their plugs. First not good, in the end good")
    course = course_of(full_record())
    assert [(one.first, one.last) for one in course.changed] == [(Verdict.DOES_NOT_CONFORM, Verdict.CONFORMS)]


def test_a_first_pass_that_changed_nothing_says_so() -> None:
    record = msgspec.structs.replace(
        full_record(),
        first_pass={r.check: r.verdict for r in full_record().results},
        first_pass_outcome=Outcome.FIT,
    )
    assert "Had nothing been asked twice: Ready . No check changed its result." in _technician(record)


def test_a_check_that_was_not_answered_in_the_first_pass_is_no_change() -> None:
    assert course_of(msgspec.structs.replace(full_record(), first_pass={})).changed == ()


def test_opening_again_tells_what_why_and_which_checks_it_voided() -> None:
    again = _between(_technician(full_record()), "Opened again", "Work added")
    assert again == (
        "2026-03-10 09:45 UTC The base opened, the battery unplugged. Why: The touchpad did not click. "
        "Out of date by this, and asked again: Follow both radio leads to their plugs. "
        "2026-03-10 11:44 UTC The lid opened. Why: A look at the hinge. No answer went out of date by this."
    )


def test_a_voided_check_that_is_no_longer_asked_is_told_by_its_name() -> None:
    reopening = Reopening(at="2026-03-10T09:45:00Z", opened=("shroud",), why="Loose.", voided=("gone-check",))
    event = course_of(msgspec.structs.replace(full_record(), reopenings=(reopening,))).reopenings[0]
    assert event.lines[0] == "Shroud. Why: Loose."
    assert event.items == ("gone-check",)


def test_work_that_was_added_is_told() -> None:
    added = _between(_technician(full_record()), "Work added", "Not watched")
    assert added == "2026-03-10 09:40 UTC Battery, Feet"


@pytest.mark.parametrize(
    ("gap", "says"),
    [
        (
            {"seconds": 720.0, "asleep_s": 600.0, "lid_closed": True},
            "Nobody watched for 12 min, 10 min of it asleep, the lid was closed.",
        ),
        (
            {"seconds": 41.0, "asleep_s": None, "lid_closed": None},
            "Nobody watched for 41 s, whether the machine slept is not known.",
        ),
        (
            {"seconds": 7500.0, "asleep_s": 0.0, "lid_closed": False},
            "Nobody watched for 2 h 05 min, the machine did not sleep.",
        ),
    ],
    ids=["slept", "unknown", "awake"],
)
def test_a_gap_tells_how_long_and_what_is_known_of_it(gap: dict[str, float | bool | None], says: str) -> None:
    one = msgspec.convert({"at": "2026-03-10T10:40:00Z", "check": "claimed-capacity", **gap}, Gap)
    event = course_of(msgspec.structs.replace(full_record(), gaps=(one,))).gaps[0]
    assert event.lines[0].replace("\u00a0", " ") == says
    assert event.lines[1] == "The tool reads how much the battery says it holds."


@pytest.mark.parametrize(
    ("seconds", "says"),
    [
        (0.0, "0 s"),
        (89.4, "89 s"),
        (89.9, "90 s"),
        (90.0, "2 min"),
        (5369.0, "89 min"),
        (5370.0, "1 h 30 min"),
        (7199.0, "2 h 00 min"),
        (90_000.0, "25 h 00 min"),
    ],
)
def test_a_time_is_told_as_one_would_say_it(seconds: float, says: str) -> None:
    assert lasting(seconds).replace("\u00a0", " ") == says


def test_a_hazard_tells_who_made_it_safe() -> None:
    hazards = _between(_technician(full_record()), "Hazards", "Checklists")
    assert (
        "Made safe: Taken out, in the sand box outside. (by Demo Technician , 2026-03-10 09:12 UTC )"
        in hazards
    )


# Marks, and records from before


def test_practice_is_marked_beside_the_simulation() -> None:
    page = render(practice_record(), sample_pictures()).decode()
    band = re.findall(r"<p class=\"band\" role=\"note\">(.*?)</p>", page)
    assert band == ["<span>PRACTICE — not an acceptance</span><span>SIMULATION — not an acceptance</span>"]
    assert "PRACTICE" not in render(full_record()).decode().partition("<!--part record-->")[0]


def test_a_record_from_before_shows_none_of_the_new_parts() -> None:
    bare = msgspec.structs.replace(fit_record(), first_pass={})
    text = _owner(bare) + _technician(bare)
    for title in (
        "Taken on arrival",
        "First pass",
        "Opened again",
        "Work added",
        "Not watched",
        "Known flaws",
        "Why it goes back",
        "Pictures",
        "accepted",
    ):
        assert title not in text


@pytest.mark.parametrize(
    "record",
    [full_record(), conceded_record(), returned_record(), practice_record()],
    ids=["full", "conceded", "returned", "practice"],
)
@pytest.mark.parametrize("word", ["safe ", "certif", "guarant"])
def test_no_history_makes_the_page_claim_more_than_a_record_can(record: Record, word: str) -> None:
    assert word not in (_owner(record) + _technician(record)).lower().replace("made safe", "")
