"""What the owner reads about the battery: how much it holds of how much, and how sure that is."""

import msgspec

from verify.judge import Limit
from verify.measure.capacity import StartHow
from verify.probe.handed_on import START_LEVEL, handed, told_by
from verify.record.model import Record, Result
from verify.record.visible import on_one_line
from verify.report.capacities import (
    CLAIMED,
    COUNTED,
    MEASURED,
    SHARES,
    capacities_of,
    counted_bounds,
    gauge_name,
    held_wh,
    label_wh_of,
    readings_of,
    result_of,
    same_battery,
)
from verify.report.numbers import about, interval
from verify.report.words import BATTERY
from verify.values import Reading, Unit, Verdict


class BatteryView(msgspec.Struct, frozen=True, kw_only=True):
    """Sentences, the first the most telling; verdict and limit None where no check judged it.

    accepted: what was judged is a flaw that was accepted.
    """

    lines: tuple[str, ...]
    verdict: Verdict | None = None
    limit: Limit | None = None
    accepted: bool = False


def battery_view(record: Record) -> BatteryView:
    """Return in plain sentences what it holds, of what, and how sure; or that it is unknown, and why.

    Where it was read, and why it is doubted, stands with the check, for the technician.
    The measured capacity is told where there is one, with what the battery claims beside it; else what it
    claims, and why it was not measured; else any energy reading.
    """
    result = _telling(record)
    if result is None:
        return BatteryView(lines=(BATTERY["not_asked"],))
    return BatteryView(
        lines=_lines(record, result),
        verdict=result.verdict,
        limit=result.limit,
        accepted=result.accepted is not None,
    )


def _lines(record: Record, result: Result) -> tuple[str, ...]:
    readings = capacities_of(result)
    if not readings:
        return (BATTERY["unknown"].format(why=_sentence(result.because)),)
    label_wh = label_wh_of(record)
    if result.check == MEASURED:
        counted = {COUNTED: readings_of(result_of(record, COUNTED))}
        claims = capacities_of(result_of(record, CLAIMED))
        return tuple(
            line
            for reading in readings
            for line in _measured(reading, label_wh, counted, _claim_of(claims, reading, label_wh))
        )
    claimed = result.check == CLAIMED
    lines = [line for reading in readings for line in _told(reading, label_wh, claimed=claimed)]
    if claimed:
        lines += [
            BATTERY["not_measured"].format(why=_sentence(reading.reason or ""))
            for reading in capacities_of(result_of(record, MEASURED))
        ]
    return tuple(lines)


def _telling(record: Record) -> Result | None:
    measured, claimed = result_of(record, MEASURED), result_of(record, CLAIMED)
    if measured is not None and any(reading.value is not None for reading in capacities_of(measured)):
        return measured
    if claimed is not None and (measured is None or capacities_of(claimed) or not measured.attempts):
        return claimed
    if measured is not None and measured.attempts:
        return measured
    for result in record.results:
        if any(reading.unit is Unit.WATT_HOUR for reading in readings_of(result)):
            return result
    return None


def _measured(
    reading: Reading, label_wh: float | None, counted: dict[str, tuple[Reading, ...]], claim: str | None
) -> list[str]:
    """Tell a measured capacity with its own interval, whose ends need not lie evenly about it."""
    if reading.value is None:
        return [BATTERY["unknown"].format(why=_sentence(reading.reason or ""))]
    start = handed(counted, gauge_name(reading), START_LEVEL)
    bounds = counted_bounds(reading, counted, label_wh)
    if bounds is None:
        lines = _told(reading, label_wh, claimed=False, doubts=False)
    else:
        low, high = bounds
        lines = [
            BATTERY["holds"].format(amount=_amount(reading, reading.value, label_wh)),
            BATTERY["sure_at_least"].format(low=f"{low:.1f}")
            if high is None
            else BATTERY["sure"].format(low=f"{low:.1f}", high=f"{high:.1f}", unit=Unit.WATT_HOUR.value),
        ]
    if start is not None and told_by(start).endswith(StartHow.GAUGE.value):
        lines.append(BATTERY["start_not_proven"])
    elif reading.reason:
        lines.append(BATTERY["in_doubt"])
    if claim is not None:
        lines.append(claim)
    return lines


def _claim_of(claims: list[Reading], measured: Reading, label_wh: float | None) -> str | None:
    """Return what the gauge of the same battery claims, in a sentence; None where it claims nothing."""
    claim = same_battery(measured, claims)
    if claim is None or claim.value is None:
        return None
    claimed_wh = held_wh(claim.value, claim.unit, label_wh)
    if claimed_wh is None:
        return BATTERY["claims"].format(amount=_amount(claim, claim.value, label_wh))
    return BATTERY["claims_beside"].format(value=about(claimed_wh))


def _told(reading: Reading, label_wh: float | None, *, claimed: bool, doubts: bool = True) -> list[str]:
    say = BATTERY
    if reading.value is None:
        return [say["unknown"].format(why=_sentence(reading.reason or ""))]
    amount = _amount(reading, reading.value, label_wh)
    lines = [say["claims" if claimed else "holds"].format(amount=amount)]
    shown = reading.to(Unit.PERCENT) if reading.unit is Unit.ONE else reading
    ends = interval(shown)
    if ends is None:
        lines.append(say["not_stated"])
    elif reading.standard_uncertainty:
        of_label = label_wh is not None and shown.unit is Unit.PERCENT
        how_sure = say["sure_of_label" if of_label else "sure"]
        lines.append(how_sure.format(low=ends[0], high=ends[1], unit=shown.unit.value))
    if doubts and reading.reason:
        lines.append(say["doubted"])
    return lines


def _amount(reading: Reading, value: float, label_wh: float | None) -> str:
    share = value * SHARES[reading.unit] if reading.unit in SHARES else None
    if label_wh is None:
        if share is None:
            return BATTERY["energy"].format(value=about(value))
        return BATTERY["share"].format(percent=f"{100 * share:.0f}")
    amount_wh = value if share is None else share * label_wh
    return BATTERY["of_label"].format(
        value=about(amount_wh), label=about(label_wh), percent=f"{100 * amount_wh / label_wh:.0f}"
    )


def _sentence(text: str) -> str:
    plain = on_one_line(text)
    return plain if plain.endswith((".", "!", "?")) else f"{plain}."
