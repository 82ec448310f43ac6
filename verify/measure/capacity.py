"""A pack's capacity from what was counted and the levels between which it was counted.

Charge over the change of level is the capacity, in Ah. Both have errors, so all capacities are taken for
which the difference charge - capacity x levels lies within the reach of its errors, as E. C. Fieller does for
a quotient (J. R. Stat. Soc. B 16 (1954) 175), with the exact reach of `coverage.half_width` in place of a
normal one.

The capacity in Wh is that between empty and full AT REST: the charge times the mean open-circuit voltage. The
mean is the observed one, corrected for what the current added, and carried over the part of the range that
was not seen by the shapes of published curves.
"""

import math
from collections.abc import Sequence
from enum import StrEnum

import msgspec

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.charge_count import Counted
from verify.measure.coverage import COVERAGE, half_width
from verify.measure.interval import Interval
from verify.measure.open_circuit import FULL_CELL_V, HIGH_CELL_V, level_at_rest, mean_over, mean_ratio
from verify.values.errors import InvalidValueError

__all__ = [
    "PROVEN_WITHIN",
    "EndHow",
    "EndLevel",
    "MeanVoltage",
    "StartHow",
    "StartLevel",
    "at_least",
    "capacity_ah",
    "capacity_wh",
    "full_level",
    "mean_voltage",
]

PROVEN_WITHIN = 0.04
"""A start level known this well without the gauge, ± this much, is proven."""

_SLOW_PART = (1.3, 2.6)
"""What hours of current do to the voltage, against a step's resistance at some 10 s: the range over charges
of eight published parameter sets at C/4 and 0.6 C, by PyBaMM."""

_OVERVOLTAGE = (0.03, 0.45)
"""The same where no resistance is known: V a cell for a current of 1 C, over the same sets, cold and worn."""

_LEFT_AT_END = (0.08, 0.45)
"""The same at the end of a charge, where more of what flowed before still stands against it."""

_SLOPE_AT_FULL = 1.35  # V a level, of a cell: the curves of `open_circuit` between 0.975 and 1
_LEAST_RANGE = 0.02  # a smaller change of level gives no figure
_CLOSE = 1e-4  # of the factor: far below any error here
_ROOTS = 8
_FAR = 1e3  # a bound so many times the value is none


class StartHow(StrEnum):
    """How the level at the start is known."""

    DRAINED = "it ran to its end"
    RESTED = "its voltage at rest"
    LOADED = "its voltage, less what the current does to it"
    CHARGED = "the charger ended the charge"
    GIVEN = "given from outside"
    BELIEVED = "its gauge, which is believed"
    GAUGE = "its gauge alone"


class EndHow(StrEnum):
    """How the level at the end is known."""

    CHARGED = "the charger ended the charge"
    TAPER = "the charge still to come, from the falling current"
    VOLTAGE = "its voltage"
    GAUGE = "its gauge alone"


class StartLevel(msgspec.Struct, frozen=True, kw_only=True):
    """The level at which the count began, 0 to 1, ± half_width (rectangular), and how it is known."""

    level: float
    half_width: float
    how: StartHow

    def __post_init__(self) -> None:
        _check(self.level, self.half_width)

    @property
    def without_gauge(self) -> bool:
        """Whether it hangs on nothing that the gauge says of the level."""
        return self.how not in {StartHow.BELIEVED, StartHow.GAUGE}

    @property
    def proven(self) -> bool:
        """Whether it is known well and without the gauge."""
        return self.without_gauge and self.half_width <= PROVEN_WITHIN


class EndLevel(msgspec.Struct, frozen=True, kw_only=True):
    """The level up to which is counted, 0 to 1, ± half_width (rectangular), and how it is known.

    to_come_ah: charge that is still to flow until then, with its band; None where it has been reached.
    """

    level: float
    half_width: float
    how: EndHow
    to_come_ah: Interval | None = None

    def __post_init__(self) -> None:
        _check(self.level, self.half_width)

    @property
    def without_gauge(self) -> bool:
        """Whether it hangs on nothing that the gauge says of the level."""
        return self.how is not EndHow.GAUGE


class MeanVoltage(msgspec.Struct, frozen=True, kw_only=True):
    """Mean rest voltage of the pack from empty to full, in V; half-widths of its independent errors."""

    value_v: float
    half_widths_v: tuple[float, ...]


def _check(level: float, width: float) -> None:
    if not (0 <= level <= 1 and width >= 0):
        raise InvalidValueError(
            f"A level is 0 to 1 with a half-width of 0 or more, not {level:g} ± {width:g}."
        )


class _Errors(msgspec.Struct, frozen=True, kw_only=True):
    """The errors of a count of charge: rectangles and one normal, in its unit."""

    charge: float
    rectangles: tuple[float, ...]
    normal: float


def _errors(counted: Counted, end: EndLevel | None, assumed: Assumed) -> _Errors:
    hours = counted.time_s / 3600
    charge = abs(counted.net_ah)
    rectangles = [
        charge * assumed.gain,
        charge * counted.extra_gain,
        assumed.offset_a * hours,
        counted.resolution_ah,
        *counted.gaps_ah,
    ]
    if end is not None and end.to_come_ah is not None:
        charge += end.to_come_ah.value
        rectangles.append((end.to_come_ah.high - end.to_come_ah.low) / 2)
    return _Errors(charge=charge, rectangles=tuple(rectangles), normal=counted.sampling_ah)


def _bound(errors: _Errors, change: float, widths: Sequence[float], coverage: float, side: int) -> float:
    """Return the quotient at which the difference just reaches its errors: the lower (-1) or upper (+1) one.

    With the reach as k standard deviations that is a quadratic; k changes little with the quotient, and is
    taken anew at each root until it stands.
    """
    charge = errors.charge
    of_charge = sum(a * a for a in errors.rectangles) / 3 + errors.normal**2
    of_level = sum(w * w for w in widths) / 3
    q, k = charge / change, 0.0
    for _ in range(_ROOTS):
        deviation = math.sqrt(of_charge + of_level * q * q)
        reach = half_width((*errors.rectangles, *(q * w for w in widths)), errors.normal, coverage=coverage)
        before, k = k, reach / deviation if deviation > 0 else 0.0
        if abs(k - before) <= _CLOSE * k:
            break
        steep = change * change - k * k * of_level
        if steep <= 0:
            # The level's own error grows with the quotient: where both go up alike, nothing bounds it.
            return math.inf if side > 0 else 0.0
        inside = (charge * change) ** 2 - steep * (charge * charge - k * k * of_charge)
        q = max(0.0, (charge * change + side * math.sqrt(max(inside, 0.0))) / steep)
    return q


def _quotient(errors: _Errors, change: float, widths: Sequence[float], coverage: float) -> Interval:
    """Return all quotients that charge and change of level allow; never below what was counted."""
    charge = errors.charge
    # No more than the whole range was filled: it holds at least what went in.
    reach = half_width(errors.rectangles, errors.normal, coverage=coverage)
    least = max(0.0, charge - reach)
    if change <= max(_LEAST_RANGE, half_width(widths, coverage=coverage)):
        value = max(least, charge / max(change, _LEAST_RANGE)) if change > 0 else charge
        return Interval(value=value, low=least, high=math.inf)
    value = charge / change
    if value == 0:
        return Interval(value=0.0, low=0.0, high=reach / change)
    low = _bound(errors, change, widths, coverage, -1)
    high = _bound(errors, change, widths, coverage, +1)
    if high > _FAR * value:
        high = math.inf
    return Interval(value=max(value, least), low=max(min(low, value), least), high=max(high, value, least))


def _change(counted: Counted, start: StartLevel, end: EndLevel) -> float:
    """Return the change of level in the direction of the charge that was counted."""
    direction = 1.0 if counted.net_ah >= 0 or end.to_come_ah is not None else -1.0
    return direction * (end.level - start.level)


def capacity_ah(
    counted: Counted,
    *,
    start: StartLevel,
    end: EndLevel,
    assumed: Assumed = ASSUMED,
    coverage: float = COVERAGE,
) -> Interval | None:
    """Return the capacity in Ah with its interval; on charge or discharge, as the count goes.

    coverage: of the interval; `coverage.ONE_SIDED` makes each bound a one-sided 95 % one. high is infinite
    where the change of level is not above its error. None where no current is known.
    """
    if counted.source is None:
        return None
    errors = _errors(counted, end, assumed)
    return _quotient(errors, _change(counted, start, end), (start.half_width, end.half_width), coverage)


def at_least(counted: Counted, *, assumed: Assumed = ASSUMED, coverage: float = COVERAGE) -> Interval | None:
    """Return what it holds at least, in Ah, from what went in (or came out), whatever any gauge says.

    high is infinite. None where no current is known.
    """
    if counted.source is None:
        return None
    return _quotient(_errors(counted, None, assumed), 0.0, (), coverage)


def capacity_wh(
    counted: Counted,
    *,
    start: StartLevel,
    end: EndLevel | None,
    mean: MeanVoltage,
    assumed: Assumed = ASSUMED,
    coverage: float = COVERAGE,
) -> Interval | None:
    """Return the capacity in Wh from empty to full at rest; as `capacity_ah`, without an end `at_least`."""
    if counted.source is None:
        return None
    charge = _errors(counted, end, assumed)
    energy = charge.charge * mean.value_v
    errors = _Errors(
        charge=energy,
        rectangles=(
            *(one * mean.value_v for one in charge.rectangles),
            *(charge.charge * one for one in mean.half_widths_v),
        ),
        normal=charge.normal * mean.value_v,
    )
    if end is None:
        return _quotient(errors, 0.0, (), coverage)
    return _quotient(errors, _change(counted, start, end), (start.half_width, end.half_width), coverage)


def full_level(
    end_c: float, *, low_cell_v: float | None = None, assumed: Assumed = ASSUMED
) -> tuple[float, float]:
    """Return the level at which a charger ends a charge, and its half-width.

    end_c: the current at the end, in C, 0 or more. What it still does to the voltage, over the slope of the
    curves near full, is left to fill; level 1 is 4.2 V at rest. assumed.full: how well the charger holds that
    voltage. low_cell_v: the voltage it was held at, in V a cell, where that is less: by a limit or warmth,
    then the level is what the curves of rest voltages say; or as the cells are made so, and it is 1.
    """
    if low_cell_v is not None:
        under = [end_c * volts for volts in _LEFT_AT_END]
        error_v = assumed.cell_v + (under[1] - under[0]) / 2
        least = level_at_rest(low_cell_v - sum(under) / 2, error_v=error_v).low
        # Which of the two it is, is not known: each end is as likely as what lies between.
        return (1 + least) / 2, (1 - least) / 2 / COVERAGE
    least, most = (end_c * volts / _SLOPE_AT_FULL for volts in _LEFT_AT_END)
    return 1 - (least + most) / 2, math.hypot(assumed.full, (most - least) / 2)


def mean_voltage(
    counted: Counted | None,
    *,
    start: float | None,
    end: float | None,
    cells: int | None,
    capacity_ah: float | None = None,
    resistance_ohm: Interval | None = None,
    charged_to_v: float | None = FULL_CELL_V,
    assumed: Assumed = ASSUMED,
) -> MeanVoltage | None:
    """Return the mean rest voltage from empty to full of a pack of `cells` in series.

    start, end: levels between which was counted, 0 to 1; None where unknown. capacity_ah: about, above 0, for
    the assumed overvoltage where no resistance is known. resistance_ohm: of the pack, from a step of some 10
    s. charged_to_v: a cell; above 4.25 V the curves stop short and the spread is widened [assumption].
    None where neither an observed voltage nor the cells are known.
    """
    stretched = 1.0 if charged_to_v is not None and charged_to_v <= HIGH_CELL_V else 1.5
    observed = _observed(counted, cells, capacity_ah, resistance_ohm, assumed)
    levels = sorted((start, end)) if start is not None and end is not None else [0.0, 0.0]
    if observed is None or levels[1] - levels[0] < _LEAST_RANGE:
        if cells is None:
            return None
        low, high = mean_over(0.0, 1.0)
        raised = 0.0 if stretched == 1.0 else ((charged_to_v or 4.4) - FULL_CELL_V) / 2
        middle = (low + high + raised) / 2
        return MeanVoltage(value_v=middle * cells, half_widths_v=((high - low + raised) / 2 * cells,))
    volts, widths = observed
    ratio = mean_ratio(*levels)
    return MeanVoltage(
        value_v=volts * ratio.value,
        half_widths_v=(*(one * ratio.value for one in widths), volts * ratio.half_width * stretched),
    )


def _observed(
    counted: Counted | None,
    cells: int | None,
    capacity_ah: float | None,
    resistance_ohm: Interval | None,
    assumed: Assumed,
) -> tuple[float, tuple[float, ...]] | None:
    """Return the observed mean at rest in V, and half-widths: of the correction, of the sensor."""
    if counted is None or counted.net_wh is None or counted.source is None or not abs(counted.net_ah) > 0:
        return None
    terminal_v = counted.net_wh / counted.net_ah
    # The mean of open-circuit voltage and I R, weighted by current, has I² in its second part.
    weight_a = counted.squared_a2h / counted.net_ah
    in_series = cells or max(1, round(terminal_v / 3.75))
    if resistance_ohm is not None and resistance_ohm.bounded:
        low, high = resistance_ohm.low * _SLOW_PART[0], resistance_ohm.high * _SLOW_PART[1]
    elif capacity_ah is not None and capacity_ah > 0:
        low, high = (one * in_series / capacity_ah for one in _OVERVOLTAGE)
    else:
        return None
    value = terminal_v - weight_a * (low + high) / 2
    widths = (abs(weight_a) * (high - low) / 2, assumed.cell_v * in_series)
    return (value, widths) if 2.5 * in_series < value < 4.6 * in_series else None
