"""The view of `handback measure` for a person: short lines, without colour, in a narrow window too."""

import math
from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from verify.measure.interval import Interval
from verify.measure.log_findings import LogFinding, Weight
from verify.measure.log_measurement import LogMeasurement
from verify.measure.pack_measurement import Gauge
from verify.record.visible import on_one_line

__all__ = ["show"]

_WIDEST = 100
_MOST_PHASES = 20
_UNKNOWN = "cannot tell"

# Mark, word and style: colour is never the only sign.
_GAUGE = {
    Gauge.TRUTHFUL: ("+", "TRUTHFUL", "green", "The pack holds about what its gauge claims, or more."),
    Gauge.BOASTFUL: ("x", "BOASTFUL", "bold red", "The gauge claims more than the pack holds."),
    Gauge.UNDECIDED: ("?", "CANNOT TELL YET", "yellow", "This log does not show whether its claim is true."),
}
_MARKS = {Weight.FAULT: ("x", "bold red"), Weight.DOUBT: ("?", "yellow"), Weight.NOTE: ("-", "dim")}


def show(
    found: LogMeasurement,
    findings: Sequence[LogFinding],
    *,
    name: str,
    rows: int,
    console: Console | None = None,
) -> None:
    """Write the view to the console (standard output where None).

    findings: all there are, of the file too. name: of the log. rows: that it holds.
    """
    if console is None:
        console = Console(highlight=False)
        console.width = min(console.width, _WIDEST)
    length = "" if found.length_s is None else f" over {span_text(found.length_s)}"
    rows_text = f"{rows:,} {'row' if rows == 1 else 'rows'}"
    console.print(Text(f"{on_one_line(name)}: {rows_text}{length}", style="bold"))
    if found.length_s is not None:
        if _of_a_pack(found):
            _capacity(console, found)
        _gauge(console, found)
        _phases(console, found)
        _resistance(console, found)
        _heat(console, found)
    _findings(console, findings, established=found.established)
    if found.length_s is not None:
        _unknown(console, found)


def span_text(seconds: float) -> str:
    """Write a length of time: "42 s", "3 min 20 s", "1 h 05 min"."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def _clock(seconds: float) -> str:
    """Write a time within the log: "0:42:10"."""
    whole = round(seconds)
    sign, whole = ("-", -whole) if whole < 0 else ("", whole)
    return f"{sign}{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"


def _section(console: Console, title: str) -> None:
    console.print()
    console.print(Text(title, style="bold"))


def _hung(console: Console, mark: str, text: Text | str, *, style: str = "") -> None:
    """Write a mark and a text that stays to the right of it."""
    table = Table.grid(padding=(0, 1))
    table.add_column(no_wrap=True)
    table.add_column()
    table.add_row(Text(f"  {mark}", style=style), Text(text) if isinstance(text, str) else text)
    console.print(table)


def _figure(value: float) -> str:
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:.{min(digits, 4)}f}"


def _interval(found: Interval | None, unit: str) -> tuple[str, str]:
    """Return the value and, apart, the bounds."""
    if found is None:
        return _UNKNOWN, ""
    if not found.bounded:
        return f"at least {_figure(found.low)} {unit}", "95 %"
    bounds = f"{_figure(found.low)} to {_figure(found.high)} {unit}"
    return f"{_figure(found.value)} {unit}", f"{bounds} (95 %)"


def _of_a_pack(found: LogMeasurement) -> bool:
    pack = found.pack
    told = (pack.capacity_ah, pack.least_ah, found.claimed_wh, found.label_wh)
    return any(one is not None for one in told) or bool(found.phases)


def _capacity(console: Console, found: LogMeasurement) -> None:
    _section(console, "Capacity between empty and full")
    pack = found.pack
    measured = pack.capacity_wh or pack.least_wh
    value, bounds = _interval(measured, "Wh")
    table = Table.grid(padding=(0, 2))
    for _ in range(4):
        table.add_column()
    rows = [("Measured", value, bounds), _other("Gauge claims", found.claimed_wh, measured)]
    rows.append(_other("Label says", found.label_wh, measured))
    for row in rows:
        table.add_row(*(Text(f"  {row[0]}"), *map(Text, row[1:])))
    console.print(table)
    charge, charge_bounds = _interval(pack.capacity_ah or pack.least_ah, "Ah")
    if charge != _UNKNOWN:
        _hung(console, " ", f"In charge: {charge}, {charge_bounds}.")
    if pack.capacity_ah is not None and pack.start is not None and pack.end is not None:
        _hung(console, " ", f"From: {pack.start.how}. To: {pack.end.how}.")
    if pack.fall_ah is not None and pack.fall_ah != pack.capacity_ah:
        value, bounds = _interval(pack.fall_ah, "Ah")
        _hung(console, " ", f"As a check, running down: {value}, {bounds}.")
    if measured is not None:
        _hung(console, " ", "Wh at rest, measured through the pack's own sensors.")


def _other(name: str, figure_wh: float | None, measured: Interval | None) -> tuple[str, str, str]:
    """Return the row of a figure beside the measured one."""
    if figure_wh is None:
        return name, "not given", ""
    share = ""
    if measured is not None and measured.bounded:
        share = f"measured: {100 * measured.value / figure_wh:.0f} % of it"
    elif measured is not None:
        share = f"measured: at least {100 * measured.low / figure_wh:.0f} % of it"
    return name, f"{_figure(figure_wh)} Wh", share


def _gauge(console: Console, found: LogMeasurement) -> None:
    if found.gauge is None:
        return
    _section(console, "Gauge")
    mark, word, style, sentence = _GAUGE[found.gauge]
    line = Text(f"{word}. ", style=style)
    line.append(sentence, style="default not bold")
    _hung(console, mark, line, style=style)


def _phases(console: Console, found: LogMeasurement) -> None:
    if not found.phases:
        return
    _section(console, "Phases")
    table = Table.grid(padding=(0, 2))
    for _ in range(4):
        table.add_column(no_wrap=True)
    shown = found.phases[:_MOST_PHASES]
    for phase in shown:
        charge = "" if phase.charge_ah is None else f"{round(phase.charge_ah, 2) or 0.0:+.2f} Ah"
        cells = (
            f"  {_clock(phase.start_s)}",
            span_text(phase.end_s - phase.start_s),
            str(phase.kind),
            charge,
        )
        table.add_row(*map(Text, cells))
    console.print(table)
    if len(found.phases) > len(shown):
        _hung(console, " ", f"and {len(found.phases) - len(shown)} more (all with --json)")


def _resistance(console: Console, found: LogMeasurement) -> None:
    resistance = found.resistance
    if resistance.pack_mohm is None:
        return
    _section(console, "Resistance")
    value, bounds = _interval(resistance.pack_mohm, "mΩ")
    scale = ""
    if resistance.time_scale_s is not None:
        scale = f", read {resistance.time_scale_s:.0f} s after a step"
    steps = "1 step" if resistance.steps == 1 else f"{resistance.steps} steps"
    _hung(console, " ", f"Pack: {value}, {bounds}{scale}; {steps} of the current.")
    if resistance.cell_mohm is not None:
        value, bounds = _interval(resistance.cell_mohm, "mΩ")
        _hung(console, " ", f"Each cell in series: {value}, {bounds}.")


def _heat(console: Console, found: LogMeasurement) -> None:
    if found.steady_c is None:
        return
    _section(console, "Heat")
    value, bounds = _interval(found.steady_c, "°C")
    _hung(console, " ", f"The {found.heat_of} settles at {value}, {bounds}, as it is loaded here.")
    if found.time_constant_s is not None:
        value, bounds = _interval(found.time_constant_s, "s")
        _hung(console, " ", f"Time constant of its cooler: {value}, {bounds}.")


def _findings(console: Console, findings: Sequence[LogFinding], *, established: bool) -> None:
    _section(console, "Findings")
    if not findings:
        _hung(console, *(("+", "Nothing amiss.") if established else ("-", "None: this log tells nothing.")))
    before = ""
    for finding in findings:
        _finding(console, finding, before=before)
        before = finding.next_step


def _finding(console: Console, finding: LogFinding, *, before: str) -> None:
    mark, style = _MARKS[finding.weight]
    text = Text(on_one_line(finding.what))
    if finding.next_step:
        text.append("\nNext: ", style="bold")
        text.append("the same." if finding.next_step == before else on_one_line(finding.next_step))
    _hung(console, mark, text, style=style)


def _unknown(console: Console, found: LogMeasurement) -> None:
    if not found.unknown:
        return
    _section(console, "What this log cannot tell")
    for name, why in found.unknown.items():
        _hung(console, "?", f"{name}: {why}")
