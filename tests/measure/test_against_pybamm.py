"""What is measured of a pack against a physical model of it: published cells, charged and run down in PyBaMM.

The series are made by tests/reference/make_pybamm.py; papers, conditions and truths stand beside them in
pybamm.json. The current sensor has an error of up to 3 % and 3 mA, the gauge of up to 1 point; some lie.
"""

import csv
import gzip
import io
import json
import math
import os
import subprocess
from collections.abc import Iterator
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path
from statistics import fmean
from typing import Any, TypeAlias

import pytest
from scipy.stats import binom

from verify.measure import open_circuit
from verify.measure.capacity import StartHow
from verify.measure.forecast import ChargeForecast
from verify.measure.interval import Interval
from verify.measure.pack_measurement import Gauge, Measured, PackMeasurement
from verify.measure.phases import PhaseKind
from verify.measure.point import Point
from verify.measure.resistance import StepResistance

_TOP = Path(__file__).parents[2]
_FOLDER = _TOP / "tests" / "reference" / "pybamm"
_SIZE_LIMIT = 600_000
_NOMINAL_CELL_V = 3.7
_LONGEST_REMAKE_S = 3600

_Run: TypeAlias = dict[str, Any]


@cache
def _manifest() -> dict[str, Any]:
    told: dict[str, Any] = json.loads((_FOLDER / "pybamm.json").read_text(encoding="utf-8"))
    return told


def _runs(kind: str) -> list[_Run]:
    return [run for run in _manifest()["runs"] if run["kind"] == kind]


def _rows(folder: Path, paper: str) -> dict[int, list[dict[str, str]]]:
    text = gzip.decompress((folder / f"{paper.lower()}.csv.gz").read_bytes()).decode()
    rows = csv.DictReader(io.StringIO(text))
    return {int(number): list(own) for number, own in groupby(rows, key=lambda row: row["run"])}


@cache
def _rows_of(paper: str) -> dict[int, list[dict[str, str]]]:
    return _rows(_FOLDER, paper)


def _points(run: _Run) -> Iterator[Point]:
    claimed_wh = run["truth"]["claimed_wh"]
    for row in _rows_of(run["paper"])[run["number"]]:
        remaining_wh = float(row["remaining_10mwh"]) / 100 if row["remaining_10mwh"] else None
        yield Point(
            at_s=float(row["time_s"]),
            current_a=float(row["current_ma"]) / 1000,
            power_w=float(row["power_10mw"]) / 100,
            voltage_v=float(row["voltage_mv"]) / 1000,
            level=float(row["level_percent"]) / 100 if remaining_wh is None else remaining_wh / claimed_wh,
            remaining_wh=remaining_wh,
            temperature_c=float(row["temperature_c"]),
            powered=row["powered"] == "1",
            says_full=row["full"] == "1",
        )


def _measured(run: _Run) -> Measured:
    pack = PackMeasurement(
        design_wh=run["truth"]["nominal_ah"] * _NOMINAL_CELL_V * run["in_series"],
        design_voltage_v=_NOMINAL_CELL_V * run["in_series"],
        claimed_wh=run["truth"]["claimed_wh"],
        cells=run["in_series"],
    )
    for point in _points(run):
        pack.see(point)
    return pack.result()


@cache
def _all_measured() -> dict[int, Measured]:
    return {run["number"]: _measured(run) for run in (*_runs("charge"), *_runs("discharge"))}


def _told(run: _Run) -> str:
    return f"{run['number']} ({run['paper']}, {run['ambient_c']:g} °C, {run['lost']} {run['health']:g} left)"


def _most_outside(count: int) -> int:
    """Return how many of `count` 95 % intervals miss at most, but for one case in forty."""
    return int(binom.ppf(0.975, count, 0.05))


def _outside(measured: dict[int, Measured], which: str) -> tuple[list[str], int]:
    """Return the runs whose true capacity, such as `rest_ah`, is not in the interval; and of how many."""
    outside, count = list[str](), 0
    for run in (*_runs("charge"), *_runs("discharge")):
        own = measured[run["number"]]
        interval = own.capacity_ah if which.endswith("ah") else own.capacity_wh
        if interval is None:
            # Where the gauge lies and the voltage tells nothing there is no answer, and it says so.
            assert run["gauge"] != "truthful", _told(run)
            assert own.why_not
            continue
        assert math.isfinite(interval.high), _told(run)
        count += 1
        low, high = interval.low / run["truth"][which], interval.high / run["truth"][which]
        if not low <= 1 <= high:
            outside.append(f"{_told(run)}: {low:.3f} to {high:.3f} of the truth")
    return outside, count


def test_series_are_what_the_script_says_and_small() -> None:
    manifest = _manifest()
    assert len(manifest["papers"]) >= 4
    assert all("doi:10." in paper["cited"] for paper in manifest["papers"])
    assert {run["paper"] for run in manifest["runs"]} == {paper["name"] for paper in manifest["papers"]}
    assert 40 <= len(manifest["runs"]) <= 60
    for name, levels in {
        "rate_c": {0.3, 0.5, 0.7, 1.0},
        "ambient_c": {5.0, 15.0, 25.0, 35.0},
        "health": {1.0, 0.85, 0.70},
        "added_ohm": {0.0, 0.020, 0.060},
        "in_series": {2, 3, 4},
        "start": {"gauge", "rested", "drained"},
        "kind": {"charge", "discharge", "steps"},
    }.items():
        assert {run[name] for run in manifest["runs"]} == levels
    assert sum(file.stat().st_size for file in _FOLDER.iterdir()) < _SIZE_LIMIT


@pytest.mark.parametrize("which", ["rest_ah", "rest_wh", "capacity_ah", "capacity_wh"])
def test_true_capacity_lies_within_the_interval(which: str) -> None:
    """Between 3.0 V and full at rest; and, next to it, up to where the charger's taper ended the charge.

    One in twenty may lie outside. Those that did when this was written, and why:
    45: its sensor reads 2.8 % too much, of the 3 % that are assumed;
    21 and 23 (Wh): 60 mΩ added at 7 Ah, seen by no step: more than the assumed overvoltage; and cells of
    4.1 V, taken for such of 4.2 V.
    """
    outside, count = _outside(_all_measured(), which)

    assert count >= 40
    assert len(outside) <= _most_outside(count), outside


def test_true_capacity_lies_within_the_interval_where_the_start_is_proven() -> None:
    """The sharper half: by a gauge alone the interval is wide, and the gauges of the series are good."""
    outside, count = list[str](), 0
    for run in (*_runs("charge"), *_runs("discharge")):
        own = _all_measured()[run["number"]]
        if own.start is not None and own.start.proven and own.capacity_ah is not None:
            count += 1
            if not own.capacity_ah.low <= run["truth"]["rest_ah"] <= own.capacity_ah.high:
                outside.append(_told(run))

    assert count >= 15
    assert len(outside) <= _most_outside(count), outside


@pytest.mark.parametrize("run", [run for run in _runs("charge") if run["start"] == "drained"], ids=_told)
def test_start_by_running_down_begins_at_the_last_look_before_the_charge(run: _Run) -> None:
    """What may be left at the knee is less from look to look: an early one is the worst to begin at."""
    own = _all_measured()[run["number"]]
    if own.start is None or own.start.how is not StartHow.DRAINED:
        return
    begins_s = run["truth"]["begins_s"]
    last_s = max(point.at_s for point in _points(run) if point.at_s < begins_s["charge"])
    assert own.counted is not None
    # It is counted until full, which the pack says within a look.
    assert own.counted.time_s <= begins_s["full"] - last_s + 2 * 22.0 + 30.0
    assert abs(own.start.level - run["truth"]["level_before_charge"]) <= own.start.half_width + 0.002


def test_start_that_is_proven_is_the_true_start() -> None:
    beyond, proven = [], 0
    for run in _runs("charge"):
        own = _all_measured()[run["number"]].start
        if own is None or not own.proven:
            continue
        proven += 1
        # Level 1 is full at rest here, in the series where the charger ended: low levels hardly differ.
        truth = run["truth"]["level_before_charge"]
        if abs(own.level - truth) > own.half_width + 0.005:
            beyond.append(f"{_told(run)}: {own.level:.3f} ± {own.half_width:.3f}, true {truth:.3f}")

    assert proven >= 10
    assert len(beyond) <= _most_outside(proven), beyond


# Two of the papers are of one and the same cell.
_SAME_CELL = {"Chen2020": ("Chen2020", "ORegan2022"), "ORegan2022": ("Chen2020", "ORegan2022")}


def test_true_capacity_lies_within_the_interval_where_its_own_curve_is_not_known(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The band of rest voltages is made of some of the same papers: here each is measured without its own."""
    curves = open_circuit._CURVES
    measured = {}
    for run in (*_runs("charge"), *_runs("discharge")):
        own = _SAME_CELL.get(run["paper"], (run["paper"],))
        others = {name: curve for name, curve in curves.items() if not name.startswith(own)}
        assert len(others) < len(curves) or run["paper"] == "Marquis2019"
        with monkeypatch.context() as patch:
            patch.setattr(open_circuit, "_CURVES", others)
            measured[run["number"]] = _measured(run)

    outside, count = _outside(measured, "rest_ah")
    assert len(outside) <= _most_outside(count), outside


def test_gauge_that_tells_the_truth_is_never_called_boastful() -> None:
    wrong = [
        _told(run)
        for run in (*_runs("charge"), *_runs("discharge"))
        if run["gauge"] == "truthful" and _all_measured()[run["number"]].verdict is Gauge.BOASTFUL
    ]
    assert wrong == []


def test_gauge_that_boasts_is_never_called_truthful() -> None:
    lying = [run for run in (*_runs("charge"), *_runs("discharge")) if run["gauge"] != "truthful"]
    assert len(lying) >= 10
    verdicts = {_told(run): _all_measured()[run["number"]].verdict for run in lying}

    assert [run for run, verdict in verdicts.items() if verdict is Gauge.TRUTHFUL] == []
    # Those of at least 15 % more than it holds are caught, most of them.
    assert sum(verdict is Gauge.BOASTFUL for verdict in verdicts.values()) >= 0.75 * len(lying)


def _true_mohm(run: _Run, at_s: float, scale_s: float) -> float:
    """Return the simulated resistance of the nearest step at this time scale, between those that are told."""
    step = min(run["truth"]["steps"], key=lambda one: abs(one["at_s"] - at_s))
    scales = sorted((float(scale), mohm) for scale, mohm in step["resistance_mohm"].items())
    assert scales[0][0] <= scale_s <= scales[-1][0]
    low, high = next(pair for pair in pairwise(scales) if pair[1][0] >= scale_s)
    share = (scale_s - low[0]) / (high[0] - low[0])
    return float(low[1] + share * (high[1] - low[1]))


@pytest.mark.parametrize("run", _runs("steps"), ids=_told)
def test_resistance_by_steps_is_that_of_the_model(run: _Run) -> None:
    finder = StepResistance(capacity_ah=run["truth"]["capacity_ah"], cells=run["in_series"])
    for point in _points(run):
        finder.see(point)
    found = finder.result()

    assert found.steps >= 6
    ratios = [step.pack_mohm / _true_mohm(run, step.at_s, step.time_scale_s) for step in finder.steps]
    assert all(0.9 <= ratio <= 1.1 for ratio in ratios), ratios
    # All together, its interval, which knows of the sensor's gain, holds the mean of the truths.
    truth = sum(_true_mohm(run, step.at_s, step.time_scale_s) for step in finder.steps) / len(finder.steps)
    assert found.pack_mohm is not None
    assert found.pack_mohm.low <= truth <= found.pack_mohm.high
    assert found.cell_mohm is not None
    assert found.cell_mohm.value == pytest.approx(found.pack_mohm.value / run["in_series"])


_RISES = {PhaseKind.TRICKLE, PhaseKind.CONSTANT_CURRENT, PhaseKind.CONSTANT_POWER}


def _forecast(run: _Run) -> ChargeForecast:
    capacity_ah = run["truth"]["claimed_wh"] / (_NOMINAL_CELL_V * run["in_series"])
    return ChargeForecast(capacity_ah=capacity_ah, cells=run["in_series"], full_cell_v=run["truth"]["full_v"])


@pytest.mark.parametrize("run", _runs("charge"), ids=_told)
def test_phases_of_a_charge_come_in_their_order_and_at_their_time(run: _Run) -> None:
    forecast = _forecast(run)
    for point in _points(run):
        forecast.see(point)
    begins_s = run["truth"]["begins_s"]
    phases = [one for one in forecast.phases.result() if one.end_s > begins_s["charge"] + 60]
    kinds = [one.kind for one in phases]

    assert kinds[-2:] == [PhaseKind.CONSTANT_VOLTAGE, PhaseKind.FULL]
    assert {*kinds[:-2]} <= _RISES
    assert phases[-1].start_s == pytest.approx(begins_s["full"], abs=75)
    # A charge that begins near its full voltage has little else.
    if begins_s["held"] - begins_s["charge"] > 300:
        assert kinds[0] in _RISES
        assert phases[-2].start_s == pytest.approx(begins_s["held"], abs=180)


def _time_left_told(run: _Run) -> list[tuple[float, Interval]]:
    """Return, every minute of the charge, the true time to full and what was told."""
    forecast, told, last_s = _forecast(run), list[tuple[float, Interval]](), -math.inf
    begins_s = run["truth"]["begins_s"]
    for point in _points(run):
        forecast.see(point)
        if begins_s["charge"] + 60 < point.at_s < begins_s["full"] - 60 and point.at_s - last_s >= 60:
            left = forecast.time_left()
            if left is not None:
                last_s = point.at_s
                told.append((begins_s["full"] - point.at_s, left))
    return told


def _ends_as_usual(run: _Run) -> bool:
    """Tell whether the pack holds about what its paper says, so that C/20 of the one is that of the other."""
    truth = run["truth"]
    return bool(run["gauge"] == "truthful" and 0.8 <= truth["rest_ah"] / truth["nominal_ah"] <= 1.3)


def _shares_within(*, shared: bool) -> dict[str, float]:
    """Return, for each such charge, the share of looks at which the true time lay in the band."""
    shares = {}
    for run in _runs("charge"):
        if run["shared"] is shared and _ends_as_usual(run):
            told = _time_left_told(run)
            shares[_told(run)] = sum(left.low <= true_s <= left.high for true_s, left in told) / len(told)
    assert len(shares) >= 6
    return shares


def test_time_left_lies_in_its_band_where_the_charger_gives_what_it_can() -> None:
    shares = _shares_within(shared=False)
    # Voltage held from far below full is far from any usual course: 60 mΩ a cell at 0.7 C.
    assert min(shares.values()) >= 0.5, shares
    assert fmean(shares.values()) >= 0.88, shares


def test_time_left_lies_mostly_in_its_band_where_a_changing_load_shares_the_charger() -> None:
    """What the machine will draw from now on nobody knows: the loads change by up to threefold."""
    shares = _shares_within(shared=True)
    assert fmean(shares.values()) >= 0.65, shares


@pytest.mark.reference
def test_series_made_anew_are_the_committed_ones(tmp_path: Path) -> None:
    """Run by `pytest -m reference`, with HANDBACK_PYBAMM naming a Python that has PyBaMM."""
    python = os.environ.get("HANDBACK_PYBAMM")
    # Asked for by name only (the marker is left out otherwise): without PyBaMM it fails and is never skipped.
    assert python, (
        "Set HANDBACK_PYBAMM to the Python of an environment with PyBaMM; the script says how to make one."
    )
    script = [python, "-m", "tests.reference.make_pybamm", str(tmp_path)]
    made = subprocess.run(
        script, cwd=_TOP, capture_output=True, text=True, timeout=_LONGEST_REMAKE_S, check=False
    )
    assert made.returncode == 0, made.stderr[-2000:]

    anew = json.loads((tmp_path / "pybamm.json").read_text(encoding="utf-8"))
    assert [run["number"] for run in anew["runs"]] == [run["number"] for run in _manifest()["runs"]]
    for old, new in zip(_manifest()["runs"], anew["runs"], strict=True):
        assert {**new, "truth": None} == {**old, "truth": None}
        for name, value in old["truth"].items():
            if isinstance(value, float):
                assert new["truth"][name] == pytest.approx(value, rel=2e-3, abs=2e-3), (_told(old), name)
        for one, two in zip(old["truth"]["steps"], new["truth"]["steps"], strict=True):
            assert two["resistance_mohm"] == pytest.approx(one["resistance_mohm"], rel=0.01)
    for paper in {run["paper"] for run in _manifest()["runs"]}:
        rows = _rows(tmp_path, paper)
        for number, old_rows in _rows_of(paper).items():
            _same_series(old_rows, rows[number])


def _same_series(old: list[dict[str, str]], new: list[dict[str, str]]) -> None:
    """Most looks are the same to a step of the gauge; where a jump lies a moment earlier, one is not."""
    pairs = list(zip(old, new, strict=False))
    assert abs(len(old) - len(new)) <= 2
    for name, tolerance in (("time_s", 0.11), ("voltage_mv", 6.0), ("current_ma", 12.0)):
        apart = sorted(abs(float(a[name]) - float(b[name])) for a, b in pairs)
        assert apart[int(0.97 * len(apart))] <= tolerance, name
