"""Automatic check: how much hotter the processor is than on arrival, at rest, and under load if read."""

from collections.abc import Mapping

from verify.measure import combine, resolution
from verify.probe.heat_after import OPTIONS, AfterHeat, Runs
from verify.probe.heat_told import REST, STEADY, all_told, told
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import not_found, refuse_others
from verify.values import Reading, Unit

__all__ = ["heat_as_arrived"]

_AT_REST = "processor at rest, against arrival"
_AT_REST_COLD = "processor at rest, against arrival, less 40 K for warming up"
_LOADED = "where full load ends, against arrival"
_STEP_C = 1.0
_COLD_C = 35.0
"""A processor so cool had only just been switched on [common practice, no source]."""

_REST_RISE_K = 40.0
"""How far a sound machine at rest gets above the room that it was as cool as [common practice, no source]."""


def heat_as_arrived(options: Mapping[str, str], context: Context) -> Probe:
    """Read how much hotter the processor is than on arrival.

    Unit: K. Below 0 where it is cooler. At rest, by the same sensor; and where a full load was read on
    arrival, where the load ends. From what an earlier check of the heat saw ("from": which ones), else from a
    load of its own ("load", 60 s). A machine that was cold on arrival, only just switched on, is allowed 40 K
    for warming up, so that only a gross change shows. Unknown where nothing was read on arrival.
    Source: 35 °C and 40 K are common practice, no source. The room is not corrected for.
    Caution: hot metal burns, and a fan turns: look, do not touch. Under load keep all air openings free.
    """
    refuse_others("heat-as-arrived", options, *OPTIONS)
    arrived = context.arrival_readings

    def find(runs: Runs, why: str) -> Finding:
        return _found(runs, why, arrived)

    return AfterHeat(options, context, find)


def _found(runs: Runs, why: str, arrived: tuple[Reading, ...]) -> Finding:
    if not arrived:
        return not_found(Unit.KELVIN, _AT_REST, "Nothing was read on arrival: there is nothing to compare.")
    readings, parts = [], []
    # The first run began from rest; a later one follows it.
    for sensor, now in (all_told(runs[0], REST) if runs else {}).items():
        before = told(arrived, sensor)
        if now.value is None or before is None or before.value is None or before.reason:
            continue
        readings.append(_at_rest(now.value, before.value))
        parts.append(f"{now.value:.0f} °C at rest, {before.value:.0f} °C on arrival.")
        if readings[-1].source == _AT_REST_COLD:
            parts.append("It was cold then: 40 K are allowed for warming up.")
    steady_then = told(arrived, STEADY)
    steady_now = next(
        (end for run in reversed(runs) if (end := told(run, STEADY)) is not None and end.value is not None),
        None,
    )
    if steady_then is not None and steady_then.value is not None and steady_now is not None:
        readings.append(_under_load(steady_now, steady_then))
        parts.append(f"{steady_now.value:.0f} °C under load, {steady_then.value:.0f} °C on arrival.")
    if not readings:
        return not_found(
            Unit.KELVIN, _AT_REST, why or "The processor's temperature was not read both times at rest."
        )
    return Finding(readings=tuple(readings), text=" ".join(parts))


def _at_rest(now_c: float, before_c: float) -> Reading:
    change_k, source = now_c - before_c, _AT_REST
    if before_c < _COLD_C and change_k > 0:
        change_k, source = max(0.0, change_k - _REST_RISE_K), _AT_REST_COLD
    return Reading(
        value=change_k,
        unit=Unit.KELVIN,
        standard_uncertainty=round(combine(resolution(_STEP_C), resolution(_STEP_C)), 3),
        source=source,
    )


def _under_load(now: Reading, then: Reading) -> Reading:
    return Reading(
        value=round((now.value or 0.0) - (then.value or 0.0), 2),
        unit=Unit.KELVIN,
        standard_uncertainty=round(
            combine(now.standard_uncertainty or 0.0, then.standard_uncertainty or 0.0), 3
        ),
        source=_LOADED,
    )
