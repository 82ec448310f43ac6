"""All that a recorded log tells of a pack and of heat, by the same computations as a live watch.

The answer is one frozen value: what is known with its interval; for what is not, why.
"""

from array import array
from collections.abc import Iterator, Mapping, Sequence

import msgspec

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.cells import NOMINAL_CELL_V, USUAL_AH
from verify.measure.charge_events import ChargeEvents
from verify.measure.gauge_signs import GaugeSign
from verify.measure.interval import Interval
from verify.measure.jeita import TemperatureStill
from verify.measure.log_findings import (
    LogFinding,
    Weight,
    about_charge,
    about_flow,
    about_power,
    about_temperature,
    too_hot,
)
from verify.measure.log_heat import heat_of, time_constant
from verify.measure.log_points import LogLooks, looks_at
from verify.measure.measured import uncounted
from verify.measure.open_circuit import FULL_CELL_V
from verify.measure.pack_measurement import Gauge, Measured, PackMeasurement
from verify.measure.phases import Phase
from verify.measure.resistance import Resistance
from verify.measure.warming import Warmed

__all__ = ["LogMeasurement", "cells_of", "measure_log"]

LABEL_SHARE = 0.90
"""A new pack that surely holds less of its label is short of it [common practice, no source]."""

_CELL_V = (2.9, 4.5)  # of a cell in use, lowest and highest [common practice, no source]
_CELL_TOP_V = 3.4  # the highest of a log is at least this a cell, unless it is empty throughout
_MOST_CELLS = 5
_LEAST_LEVEL = 0.05  # below it a quotient by the level is worth nothing
_SHARP_LEVEL = 0.30  # from here on a level in whole per cent tells the claim to 2 %
_CLAIMS_APART = 0.05
_LEAST_CLAIM_WH = 1.0  # a smaller one is a figure in another unit, or none
_MOST_WH, _MOST_AH = 1000.0, 100.0  # no laptop's battery holds as much, nor the largest that may be carried


_UNITS = "Look at the units: time_s is in seconds, current_a in amperes, power_w in watts."
_CLAIM = "Give the full capacity that it claims with --claimed-wh, or record remaining_wh."


class LogMeasurement(msgspec.Struct, frozen=True, kw_only=True):
    """What a log tells.

    length_s: from its first row to its last; None where it has not two. pack: all of the pack measurement.
    cells: in series, as given or as the voltage tells. claimed_wh: given, or as the gauge's level and
    remaining energy tell. gauge: None where the log has no gauge and no claim was given. steady_c,
    time_constant_s: where the temperature of heat_of ends, and the slower of its time constants.
    unknown: what it cannot tell, and why.
    """

    length_s: float | None
    pack: Measured
    cells: int | None
    claimed_wh: float | None
    label_wh: float | None
    gauge: Gauge | None
    resistance: Resistance
    phases: tuple[Phase, ...]
    steady_c: Interval | None
    time_constant_s: Interval | None
    heat_of: str
    findings: tuple[LogFinding, ...]
    unknown: Mapping[str, str]

    @property
    def established(self) -> bool:
        """Whether anything at all was."""
        known = (
            self.pack.capacity_ah,
            self.pack.capacity_wh,
            self.pack.least_ah,
            self.resistance.pack_mohm,
            self.steady_c,
        )
        decided = self.gauge is not None and self.gauge is not Gauge.UNDECIDED
        return bool(self.phases) or decided or any(one is not None for one in known)


def cells_of(voltages_v: Sequence[float]) -> int | None:
    """Return how many cells in series the voltages stand for; None where none or several numbers fit.

    voltages_v: of a pack, in V, known ones only. Source: common practice, no source.
    """
    if not voltages_v:
        return None
    low, high = min(voltages_v), max(voltages_v)
    fitting = [
        cells
        for cells in range(1, _MOST_CELLS + 1)
        if low >= _CELL_V[0] * cells and _CELL_TOP_V * cells <= high <= _CELL_V[1] * cells
    ]
    return fitting[0] if len(fitting) == 1 else None


def measure_log(
    times_s: "array[float]",
    columns: "Mapping[str, array[float]]",
    *,
    claimed_wh: float | None = None,
    label_wh: float | None = None,
    cells: int | None = None,
    assumed: Assumed = ASSUMED,
) -> LogMeasurement:
    """Measure a log.

    times_s: strictly rising. columns: by a log's names, each as long, NaN where unknown; levels and load 0 to
    1. claimed_wh, label_wh: above 0; cells: in series; None where unknown.
    """
    looks = looks_at(times_s, columns)
    findings: list[LogFinding] = []
    if len(times_s) == 1:
        findings.append(
            LogFinding(
                what="The log has one time only: nothing can be measured.", next_step="Record for longer."
            )
        )
    if cells is None:
        cells = cells_of([volts for volts in looks.column("voltage_v") if volts is not None])
        if cells is not None:
            findings.append(
                LogFinding(
                    what=f"Taken as {cells} cell{'s' if cells > 1 else ''} in series, from the voltage.",
                    next_step="If it has another number, give it with --cells.",
                )
            )
    claims = _claims(looks)
    # At its highest level, where rounding is least, and there what it says last.
    claimed = claimed_wh
    if claimed is None and claims:
        claimed = max(reversed(claims), key=lambda claim: claim[0])[1]
    findings += _about_claims(claims, claimed_wh)
    pack = PackMeasurement(assumed=assumed, claimed_wh=claimed, label_wh=label_wh, cells=cells)
    scale_ah = None if claimed is None or cells is None else claimed / (cells * NOMINAL_CELL_V)
    events = ChargeEvents(capacity_ah=scale_ah)
    warmth = TemperatureStill(capacity_ah=scale_ah or USUAL_AH)
    for point in looks.points():
        warmth.see(point)
        pack.see(point)
        if pack.phases.after_gap:
            events.unseen()
        events.see(point, pack.phases.kind)
    measured, resistance, done = pack.result(), pack.steps.result(), pack.phases.result()
    absurd = _beyond_any(measured)
    if absurd:
        findings.append(LogFinding(what=absurd, next_step=_UNITS, weight=Weight.FAULT))
        measured = uncounted(absurd, next_step=_UNITS, findings=(), reached_full=measured.reached_full)
    whose, course = heat_of(looks)
    steady = course.steady_c
    seen = list(_seen(looks, still=warmth.sentence))
    findings += seen
    hot = too_hot(looks.column("temperature_c"))
    if hot:
        # No further test of a pack that must be left alone.
        signs = (msgspec.structs.replace(sign, next_step="") for sign in measured.findings)
        measured = msgspec.structs.replace(measured, next_step="", findings=tuple(signs))
    findings += _of_gauge(measured)
    if not hot and not absurd:
        findings += about_charge(events.result(), done, scale_ah)
        findings += _ended_low(pack)
    if not absurd:
        findings += _of_label(pack, label_wh, hot=hot)
    has_gauge = claimed is not None or "state_of_charge" in columns
    gauge = measured.verdict if has_gauge else None
    if gauge is Gauge.UNDECIDED:
        findings.append(
            LogFinding(
                what="Whether the gauge tells the truth cannot be told from this log.",
                next_step=_after_all(measured, seen, claimed, hot=hot),
                weight=Weight.DOUBT,
            )
        )
    return LogMeasurement(
        length_s=times_s[-1] - times_s[0] if len(times_s) > 1 else None,
        pack=measured,
        cells=cells,
        claimed_wh=claimed,
        label_wh=label_wh,
        gauge=gauge,
        resistance=resistance,
        phases=done,
        steady_c=steady,
        time_constant_s=time_constant(course),
        heat_of=whose,
        findings=tuple(findings),
        unknown=_unknown(
            measured, _why_no_resistance(resistance, columns), done, course, has_gauge=has_gauge
        ),
    )


def _after_all(measured: Measured, seen: Sequence[LogFinding], claimed_wh: float | None, *, hot: bool) -> str:
    """Return what is to be done next to prove the gauge."""
    if hot:
        return ""
    if any(one.weight is Weight.FAULT for one in seen):
        return "Put right what is wrong above, then measure again."
    return _CLAIM if claimed_wh is None else measured.next_step


def _beyond_any(measured: Measured) -> str:
    """Return why what was counted can be of no laptop's battery; "" where it can."""
    least = (
        (measured.capacity_wh or measured.least_wh, _MOST_WH, "Wh"),
        (measured.capacity_ah or measured.least_ah, _MOST_AH, "Ah"),
    )
    for found, most, unit in least:
        if found is not None and found.low > most:
            return f"It would hold at least {found.low:.0f} {unit}: no laptop's battery does."
    return ""


def _ended_low(pack: PackMeasurement) -> Iterator[LogFinding]:
    cell_v = pack.ended_low_v
    if cell_v is not None:
        yield LogFinding(
            what=f"The charge ended at {cell_v:.2f} V a cell; full is {FULL_CELL_V:g} V in nearly all packs. "
            "The capacity allows for both.",
            next_step="Look for a charge limit in firmware and system, and for warmth.",
            weight=Weight.DOUBT,
        )


def _claims(looks: LogLooks) -> list[tuple[float, float]]:
    """Return the level and the full capacity that the gauge claims there, in Wh, look by look."""
    pairs = zip(looks.column("state_of_charge"), looks.column("remaining_wh"), strict=True)
    return [
        (level, left_wh / level)
        for level, left_wh in pairs
        if level is not None
        and left_wh is not None
        and level >= _LEAST_LEVEL
        and left_wh / level >= _LEAST_CLAIM_WH
    ]


def _about_claims(claims: Sequence[tuple[float, float]], given_wh: float | None) -> Iterator[LogFinding]:
    """Tell where the gauge changed its claim, or claims something else than was given."""
    sharp = [claim_wh for level, claim_wh in claims if level >= _SHARP_LEVEL]
    if not sharp:
        return
    if abs(sharp[-1] / sharp[0] - 1) > _CLAIMS_APART:
        yield LogFinding(
            what=f"The gauge's claim went from {sharp[0]:.1f} to {sharp[-1]:.1f} Wh within this log.",
            next_step="It has learned. What it says now is compared here.",
            weight=Weight.DOUBT,
        )
    if given_wh is not None and abs(sharp[-1] / given_wh - 1) > _CLAIMS_APART:
        yield LogFinding(
            what=f"The log's own gauge claims {sharp[-1]:.1f} Wh; {given_wh:g} Wh were given.",
            next_step="Check that both are of the same pack.",
            weight=Weight.DOUBT,
        )


def _seen(looks: LogLooks, *, still: str | None) -> Iterator[LogFinding]:
    times_s, current_a, power_w = looks.seconds(), looks.column("current_a"), looks.column("power_w")
    flow = current_a if "current_a" in looks.columns else power_w
    yield from about_temperature(looks.column("temperature_c"), flow, still=still)
    if "state_of_charge" in looks.columns:
        yield from about_flow(times_s, flow, looks.column("state_of_charge"))
    else:
        yield from about_flow(times_s, flow, _as_levels(looks.column("voltage_v")), by_voltage=True)
    yield from about_power(power_w, current_a, looks.column("voltage_v"))


def _as_levels(volts: Sequence[float | None]) -> list[float | None]:
    """Return voltages as shares of their range in a pack, so that a turned sign shows where no level does."""
    top_v = max((one for one in volts if one is not None), default=0.0)
    # From empty to full a cell's voltage goes up by about a quarter of its highest.
    return [None if one is None else 1 - 4 * (1 - one / top_v) for one in volts]


def _of_gauge(measured: Measured) -> Iterator[LogFinding]:
    for one in measured.findings:
        # No log has a column for what a pack was made for.
        if one.sign is not GaugeSign.NO_DESIGN:
            yield LogFinding(
                what=one.sentence,
                next_step=one.next_step,
                weight=Weight.FAULT if one.shows_lie else Weight.DOUBT,
            )


def _of_label(pack: PackMeasurement, label_wh: float | None, *, hot: bool) -> Iterator[LogFinding]:
    """Hold the capacity against the label: sure either way (one-sided 95 %), or undecided."""
    if label_wh is None:
        return
    limit = f"{100 * LABEL_SHARE:.0f} % of the label ({LABEL_SHARE * label_wh:.1f} Wh)"
    holds = pack.decides(LABEL_SHARE * label_wh)
    if holds is None:
        yield LogFinding(
            what=f"Whether it holds {limit} cannot be told from this log.",
            next_step="" if hot else pack.next_test(LABEL_SHARE * label_wh),
            weight=Weight.DOUBT,
        )
    elif holds:
        yield LogFinding(what=f"It holds {limit} or more.")
    else:
        yield LogFinding(
            what=f"It holds less than {limit}.",
            next_step="Do not fit it as new. Show these figures to the supplier.",
            weight=Weight.FAULT,
        )


def _why_no_resistance(resistance: Resistance, columns: "Mapping[str, array[float]]") -> str:
    """Return why it has none; "" where it has one."""
    if resistance.pack_mohm is not None:
        return ""
    if not {"current_a", "power_w"} & set(columns):
        return "The log has no current and no power."
    if "voltage_v" not in columns:
        return "The log has no voltage."
    return resistance.reason or "The current made no step."


def _unknown(
    measured: Measured,
    no_resistance: str,
    phases: Sequence[Phase],
    course: Warmed,
    *,
    has_gauge: bool,
) -> dict[str, str]:
    unknown = {}
    if measured.capacity_wh is None and measured.why_not:
        unknown["Capacity"] = measured.why_not
    if not has_gauge:
        unknown["Gauge"] = "The log has no level, and no claim was given (--claimed-wh)."
    if not phases:
        unknown["Phases"] = "The log has no current and no power."
    if no_resistance:
        unknown["Resistance"] = no_resistance
    if course.steady_c is None:
        unknown["Steady temperature"] = course.why
    return unknown
