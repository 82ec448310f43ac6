"""What the owner reads about the battery: how much it holds of how much, and how sure that is."""

import math
import re

import msgspec

from verify.judge import Limit
from verify.measure.capacity import StartHow
from verify.probe.handed_on import CAPACITY_WH, START_LEVEL, handed, told_by
from verify.record.model import Record, Result
from verify.record.visible import on_one_line
from verify.report.numbers import about, interval
from verify.report.words import BATTERY
from verify.values import Reading, Unit, Verdict
from verify.values.errors import HandbackError

_MEASURED, _CLAIMED, _COUNTED = "measured-capacity", "claimed-capacity", "charge-to-full"
_SHARES = {Unit.PERCENT: 0.01, Unit.ONE: 1.0}
_GAUGE = re.compile(r"battery gauge ([^:,]+)[:,]")
_BOUNDS = re.compile(r"95 %: (\d+(?:\.\d+)?) (?:to (\d+(?:\.\d+)?)|or more)")
_SAME = 0.02  # of itself: the same figure told as a share and in Wh


class BatteryView(msgspec.Struct, frozen=True, kw_only=True):
    """Sentences, the first the most telling; verdict and limit None where no check judged it.

    accepted: what was judged is a flaw that was accepted.
    """

    lines: tuple[str, ...]
    verdict: Verdict | None = None
    limit: Limit | None = None
    accepted: bool = False


def battery_view(record: Record) -> BatteryView:
    """Return in plain sentences what it holds, of what, how sure, where it was read; or that it is unknown.

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
    readings = _capacities(result)
    if not readings:
        return (BATTERY["unknown"].format(why=_sentence(result.because)),)
    label_wh = _label_wh(record)
    if result.check == _MEASURED:
        counted = {_COUNTED: _readings(_result(record, _COUNTED))}
        claims = _capacities(_result(record, _CLAIMED))
        return tuple(
            line
            for reading in readings
            for line in _measured(reading, label_wh, counted, _claim_of(claims, reading, label_wh))
        )
    claimed = result.check == _CLAIMED
    lines = [line for reading in readings for line in _told(reading, label_wh, claimed=claimed)]
    if claimed:
        lines += [
            BATTERY["not_measured"].format(why=_sentence(reading.reason or ""))
            for reading in _capacities(_result(record, _MEASURED))
        ]
    return tuple(lines)


def _telling(record: Record) -> Result | None:
    measured, claimed = _result(record, _MEASURED), _result(record, _CLAIMED)
    if measured is not None and any(reading.value is not None for reading in _capacities(measured)):
        return measured
    if claimed is not None and (measured is None or _capacities(claimed) or not measured.attempts):
        return claimed
    if measured is not None and measured.attempts:
        return measured
    for result in record.results:
        if any(reading.unit is Unit.WATT_HOUR for reading in _readings(result)):
            return result
    return None


def _result(record: Record, check: str) -> Result | None:
    return next((result for result in record.results if result.check == check), None)


def _readings(result: Result | None) -> tuple[Reading, ...]:
    """Return what the last attempt that still counts read."""
    current = [attempt for attempt in result.attempts if not attempt.out_of_date] if result else []
    return current[-1].readings if current else ()


def _capacities(result: Result | None) -> list[Reading]:
    return [
        reading for reading in _readings(result) if reading.unit is Unit.WATT_HOUR or reading.unit in _SHARES
    ]


def _measured(
    reading: Reading, label_wh: float | None, counted: dict[str, tuple[Reading, ...]], claim: str | None
) -> list[str]:
    """Tell a measured capacity with its own interval, whose ends need not lie evenly about it."""
    if reading.value is None:
        return [BATTERY["unknown"].format(why=_sentence(reading.reason or ""))]
    gauge = _GAUGE.match(reading.source)
    name = gauge.group(1) if gauge else ""
    by_count = handed(counted, name, CAPACITY_WH)
    start = handed(counted, name, START_LEVEL)
    held_wh = _held_wh(reading, reading.value, label_wh)
    bounds = _BOUNDS.match(told_by(by_count)) if by_count is not None else None
    if by_count is None or by_count.value is None or bounds is None:
        lines = _told(reading, label_wh, claimed=False, doubts=False)
    elif held_wh is not None and not math.isclose(held_wh, by_count.value, rel_tol=_SAME):
        # Cut at what a meter or the weight allows: the interval of the count alone is not its own.
        lines = _told(reading, label_wh, claimed=False, doubts=False)
    else:
        low, high = float(bounds.group(1)), bounds.group(2)
        lines = [
            BATTERY["holds"].format(amount=_amount(reading, reading.value, label_wh)),
            BATTERY["sure_at_least"].format(low=f"{low:.1f}")
            if high is None
            else BATTERY["sure"].format(low=f"{low:.1f}", high=f"{float(high):.1f}", unit="Wh"),
            BATTERY["source"].format(source=_sentence(reading.source)),
        ]
    if start is not None and told_by(start).endswith(StartHow.GAUGE.value):
        lines.append(BATTERY["start_not_proven"])
    elif reading.reason:
        lines.append(BATTERY["in_doubt"].format(why=_sentence(reading.reason)))
    if claim is not None:
        lines.append(claim)
    return lines


def _claim_of(claims: list[Reading], measured: Reading, label_wh: float | None) -> str | None:
    """Return what the gauge of the same battery claims, in a sentence; None where it claims nothing."""
    gauge = _GAUGE.match(measured.source)
    for claim in claims:
        its = _GAUGE.match(claim.source)
        same = len(claims) == 1 or (gauge and its and gauge.group(1) == its.group(1))
        if same and claim.value is not None:
            return BATTERY["claims"].format(amount=_amount(claim, claim.value, label_wh))
    return None


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
    lines.append(say["source"].format(source=_sentence(reading.source)))
    if doubts and reading.reason:
        lines.append(say["doubted"].format(why=_sentence(reading.reason)))
    return lines


def _held_wh(reading: Reading, value: float, label_wh: float | None) -> float | None:
    if reading.unit is Unit.WATT_HOUR:
        return value
    return None if label_wh is None else value * _SHARES[reading.unit] * label_wh


def _amount(reading: Reading, value: float, label_wh: float | None) -> str:
    share = value * _SHARES[reading.unit] if reading.unit in _SHARES else None
    if label_wh is None:
        if share is None:
            return BATTERY["energy"].format(value=about(value))
        return BATTERY["share"].format(percent=f"{100 * share:.0f}")
    held_wh = value if share is None else share * label_wh
    return BATTERY["of_label"].format(
        value=about(held_wh), label=about(label_wh), percent=f"{100 * held_wh / label_wh:.0f}"
    )


def _label_wh(record: Record) -> float | None:
    try:
        value = record.ticket.label_wh()
    except HandbackError:
        return None  # a label that cannot be read is shown as it stands, with the part
    return value if value is not None and value > 0 else None


def _sentence(text: str) -> str:
    plain = on_one_line(text)
    return plain if plain.endswith((".", "!", "?")) else f"{plain}."
