"""Make the reference series anew: charges, discharges, load steps of published cells, as a gauge tells them.

Needs Python 3.11 or later with PyBaMM 26.10, which the project itself never needs, in an environment of its
own:

    python -m venv ELSEWHERE && ELSEWHERE/bin/pip install pybamm==26.10.1.1
    ELSEWHERE/bin/python -m tests.reference.make_pybamm FOLDER     (from the top folder of the project)

Writes into FOLDER, for each paper, the samples of its runs, and pybamm.json: papers, conditions and truths.
Without FOLDER, into pybamm/ beside this file. Takes some minutes.

Truths of a run (of the pack, parallel cells together):
- rest_ah: from empty to full at rest: from 3.0 V a cell (or the paper's lower cut-off where that is higher)
  to the paper's upper cut-off, at most 4.2 V; lithium conserved, open-circuit potentials of the paper;
- rest_wh: the integral of the open-circuit voltage over that charge, all cells;
- capacity_ah, capacity_wh: the same from empty to where the charge ended: at that upper voltage, with the
  current fallen to C/20 of the paper's capacity; so a little less;
- below_ah: what lies under empty, down to the paper's lower cut-off at rest;
- start_level, level_before_charge, end_level: shares of capacity_ah at the first sample, where the charge
  begins, and at the last; begins_s: when the charge, the constant voltage, full began;
- resistance_mohm (steps): (V1 - V2)/(I2 - I1) of the simulated pack, 0.2 to 10 s after each load step.
"""

import csv
import gzip
import io
import json
import random
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pybamm

from tests.reference.cell_model import Cell, Series, State
from tests.reference.gauge import COLUMNS, Errors, Gauge, Timeline, sample_times
from tests.reference.papers import PAPERS
from tests.reference.runs import SEED, Run, all_runs

_TAPER_C = 0.05
_LONGEST_S = 10 * 3600.0
_REST_S = 1200.0
_OFF_S = 240.0
_AFTER_FULL_S = 180.0
_RUNS_TO_V = 3.0  # where a laptop switches itself off, a cell [common practice, no source]
_SCALES_S = (0.2, 1.0, 2.0, 5.0, 10.0)
_PULSES = 6
_PULSE_S = 12.0


class Recording:
    """Steps of one pack put one after the other, with what was recorded of them."""

    def __init__(self, cell: Cell, run: Run) -> None:
        self._cell, self._run = cell, run
        self._columns: list[list[Any]] = [[], [], [], [], []]
        self._end_s, self._charge_ah = 0.0, 0.0
        self.powered: list[tuple[float, bool]] = []
        self.spans: list[tuple[float, float]] = []
        self.begins: dict[str, float] = {}
        self.full_from_s = float("inf")
        self.full_until_s = float("inf")
        self.full_at_ah, self.charged_ah = 0.0, 0.0

    def is_full(self) -> None:
        """Take what went in up to now as what a full pack holds."""
        self.full_at_ah = self._charge_ah

    def add(self, step: Series, *, recorded: bool, powered: bool, skip_s: float = 0.0) -> float:
        """Take in a step; return when it began, in s. skip_s: of its begin is not recorded."""
        began_s = self._end_s
        self.powered.append((began_s, powered))
        charge_ah = self._charge_ah + step.charge_ah
        # Two points at one time would leave it open which holds: the later step begins a millisecond later.
        time_s = began_s + step.time_s + np.where(step.time_s == 0, 1e-3, 0.0)
        parts = (time_s, step.current_a, step.voltage_v * self._run.in_series, step.temperature_c, charge_ah)
        for column, part in zip(self._columns, parts, strict=True):
            column.append(part)
        self._end_s, self._charge_ah = float(time_s[-1]), float(charge_ah[-1])
        if recorded:
            self.spans.append((began_s + skip_s, self._end_s))
        return began_s

    def timeline(self, capacity_ah: float) -> Timeline:
        """Return it with the true level, counted from full, and times from the first recorded one."""
        columns = [np.concatenate(column) for column in self._columns]
        first_s = self.spans[0][0]
        seen = columns[0] >= first_s
        level = 1 + (columns[4] - self.full_at_ah) / capacity_ah
        first_level = np.interp(first_s, columns[0], level)
        return Timeline(
            time_s=np.concatenate([[0.0], columns[0][seen] - first_s]),
            current_a=np.concatenate([[columns[1][seen][0]], columns[1][seen]]),
            voltage_v=np.concatenate([[columns[2][seen][0]], columns[2][seen]]),
            temperature_c=np.concatenate([[columns[3][seen][0]], columns[3][seen]]),
            level=np.concatenate([[first_level], level[seen]]),
            powered=tuple((max(0.0, at_s - first_s), on) for at_s, on in self.powered),
            full_from_s=self.full_from_s - first_s,
            full_until_s=self.full_until_s - first_s,
        )


def _blocks(low_w: float, high_w: float, dice: random.Random) -> Any:
    """Return rows of time and power that changes at once every 2 to 8 minutes, for the longest run."""
    rows, at_s = [], 0.0
    while at_s < _LONGEST_S:
        power_w = dice.uniform(low_w, high_w)
        length_s = dice.uniform(120.0, 480.0)
        rows += [(at_s, power_w), (at_s + length_s - 1.0, power_w)]
        at_s += length_s
    return np.array(rows)


def _charge_steps(cell: Cell, run: Run, dice: random.Random) -> list[Any]:
    rate_a = run.rate_c * cell.nominal_ah
    if run.shared:
        most_w = rate_a * (cell.full_v - 0.3)
        up = cell.power(_blocks(0.35 * most_w, most_w, dice), for_s=_LONGEST_S, until_v=cell.full_v)
    else:
        up = cell.current(rate_a, for_s=_LONGEST_S, until_v=cell.full_v)
    return [up, cell.hold(until_a=_TAPER_C * cell.nominal_ah)]


def _charge(cell: Cell, run: Run, tape: Recording, dice: random.Random) -> State:
    """Simulate what came before, the charge to its end and three minutes after; return the state at full."""
    drained = run.start == "drained"
    before_ah = 0.15 * cell.nominal_ah * run.health
    before_c = 0.2 if drained or run.start_level < 0.1 else 0.3
    steps = [
        cell.current(
            -before_c * cell.nominal_ah,
            for_s=_LONGEST_S if drained else before_ah / (before_c * cell.nominal_ah) * 3600,
            until_v=max(_RUNS_TO_V, cell.cutoff_v) if drained else cell.cutoff_v - 0.2,
        ),
        cell.current(0.0, for_s={"gauge": 60.0, "rested": _REST_S, "drained": _OFF_S}[run.start]),
        *_charge_steps(cell, run, dice),
        cell.current(0.0, for_s=_AFTER_FULL_S),
    ]
    start = cell.at_level(0.15 if drained else run.start_level + 0.15)
    down, rest, *up, after = cell.simulate(start, steps)
    tape.add(down, recorded=drained, powered=False)
    tape.add(rest, recorded=run.start == "rested", powered=run.start == "rested")
    for name, one in zip(("charge", "held"), up, strict=True):
        tape.begins[name] = tape.add(one, recorded=True, powered=True)
        tape.charged_ah += float(one.charge_ah[-1])
    tape.is_full()
    tape.full_from_s = tape.begins["full"] = tape.add(after, recorded=True, powered=True)
    return up[-1].end


def _discharge(cell: Cell, run: Run, tape: Recording, dice: random.Random) -> State:
    """Simulate a charge to full, half an hour of rest, a changing load until the pack ends; as `_charge`."""
    most_w = min(run.rate_c, 0.7) * cell.nominal_ah * 3.7
    load = cell.power(
        -_blocks(0.3 * most_w, most_w, dice) * [-1, 1],
        for_s=_LONGEST_S,
        until_v=max(_RUNS_TO_V, cell.cutoff_v),
    )
    up = [cell.current(0.5 * cell.nominal_ah, for_s=_LONGEST_S, until_v=cell.full_v)]
    up += [cell.hold(until_a=_TAPER_C * cell.nominal_ah)]
    one, two, rest, down = cell.simulate(cell.at_level(0.6), [*up, cell.current(0.0, for_s=1800.0), load])
    tape.add(one, recorded=False, powered=True)
    tape.add(two, recorded=False, powered=True)
    tape.is_full()
    tape.full_from_s = tape.add(rest, recorded=True, powered=True, skip_s=1500.0)
    tape.full_until_s = tape.add(down, recorded=True, powered=False)
    return two.end


def _resistance(before: Series, after: Series, in_series: int) -> dict[str, float]:
    told = {}
    for scale_s in _SCALES_S:
        volts = float(np.interp(scale_s, after.time_s, after.voltage_v))
        amps = float(np.interp(scale_s, after.time_s, after.current_a))
        ohm = (before.voltage_v[-1] - volts) / (before.current_a[-1] - amps)
        told[f"{scale_s:g}"] = round(float(ohm) * in_series * 1000, 3)
    return told


def _steps(cell: Cell, run: Run, tape: Recording) -> tuple[State, list[dict[str, Any]]]:
    """Simulate load steps on battery, then a charger in and out; return full at rest, and the truths."""
    one_c = cell.nominal_ah * run.health
    idle_a, load_a = 0.1 * one_c, max(0.5, run.rate_c) * one_c
    idle = cell.current(-idle_a, for_s=60.0, every_s=0.2)
    steps = []
    for pulse in range(_PULSES):
        down_a = idle_a + load_a * (0.7 + 0.3 * pulse / (_PULSES - 1))
        steps += [idle, cell.current(-down_a, for_s=_PULSE_S, every_s=0.2)]
    for _ in range(2):
        steps += [idle, cell.current(0.4 * one_c, for_s=60.0, every_s=0.2)]
    start, full = cell.at_level(0.35 + 0.75 * run.start_level), cell.at_level(1.0)
    tape.full_at_ah = cell.charge_between(start, full)
    series, truths = cell.simulate(start, steps), []
    for at, step in enumerate(series):
        began_s = tape.add(step, recorded=True, powered=float(step.current_a[-1]) > 0)
        if at % 2:
            truth = _resistance(series[at - 1], step, run.in_series)
            truths.append({"at_s": round(began_s, 1), "resistance_mohm": truth})
    return full, truths


def _made(run: Run) -> tuple[dict[str, Any], list[tuple[str, ...]]]:
    """Return the run's line in the manifest, and its rows."""
    dice = random.Random(SEED + run.number)
    cell = Cell(
        run.paper,
        size_ah=run.size_ah,
        lost=run.lost,
        health=run.health,
        added_ohm=run.added_ohm,
        ambient_c=run.ambient_c,
    )
    tape, steps = Recording(cell, run), list[dict[str, Any]]()
    match run.kind:
        case "charge":
            full = _charge(cell, run, tape, dice)
        case "discharge":
            full = _discharge(cell, run, tape, dice)
        case _:
            full, steps = _steps(cell, run, tape)
    capacity_ah = cell.charge_between(cell.at_rest_empty, full)
    energy_wh = cell.energy_between(cell.at_rest_empty, full) * run.in_series
    at_rest_full = cell.at_level(1.0)
    rest_wh = cell.energy_between(cell.at_rest_empty, at_rest_full) * run.in_series
    pack = tape.timeline(capacity_ah)
    errors = Errors.drawn(dice)
    gauge = Gauge(
        kind=run.gauge,
        tells_energy=run.tells_energy,
        update_s=1.0 if steps else run.update_s,
        claimed=1.0 if run.gauge == "truthful" else dice.uniform(1.15, 1.6),
        energy_wh=energy_wh,
        errors=errors,
        phase_s=dice.uniform(0.0, 10.0),
    )
    first_s = tape.spans[0][0]
    times_s = [
        at_s
        for began_s, ended_s in tape.spans
        for at_s in sample_times(
            began_s - first_s + 0.1, ended_s - first_s, 1.2 if steps else run.poll_s, dice
        )
    ]
    conditions = asdict(run) | {"paper": run.paper.name}
    truth = {
        "capacity_ah": round(capacity_ah, 5),
        "capacity_wh": round(energy_wh, 4),
        "rest_ah": round(cell.charge_between(cell.at_rest_empty, at_rest_full), 5),
        "rest_wh": round(rest_wh, 4),
        "below_ah": round(cell.charge_between(cell.at_cutoff, cell.at_rest_empty), 5),
        "start_level": round(float(pack.level[0]), 5),
        "level_before_charge": round(1 - tape.charged_ah / capacity_ah, 5) if run.kind == "charge" else None,
        "end_level": round(float(pack.level[-1]), 5),
        "begins_s": {name: round(at_s - first_s, 1) for name, at_s in tape.begins.items()},
        "nominal_ah": round(cell.nominal_ah, 5),
        "empty_v": cell.empty_v,
        "full_v": cell.full_v,
        "claimed_wh": round(gauge.claimed * energy_wh, 4),
        "gain": round(errors.gain, 5),
        "offset_a": round(errors.offset_a, 5),
        "level_error": round(errors.level, 5),
        "steps": steps,
    }
    return conditions | {"truth": truth}, [(str(run.number), *row) for row in gauge.rows(pack, times_s)]


def make(folder: Path, runs: list[Run]) -> None:
    """Make these runs and write them into the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    told: list[dict[str, Any]] = []
    for paper in PAPERS:
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(COLUMNS)
        for run in (one for one in runs if one.paper is paper):
            line, rows = _made(run)
            told.append(line)
            writer.writerows(rows)
            sys.stdout.write(f"{run.number} {paper.name} {run.kind}: {len(rows)} samples\n")
        # No time stamp: the same series give the same bytes.
        (folder / f"{paper.name.lower()}.csv.gz").write_bytes(
            gzip.compress(text.getvalue().encode(), 9, mtime=0)
        )
    papers = [{"name": one.name, "about": one.about, "cited": one.cited} for one in PAPERS]
    manifest = {"pybamm": pybamm.__version__, "seed": SEED, "papers": papers, "runs": told}
    lines = json.dumps(manifest, indent=None, ensure_ascii=False).replace('{"number"', '\n{"number"')
    (folder / "pybamm.json").write_text(lines + "\n", encoding="utf-8")


def main() -> None:
    """Make all runs, or those whose numbers follow the folder."""
    beside = Path(__file__).parent / "pybamm"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else beside
    wanted = {int(one) for one in sys.argv[2:]}
    make(folder, [run for run in all_runs() if not wanted or run.number in wanted])


if __name__ == "__main__":
    main()
