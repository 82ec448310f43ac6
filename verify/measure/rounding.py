"""Rounding for print, once and by one rule; arithmetic knows nothing of it.

Rule: the uncertainty is given to two significant digits and the value to the same place, halves to even
(JCGM 100:2008, 7.2.6; clause from memory). A value whose uncertainty nobody stated gets four
significant digits [common practice, no source]. What is printed is the expanded uncertainty U = 2 u
(coverage factor k = 2, about 95 %; JCGM 100:2008, 7.2.3).

A value is never rounded onto or across a number that it must stay apart from: "89.996 %" does not become
"90 %" beside a limit of 90 % that it misses.
"""

import math
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Context, Decimal

from verify.values import Reading, Unit
from verify.values.errors import InvalidValueError

COVERAGE = 2.0
"""The coverage factor k of every printed uncertainty."""

_DIGITS_OF_UNCERTAINTY = 2
_DIGITS_WITHOUT = 4
_DIGITS_AT_MOST = 12

# Room for every digit that a float can have, from 1e308 down to 5e-324.
_ANY_FLOAT = Context(prec=700, rounding=ROUND_HALF_EVEN)


def _rounded(value: float, place: int) -> Decimal:
    """Round to 10**place, halves to even, on the number as it is written."""
    return Decimal(repr(value)).quantize(Decimal(1).scaleb(place), context=_ANY_FLOAT)


def _place(value: float, digits: int) -> int:
    """Return the power of ten of the last of `digits` significant digits; rounding up counts."""
    place = Decimal(repr(value)).adjusted() - digits + 1
    rounded = _rounded(value, place)
    return rounded.adjusted() - digits + 1 if rounded else place


def _side(value: Decimal, mark: Decimal) -> int:
    return (value > mark) - (value < mark)


def _keeps_apart(value: float, rounded: Decimal, marks: Sequence[float]) -> bool:
    exact = Decimal(repr(value))
    return all(_side(rounded, Decimal(repr(mark))) == _side(exact, Decimal(repr(mark))) for mark in marks)


def _plain(number: Decimal) -> str:
    text = f"{number:f}"
    return text.removeprefix("-") if not number else text


def _trimmed(number: Decimal) -> str:
    text = _plain(number)
    return text.rstrip("0").rstrip(".") if "." in text else text


def write_number(value: float, *, digits: int = _DIGITS_WITHOUT, apart_from: Sequence[float] = ()) -> str:
    """Write a number to so many significant digits, without exponent or trailing zeros.

    value: finite. digits: 1 or more. apart_from: numbers that it must not seem to reach or cross;
    digits are added until it does not. Raises InvalidValueError for NaN and infinity.
    """
    if not math.isfinite(value):
        raise InvalidValueError(f"{value} is not a number that can be written.")
    rounded = _rounded(value, _place(value, digits))
    while digits < _DIGITS_AT_MOST and not _keeps_apart(value, rounded, apart_from):
        digits += 1
        rounded = _rounded(value, _place(value, digits))
    return _trimmed(rounded)


def _with_unit(text: str, unit: Unit) -> str:
    if (text, unit) == ("1", Unit.COUNT):
        return "1 piece"
    return text if unit is Unit.ONE else f"{text} {unit}"


def write_reading(reading: Reading, *, apart_from: Sequence[float] = ()) -> str:
    """Write a reading as "93.6 % ± 3.2 %" (U = 2 u), as "12.31 V" without one, or as "unknown".

    apart_from: in the reading's unit, as for `write_number`.
    """
    value, uncertainty = reading.value, reading.standard_uncertainty
    if value is None:
        return "unknown"
    if not uncertainty:
        return _with_unit(write_number(value, apart_from=apart_from), reading.unit)
    expanded = COVERAGE * uncertainty
    place = _place(expanded, _DIGITS_OF_UNCERTAINTY)
    rounded, extra = _rounded(value, place), 0
    while extra < _DIGITS_AT_MOST and not _keeps_apart(value, rounded, apart_from):
        extra += 1
        rounded = _rounded(value, place - extra)
    value_text = _with_unit(_plain(rounded), reading.unit)
    return f"{value_text} ± {_with_unit(_plain(_rounded(expanded, place)), reading.unit)}"
