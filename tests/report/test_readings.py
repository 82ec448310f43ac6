"""What the reading column shows, and what folds away below it."""

import msgspec
import pytest

from verify.judge import Limit, Rule
from verify.probe.handed_on import (
    CELL_RESISTANCE,
    DECIDED,
    GAUGE_LEVEL,
    GAUGE_SIGN,
    GAUGE_VERDICT,
    START_LEVEL,
    hand_on,
    is_handed_on,
    says,
)
from verify.record.model import Attempt, Result
from verify.report.owner import plainly
from verify.report.readings import readings_view
from verify.report.render import render
from verify.testing.sample_record import fit_record
from verify.values import Quantity, Reading, Unit, Verdict


def _reading(value: float | None, unit: Unit, u: float | None = None, source: str = "meter") -> Reading:
    reason = "It was not read." if value is None else None
    return Reading(value=value, unit=unit, standard_uncertainty=u, source=source, reason=reason)


def _at_least(value: float, unit: Unit = Unit.PERCENT, rule: Rule = Rule.GUARDED) -> Limit:
    return Limit(lower=Quantity(value=value, unit=unit), rule=rule, source="x")


def _at_most(value: float, unit: Unit) -> Limit:
    return Limit(upper=Quantity(value=value, unit=unit), rule=Rule.GUARDED, source="x")


def _result(
    *readings: Reading,
    verdict: Verdict = Verdict.CONFORMS,
    because: str = "Because ±.",
    limit: Limit | None = None,
    note: str = "",
    kind: str = "probe",
) -> Result:
    attempt = Attempt(
        at="2026-03-10T11:20:00Z", verdict=verdict, because=because, readings=readings, note=note
    )
    return Result(
        check="charge-to-full",
        checklist="battery",
        kind=kind,
        stage="charged",
        place="battery",
        ask="Ask.",
        good="Good.",
        limit=limit,
        verdict=verdict,
        because=because,
        attempts=(attempt,),
    )


LEVEL = _reading(100.0, Unit.PERCENT, 0.3, "battery gauge pack, level")
START = hand_on(
    "pack", START_LEVEL, 19.9, Unit.PERCENT, standard_uncertainty=3.9, more="not proven, its rest"
)
WATCHED = _reading(60.0, Unit.SECOND, 0.0, "full load, how long")
CELLS = [
    hand_on(name, CELL_RESISTANCE, 27.5, Unit.MILLIOHM, standard_uncertainty=0.6, more="4 s")
    for name in ("pack", "second")
]
CORNERS = [_reading(0.1, Unit.MILLIMETRE, 0.01, f"corner {number}") for number in range(4)]


@pytest.mark.parametrize(
    ("readings", "judged"),
    [
        ([LEVEL, START, WATCHED], 1),
        ([LEVEL, LEVEL, START], 2),
        ([WATCHED, LEVEL], 1),
        (CELLS, 2),
        ([*CELLS, START], 2),
        (CORNERS, 4),
        ([], 0),
    ],
    ids=[
        "a level handed on is not the level judged",
        "two batteries",
        "another dimension",
        "judged and handed on: it is the check's own",
        "and what comes after it",
        "several places",
        "nothing read",
    ],
)
def test_only_what_was_judged_stands_in_the_column(readings: list[Reading], judged: int) -> None:
    view = readings_view(_result(*readings))
    assert view.judged == tuple(readings[:judged])
    assert len(view.more) == len(readings) - judged  # nothing is lost


def test_a_sign_of_the_gauge_has_a_next_step_and_is_not_doubted() -> None:
    sign = hand_on(
        "pack",
        GAUGE_SIGN,
        1.0,
        Unit.COUNT,
        standard_uncertainty=0.0,
        more="Full equals design, to the last digit.",
        reason="Run it down.",
    )
    (more,) = readings_view(_result(LEVEL, sign)).more
    assert more.what == "Battery gauge pack: sign of its gauge"
    assert more.told == "Full equals design, to the last digit. That speaks against it."
    assert more.remark == "What helps: Run it down."


@pytest.mark.parametrize(
    ("reading", "told", "remark"),
    [
        (hand_on("pack", DECIDED, 1.0, Unit.COUNT, standard_uncertainty=0.0), "yes", ""),
        (hand_on("pack", GAUGE_VERDICT, 1.0, Unit.COUNT, more="boastful"), "boastful", ""),
        (
            hand_on("pack", GAUGE_VERDICT, None, Unit.COUNT, more="undecided", reason="Charge it once."),
            "undecided",
            "What helps: Charge it once.",
        ),
        (_reading(None, Unit.SECOND), "unknown: It was not read.", ""),
        (
            hand_on("pack", GAUGE_LEVEL, 5.0, Unit.PERCENT, standard_uncertainty=1.0, reason="It leapt."),
            "5.0\u00a0%\u00a0±\u00a02.0\u00a0%",
            "Doubted: It leapt.",
        ),
    ],
    ids=["a yes", "a word", "no word yet", "unknown", "doubted"],
)
def test_a_code_for_other_checks_is_told_as_what_it_means(reading: Reading, told: str, remark: str) -> None:
    (more,) = readings_view(_result(LEVEL, reading)).more
    assert (more.told, more.remark) == (told, remark)


def test_what_is_handed_on_is_known_by_its_source_alone() -> None:
    assert is_handed_on(START)
    assert says(START, START_LEVEL)
    assert not says(START, GAUGE_LEVEL)
    assert not is_handed_on(LEVEL)


def test_the_page_folds_what_else_was_read_and_keeps_it_whole() -> None:
    record = msgspec.structs.replace(fit_record(), results=(_result(LEVEL, START, limit=_at_least(99.0)),))
    page = render(record).decode()
    column, _, folded = page.partition('<details class="more">')
    assert "battery gauge pack, level" in column.rpartition('data-is="Reading"')[2]
    assert "What else was read (1)" in folded
    assert "level at the start of the count, not proven, its rest" in folded.partition("</details>")[0]
    assert ".more::details-content { content-visibility: visible; }" in page  # printed though folded


MISSED = "61.7 % ± 2.1 % against at least 90 %: not good."


@pytest.mark.parametrize(
    ("result", "said"),
    [
        (
            _result(
                _reading(61.66, Unit.PERCENT, 1.07),
                verdict=Verdict.DOES_NOT_CONFORM,
                because=MISSED,
                limit=_at_least(90.0),
                note="The battery reports 30.8 Wh.",
            ),
            "Found: 62 %. Good is at least 90 %.",
        ),
        (
            _result(
                _reading(89.97, Unit.PERCENT, 1.6),
                verdict=Verdict.UNDECIDED,
                limit=_at_least(90.0),
            ),
            "Found: 89.97 %. Good is at least 90 %: too near to it to be sure.",
        ),
        (
            _result(
                _reading(31.2, Unit.WATT_HOUR, 0.6),
                verdict=Verdict.DOES_NOT_CONFORM,
                limit=_at_least(45.0, Unit.WATT_HOUR),
            ),
            "Found: 31 watt-hours (Wh). Good is at least 45 watt-hours (Wh).",
        ),
        (
            _result(
                _reading(1.0, Unit.COUNT, 0.0),
                verdict=Verdict.DOES_NOT_CONFORM,
                because="1 piece against at least 3 pieces: not good.",
                limit=_at_least(3.0, Unit.COUNT, Rule.COUNT),
            ),
            "Found: 1. Good is at least 3.",
        ),
        (
            _result(
                _reading(1.0, Unit.COUNT, 0.0),
                verdict=Verdict.DOES_NOT_CONFORM,
                because="1 piece against at least 3 pieces: not good.",
                limit=_at_least(3.0, Unit.COUNT, Rule.COUNT),
                note="Missing: the camera, the fan.",
            ),
            "Missing: the camera, the fan.",
        ),
        (
            _result(
                _reading(None, Unit.PERCENT),
                verdict=Verdict.UNDECIDED,
                because="Cannot tell yet: It was not read.",
                limit=_at_least(90.0),
            ),
            "It was not read.",
        ),
        (
            _result(
                _reading(1.0, Unit.COUNT, 0.0, "battery gauge pack, against what was counted"),
                verdict=Verdict.DOES_NOT_CONFORM,
                because="1 piece against at most 0 pieces: not good.",
                limit=Limit(
                    upper=Quantity(value=0.0, unit=Unit.COUNT),
                    rule=Rule.COUNT,
                    source="common practice, no source",
                ),
                note="Its level rises as that of a pack of 2.76 Ah.",
            ),
            "Why stands in the part for the technician.",
        ),
        (_result(verdict=Verdict.NOT_DONE, because="Not done."), ""),
        (_result(because="Looked at and good.", note="A scratch.", kind="look"), "A scratch."),
        (
            _result(
                verdict=Verdict.DOES_NOT_CONFORM,
                because="Picture taken and not good.",
                note="Too dark.",
                kind="photo",
            ),
            "Too dark.",
        ),
        (
            _result(
                verdict=Verdict.UNDECIDED, because="It cannot be seen.", note="A foil over it.", kind="look"
            ),
            "It cannot be seen. A foil over it.",
        ),
        (
            _result(
                verdict=Verdict.DOES_NOT_CONFORM,
                because="No battery is visible. If one is fitted, check its connector.",
            ),
            "No battery is visible.",
        ),
        (
            _result(
                _reading(1.0, Unit.COUNT, 0.0),
                verdict=Verdict.DOES_NOT_CONFORM,
                because="1 piece against at least 3 pieces: not good.",
                limit=_at_least(3.0, Unit.COUNT, Rule.COUNT),
                note="Missing: camera. Check the lead. Disturbed perhaps by: base-cover.",
            ),
            "Missing: camera.",
        ),
        (
            _result(
                _reading(-3.0, Unit.KELVIN, 0.5),
                verdict=Verdict.DOES_NOT_CONFORM,
                limit=_at_least(1.0, Unit.KELVIN),
            ),
            "Found: −3 °C to spare. Good is at least 1 °C to spare.",
        ),
        (
            _result(
                _reading(14.0, Unit.KELVIN, 0.5),
                verdict=Verdict.DOES_NOT_CONFORM,
                limit=_at_most(10.0, Unit.KELVIN),
            ),
            "Found: 14 °C more. Good is at most 10 °C more.",
        ),
        (
            _result(
                _reading(825757490.0, Unit.SECOND, 0.5),
                verdict=Verdict.DOES_NOT_CONFORM,
                limit=_at_most(120.0, Unit.SECOND),
            ),
            "Found: 9557 days. Good is at most 120 seconds.",
        ),
        (
            _result(
                _reading(49.999999997, Unit.PERCENT, 0.0),
                verdict=Verdict.DOES_NOT_CONFORM,
                limit=_at_least(97.0),
            ),
            "Found: 50 %. Good is at least 97 %.",
        ),
    ],
    ids=[
        "a figure, and what good is",
        "too near, and never rounded onto the limit",
        "a unit has its name",
        "a count",
        "a count whose note says more",
        "unknown",
        "what a battery's gauge said, for the technician",
        "the verdict says it all",
        "a look",
        "a picture",
        "a look that could not be",
        "where to look next is for the technician",
        "nor stands it behind a count",
        "below a limit is no temperature",
        "nor is hotter than before",
        "a clock that is years off",
        "no digits that only a division put there",
    ],
)
def test_the_owner_reads_what_was_found_without_figures_of_uncertainty(result: Result, said: str) -> None:
    assert plainly(result).replace("\u00a0", " ") == said
