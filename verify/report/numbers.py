"""How the page writes what others worked out: the one rule of rounding, with the signs and words of the page.

The rule itself, for readings and limits, is `verify.measure.rounding`.
"""

import re

from verify.judge import Bounds, Limit, write_limited
from verify.measure.rounding import write_interval, write_number
from verify.record.visible import on_one_line
from verify.report import words
from verify.values import Reading

_NEARLY_SURE = 0.999
_FINEST = 9  # places: what is smaller is left by sums of doubles
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|\+00:00)", re.ASCII)


def written(reading: Reading, limit: Limit | None = None) -> str:
    """Return "55.1 Wh ± 1.2 Wh", or "unknown: why"; a value without a stated uncertainty says so.

    limit: what it was judged by; the value stands in its unit and never seems to reach or cross it.
    """
    text = write_limited(reading, limit, style=words.NUMBERS)
    if reading.value is None:
        return words.READING["unknown"].format(unknown=text, why=on_one_line(reading.reason or ""))
    return words.READING["unstated"].format(value=text) if reading.standard_uncertainty is None else text


def interval(reading: Reading) -> tuple[str, str] | None:
    """Return both ends of the 95 % interval as text without unit; None where it is not known."""
    return write_interval(reading, style=words.NUMBERS)


def limit_written(limit: Limit) -> str:
    """Return "at least 90 %", "at most 0.3 mm", "exactly 0 pieces" or "0.1 to 0.3 mm"."""
    return Bounds(limit).written(words.NUMBERS)


def likelihood(probability: float) -> str:
    """Return a probability, 0 to 1, as a percentage that never claims certainty."""
    if probability > _NEARLY_SURE:
        return words.READING["almost_surely"]
    if probability < 1 - _NEARLY_SURE:
        return words.READING["hardly"]
    return words.READING["share"].format(percent=f"{100 * probability:.1f}")


def moment(text: str) -> str:
    """Return an ISO 8601 time in UTC as "2026-03-10 09:02 UTC"; any other text as it stands."""
    if not _MOMENT.fullmatch(text):
        return text
    return words.TIMES["moment"].format(date=text[:10], time=text[11:16])


def lasting(seconds: float) -> str:
    """Return a time as one would say it: "45 s" below 90 s, "12 min" below 90 min, then "2 h 05 min"."""
    if seconds < 90:
        return words.TIMES["seconds"].format(seconds=f"{seconds:.0f}")
    minutes = round(seconds / 60)
    if minutes < 90:
        return words.TIMES["minutes"].format(minutes=minutes)
    return words.TIMES["hours"].format(hours=minutes // 60, minutes=f"{minutes % 60:02d}")


def signed(number: str) -> str:
    """Return a number as it is formatted, with the page's minus sign."""
    return number.replace("-", words.NUMBERS.minus)


def about(value: float) -> str:
    """Return a number as one would say it: whole from 10 on, one decimal below. value: finite."""
    told = round(value, 1) + 0.0  # no minus before a zero
    return signed(f"{value:.0f}" if abs(told) >= 10 else f"{told:.1f}")


def plain(value: float) -> str:
    """Return a number that was counted, without its uncertainty: four digits, or all before the point.

    Nothing below a billionth. Raises InvalidValueError for NaN and infinity.
    """
    before_point = len(f"{abs(value):.0f}")
    return signed(write_number(round(value, _FINEST), digits=max(4, before_point)))


def given(value: float) -> str:
    """Return a number that is given, not measured, as a limit: twelve digits, nothing below a billionth.

    Raises InvalidValueError for NaN and infinity.
    """
    return signed(write_number(round(value, _FINEST), digits=12))
