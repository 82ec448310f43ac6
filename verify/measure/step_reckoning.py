"""One step of the current: from the looks around it to a resistance, its uncertainty and its time scale."""

import math
from collections.abc import Sequence
from enum import StrEnum
from statistics import fmean, median, pstdev

import msgspec

from verify.measure.uncertainty import combine, quotient, rectangular, resolution

__all__ = ["Look", "Step", "StepKind", "Told", "reckon"]

_RELAXES_PER_S = 0.03  # share of a step that a cell gives way by a second, some seconds after [assumption]
_FADES_S = 15.0  # and how that fades: the time constant of a cell's quick part, 5 to 20 s [assumption]


class StepKind(StrEnum):
    """What made the step."""

    LOAD = "load on battery"
    CHARGER = "charger in or out"
    SHARED = "load while charging"
    UNKNOWN = "a step of the current"


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One step that counts.

    at_s: when. pack_mohm and its standard uncertainty from the steps of the gauge, the spread and the
    moment of the step. time_scale_s: from the step to the reading. step_a: into the pack positive.
    """

    at_s: float
    kind: StepKind
    pack_mohm: float
    standard_uncertainty: float
    time_scale_s: float
    step_a: float
    level: float | None
    temperature_c: float | None


class Look(msgspec.Struct, frozen=True):
    """What one look tells: positional, as there are many of them."""

    at_s: float
    current_a: float
    voltage_v: float
    level: float | None
    powered: bool | None
    temperature_c: float | None


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """How the gauge tells its values.

    step_a, step_v: in what steps, 0 or more. look_s: the time between looks. period_s: between values told
    anew.
    """

    step_a: float
    step_v: float
    look_s: float
    period_s: float


def reckon(
    before: Sequence[Look],
    after: Sequence[Look],
    readings: Sequence[Look],
    *,
    told: Told,
) -> Step | None:
    """Return the step between looks and readings; None where the voltage did not follow.

    before: two or more looks, up to the last one with the old current. after: from the first one with the
    new current; readings: those of them that count.
    """
    start_a = median(one.current_a for one in before[-6:])
    step_a = median(one.current_a for one in readings) - start_a
    last_s = before[-1].at_s
    # A gauge may have told the new voltage before the new current: the last period does not count.
    clear = [one for one in before if one.at_s <= last_s - told.period_s + 1e-6] or list(before)
    slope, noise_v = _drift(clear, told.step_v)
    near = clear[-6:]
    read_s = fmean(one.at_s for one in readings)
    # What the cell still did from the step before goes on, and fades; the two-level method has no word
    # for it.
    faded = _faded_s(clear, near, read_s)
    first_v = median(one.voltage_v for one in near) + slope * faded
    rise_v = median(one.voltage_v for one in readings) - first_v
    noise_a = pstdev(one.current_a for one in before) if len(before) > 2 else 0.0
    if rise_v * step_a <= 0 or abs(rise_v) < 1.5 * told.step_v:
        return None
    happened_s, doubt_s = _moment(before[-1], after, first_v, rise_v)
    # Where the gauge tells values anew less often than it is looked at, what a look shows is older than
    # it.
    age_s = max(0.0, told.period_s - told.look_s)
    happened_s, doubt_s, read_s = happened_s - age_s / 2, doubt_s + age_s, read_s - age_s / 2
    settled_s = readings[-1].at_s - readings[0].at_s
    late_v = abs(readings[-1].voltage_v - readings[0].voltage_v)
    per_s = max(_RELAXES_PER_S * abs(rise_v), late_v / settled_s if late_v > told.step_v else 0.0)
    fresh = told.look_s / max(told.period_s, told.look_s)  # share of the looks that show a new value
    each = 1 / max(1.0, fresh * len(near)) + 1 / max(1.0, fresh * len(readings))
    # The median of n normal readings has the spread of one times sqrt(π/2n).
    rise_u = combine(
        resolution(told.step_v),
        resolution(told.step_v),
        noise_v * math.sqrt(math.pi / 2 * each),
        rectangular(per_s * doubt_s),
        rectangular(abs(slope) * faded / 2),
    )
    step_u = combine(
        resolution(told.step_a),
        resolution(told.step_a),
        noise_a * math.sqrt(math.pi / 2 * each),
    )
    ohm, ohm_u = quotient(rise_v, rise_u, step_a, step_u)
    kind = _kind(before=before[-1].powered, after=readings[-1].powered)
    return Step(
        at_s=happened_s,
        kind=kind,
        pack_mohm=1000 * ohm,
        standard_uncertainty=1000 * ohm_u,
        time_scale_s=read_s - happened_s,
        step_a=step_a,
        level=before[-1].level,
        temperature_c=readings[-1].temperature_c,
    )


def _moment(last: Look, after: Sequence[Look], first_v: float, rise_v: float) -> tuple[float, float]:
    """Return when the step was, and half of how long that may have been off, both in s."""
    told_s = next(
        (one.at_s for one in after if abs(one.voltage_v - first_v) > abs(rise_v) / 2), after[0].at_s
    )
    new_s = min(after[0].at_s, told_s)
    old_s = min(last.at_s, new_s)
    return (old_s + new_s) / 2, (new_s - old_s) / 2


def _drift(looks: Sequence[Look], step_v: float) -> tuple[float, float]:
    """Return the slope of the voltage, in V/s, and the scatter about it, in V.

    A slope that is no more than the gauge's step is none.
    """
    half = len(looks) // 2
    slope = 0.0
    if half >= 2:
        early, late = looks[:half], looks[-half:]
        moved = fmean(one.voltage_v for one in late) - fmean(one.voltage_v for one in early)
        passed_s = fmean(one.at_s for one in late) - fmean(one.at_s for one in early)
        noise = pstdev(one.voltage_v - moved / passed_s * one.at_s for one in looks)
        if abs(moved) > max(step_v, 3 * noise / math.sqrt(half)):
            slope = moved / passed_s
    return slope, pstdev(one.voltage_v - slope * one.at_s for one in looks) if len(looks) > 1 else 0.0


def _faded_s(clear: Sequence[Look], near: Sequence[Look], read_s: float) -> float:
    """Return for how long, in s, the slope over `clear` would go on from `near` to the reading."""
    middle_s = fmean(one.at_s for one in clear)
    near_s = fmean(one.at_s for one in near)
    return _FADES_S * (math.exp(-(near_s - middle_s) / _FADES_S) - math.exp(-(read_s - middle_s) / _FADES_S))


def _kind(*, before: bool | None, after: bool | None) -> StepKind:
    if before is None or after is None:
        return StepKind.UNKNOWN
    if before is not after:
        return StepKind.CHARGER
    return StepKind.SHARED if after else StepKind.LOAD
