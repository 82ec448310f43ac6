"""Counting all rows of a long recording at the few that are looked at: against SciPy, and every row seen."""

import random
from array import array
from itertools import pairwise

import pytest
from scipy import integrate

from verify.measure.charge_count import ChargeCount, Counted
from verify.measure.log_points import looks_at
from verify.measure.point import Point
from verify.measure.tally import tallies
from verify.measure.thinning import MOST_LOOKS, chosen_looks

ROWS = 60_000


def recording(*, rows: int = ROWS, seed: int = 3) -> "dict[str, array[float]]":
    """Return a load that jumps about ten times a second: looks alone would miss most of it."""
    chance = random.Random(seed)
    times, current, volts = array("d"), array("d"), array("d")
    at_s = 0.0
    for row in range(rows):
        at_s += chance.uniform(0.05, 0.2)
        times.append(at_s)
        current.append(-2.0 + chance.choice((-1.5, 0.0, 1.5)) + row / rows)
        volts.append(11.4 + 0.1 * current[-1])
    return {"time_s": times, "current_a": current, "voltage_v": volts}


def counted(points: "list[Point]") -> Counted:
    count = ChargeCount()
    for point in points:
        count.see(point)
    result = count.result()
    assert result is not None
    return result


def all_rows(columns: "dict[str, array[float]]") -> list[Point]:
    rows = zip(columns["time_s"], columns["current_a"], columns["voltage_v"], strict=True)
    return [Point(at_s=at_s, current_a=amps, voltage_v=volts) for at_s, amps, volts in rows]


def looked_at(columns: "dict[str, array[float]]") -> list[Point]:
    rest = {name: column for name, column in columns.items() if name != "time_s"}
    return list(looks_at(columns["time_s"], rest).points())


@pytest.mark.parametrize("unknown", [0, 500], ids=["all rows tell", "some rows do not"])
def test_the_sum_is_that_of_scipy(unknown: int) -> None:
    columns = recording(rows=5000)
    times, current = columns["time_s"], columns["current_a"]
    power = array("d", [amps * volts for amps, volts in zip(current, columns["voltage_v"], strict=True)])
    for row in random.Random(7).sample(range(1, 4999), unknown):
        current[row] = power[row] = float("nan")
    known = [row for row in range(5000) if current[row] == current[row]]
    told = tallies(times, [0, 2500, 4999], current_a=current, power_w=power)
    for at, row in zip(told, (0, 2500, 4999), strict=True):
        upto = [one for one in known if one <= row]
        seconds = [times[one] for one in upto]
        assert at.charge_ah == pytest.approx(
            integrate.trapezoid([current[one] for one in upto], seconds) / 3600
        )
        assert at.energy_wh == pytest.approx(
            integrate.trapezoid([power[one] for one in upto], seconds) / 3600
        )


def test_what_is_not_told_is_not_counted() -> None:
    times = array("d", [0.0, 1.0, 2.0])
    (told,) = tallies(times, [2], current_a=None, power_w=array("d", [float("nan"), 1.0, float("nan")]))
    assert (told.charge_ah, told.energy_wh, told.sampling_ah2) == (None, None, 0.0)


def test_a_thinned_count_is_the_count_of_every_row() -> None:
    columns = recording()
    every, few = counted(all_rows(columns)), looked_at(columns)
    assert len(few) < ROWS / 3
    thin = counted(few)
    assert thin.net_ah == pytest.approx(every.net_ah, rel=1e-9)
    assert thin.net_wh is not None
    assert thin.net_wh == pytest.approx(every.net_wh, rel=1e-9)
    # Estimated from a share of the rows.
    assert thin.sampling_ah == pytest.approx(every.sampling_ah, rel=0.1)


def test_looks_without_the_tally_would_be_worse() -> None:
    columns = recording()
    every, few = counted(all_rows(columns)), looked_at(columns)
    bare = counted([Point(at_s=one.at_s, current_a=one.current_a, voltage_v=one.voltage_v) for one in few])
    assert abs(bare.net_ah / every.net_ah - 1) > 1e-5
    assert bare.sampling_ah > 1.3 * every.sampling_ah


def test_a_gap_of_a_thinned_recording_stays_one() -> None:
    columns = recording()
    times = columns["time_s"]
    columns["time_s"] = array(
        "d", [at_s + (900.0 if row >= 30_000 else 0.0) for row, at_s in enumerate(times)]
    )
    every, thin = counted(all_rows(columns)), counted(looked_at(columns))
    assert (thin.gap_count, every.gap_count) == (1, 1)
    assert thin.gaps_ah == pytest.approx(every.gaps_ah)
    assert thin.net_ah == pytest.approx(every.net_ah, rel=1e-9)


def test_power_and_voltage_alone_are_counted_as_exactly() -> None:
    columns = recording()
    amps, volts = columns.pop("current_a"), columns["voltage_v"]
    columns["power_w"] = array("d", [one * two for one, two in zip(amps, volts, strict=True)])
    every = counted(all_rows({**columns, "current_a": amps}))
    thin = counted(looked_at(columns))
    assert thin.source == "power and voltage"
    assert thin.net_ah == pytest.approx(every.net_ah, rel=1e-9)


def test_a_short_recording_is_looked_at_row_by_row() -> None:
    columns = recording(rows=100)
    points = looked_at(columns)
    assert [point.at_s for point in points] == list(columns["time_s"])
    assert all(point.tally is None for point in points)


def test_both_sides_of_a_jump_and_the_seconds_around_it_are_looked_at() -> None:
    times = array("d", [row / 10 for row in range(300_000)])
    flow = array("d", [0.5 if row < 123_456 else 3.0 for row in range(300_000)])
    chosen = list(chosen_looks(times, flow, least_jump=0.25))
    assert {123_455, 123_456} <= set(chosen)
    near = [times[row] for row in chosen if abs(times[row] - times[123_456]) < 10]
    assert max(two - one for one, two in pairwise(near)) <= 1.0


def test_the_last_minutes_of_a_charge_are_looked_at_closely() -> None:
    # 1 Hz for eleven days: even looks are more than a minute apart.
    times = array("d", range(1_000_000))
    flow = array("d", [2.0] * 400_000 + [0.0] * 600_000)
    chosen = list(chosen_looks(times, flow, least_jump=0.25))
    near = [times[row] for row in chosen if 399_750 <= row <= 400_000]
    assert max(two - one for one, two in pairwise(near)) <= 10.0


@pytest.mark.parametrize("seed", range(6))
def test_rows_rise_and_hold_the_first_and_last(seed: int) -> None:
    chance = random.Random(seed)
    times, flow = array("d"), array("d")
    at_s = 0.0
    for _ in range(MOST_LOOKS * 3):
        at_s += chance.choice((0.01, 1.0, 1.0, 29.0, 1e4 if seed % 2 else 1.0))
        times.append(at_s)
        flow.append(float("nan") if chance.random() < seed / 6 else chance.choice((0.0, 2.0)))
    chosen = list(chosen_looks(times, flow, least_jump=0.25))
    assert (chosen[0], chosen[-1]) == (0, len(times) - 1)
    assert all(one < two for one, two in pairwise(chosen))
    assert len(chosen) < 2 * MOST_LOOKS
