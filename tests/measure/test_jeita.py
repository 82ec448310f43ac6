"""Bands of a pack's temperature, and a sensor that never moves."""

from collections.abc import Callable

import pytest

from verify.measure.jeita import EXPECTED, WHAT_TO_DO, Band, TemperatureStill, band
from verify.measure.point import Point


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (-20.0, Band.COLD),
        (-0.1, Band.COLD),
        (0.0, Band.COOL),
        (9.9, Band.COOL),
        (10.0, Band.NORMAL),
        (44.9, Band.NORMAL),
        (45.0, Band.WARM),
        (60.0, Band.WARM),
        (60.1, Band.HOT),
    ],
)
def test_bands_of_the_guideline(celsius: float, expected: Band) -> None:
    # Guideline of JEITA and the Battery Association of Japan, 20 April 2007, as datasheets of chargers tell
    # it: no charge below 0 and above 60 °C, less current to 10 °C, less voltage from 45 °C.
    assert band(celsius) is expected


def test_each_band_tells_what_to_expect_and_all_but_the_normal_what_to_do() -> None:
    assert set(EXPECTED) == set(WHAT_TO_DO) == set(Band)
    assert all(EXPECTED.values())
    assert {one for one in Band if not WHAT_TO_DO[one]} == {Band.NORMAL}
    assert "Pull the charger out" in WHAT_TO_DO[Band.HOT]


def watched(
    celsius: Callable[[float], float | None],
    *,
    minutes: float = 31,
    every_s: float = 10.0,
    current_a: Callable[[float], float | None] = lambda _: 2.0,
) -> TemperatureStill:
    watch = TemperatureStill(capacity_ah=4.0)
    for i in range(int(60 * minutes / every_s) + 1):
        at_s = i * every_s
        watch.see(Point(at_s=at_s, current_a=current_a(at_s), temperature_c=celsius(at_s)))
    return watch


@pytest.mark.parametrize("every_s", [1.0, 10.0, 30.0, 60.0])
def test_half_an_hour_of_charging_at_one_value_is_no_sensor(every_s: float) -> None:
    watch = watched(lambda _: 25.0, every_s=every_s)
    assert watch.still is True
    assert watch.sentence is not None
    assert "25.0 °C" in watch.sentence
    assert "Pull the charger out" in watch.sentence


def test_within_a_tenth_of_a_degree_of_one_value_is_still_no_sensor() -> None:
    assert watched(lambda at_s: 25.0 + 0.1 * (int(at_s) // 10 % 3 - 1)).still is True


def test_a_temperature_that_moves_is_one() -> None:
    watch = watched(lambda at_s: 25.0 + at_s / 3000)
    assert watch.still is False
    assert watch.sentence is None


@pytest.mark.parametrize(
    "watch",
    [
        pytest.param(watched(lambda _: 25.0, minutes=29), id="29-minutes"),
        pytest.param(watched(lambda _: 25.0, current_a=lambda _: 0.7), id="below-0.2-C"),
        pytest.param(watched(lambda _: 25.0, current_a=lambda _: -2.0), id="on-battery"),
        pytest.param(watched(lambda _: 25.0, current_a=lambda _: None), id="no-current-told"),
        pytest.param(watched(lambda _: None), id="no-temperature-told"),
        pytest.param(watched(lambda _: 25.0, every_s=600.0), id="looks-too-rare"),
    ],
)
def test_too_little_charging_seen_tells_nothing(watch: TemperatureStill) -> None:
    assert watch.still is None
    assert watch.sentence is None


def test_time_asleep_does_not_count_as_charging() -> None:
    watch = TemperatureStill(capacity_ah=4.0)
    for at_s in (0.0, 10.0, 20.0, 7200.0, 7210.0):
        watch.see(Point(at_s=at_s, current_a=2.0, temperature_c=25.0))
    assert watch.still is None


def test_short_sleeps_do_not_count_as_charging_either() -> None:
    watch, at_s = TemperatureStill(capacity_ah=4.0), 0.0
    for _ in range(16):
        for _ in range(90):
            watch.see(Point(at_s=at_s, current_a=2.0, temperature_c=25.0))
            at_s += 1.0
        at_s += 45.0
    # 36 min by the clock, 24 of them seen.
    assert watch.still is None
