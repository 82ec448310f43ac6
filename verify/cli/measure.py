"""`handback measure`: what a recorded log tells of a battery and of heat."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from verify.cli.exits import GOOD, NOT_ESTABLISHED, NOT_GOOD
from verify.measure.assumed import ASSUMED, Assumed
from verify.values.errors import WrongUseError

if TYPE_CHECKING:
    from verify.measure.interval import Interval
    from verify.measure.log_findings import LogFinding
    from verify.measure.log_measurement import LogMeasurement

__all__ = ["command"]

_LEAST_WH, _MOST_WH = 1.0, 1000.0
_MOST_ERROR = 0.5
_CELL_V = (
    2.8,
    4.6,
)  # a cell that stays below is dead, or counted wrongly; none stays above [common practice]


@click.command(
    "measure", epilog="Example: handback measure charge.csv --claimed-wh 57 --label-wh 57 --cells 3"
)
@click.argument("log", metavar="LOG.csv", type=click.Path(path_type=Path))
@click.option("--claimed-wh", type=float, metavar="WH", help="Full capacity as the gauge claims it.")
@click.option("--label-wh", type=float, metavar="WH", help="Capacity printed on the label.")
@click.option("--cells", type=click.IntRange(1, 20), metavar="N", help="Cells in series.")
@click.option(
    "--gain",
    type=float,
    metavar="%",
    help=f"Error of the current sensor, ± per cent ({100 * ASSUMED.gain:g}).",
)
@click.option("--offset", type=float, metavar="A", help=f"Its error at zero, ± A ({ASSUMED.offset_a:g}).")
@click.option(
    "--level",
    type=float,
    metavar="POINTS",
    help=f"Error of a believed level, ± points ({100 * ASSUMED.level:g}).",
)
@click.option(
    "--unproven",
    type=float,
    metavar="POINTS",
    help=f"The same for a start nobody proved ({100 * ASSUMED.unproven:g}).",
)
@click.option(
    "--full",
    type=float,
    metavar="POINTS",
    help=f"Error of the end of a charge, ± points ({100 * ASSUMED.full:g}).",
)
@click.option(
    "--cell-voltage",
    type=float,
    metavar="V",
    help=f"Error of a rest voltage, ± V a cell ({ASSUMED.cell_v:g}).",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for a program to read; null means unknown.")
def command(
    *,
    log: Path,
    claimed_wh: float | None,
    label_wh: float | None,
    cells: int | None,
    gain: float | None,
    offset: float | None,
    level: float | None,
    unproven: float | None,
    full: float | None,
    cell_voltage: float | None,
    as_json: bool,
) -> int:
    """Measure a battery and its machine's heat from a recorded log.

    What is not given is taken from the log, or as unknown; errors in brackets are what is assumed.

    The log is a table in a text file. Its first line names the columns: time_s, and any of power_w,
    current_a, voltage_v, state_of_charge, remaining_wh, temperature_c, cpu_c, load. Current and power are
    positive into the battery.

    Ends with 0 where nothing is amiss, 1 where something is (a gauge that boasts, a contradiction), 2 on
    wrong use, 3 where the log tells nothing.
    """
    from verify.machine.recorded import read_log
    from verify.measure.log_findings import LogFinding, Weight
    from verify.measure.log_measurement import measure_log

    given = {
        "gain": _error("--gain", gain, per=100),
        "offset_a": _error("--offset", offset),
        "level": _error("--level", level, per=100),
        "unproven": _error("--unproven", unproven, per=100),
        "full": _error("--full", full, per=100),
        "cell_v": _error("--cell-voltage", cell_voltage),
    }
    assumed = Assumed(
        **{name: getattr(ASSUMED, name) if value is None else value for name, value in given.items()}
    )
    for name, energy_wh in (("--claimed-wh", claimed_wh), ("--label-wh", label_wh)):
        if energy_wh is not None and not _LEAST_WH <= energy_wh <= _MOST_WH:
            raise WrongUseError(
                f"{name} is {energy_wh:g}: no laptop's battery holds that.",
                next_step=f"Give it in Wh, such as {name} 57.",
            )
    recorded = read_log(log)
    if cells is not None:
        _fits(cells, recorded.columns.get("voltage_v", ()))
    found = measure_log(
        recorded.times_s,
        recorded.columns,
        claimed_wh=claimed_wh,
        label_wh=label_wh,
        cells=cells,
        assumed=assumed,
    )
    findings = [
        *found.findings,
        *(LogFinding(what=one.what, next_step=one.next_step) for one in recorded.remarks),
    ]
    # Faults first; within a weight as they were found.
    findings.sort(key=lambda finding: list(Weight).index(finding.weight))
    if as_json:
        import msgspec

        click.echo(msgspec.json.format(msgspec.json.encode(_told(found, findings)), indent=2))
    else:
        from verify.cli.measure_view import show

        show(found, findings, name=log.name, rows=recorded.rows)
    return _code(found, findings)


def _error(name: str, value: float | None, *, per: int = 1) -> float | None:
    """Return a half-width as it is assumed: per cent, and points, as a share."""
    if value is None:
        return None
    most = _MOST_ERROR * per
    if not 0 <= value < most:
        raise WrongUseError(
            f"{name} is {value:g}: it must be 0 or more, and below {most:g}.",
            next_step="Leave it out for what is usually assumed.",
        )
    return value / per


def _fits(cells: int, volts: Sequence[float]) -> None:
    """Raise WrongUseError where so many cells in series cannot have these voltages, NaN where unknown."""
    from verify.measure.log_measurement import cells_of

    known = [one for one in volts if not math.isnan(one)]
    if not known:
        return
    # So low a voltage may be a dead pack's, where it fits no other number.
    too_many = max(known) < _CELL_V[0] * cells and cells_of(known) is not None
    if too_many or min(known) > _CELL_V[1] * cells:
        raise WrongUseError(
            f"--cells is {cells}: {min(known):.1f} to {max(known):.1f} V is no voltage of so many in series.",
            next_step="Leave it out, or take the number from the pack's label.",
        )


def _code(found: "LogMeasurement", findings: "list[LogFinding]") -> int:
    from verify.measure.log_findings import Weight
    from verify.measure.pack_measurement import Gauge

    if found.gauge is Gauge.BOASTFUL or any(one.weight is Weight.FAULT for one in findings):
        return NOT_GOOD
    return GOOD if found.established else NOT_ESTABLISHED


def _bounds(found: "Interval | None", **more: object) -> dict[str, object] | None:
    """Return an interval for a program; a bound that is infinite is unknown."""
    if found is None:
        return None
    low, high = (one if math.isfinite(one) else None for one in (found.low, found.high))
    # Where nothing bounds it from above, there is no best value either: only what it is at least.
    return {"value": None if high is None else found.value, "low": low, "high": high, **more}


def _told(found: "LogMeasurement", findings: "list[LogFinding]") -> dict[str, object]:
    pack, resistance = found.pack, found.resistance
    cell = _bounds(resistance.cell_mohm)
    return {
        "capacity_ah": _bounds(pack.capacity_ah or pack.least_ah),
        "capacity_wh": _bounds(pack.capacity_wh or pack.least_wh),
        "resistance_mohm": _bounds(
            resistance.pack_mohm,
            cell=cell,
            time_scale_s=resistance.time_scale_s,
            steps=resistance.steps,
        ),
        "phases": [
            {
                "phase": str(phase.kind),
                "start_s": phase.start_s,
                "end_s": phase.end_s,
                "charge_ah": phase.charge_ah,
            }
            for phase in found.phases
        ],
        "steady_c": _bounds(found.steady_c),
        "time_constant_s": _bounds(found.time_constant_s),
        "gauge": None if found.gauge is None else str(found.gauge),
        "findings": [
            {"weight": str(one.weight), "what": one.what, "next_step": one.next_step or None}
            for one in findings
        ],
    }
