"""How a number, a reading and a limit are written, once and by one rule; arithmetic knows nothing of it.

Rule: the uncertainty is given to two significant digits and the value to the same place, halves to even
(JCGM 100:2008, 7.2.6; clause from memory). A value whose uncertainty nobody stated gets four
significant digits, or all before the point [common practice, no source]. What is printed is the
expanded uncertainty U = 2 u (coverage factor k = 2, about 95 %; JCGM 100:2008, 7.2.3).

A value is never rounded onto or across a number that it must stay apart from: "89.996 %" does not become
"90 %" beside a limit of 90 % that it misses.
"""

import math
from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Context, Decimal

import msgspec

from verify.values import Quantity, Reading, Unit
from verify.values.errors import InvalidValueError

COVERAGE = 2.0
"""The coverage factor k of every printed uncertainty."""

_DIGITS_OF_UNCERTAINTY = 2
_DIGITS_WITHOUT = 4
_DIGITS_AT_MOST = 12

# Room for every digit that a float can have, from 1e308 down to 5e-324.
_ANY_FLOAT = Context(prec=700, rounding=ROUND_HALF_EVEN)


class Style(msgspec.Struct, frozen=True, kw_only=True):
    """How a place writes: the signs of a page are not those of a plain file; the rounding is the same.

    space: between number and unit. minus: the sign. units: how a unit is shown, where not by its own name.
    one_piece: the unit of one. unknown: instead of a value. The rest: how a bound or two are said.
    """

    space: str = " "
    minus: str = "-"
    units: Mapping[Unit, str] = {}
    one_piece: str = "piece"
    unknown: str = "unknown"
    at_least: str = "at least {bound}"
    at_most: str = "at most {bound}"
    exactly: str = "exactly {bound}"
    between: str = "{lower} to {upper}"


PLAIN = Style()


def _exact(value: float | Decimal) -> Decimal:
    return value if isinstance(value, Decimal) else Decimal(repr(value))


def _rounded(value: float | Decimal, place: int) -> Decimal:
    """Round to 10**place, halves to even, on the number as it is written."""
    return _exact(value).quantize(Decimal(1).scaleb(place), context=_ANY_FLOAT)


def _place(value: float | Decimal, digits: int) -> int:
    """Return the power of ten of the last of `digits` significant digits; rounding up counts."""
    place = _exact(value).adjusted() - digits + 1
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


def _with_unit(text: str, unit: Unit, style: Style) -> str:
    number = text.replace("-", style.minus)
    if unit is Unit.ONE:
        return number
    sign = style.one_piece if (text, unit) == ("1", Unit.COUNT) else style.units.get(unit, unit.value)
    return f"{number}{style.space}{sign}" if sign else number


def write_quantity(quantity: Quantity, *, style: Style = PLAIN) -> str:
    """Write a number that is given, not measured, with its unit: "0.3 mm", "1 piece"; nothing is cut off.

    A number with more than twelve digits loses what only a conversion put there.
    """
    return _with_unit(write_number(quantity.value, digits=_DIGITS_AT_MOST), quantity.unit, style)


def write_limit(lower: Quantity | None, upper: Quantity | None, *, style: Style = PLAIN) -> str:
    """Write "at least 90 %", "at most 0.3 mm", "exactly 13 pieces", "0.1 to 0.3 mm"; empty without a bound.

    Both are written in the lower one's unit. Raises UnitMismatchError where they are of two dimensions.
    """
    if lower is None:
        return "" if upper is None else style.at_most.format(bound=write_quantity(upper, style=style))
    if upper is None:
        return style.at_least.format(bound=write_quantity(lower, style=style))
    upper = upper.to(lower.unit)
    if lower == upper:
        return style.exactly.format(bound=write_quantity(upper, style=style))
    low = write_number(lower.value, digits=_DIGITS_AT_MOST).replace("-", style.minus)
    return style.between.format(lower=low, upper=write_quantity(upper, style=style))


def write_reading(reading: Reading, *, apart_from: Sequence[float] = (), style: Style = PLAIN) -> str:
    """Write a reading as "93.6 % ± 3.2 %" (U = 2 u), as "12.31 V" without one, or as "unknown".

    A count and whatever else is exact (uncertainty 0) is written out.
    apart_from: in the reading's unit, as for `write_number`.
    """
    value, uncertainty = reading.value, reading.standard_uncertainty
    if value is None:
        return style.unknown
    if uncertainty is None:
        digits = max(_DIGITS_WITHOUT, Decimal(repr(value)).adjusted() + 1)
        return _with_unit(write_number(value, digits=digits, apart_from=apart_from), reading.unit, style)
    if uncertainty == 0:
        text = write_number(value, digits=_DIGITS_AT_MOST, apart_from=apart_from)
        return _with_unit(text, reading.unit, style)
    rounded, expanded = _to_the_place(value, uncertainty, apart_from)
    pair = (_with_unit(_plain(number), reading.unit, style) for number in (rounded, expanded))
    return f"{style.space}±{style.space}".join(pair)


def write_value(reading: Reading, *, apart_from: Sequence[float] = (), style: Style = PLAIN) -> str:
    """Write a reading as one would say it, without how sure it is: "62 %", "89.97 %" beside 90 %.

    Two digits, four where it is exact, or all before the point. As `write_reading` otherwise.
    """
    value = reading.value
    if value is None:
        return write_reading(reading, apart_from=apart_from, style=style)
    least = _DIGITS_WITHOUT if reading.standard_uncertainty == 0 else _DIGITS_OF_UNCERTAINTY
    digits = max(least, Decimal(repr(value)).adjusted() + 1)
    return _with_unit(write_number(value, digits=digits, apart_from=apart_from), reading.unit, style)


def write_interval(reading: Reading, *, style: Style = PLAIN) -> tuple[str, str] | None:
    """Write both ends of the 95 % interval, U = 2 u on either side, without unit; None where not known."""
    value, uncertainty = reading.value, reading.standard_uncertainty
    if value is None or uncertainty is None:
        return None
    spread = COVERAGE * uncertainty
    ends = value - spread, value + spread
    if uncertainty == 0 or not all(map(math.isfinite, ends)):
        text = write_number(value, digits=_DIGITS_AT_MOST).replace("-", style.minus)
        return (text, text) if uncertainty == 0 else None
    place = _place(spread, _DIGITS_OF_UNCERTAINTY)
    low, high = (_plain(_rounded(end, place)).replace("-", style.minus) for end in ends)
    return low, high


def _to_the_place(value: float, uncertainty: float, apart_from: Sequence[float]) -> tuple[Decimal, Decimal]:
    """Return the value and the expanded uncertainty, both as they are printed."""
    spread = COVERAGE * uncertainty
    expanded = Decimal(repr(spread)) if math.isfinite(spread) else 2 * Decimal(repr(uncertainty))
    place = _place(expanded, _DIGITS_OF_UNCERTAINTY)
    rounded, extra = _rounded(value, place), 0
    while extra < _DIGITS_AT_MOST and not _keeps_apart(value, rounded, apart_from):
        extra += 1
        rounded = _rounded(value, place - extra)
    return rounded, _rounded(expanded, place)
