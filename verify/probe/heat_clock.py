"""Automatic check: whether the processor holds its clock under full load."""

from collections.abc import Mapping

from verify.probe.heat_after import OPTIONS, AfterHeat, Runs
from verify.probe.heat_told import BASE_CLOCK, LEAST_CLOCK, LOADED_FOR, THROTTLED, told
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import not_found, refuse_others
from verify.values import Reading, Unit

__all__ = ["clock_held"]

_OF_BASE = "lowest clock under full load, of the base clock"
_OF_ARRIVAL = "lowest clock under full load, of nine tenths of that on arrival"
_MAY_LOSE = 0.90
_LEAST_S = 45.0  # firmware lets a clock go high for half a minute, and more [common practice, no source]


def clock_held(options: Mapping[str, str], context: Context) -> Probe:
    """Read what of its clock the processor holds under full load.

    Unit: %, of the base clock; and, where a run under load was read on arrival, of nine tenths of the clock
    then. The lowest mean of ten seconds counts, from what an earlier check of the heat saw ("from": which
    ones), else from a load of its own ("load", 60 s). In doubt where the load lasted less than 45 s. Unknown
    where no clock is told, or neither a base clock nor one under load on arrival: then it is only told. How
    often the clock was taken back is told beside it.
    Source: base clock as the driver, the firmware or the processor's name states it; 10 % below arrival
    [common practice, no source]. A clock may be what was asked for and not what ran, on some drivers.
    Caution: hot metal burns, and a fan turns: look, do not touch. Under load keep all air openings free.
    """
    refuse_others("clock-held", options, *OPTIONS)
    arrived = told(context.arrival_readings, LEAST_CLOCK)
    arrived_mhz = None if arrived is None or arrived.reason else arrived.value

    def find(runs: Runs, why: str) -> Finding:
        return _found(runs, why, arrived_mhz)

    return AfterHeat(options, context, find, enough=lambda run: _loaded_s(run) >= _LEAST_S)


def _found(runs: Runs, why: str, arrived_mhz: float | None) -> Finding:
    clocks = [clock for run in runs if (clock := told(run, LEAST_CLOCK)) is not None]
    least_mhz = min((clock.value for clock in clocks if clock.value is not None), default=None)
    if least_mhz is None:
        reason = why or next((clock.reason for clock in clocks if clock.reason), "No load was seen.")
        return not_found(Unit.PERCENT, _OF_BASE, reason)
    text = f"At least {least_mhz:.0f} MHz under full load."
    bases = [base.value for run in runs if (base := told(run, BASE_CLOCK)) is not None]
    base_mhz = next((base for base in bases if base), None)
    longest_s = max(map(_loaded_s, runs))
    doubt = None
    if longest_s < _LEAST_S:
        doubt = f"It was seen under load for {longest_s:.0f} s only."
    readings = []
    if base_mhz is not None:
        readings.append(_percent(least_mhz / base_mhz, _OF_BASE, doubt))
        text += f" Base clock: {base_mhz:.0f} MHz."
    if arrived_mhz:
        readings.append(_percent(least_mhz / (_MAY_LOSE * arrived_mhz), _OF_ARRIVAL, doubt))
        text += f" On arrival: {arrived_mhz:.0f} MHz."
    counts = [count.value for run in runs if (count := told(run, THROTTLED)) is not None]
    times = sum(int(count) for count in counts if count)
    if times:
        text += f" Taken back for heat {times} times."
    if not readings:
        return not_found(
            Unit.PERCENT, _OF_BASE, f"{text} Neither a base clock is told, nor one under load on arrival."
        )
    return Finding(readings=tuple(readings), text=f"{text} {doubt}" if doubt else text)


def _loaded_s(run: tuple[Reading, ...]) -> float:
    loaded = told(run, LOADED_FOR)
    return 0.0 if loaded is None or loaded.value is None else loaded.value


def _percent(share: float, source: str, doubt: str | None) -> Reading:
    return Reading(value=round(100 * share, 1), unit=Unit.PERCENT, source=source, reason=doubt)
