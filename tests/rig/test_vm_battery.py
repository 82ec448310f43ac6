"""Batteries on a real kernel: the tool in a virtual machine with a firmware's battery, charger, thermal zone.

The kernel's own battery driver asks the firmware, the tool reads what it shows; hours pass in seconds. What a
pack holds in truth is the firmware's secret: neither kernel nor tool can read it but by counting.
"""

import json
import shutil
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any

import msgspec
import pytest

from tests.rig.vm import Guest, build
from tests.rig.vm_battery import DIED, Bench, work
from tests.rig.vm_battery_cases import CASES, LABEL_WH, MEAN_REST_V, Case
from tests.rig.vm_kernel import unpack_kernel
from verify.machine import Pack, PackState, Sample
from verify.measure.gauge import GaugeSign
from verify.measure.pack_measurement import Gauge, Measured, PackMeasurement
from verify.probe import handed_on
from verify.probe.pack_point import point_of
from verify.probe.watching import powered
from verify.record.model import Attempt
from verify.run import RunFolder, load_record
from verify.run.events import Found, Opened
from verify.run.reading import RunOnDisk, read_run
from verify.testing.rigs import require_program
from verify.testing.traces import samples_in
from verify.values import Verdict

pytestmark = pytest.mark.rig

_PROGRAMS = ("qemu-system-x86_64", "iasl", "busybox", "ldd", "dpkg", "mkfs.ext4", "debugfs")
_GUEST = Guest(
    laptop="vm_battery.asl",
    modules=("thermal",),
    scripts=("vm_battery_guest.py", "vm_battery_cases.py"),
)
_DYING = "dying"
_NAMES = tuple(case.name for case in CASES)
_GOOD, _BAD, _OPEN = Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED


@pytest.fixture(scope="module")
def benches(tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config) -> Mapping[str, Bench]:
    """The bench of each battery: two machines at a time, the battery that dies on a disk of its own."""
    for program in _PROGRAMS:
        require_program(program)
    folder = tmp_path_factory.mktemp("battery")
    kernel = folder / "kernel-package"
    unpack_kernel(pytestconfig.cache.mkdir("kernel"), kernel)
    (folder / "machine").mkdir()
    parts = build(folder / "machine", kernel, _GUEST)
    shutil.rmtree(kernel)
    others = [name for name in _NAMES if name != _DYING]
    groups = (others[0::2], others[1::2], [_DYING])

    def bench(names: list[str]) -> Bench:
        own = folder / names[0]
        own.mkdir()
        return work(parts, own, names)

    with ThreadPoolExecutor(2) as pool:
        done = tuple(pool.map(bench, groups))
    shutil.rmtree(folder / "machine")
    return {name: bench for names, bench in zip(groups, done, strict=True) for name in names}


def case_of(name: str) -> Case:
    return next(case for case in CASES if case.name == name)


def run_of(bench: Bench, name: str) -> RunOnDisk:
    run = read_run(bench.reports / case_of(name).ticket)
    assert run is not None
    return run


def attempts(bench: Bench, name: str, check: str) -> tuple[Attempt, ...]:
    record = load_record(bench.reports, case_of(name).ticket)
    return next(result.attempts for result in record.results if result.check == check)


def samples(bench: Bench, name: str, check: str) -> list[Sample]:
    """What the check was fed, over all its attempts."""
    folder = RunFolder(bench.reports / case_of(name).ticket)
    traces = [
        line.event.trace
        for line in run_of(bench, name).lines
        if isinstance(line.event, Found) and line.event.check == check
    ]
    return [sample for trace in traces for sample in samples_in(folder.trace_path(trace).read_bytes())]


def packs(bench: Bench, name: str, check: str) -> Iterator[Pack]:
    """What was read of the pack, sample by sample."""
    return (pack for sample in samples(bench, name, check) for pack in sample.packs)


@pytest.mark.parametrize("name", _NAMES)
def test_no_battery_brings_the_tool_or_the_kernel_to_a_fault(name: str, benches: Mapping[str, Bench]) -> None:
    boots = benches[name].boots
    assert boots[-1].said("FAILED", name) is None
    assert boots[-1].said("ENDED", name) is not None
    for boot in boots:
        assert "Traceback" not in boot.console
        assert "Aborted" not in boot.console
        assert "fault in the tool" not in boot.console
        # The firmware's table has no mistake that the kernel stumbles over.
        assert "ACPI Error" not in boot.console
        assert "EXT4-fs error" not in boot.console


def told(bench: Bench, name: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads((bench.reports / f"{name}.json").read_text(encoding="utf-8"))
    return answer


_HELD = {"state": "holding", "power_w": 0.0}
_OUT = {"state": "discharging", "voltage_v": 12.4, "current_a": -0.16}
_PROBED = {
    "truthful": {**_OUT, "full_charge_wh": 56.448, "design_wh": 57.024},
    "boastful": {**_OUT, "full_charge_wh": 56.88},
    "worn": {**_OUT, "full_charge_wh": 33.264, "cycle_count": 480},
    # The kernel tells no energy of such a pack: it is worked out by the design voltage of 14.4 V.
    "milliamps": {**_OUT, "full_charge_wh": 56.448, "design_wh": 57.024},
    "unproven": {"state": "charging", "current_a": 3.5, "state_of_charge": 0.401},
    "held-below-full": {**_HELD, "state_of_charge": 0.61},
    "held-near-full": {**_HELD, "state_of_charge": 0.98},
}


@pytest.mark.parametrize("name", _PROBED)
def test_probe_tells_of_the_pack_what_its_firmware_says(name: str, benches: Mapping[str, Bench]) -> None:
    answer = told(benches[name], name)
    (pack,) = answer["batteries"]
    for field, expected in _PROBED[name].items():
        close = expected if isinstance(expected, str) else pytest.approx(expected, rel=0.02)
        assert pack[field] == close, field
    # Nothing of it is doubted: only converted, or not told.
    assert all(
        why.startswith(("Estimate", "The pack does not", "No limit")) for why in pack["reasons"].values()
    )
    assert answer["adapters"] == [{"name": "AC", "online": case_of(name).charger_in}]
    assert answer["machine"]["virtual"] is False
    assert benches[name].boots[0].said("PROBED", name) == ("0",)


@pytest.mark.parametrize("name", _NAMES)
def test_probe_reads_the_thermal_zone_and_makes_up_no_fan(name: str, benches: Mapping[str, Bench]) -> None:
    answer = told(benches[name], name)
    (zone,) = answer["temperatures"]
    assert (zone["chip"], zone["celsius"], zone["critical"]) == ("acpitz", 45.0, 100.0)
    assert answer["fans"] == []
    assert answer["reasons"]["fans"]


def test_probe_tells_no_battery_as_unknown_with_its_reason(benches: Mapping[str, Bench]) -> None:
    answer = told(benches["none"], "none")
    assert answer["batteries"] == []
    assert "No battery is visible" in answer["reasons"]["batteries"]


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """What a check must come to. low, high: of its reading, None where it must be unknown."""

    case: str
    check: str
    verdict: Verdict
    low: float | None = None
    high: float | None = None
    says: str
    attempt: int = -1


def row(case: str, check: str, verdict: Verdict, between: tuple[float, float] | None, says: str) -> Row:
    low, high = between or (None, None)
    return Row(case=case, check=check, verdict=verdict, low=low, high=high, says=says)


_FULL, _SOON = (99.5, 100), (1, 60)
_OF_LABEL = 100 * MEAN_REST_V / LABEL_WH
"""What a pack's charge in Ah comes to in % of its label, at rest."""


def counted(name: str) -> tuple[float, float]:
    """Within 5 % of the energy between empty and full that the pack holds in truth."""
    percent = case_of(name).holds_mah / 1000 * _OF_LABEL
    return 0.95 * percent, 1.05 * percent


_FINDINGS = (
    row("truthful", "pack-present", _GOOD, (1, 1), "Seen: BAT0"),
    row("truthful", "rest-level", _GOOD, (0, 0), "That proves the start of a charge."),
    row("truthful", "charge-to-full", _GOOD, _FULL, "The battery is full."),
    row("truthful", "measured-capacity", _GOOD, counted("truthful"), "The start of the charge is proven"),
    row("truthful", "gauge-told-truth", _GOOD, (0, 0), "What its gauge claims was measured."),
    row("truthful", "claimed-capacity", _GOOD, (98.9, 99.1), "reports that it holds 56.4 Wh"),
    row("truthful", "runs-on-battery", _GOOD, _SOON, "On the battery within"),
    row("boastful", "charge-to-full", _GOOD, _FULL, "Its gauge boasts."),
    row("boastful", "measured-capacity", _BAD, counted("boastful"), "its gauge claims 56.9 Wh"),
    row("boastful", "gauge-told-truth", _BAD, (1, 3), "Its level rises as that of a pack of"),
    # What a gauge claims is what it claims: that it lies, only the counting tells.
    row("boastful", "claimed-capacity", _GOOD, (99.7, 99.9), "reports that it holds 56.9 Wh"),
    row("leaping", "charge-to-full", _GOOD, _FULL, "Its gauge boasts."),
    row("leaping", "measured-capacity", _BAD, counted("leaping"), "its gauge claims 56.9 Wh"),
    row("leaping", "gauge-told-truth", _BAD, (1, 3), "points when the charge ended."),
    row("leaping", "claimed-capacity", _GOOD, (99.7, 99.9), "reports that it holds 56.9 Wh"),
    row("worn", "charge-to-full", _GOOD, _FULL, "The battery is full."),
    row("worn", "measured-capacity", _BAD, counted("worn"), "The start of the charge is proven"),
    row("worn", "gauge-told-truth", _GOOD, (0, 0), "What its gauge claims was measured."),
    row("worn", "claimed-capacity", _BAD, (58.3, 58.4), "its label says 57.0 Wh: 58 %"),
    row("milliamps", "charge-to-full", _GOOD, _FULL, "The battery is full."),
    row("milliamps", "measured-capacity", _GOOD, counted("milliamps"), "The start of the charge is proven"),
    row("milliamps", "gauge-told-truth", _GOOD, (0, 0), "What its gauge claims was measured."),
    row("milliamps", "claimed-capacity", _GOOD, (98.9, 99.1), "reports that it holds 56.4 Wh"),
    row("milliamps", "runs-on-battery", _GOOD, _SOON, "On the battery within"),
    row("unproven", "measured-capacity", _OPEN, (0.9 * counted("unproven")[0], 105), "is not proven"),
    row("unproven", "gauge-told-truth", _OPEN, None, "Neither proven nor shown to be wrong."),
    row("carrying", "holds-under-load", _GOOD, (0, 0), "It held for 60 s on the battery"),
    row(
        "held-below-full", "charge-to-full", _OPEN, (60.9, 61.1), "It holds at 61 %, and no limit is visible"
    ),
    row("held-near-full", "charge-to-full", _OPEN, (97.9, 98.1), "It takes no more at 98 %"),
    row("none", "pack-present", _BAD, (0, 0), "No battery is visible to the system."),
    row("none", "charge-to-full", _OPEN, None, "No battery is visible to the system."),
    row("pulled", "charge-to-full", _GOOD, _FULL, "The battery is full."),
    row("loose", "charge-to-full", _GOOD, _FULL, "The battery is full."),
    msgspec.structs.replace(
        row("taken", "charge-to-full", _OPEN, None, "No battery is visible to the system."), attempt=0
    ),
    row("taken", "charge-to-full", _GOOD, _FULL, "The battery is full."),
    row("dying", "pack-present", _GOOD, (1, 1), "Seen: BAT0"),
    row("dying", "holds-under-load", _BAD, (1, 1), "The machine stopped by itself at 30 %"),
    row("dying", "charge-to-full", _GOOD, _FULL, "The battery is full."),
)


@pytest.mark.parametrize(
    "expected", _FINDINGS, ids=lambda expected: f"{expected.case}-{expected.check}-{expected.attempt}"
)
def test_each_check_comes_to_what_the_battery_is(expected: Row, benches: Mapping[str, Bench]) -> None:
    attempt = attempts(benches[expected.case], expected.case, expected.check)[expected.attempt]
    assert (attempt.verdict, attempt.note) == (expected.verdict, attempt.note)
    value = attempt.readings[0].value
    if expected.low is None or expected.high is None:
        assert value is None
        assert attempt.readings[0].reason
    else:
        assert value is not None
        assert expected.low <= value <= expected.high
    assert expected.says in attempt.note


_STATUSES = {
    "truthful": {"Charging", "Full"},
    "milliamps": {"Charging", "Full"},
    "held-below-full": {"Not charging"},
    "held-near-full": {"Not charging"},
    "pulled": {"Charging", "Discharging", "Full"},
}
_WORDS = {
    PackState.CHARGING: "Charging",
    PackState.DISCHARGING: "Discharging",
    PackState.FULL: "Full",
    PackState.HOLDING: "Not charging",
}


@pytest.mark.parametrize("name", _STATUSES)
def test_the_kernel_says_of_a_charge_what_the_check_had_to_understand(
    name: str, benches: Mapping[str, Bench]
) -> None:
    # The word itself stands in a trace where the check understood another one.
    said = {
        pack.raw.get("status", _WORDS.get(pack.state))
        for pack in packs(benches[name], name, "charge-to-full")
    }
    assert said <= _STATUSES[name] | {"Discharging"}
    assert said >= _STATUSES[name]


def test_the_kernel_shows_no_energy_of_a_pack_in_milliampere_hours(benches: Mapping[str, Bench]) -> None:
    # What is converted was not shown as such.
    for pack in packs(benches["milliamps"], "milliamps", "charge-to-full"):
        assert {"remaining_wh", "full_charge_wh"} <= set(pack.estimated)
        assert "current_a" not in pack.estimated
        assert pack.current_a is not None
    for pack in packs(benches["truthful"], "truthful", "charge-to-full"):
        assert not {"remaining_wh", "full_charge_wh", "power_w"} & set(pack.estimated)
        assert pack.remaining_wh is not None


@pytest.mark.parametrize("name", ["loose", "taken"])
def test_the_kernel_took_the_pack_away_and_brought_it_back(name: str, benches: Mapping[str, Bench]) -> None:
    seen = [bool(sample.packs) for sample in samples(benches[name], name, "charge-to-full")]
    assert seen[0]
    assert seen[-1]
    assert not all(seen)
    gone = [sample for sample in samples(benches[name], name, "charge-to-full") if not sample.packs]
    assert all("No battery is visible" in sample.reasons["batteries"] for sample in gone)


_WHOLE = ("truthful", "boastful", "leaping", "worn", "milliamps")


@pytest.mark.parametrize("name", _WHOLE)
def test_the_charge_that_flowed_is_what_the_pack_holds_in_truth(
    name: str, benches: Mapping[str, Bench]
) -> None:
    # Trapezoids over what the kernel showed, by itself, against the figure that only the firmware knows: the
    # battery of this rig is one that counting can find out.
    case, flowed_mah, before = case_of(name), 0.0, None
    for sample in samples(benches[name], name, "charge-to-full"):
        (pack,) = sample.packs
        current_a = pack.current_a
        assert current_a is not None
        now = (sample.at.elapsed_s, current_a)
        if before is not None:
            flowed_mah += (before[1] + now[1]) / 2 * (now[0] - before[0]) / 3.6
        before = now
    start = _level(next(packs(benches[name], name, "charge-to-full")))
    assert flowed_mah / (1 - start) == pytest.approx(case.holds_mah, rel=0.01)


@pytest.mark.parametrize("name", _WHOLE)
def test_the_energy_that_it_holds_in_truth_lies_within_the_bounds_that_the_run_wrote_down(
    name: str, benches: Mapping[str, Bench]
) -> None:
    (attempt,) = attempts(benches[name], name, "charge-to-full")
    low, high = (
        next(reading.value for reading in attempt.readings if what in reading.source)
        for what in (handed_on.LEAST_WH, handed_on.MOST_WH)
    )
    assert low is not None
    assert high is not None
    assert low <= case_of(name).holds_mah / 1000 * MEAN_REST_V <= high


class Verdicts(msgspec.Struct, frozen=True, kw_only=True):
    """What the measurement must say of a gauge; signs: what it saw of a lie, at least."""

    gauge: Gauge
    signs: frozenset[GaugeSign] = frozenset()


_GAUGES = {
    "truthful": Verdicts(gauge=Gauge.TRUTHFUL),
    "boastful": Verdicts(gauge=Gauge.BOASTFUL, signs=frozenset({GaugeSign.PROPORTIONATE_BOAST})),
    "leaping": Verdicts(gauge=Gauge.BOASTFUL, signs=frozenset({GaugeSign.FALSE_COUNT})),
    # Worn and honest about it: that is no lie.
    "worn": Verdicts(gauge=Gauge.TRUTHFUL),
    "milliamps": Verdicts(gauge=Gauge.TRUTHFUL),
    # From 40 % on, with nothing to prove that it was 40 %: a small boast cannot be told from none.
    "unproven": Verdicts(gauge=Gauge.UNDECIDED),
    "pulled": Verdicts(gauge=Gauge.UNDECIDED),
    "loose": Verdicts(gauge=Gauge.UNDECIDED),
    "held-below-full": Verdicts(gauge=Gauge.UNDECIDED),
}


def measured(bench: Bench, name: str) -> Measured:
    """What the computations make of the whole run of samples, as the machine gave them."""
    seen = [
        sample
        for check in case_of(name).checks
        if check in ("rest-level", "runs-on-battery", "charge-to-full")
        for sample in samples(bench, name, check)
        if sample.packs
    ]
    first = seen[0].packs[0]
    measurement = PackMeasurement(
        design_wh=first.design_wh,
        design_voltage_v=first.design_voltage_v,
        claimed_wh=first.full_charge_wh,
        label_wh=LABEL_WH,
        technology=first.technology,
    )
    for sample in seen:
        measurement.see(point_of(sample.packs[0], sample.at.elapsed_s, power_in=powered(sample)))
    return measurement.result()


@pytest.mark.parametrize("name", _GAUGES)
def test_the_measurement_tells_a_gauge_that_lies_from_one_that_does_not(
    name: str, benches: Mapping[str, Bench]
) -> None:
    result = measured(benches[name], name)
    assert (result.verdict, result.findings) == (_GAUGES[name].gauge, result.findings)
    assert {finding.sign for finding in result.findings} >= _GAUGES[name].signs
    assert result.next_step or result.verdict is not Gauge.UNDECIDED


@pytest.mark.parametrize("name", [*_WHOLE, "unproven", "pulled", "loose"])
def test_what_the_pack_holds_in_truth_lies_within_the_measured_interval(
    name: str, benches: Mapping[str, Bench]
) -> None:
    result = measured(benches[name], name)
    capacity = result.capacity_ah
    assert capacity is not None
    assert capacity.low <= case_of(name).holds_mah / 1000 <= capacity.high
    # An interval that holds everything proves nothing.
    assert capacity.high - capacity.low < 0.35 * capacity.value


def _level(pack: Pack) -> float:
    assert pack.state_of_charge is not None
    return pack.state_of_charge


def test_a_gauge_that_counts_against_a_false_capacity_leaps_when_the_charge_ends(
    benches: Mapping[str, Bench],
) -> None:
    def largest_step(name: str) -> float:
        levels = [_level(pack) for pack in packs(benches[name], name, "charge-to-full")]
        return max(after - before for before, after in pairwise(levels))

    assert largest_step("leaping") > 0.15
    assert largest_step("boastful") < 0.02


def test_a_battery_that_dies_at_30_per_cent_takes_the_machine_with_it_and_the_run_goes_on(
    benches: Mapping[str, Bench],
) -> None:
    bench = benches[_DYING]
    assert [boot.code for boot in bench.boots] == [DIED, 0]
    run = run_of(bench, _DYING)
    sessions = [line.at.boot_id for line in run.lines if isinstance(line.event, Opened)]
    assert len(set(sessions)) == 2
    # It died as the firmware says, with no warning in what the kernel showed until then.
    seen = samples(bench, _DYING, "holds-under-load")
    before = [sample.packs[0] for sample in seen if sample.at.boot_id == sessions[0]]
    assert len(before) >= 3
    assert min(_level(pack) for pack in before) == pytest.approx(0.305, abs=0.0051)
    (attempt,) = attempts(bench, _DYING, "holds-under-load")
    assert "Now it shows 4 %: that proves nothing." in attempt.note
