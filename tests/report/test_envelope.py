"""What a plot leaves out: never an extreme, never an end, never a gap."""

import math
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from verify.report.plots.envelope import MOST, envelope, usual_pause
from verify.values.errors import InvalidValueError

_PAUSE = 60.0
_VALUES = st.one_of(
    st.none(),
    st.floats(-1e6, 1e6),
    st.sampled_from([math.nan, math.inf, -math.inf, 1e308, -1e308, 0.0, -0.0]),
)
_STEPS = st.one_of(st.floats(0, 5), st.sampled_from([0.0, 1.0, 1.0, 1.0, 61.0, 3600.0, 1e6]))
_SERIES = st.lists(st.tuples(_STEPS, _VALUES), max_size=200)


def _series(drawn: list[tuple[float, float | None]]) -> tuple[list[float], list[float | None]]:
    times, now = [], 0.0
    for step, _ in drawn:
        now += step
        times.append(now)
    return times, [value for _, value in drawn]


def _known(value: float | None) -> bool:
    return value is not None and -MOST <= value <= MOST


@given(drawn=_SERIES, columns=st.integers(1, 30))
@example(drawn=[(0.0, 1.0), (0.0, 0.0), (0.0, 1.0)], columns=1)
@example(drawn=[(0.0, 1.0), (0.0, 2.0), (0.0, 0.0)], columns=1)
def test_plots_keep_every_extreme_of_the_data(drawn: list[tuple[float, float | None]], columns: int) -> None:
    times, values = _series(drawn)
    kept = [point for stretch in envelope(times, values, columns=columns, pause=_PAUSE) for point in stretch]
    seen = [
        (time, value)
        for time, value in zip(times, values, strict=True)
        if value is not None and _known(value)
    ]
    assert set(kept) <= set(seen), "a point that was never read"
    assert len(kept) <= 8 * columns
    assert bool(kept) == bool(seen)
    if seen:
        assert (kept[0], kept[-1]) == (seen[0], seen[-1])
        assert min(value for _, value in kept) == min(value for _, value in seen)
        assert max(value for _, value in kept) == max(value for _, value in seen)
        width = (times[-1] - times[0]) / columns

        def column(time: float) -> int:
            return min(int((time - times[0]) / width), columns - 1) if width > 0 else 0

        for number in {column(time) for time, _ in seen}:
            inside = [value for time, value in seen if column(time) == number]
            left = [value for time, value in kept if column(time) == number]
            assert (min(left), max(left)) == (min(inside), max(inside)), "an extreme of a column is gone"


@given(drawn=_SERIES, columns=st.integers(1, 30))
def test_no_gap_is_bridged(drawn: list[tuple[float, float | None]], columns: int) -> None:
    # Distinct times, so that a point of the plot is known by its time.
    times, values = _series([(step + 0.001, value) for step, value in drawn])
    place = {time: number for number, time in enumerate(times)}
    stretches = envelope(times, values, columns=columns, pause=_PAUSE)
    for stretch in stretches:
        for (earlier, _), (later, _) in pairwise(stretch):
            between = range(place[earlier], place[later] + 1)
            assert earlier < later
            assert all(_known(values[number]) for number in between), "a gap of the readings is bridged"
            assert all(times[number + 1] - times[number] <= _PAUSE for number in between[:-1]), "a pause is"
    flat = [time for stretch in stretches for time, _ in stretch]
    assert flat == sorted(flat)


def test_what_is_whole_stays_in_one_stretch() -> None:
    times = [float(second) for second in range(10_000)]
    values = [math.sin(second / 500) for second in times]
    (stretch,) = envelope(times, values, columns=100, pause=_PAUSE)
    assert len(stretch) <= 400


def test_a_single_spike_of_one_second_in_a_day_stays() -> None:
    times = [float(second) for second in range(86_400)]
    values = [45.0] * 86_400
    values[50_001] = 99.0
    (stretch,) = envelope(times, values, columns=300, pause=_PAUSE)
    assert (50_001.0, 99.0) in stretch


def test_a_column_full_of_gaps_stands_as_points() -> None:
    times = [float(second) for second in range(100)]
    values = [None if second % 2 else float(second) for second in range(100)]
    assert [len(one) for one in envelope(times, values, columns=1, pause=_PAUSE)] == [1, 1]


@pytest.mark.parametrize(
    ("times", "values", "columns"),
    [
        ([1.0, 0.0], [1.0, 1.0], 5),
        ([0.0, math.nan], [1.0, 1.0], 5),
        ([0.0, math.inf], [1.0, 1.0], 5),
        ([0.0], [1.0, 2.0], 5),
        ([0.0], [1.0], 0),
    ],
    ids=["falling", "not a number", "infinite", "unequal", "no column"],
)
def test_what_is_no_series_is_refused(times: list[float], values: list[float], columns: int) -> None:
    with pytest.raises(InvalidValueError):
        envelope(times, values, columns=columns, pause=_PAUSE)


@pytest.mark.parametrize(
    ("times", "pause_s"),
    [
        ([], 60.0),
        ([5.0], 60.0),
        ([0.0, 0.0], 60.0),
        ([0.0, 1.0, 2.0], 60.0),
        ([0.0, 30.0, 60.0, 900.0], 150.0),
    ],
    ids=["none", "one", "no time passed", "each second", "each half minute"],
)
def test_a_pause_is_told_from_the_usual_step(times: list[float], pause_s: float) -> None:
    assert usual_pause(times) == pause_s
