"""What the owner reads about the battery never says more than is known."""

import msgspec
import pytest

from verify.probe.handed_on import CAPACITY_WH, START_LEVEL, hand_on
from verify.record.model import Attempt, Part, Record, Result, Work
from verify.report.battery import battery_view
from verify.testing.sample_record import fit_record, held_record
from verify.values import Reading, Unit, Verdict


def _record(
    *readings: Reading, check: str = "claimed-capacity", label: str | None = "57.0 Wh", stale: str = ""
) -> Record:
    attempt = Attempt(
        at="2026-03-10T11:20:00Z",
        verdict=Verdict.CONFORMS,
        because="Because.",
        readings=readings,
        out_of_date=stale,
    )
    result = Result(
        check=check,
        checklist="battery",
        kind="probe",
        stage="charged",
        place="battery",
        ask="Ask.",
        good="Good.",
        verdict=Verdict.CONFORMS,
        because="The battery was not seen.",
        attempts=(attempt,),
    )
    part = Part(source="reproduction", label={} if label is None else {"energy": label})
    ticket = msgspec.structs.replace(fit_record().ticket, work=(Work(kind="battery", part=part),))
    return msgspec.structs.replace(fit_record(), ticket=ticket, results=(result,))


def _reading(value: float | None, unit: Unit, u: float | None = None, reason: str | None = None) -> Reading:
    return Reading(value=value, unit=unit, standard_uncertainty=u, source="gauge", reason=reason)


@pytest.mark.parametrize(
    ("record", "lines"),
    [
        (
            _record(_reading(55.1, Unit.WATT_HOUR, 0.6)),
            [
                "By its own account it holds about 55 of the 57 watt-hours (Wh) printed on it: 97 %.",
                "How sure: 95 chances in 100 that it lies between 53.9 and 56.3 Wh.",
            ],
        ),
        (
            _record(_reading(55.1, Unit.WATT_HOUR, 0.6), check="measured-capacity"),
            [
                "The battery holds about 55 of the 57 watt-hours (Wh) printed on it: 97 %.",
                "How sure: 95 chances in 100 that it lies between 53.9 and 56.3 Wh.",
            ],
        ),
        (
            _record(_reading(62.0, Unit.PERCENT)),
            [
                "By its own account it holds about 35 of the 57 watt-hours (Wh) printed on it: 62 %.",
                "How exact that is, nobody has stated.",
            ],
        ),
        (
            _record(_reading(62.0, Unit.PERCENT, 1.0)),
            [
                "By its own account it holds about 35 of the 57 watt-hours (Wh) printed on it: 62 %.",
                "How sure: 95 chances in 100 that it lies between 60.0 and 64.0 % of what is printed on it.",
            ],
        ),
        (
            _record(_reading(0.62, Unit.ONE, 0.01), label=None),
            [
                "By its own account it holds about 62 % of what it was built for.",
                "How sure: 95 chances in 100 that it lies between 60.0 and 64.0 %.",
            ],
        ),
        (
            _record(_reading(9.04, Unit.WATT_HOUR, 0.6), label="fifty"),
            [
                "By its own account it holds about 9.0 watt-hours (Wh).",
                "How sure: 95 chances in 100 that it lies between 7.8 and 10.2 Wh.",
            ],
        ),
        (
            _record(_reading(None, Unit.WATT_HOUR, reason="the gauge gives no capacity")),
            ["How much the battery holds is not known: the gauge gives no capacity."],
        ),
        (
            _record(_reading(60.0, Unit.WATT_HOUR, reason="more than its design")),
            [
                "By its own account it holds about 60 of the 57 watt-hours (Wh) printed on it: 105 %.",
                "How exact that is, nobody has stated.",
                "That figure is in doubt; why stands in the part for the technician.",
            ],
        ),
        (_record(), ["How much the battery holds is not known: The battery was not seen."]),
        (
            _record(_reading(55.1, Unit.WATT_HOUR, 0.6), stale="The pack was unplugged."),
            ["How much the battery holds is not known: The battery was not seen."],
        ),
        (
            _record(_reading(71.0, Unit.CELSIUS, 1.0), check="heat"),
            ["How much the battery holds was not part of this repair's checks."],
        ),
    ],
    ids=[
        "claimed energy",
        "measured energy",
        "percent of the label",
        "percent of the label, how sure",
        "ratio, no label",
        "label that cannot be read",
        "unknown",
        "doubted",
        "no reading",
        "out of date",
        "another check",
    ],
)
def test_the_sentence_follows_what_is_known(record: Record, lines: list[str]) -> None:
    assert [line.replace("\u00a0", " ") for line in battery_view(record).lines] == lines


def test_several_packs_are_told_each_for_itself() -> None:
    record = _record(_reading(20.0, Unit.WATT_HOUR), _reading(30.0, Unit.WATT_HOUR), label=None)
    amounts = [line for line in battery_view(record).lines if "holds" in line]
    assert len(amounts) == 2


def test_the_held_pack_shows_its_verdict_and_limit() -> None:
    view = battery_view(held_record())
    assert view.verdict is Verdict.DOES_NOT_CONFORM
    assert view.limit is not None


NOT_PROVEN, PROVEN = "not proven, its gauge alone", "proven, drained before"


def _result(check: str, *readings: Reading) -> Result:
    return msgspec.structs.replace(_record(*readings).results[0], check=check)


def _handed(what: str, value: float, unit: Unit, more: str, u: float | None = 1.0) -> Reading:
    return hand_on("pack", what, value, unit, standard_uncertainty=u, more=more)


def _whole(measured: Reading, *counted: Reading, claimed: Reading | None = None) -> Record:
    results = [_result("charge-to-full", *counted), _result("measured-capacity", measured)]
    if claimed is not None:
        results.append(_result("claimed-capacity", claimed))
    return msgspec.structs.replace(_record(), results=tuple(results))


def _of_pack(value: float | None, unit: Unit, u: float | None = None, reason: str | None = None) -> Reading:
    return Reading(
        value=value,
        unit=unit,
        standard_uncertainty=u,
        source="battery gauge pack, its own sensors",
        reason=reason,
    )


SHARE = _of_pack(70.0, Unit.PERCENT, 10.0, "To be sure: Drain it first.")
CLAIM = _of_pack(56.0, Unit.WATT_HOUR, 0.6)
UNEVEN = _handed(CAPACITY_WH, 39.9, Unit.WATT_HOUR, "95 %: 35.00 to 52.50")
UNBOUNDED = _handed(CAPACITY_WH, 39.9, Unit.WATT_HOUR, "95 %: 35.00 or more", u=None)


@pytest.mark.parametrize(
    ("record", "lines"),
    [
        (
            _whole(SHARE, UNEVEN, _handed(START_LEVEL, 31.0, Unit.PERCENT, NOT_PROVEN), claimed=CLAIM),
            [
                "The battery holds about 40 of the 57 watt-hours (Wh) printed on it: 70 %.",
                "How sure: 95 chances in 100 that it lies between 35.0 and 52.5 Wh.",
                "That leans on its own word for how full it was when the charge began.",
                "By its own account it holds about 56 Wh.",
            ],
        ),
        (
            _whole(
                _of_pack(70.0, Unit.PERCENT, 3.0),
                UNEVEN,
                _handed(START_LEVEL, 3.0, Unit.PERCENT, PROVEN),
            ),
            [
                "The battery holds about 40 of the 57 watt-hours (Wh) printed on it: 70 %.",
                "How sure: 95 chances in 100 that it lies between 35.0 and 52.5 Wh.",
            ],
        ),
        (
            _whole(_of_pack(70.0, Unit.PERCENT, 3.0), UNBOUNDED),
            [
                "The battery holds about 40 of the 57 watt-hours (Wh) printed on it: 70 %.",
                "How sure: 95 chances in 100 that it is at least 35.0 Wh; how much more, nothing shows.",
            ],
        ),
        (
            _whole(_of_pack(60.0, Unit.PERCENT, 3.0, "To be sure: Drain it first."), UNEVEN),
            [
                "The battery holds about 34 of the 57 watt-hours (Wh) printed on it: 60 %.",
                "How sure: 95 chances in 100 that it lies between 54.0 and 66.0 % of what is printed on it.",
                "That is not sure enough to decide by; why stands in the part for the technician.",
            ],
        ),
        (
            _whole(_of_pack(None, Unit.PERCENT, reason="The charge was not counted."), claimed=CLAIM),
            [
                "By its own account it holds about 56 of the 57 watt-hours (Wh) printed on it: 98 %.",
                "How sure: 95 chances in 100 that it lies between 54.8 and 57.2 Wh.",
                "By measurement it is not known: The charge was not counted.",
            ],
        ),
        (
            _whole(_of_pack(None, Unit.PERCENT, reason="The charge was not counted.")),
            ["How much the battery holds is not known: The charge was not counted."],
        ),
    ],
    ids=[
        "the count's own interval, a start that is not proven, and the claim beside it",
        "a proven start",
        "no bound above",
        "cut by a meter or the weight: not the interval of the count alone",
        "not measured: the claim, said as such",
        "neither measured nor claimed",
    ],
)
def test_what_was_measured_goes_before_what_is_claimed(record: Record, lines: list[str]) -> None:
    assert [line.replace("\u00a0", " ") for line in battery_view(record).lines] == lines
