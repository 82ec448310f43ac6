"""Write readings and limits for people: rounded once, here, for print only.

The uncertainty shown is the expanded one, k = 2, about 95 %, to two significant digits; the value is
rounded to the same place (JCGM 100:2008 7.2.6).
"""

import math
import re

from verify.judge import Limit
from verify.measure.rounding import COVERAGE
from verify.record.visible import on_one_line
from verify.values import Quantity, Reading, Unit

_MOST_DECIMALS = 9
_NEARLY_SURE = 0.999
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|\+00:00)", re.ASCII)
_SIGNS = {Unit.OHM: "Ω", Unit.MILLIOHM: "mΩ", Unit.ONE: ""}


def written(reading: Reading) -> str:
    """Return "55.1 ± 1.2 Wh", or "unknown: why"; a value without a stated uncertainty says so."""
    value, uncertainty = reading.value, reading.standard_uncertainty
    if value is None:
        return f"unknown: {on_one_line(reading.reason or '')}"
    if uncertainty is None:
        return f"{_with_unit(_unstated(value), reading.unit)} (uncertainty not stated)"
    if uncertainty == 0:
        return _with_unit(_plain(value), reading.unit)
    spread = COVERAGE * uncertainty
    decimals = decimals_for(spread)
    return _with_unit(f"{_fixed(value, decimals)} ± {_fixed(spread, decimals)}", reading.unit)


def interval(reading: Reading) -> tuple[str, str] | None:
    """Return both ends of the 95 % interval as text without unit; None where it is not known."""
    value, uncertainty = reading.value, reading.standard_uncertainty
    if value is None or uncertainty is None:
        return None
    decimals = decimals_for(COVERAGE * uncertainty) if uncertainty else 1
    spread = COVERAGE * uncertainty
    return _fixed(value - spread, decimals), _fixed(value + spread, decimals)


def decimals_for(spread: float) -> int:
    """Return the decimals that show two significant digits of `spread` (above 0), 0 to 9."""
    if not math.isfinite(spread):  # twice a figure at the end of what a double holds
        return 0
    exponent = math.floor(math.log10(spread))
    return min(max(1 - exponent, 0), _MOST_DECIMALS)


def limit_written(limit: Limit) -> str:
    """Return "at least 90 %", "at most 0.3 mm", "exactly 0 pieces" or "from … to …"."""
    lower, upper = limit.lower, limit.upper
    if lower is not None and lower == upper:
        return f"exactly {_quantity(lower)}"
    if lower is not None and upper is not None:
        return f"from {_quantity(lower)} to {_quantity(upper)}"
    if lower is not None:
        return f"at least {_quantity(lower)}"
    return f"at most {_quantity(upper)}" if upper is not None else ""


def likelihood(probability: float) -> str:
    """Return a probability, 0 to 1, as a percentage that never claims certainty."""
    if probability > _NEARLY_SURE:
        return "above 99.9\u00a0%"
    if probability < 1 - _NEARLY_SURE:
        return "below 0.1\u00a0%"
    return f"{100 * probability:.1f}\u00a0%"


def moment(text: str) -> str:
    """Return an ISO 8601 time in UTC as "2026-03-10 09:02 UTC"; any other text as it stands."""
    return f"{text[:10]} {text[11:16]} UTC" if _MOMENT.fullmatch(text) else text


def lasting(seconds: float) -> str:
    """Return a time as one would say it: "45 s" below 90 s, "12 min" below 90 min, then "2 h 05 min"."""
    if seconds < 90:
        return f"{seconds:.0f}\u00a0s"
    minutes = round(seconds / 60)
    if minutes < 90:
        return f"{minutes}\u00a0min"
    return f"{minutes // 60}\u00a0h\u00a0{minutes % 60:02d}\u00a0min"


def about(value: float) -> str:
    """Return a number as one would say it: whole from 10 on, one decimal below."""
    return f"{value:.0f}" if abs(value) >= 10 else f"{value:.1f}"


def _quantity(quantity: Quantity) -> str:
    return _with_unit(_plain(quantity.value), quantity.unit)


def _with_unit(number: str, unit: Unit) -> str:
    sign = "piece" if (number, unit) == ("1", Unit.COUNT) else _SIGNS.get(unit, unit.value)
    return f"{number}\u00a0{sign}" if sign else number


def _plain(value: float) -> str:
    return f"{value + 0.0:.6g}".replace("-", "−")


def _unstated(value: float) -> str:
    """Return four digits, or all before the point: more would claim what nobody stated."""
    return _fixed(value, 0) if abs(value) >= 1000 else f"{value + 0.0:.4g}".replace("-", "−")


def _fixed(value: float, decimals: int) -> str:
    return f"{round(value, decimals) + 0.0:.{decimals}f}".replace("-", "−")
