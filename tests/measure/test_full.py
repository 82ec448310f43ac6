"""Whether full was reached: the two windows, and everything that starts them again."""

import math
from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.measure import ChargePoint, FullWatch, advance

# Two consecutive windows of 40 s below a taper current: the shape of end-of-charge detection in a
# fuel-gauge's technical manual.


def feed(points: Iterable[ChargePoint]) -> list[bool]:
    watch, reached = FullWatch(), []
    for point in points:
        watch = advance(watch, point)
        reached.append(watch.reached)
    return reached


def steady(
    rates: Iterable[float | None], *, every_s: float = 10.0, level: float | None = 1.0, start_s: float = 0.0
) -> list[ChargePoint]:
    return [
        ChargePoint(at_s=start_s + i * every_s, powered=True, level=level, rate_c=rate)
        for i, rate in enumerate(rates)
    ]


def test_full_after_two_whole_windows_at_exactly_the_taper() -> None:
    assert feed(steady([0.05] * 10)) == [False] * 8 + [True] * 2


def test_one_window_above_the_taper_is_not_full() -> None:
    # First window below, second above, third below again.
    rates = [0.03] * 5 + [0.08] * 4 + [0.03] * 4
    assert not any(feed(steady(rates)))


def test_100_percent_while_charging_goes_on_is_not_full() -> None:
    assert not any(feed(steady([0.3] * 60)))


def test_no_current_below_99_percent_is_not_full() -> None:
    # A protection that tripped, or a limit.
    assert not any(feed(steady([0.0] * 60, level=0.98)))


def test_the_packs_own_word_is_enough() -> None:
    assert feed([ChargePoint(at_s=0, powered=True, says_full=True, level=1.0)]) == [True]


@pytest.mark.parametrize(
    "point",
    [
        pytest.param(ChargePoint(at_s=0, powered=True, says_full=True, level=0.8), id="full-at-80-percent"),
        pytest.param(ChargePoint(at_s=0, powered=False, says_full=True, level=1.0), id="charger-out"),
        pytest.param(ChargePoint(at_s=0, powered=None, says_full=True, level=1.0), id="charger-unknown"),
    ],
)
def test_the_packs_own_word_is_not_always_enough(point: ChargePoint) -> None:
    assert feed([point]) == [False]


def test_charger_pulled_in_the_middle_starts_both_windows_again() -> None:
    points = steady([0.02] * 8)
    points.append(ChargePoint(at_s=80, powered=False, level=1.0, rate_c=-0.1))
    points += steady([0.02] * 9, start_s=90)
    assert feed(points) == [False] * 17 + [True]


@pytest.mark.parametrize("jump_s", [31.0, 0.0, -5.0], ids=["gap", "standstill", "backwards"])
def test_time_that_jumps_starts_both_windows_again(jump_s: float) -> None:
    first = steady([0.02] * 8)
    second = steady([0.02] * 9, start_s=first[-1].at_s + jump_s)
    assert feed(first + second) == [False] * 16 + [True]


def test_a_rate_that_is_not_told_is_not_a_taper() -> None:
    rates: list[float | None] = [0.02] * 20
    rates[18] = None
    reached = feed(steady(rates))
    assert reached[17] is True
    assert reached[18:] == [False, False]


def test_level_that_is_not_told_is_not_full_by_taper() -> None:
    assert not any(feed(steady([0.0] * 60, level=None)))


@pytest.mark.parametrize("every_s", [1.0, 3.0, 7.0, 10.0, 30.0])
def test_full_whatever_the_sampling(every_s: float) -> None:
    count = math.ceil(80 / every_s)
    assert feed(steady([0.02] * (count + 1), every_s=every_s)) == [False] * count + [True]


@pytest.mark.parametrize(("per_s", "full"), [(0.0002, False), (0.0001, True)])
def test_the_mean_of_a_window_is_that_of_the_line_between_its_samples(per_s: float, *, full: bool) -> None:
    # A rising rate; the second window's mean is the rate in its middle, at 60 s: 0.053 C or 0.047 C.
    watch = FullWatch()
    for at_s in (0.0, 30.0, 60.0, 80.0):
        point = ChargePoint(at_s=at_s, powered=True, level=1.0, rate_c=0.041 + per_s * at_s)
        watch = advance(watch, point)
    assert watch.reached is full


@given(st.lists(st.tuples(st.floats(0.5, 30), st.floats(0.0501, 1.0)), max_size=60))
def test_a_rate_always_above_the_taper_is_never_full(steps: list[tuple[float, float]]) -> None:
    at_s, points = 0.0, []
    for step, rate in steps:
        at_s += step
        points.append(ChargePoint(at_s=at_s, powered=True, level=1.0, rate_c=rate))
    assert not any(feed(points))


def test_memory_stays_small() -> None:
    watch = FullWatch()
    for point in steady([0.3] * 5000, every_s=1.0):
        watch = advance(watch, point)
    assert len(watch.recent) <= 82


def test_a_gauge_that_tells_its_rate_every_minute_needs_both_windows_too() -> None:
    # One stale low figure of 60 s does not fill two windows of 40 s.
    rates = [0.3] * 30 + [0.02] * 60 + [0.3] * 30
    assert not any(feed(steady(rates, every_s=1.0)))


@pytest.mark.parametrize("update_s", [20, 30, 60])
def test_full_by_a_gauge_that_seldom_tells_its_rate(update_s: int) -> None:
    falling = [0.06 * math.exp(-(i // update_s * update_s) / 900) for i in range(900)]
    reached = feed(steady(falling, every_s=1.0))
    told = reached.index(True)
    first_below = next(i for i, rate in enumerate(falling) if rate <= 0.05)
    # As soon as both windows' means lie below; a rate that is told late cannot be seen earlier.
    assert first_below < told <= first_below + 81


@given(st.lists(st.floats(0.2, 29.9), min_size=40, max_size=120))
def test_full_at_exactly_the_taper_over_any_irregular_looks(steps: list[float]) -> None:
    at_s, watch = 0.0, FullWatch()
    for step in steps:
        at_s += step
        watch = advance(watch, ChargePoint(at_s=at_s, powered=True, level=0.99, rate_c=0.05))
    watched_s = at_s - steps[0]
    if abs(watched_s - 80) > 1e-6:
        assert watch.reached is (watched_s > 80)


def test_a_log_of_one_look_a_minute_can_be_full() -> None:
    watch, reached = FullWatch(), []
    for i in range(6):
        point = ChargePoint(at_s=60.0 * i, powered=True, level=1.0, rate_c=0.02)
        watch = advance(watch, point, gap_s=150.0)
        reached.append(watch.reached)
    assert reached == [False, False, True, True, True, True]
    assert not any(feed(steady([0.02] * 6, every_s=60.0)))


@pytest.mark.parametrize("level", [0.99, 1.0])
def test_a_current_that_was_cut_off_is_not_full(level: float) -> None:
    # A protection that trips: none flows, and the level clamps.
    rates = [0.5] * 10 + [0.0] * 60
    assert not any(feed(steady(rates, level=level)))
    # Once it flows again and tapers, it is.
    assert feed(steady([*rates, *[0.04] * 20], level=level))[-1]


def test_a_taper_that_ends_is_full_although_none_flows_any_more() -> None:
    assert feed(steady([0.06, 0.055, *[0.0] * 12]))[-1]


@pytest.mark.parametrize(("rest_v", "full"), [(12.55, True), (12.0, False)], ids=["rests", "fell"])
def test_a_voltage_that_fell_below_the_taper_is_not_full(rest_v: float, *, full: bool) -> None:
    watch = FullWatch()
    for i in range(30):
        late = i >= 10
        point = ChargePoint(
            at_s=10.0 * i,
            powered=True,
            level=1.0,
            rate_c=0.0 if late else 0.1,
            voltage_v=rest_v if late else 12.6,
        )
        watch = advance(watch, point)
    assert watch.reached is full


def test_the_packs_own_word_counts_although_the_current_was_cut_off() -> None:
    watch = FullWatch()
    for i in range(20):
        point = ChargePoint(
            at_s=10.0 * i, powered=True, level=1.0, rate_c=0.5 if i < 10 else 0.0, says_full=i >= 10
        )
        watch = advance(watch, point)
    assert watch.reached
