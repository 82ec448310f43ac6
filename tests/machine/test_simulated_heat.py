"""The simulated machine's heat: two masses, a fan that answers, a clock that is taken back."""

from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy.linalg import expm

from verify.machine import Sample
from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15, SimulatedDesign, SimulatedMachine
from verify.machine.simulated.faults import ParsedFaults
from verify.machine.simulated.heat import SimulatedHeat
from verify.values import VirtualClock

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def heat_of(faults: Mapping[str, str] | None = None) -> SimulatedHeat:
    heat = SimulatedHeat(LARKSPUR_15, ambient_c=22.0)
    heat.fit(ParsedFaults(faults or {}))
    return heat


def loaded(
    faults: Mapping[str, str] | None = None, *, seconds: int = 400, description: SimulatedDesign = LARKSPUR_15
) -> tuple[list[Sample], list[Sample], list[Sample]]:
    """Return what it tells at rest, under full load as long as that lasts, and after it, at 1 Hz."""
    clock = VirtualClock(start=START)
    machine = SimulatedMachine(clock=clock, faults=faults or {}, description=description)
    machine.plug_in()
    clock.wait(900)
    rest, under, after = [machine.sample()], [], []
    load = machine.start_load(longest_s=seconds)
    for _ in range(seconds):
        sample = machine.sample()
        load.renew(sample)
        under.append(sample)
        clock.wait(1.0)
    load.stop()
    for _ in range(900):
        after.append(machine.sample())
        clock.wait(1.0)
    return rest, under, after


def chip(sample: Sample) -> float:
    return sample.temperatures[0].celsius or 0.0


# By hand: 24 W through 0.9 K/W into the heat sink and, without a fan, through 1 / 0.45 K/W out of it.
def test_steady_temperature_is_the_sum_of_what_lies_on_the_way_out() -> None:
    heat = heat_of({"fan-stuck": ""})
    for _ in range(3600):
        heat.advance(1.0, heat_w=10.0, ambient_c=22.0, on=True)
    assert heat.chip_c == pytest.approx(22.0 + 10.0 * (0.9 + 1 / 0.45), abs=0.01)


@pytest.mark.parametrize("after_s", [2.0, 5.0, 20.0, 90.0, 300.0])
def test_the_step_response_is_that_of_two_masses(after_s: float) -> None:
    # Outside: the two linear equations solved by the matrix exponential of SciPy.
    heat = heat_of({"fan-stuck": ""})
    for _ in range(int(after_s * 2)):
        heat.advance(0.5, heat_w=10.0, ambient_c=22.0, on=True)
    chip_j, chip_ohm, sink_j, out_w = 5.0, 0.9, 42.0, 0.45
    rates = np.array([[-1 / chip_ohm, 1 / chip_ohm], [1 / chip_ohm, -1 / chip_ohm - out_w]])
    rates /= np.array([[chip_j], [sink_j]])
    driven = np.array([10.0 / chip_j, 0.0])
    warmer = np.linalg.solve(rates, (expm(rates * after_s) - np.eye(2)) @ driven)
    assert heat.chip_c - 22.0 == pytest.approx(warmer[0], abs=0.3)


def test_heat_is_neither_made_nor_lost() -> None:
    heat = heat_of({"fan-stuck": ""})
    in_j = out_j = 0.0
    for second in range(4000):
        heat_w = 24.0 if second % 200 < 100 else 6.0
        before_k = heat._sink_c - 22.0
        heat.advance(0.1, heat_w=heat_w, ambient_c=22.0, on=True)
        in_j += 0.1 * heat_w
        out_j += 0.1 * 0.45 * (before_k + heat._sink_c - 22.0) / 2
    kept_j = 5.0 * (heat.chip_c - 22.0) + 42.0 * (heat._sink_c - 22.0)
    assert in_j == pytest.approx(out_j + kept_j, rel=1e-3)


def test_long_steps_come_out_like_short_ones() -> None:
    ends = []
    for seconds in (0.5, 5.0):
        heat = heat_of()
        for _ in range(int(120 / seconds)):
            heat.advance(seconds, heat_w=24.0, ambient_c=22.0, on=True)
        ends.append(heat.chip_c)
    assert ends[1] == pytest.approx(ends[0], abs=0.8)


@pytest.mark.parametrize("description", [LARKSPUR_15, LARKSPUR_13], ids=lambda design: design.model)
def test_a_sound_machine_stays_below_its_limit_and_keeps_its_clock(description: SimulatedDesign) -> None:
    rest, under, after = loaded(description=description)
    assert chip(rest[0]) < 50
    assert chip(rest[0]) + 20 < max(map(chip, under)) < 88
    assert {sample.cpu.throttle_count for sample in (*under, *after)} == {0}
    assert {sample.cpu.frequency_mhz for sample in under[2:]} == {description.frequency_max_mhz}
    assert chip(after[-1]) == pytest.approx(chip(rest[0]), abs=2)


def test_the_fan_starts_with_the_load_follows_and_returns() -> None:
    rest, under, after = loaded(description=LARKSPUR_13)
    speeds = [sample.fans[0].rpm or 0 for sample in under]
    assert (rest[0].fans[0].rpm, after[-1].fans[0].rpm) == (0, 0)
    first = next(i for i, rpm in enumerate(speeds) if rpm)
    assert 1 <= first < 30
    assert speeds[-1] > 3000
    # It stops at a lower temperature than it starts at.
    stops = next(sample for sample in after if not sample.fans[0].rpm)
    assert chip(stops) < chip(under[first])


def test_fans_that_stand_let_the_heat_stay_and_the_clock_goes_back() -> None:
    _, sound, _ = loaded()
    _, under, after = loaded({"fan-stuck": ""})
    assert {sample.fans[0].rpm for sample in (*under, *after)} == {0}
    assert max(map(chip, under)) > max(map(chip, sound)) + 5
    clocks = [sample.cpu.frequency_mhz or 0 for sample in under if sample.cpu.load == 1.0]
    assert min(clocks) < 0.97 * LARKSPUR_15.frequency_max_mhz
    assert (under[-1].cpu.throttle_count or 0) > 0


def test_fans_that_always_turn_fast_do_so_at_rest() -> None:
    rest, under, after = loaded({"fan-always-full": ""})
    assert {sample.fans[0].rpm for sample in (*rest, *under, *after)} == {4800}


def test_dry_paste_warms_the_processor_and_not_the_board() -> None:
    _, sound, _ = loaded()
    _, under, _ = loaded({"paste-dry": "160 %"})
    # 0.6 × 0.9 K/W × 24 W are 13 K: by hand. Some of it the clock takes back.
    assert max(map(chip, under)) - max(map(chip, sound)) == pytest.approx(11, abs=3)
    boards = [max(sample.temperatures[1].celsius or 0 for sample in samples) for samples in (sound, under)]
    assert boards[1] <= boards[0] + 1
    assert (under[-1].cpu.throttle_count or 0) > 0


def test_a_clock_that_is_held_keeps_the_machine_slow_and_cool() -> None:
    _, sound, _ = loaded()
    _, under, _ = loaded({"clock-held": "1200 MHz"})
    assert {sample.cpu.frequency_mhz for sample in under[2:]} == {1200.0}
    assert max(map(chip, under)) < max(map(chip, sound)) - 15
    assert under[-1].cpu.throttle_count == 0
