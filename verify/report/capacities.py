"""Where a record holds a battery's figures: measured, claimed, counted, and what its label says."""

import math
import re
from collections.abc import Mapping

import msgspec

from verify.judge import Limit
from verify.measure.rounding import COVERAGE
from verify.probe.handed_on import CAPACITY_WH, handed, interval_told
from verify.record.model import Record, Result
from verify.report.numbers import limit_written
from verify.values import Reading, Unit
from verify.values.errors import HandbackError

MEASURED, CLAIMED, COUNTED = "measured-capacity", "claimed-capacity", "charge-to-full"
SHARES: Mapping[Unit, float] = {Unit.PERCENT: 0.01, Unit.ONE: 1.0}
_GAUGE = re.compile(r"battery gauge ([^:,]+)[:,]")
_SAME = 0.02  # of itself: the same figure told as a share and in Wh


def result_of(record: Record, check: str) -> Result | None:
    """Return what a check came to; None where the record has no such check."""
    return next((result for result in record.results if result.check == check), None)


def readings_of(result: Result | None) -> tuple[Reading, ...]:
    """Return what the last attempt that still counts read."""
    current = [attempt for attempt in result.attempts if not attempt.out_of_date] if result else []
    return current[-1].readings if current else ()


def capacities_of(result: Result | None) -> list[Reading]:
    """Return those of its readings that tell an energy, or a share of what it was built for."""
    return [
        reading for reading in readings_of(result) if reading.unit is Unit.WATT_HOUR or reading.unit in SHARES
    ]


def gauge_name(reading: Reading) -> str:
    """Return the name of the battery whose gauge it is; empty where the source names none."""
    gauge = _GAUGE.match(reading.source)
    return gauge.group(1) if gauge else ""


def same_battery(reading: Reading, others: list[Reading]) -> Reading | None:
    """Return the one of the others with a value that is of the reading's battery; None: there is none."""
    for other in others:
        name = gauge_name(reading)
        same = len(others) == 1 or (name and name == gauge_name(other))
        if same and other.value is not None:
            return other
    return None


def held_wh(value: float, unit: Unit, label_wh: float | None) -> float | None:
    """Return a capacity in Wh; None where it is a share and no label says of how much."""
    if unit is Unit.WATT_HOUR:
        return value
    return None if label_wh is None else value * SHARES[unit] * label_wh


def label_wh_of(record: Record) -> float | None:
    """Return the energy on the label, in Wh, above 0; None where there is none that can be read."""
    try:
        value = record.ticket.label_wh()
    except HandbackError:
        return None  # a label that cannot be read is shown as it stands, with the part
    return value if value is not None and value > 0 else None


def counted_bounds(
    reading: Reading, counted: Mapping[str, tuple[Reading, ...]], label_wh: float | None
) -> tuple[float, float | None] | None:
    """Return the ends of a measured capacity's own 95 % interval in Wh; the upper one None: not bounded.

    None where the count told none, or where the figure was cut at what a meter or the weight allows: the
    interval of the count alone is not its own then.
    """
    by_count = handed(counted, gauge_name(reading), CAPACITY_WH)
    bounds = interval_told(by_count) if by_count is not None else None
    if by_count is None or by_count.value is None or bounds is None or reading.value is None:
        return None
    own = held_wh(reading.value, reading.unit, label_wh)
    if own is not None and not math.isclose(own, by_count.value, rel_tol=_SAME):
        return None
    return bounds


class CapacityFigures(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of one battery, all in `unit`; None: not known, and then nothing is drawn.

    low, high: the ends of the measured figure's 95 % interval; low alone: it has no upper end.
    accepted_from: the acceptance limit; limit: as it is written where it is a share.
    """

    name: str = ""
    unit: Unit = Unit.WATT_HOUR
    measured: float | None = None
    low: float | None = None
    high: float | None = None
    claimed: float | None = None
    label: float | None = None
    accepted_from: float | None = None
    limit: str = ""


def capacity_figures(record: Record) -> tuple[CapacityFigures, ...]:
    """Return what is known of each battery, in Wh; in % of what it was built for where no label tells Wh.

    Several batteries and one label: whose it is is not known, so none has it.
    """
    measured, claimed = result_of(record, MEASURED), result_of(record, CLAIMED)
    packs = _packs(capacities_of(measured), capacities_of(claimed))
    label_wh = label_wh_of(record) if len(packs) == 1 else None
    judged = next((result for result in (measured, claimed) if result is not None and result.limit), None)
    limit = judged.limit if judged is not None else None
    counted = {COUNTED: readings_of(result_of(record, COUNTED))}
    return tuple(
        _figures(held, told, counted, label_wh, limit)
        for held, told in packs
        if any(one is not None and one.value is not None for one in (held, told))
    )


def _packs(measured: list[Reading], claimed: list[Reading]) -> list[tuple[Reading | None, Reading | None]]:
    """Put together what belongs to one battery; what cannot be told to belong together stands alone."""
    names = dict.fromkeys(name for one in (*measured, *claimed) if (name := gauge_name(one)))
    if len(names) <= 1 and len(measured) <= 1 and len(claimed) <= 1:
        return [(next(iter(measured), None), next(iter(claimed), None))]
    packs = [(_named(measured, name), _named(claimed, name)) for name in names]
    packs += [(one, None) for one in measured if not gauge_name(one)]
    return packs + [(None, one) for one in claimed if not gauge_name(one)]


def _named(readings: list[Reading], name: str) -> Reading | None:
    return next((one for one in readings if gauge_name(one) == name), None)


def _figures(
    measured: Reading | None,
    claimed: Reading | None,
    counted: dict[str, tuple[Reading, ...]],
    label_wh: float | None,
    limit: Limit | None,
) -> CapacityFigures:
    known = [one for one in (measured, claimed) if one is not None and one.value is not None]
    energy = label_wh is not None or any(one.unit is Unit.WATT_HOUR for one in known)
    unit = Unit.WATT_HOUR if energy else Unit.PERCENT

    def told(value: float | None, of: Unit) -> float | None:
        return None if value is None else _in_unit(value, of, unit, label_wh)

    low = high = None
    if measured is not None and measured.value is not None:
        ends = counted_bounds(measured, counted, label_wh) if energy else None
        spread = measured.standard_uncertainty
        if ends is not None:
            low, high = ends
        elif spread:
            low = told(measured.value - COVERAGE * spread, measured.unit)
            high = told(measured.value + COVERAGE * spread, measured.unit)
            if low is None or high is None:
                low = high = None  # such an interval has both ends, or is not told
    lower = limit.lower if limit is not None else None
    accepted_from = None if lower is None else told(lower.value, lower.unit)
    return CapacityFigures(
        name=next((name for one in known if (name := gauge_name(one))), ""),
        unit=unit,
        measured=None if measured is None else told(measured.value, measured.unit),
        low=low,
        high=high,
        claimed=None if claimed is None else told(claimed.value, claimed.unit),
        label=label_wh,
        accepted_from=accepted_from,
        limit=limit_written(limit) if limit and lower and lower.unit in SHARES else "",
    )


def _in_unit(value: float, of: Unit, unit: Unit, label_wh: float | None) -> float | None:
    """Return a capacity in Wh or %; None where it cannot be told so, or is beyond what a double holds."""
    if of is not Unit.WATT_HOUR and of not in SHARES:
        return None
    if unit is Unit.WATT_HOUR:
        told = held_wh(value, of, label_wh)
    else:
        told = None if of is Unit.WATT_HOUR else 100 * SHARES[of] * value
    return told if told is not None and math.isfinite(told) else None
