"""What the owner reads about the battery: how much it holds of how much, and how sure that is."""

import msgspec

from verify.judge import Limit
from verify.record.model import Record, Result
from verify.record.visible import on_one_line
from verify.report.numbers import about, interval
from verify.report.words import BATTERY
from verify.values import Reading, Unit, Verdict
from verify.values.errors import HandbackError

_MEASURED, _CLAIMED = "measured-capacity", "claimed-capacity"
_SHARES = {Unit.PERCENT: 0.01, Unit.ONE: 1.0}


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

    The measured capacity is told where there is one, else what the battery claims, else any energy reading.
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
    current = [attempt for attempt in result.attempts if not attempt.out_of_date]
    readings = [
        reading
        for reading in (current[-1].readings if current else ())
        if reading.unit is Unit.WATT_HOUR or reading.unit in _SHARES
    ]
    if not readings:
        return (BATTERY["unknown"].format(why=_sentence(result.because)),)
    label_wh = _label_wh(record)
    claimed = result.check == _CLAIMED
    return tuple(line for reading in readings for line in _told(reading, label_wh, claimed=claimed))


def _telling(record: Record) -> Result | None:
    by_id = {result.check: result for result in record.results}
    for wanted in (_MEASURED, _CLAIMED):
        if wanted in by_id and (by_id[wanted].attempts or wanted == _CLAIMED):
            return by_id[wanted]
    for result in record.results:
        for attempt in result.attempts:
            if not attempt.out_of_date and any(r.unit is Unit.WATT_HOUR for r in attempt.readings):
                return result
    return None


def _told(reading: Reading, label_wh: float | None, *, claimed: bool) -> list[str]:
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
    if reading.reason:
        lines.append(say["doubted"].format(why=_sentence(reading.reason)))
    return lines


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
