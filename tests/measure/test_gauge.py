"""Signs of a gauge that lies: each planted, each told apart from a truthful gauge; Theil-Sen against
SciPy."""

import random
from collections.abc import Callable, Iterator

import pytest
from scipy import stats

from verify.measure.gauge import GaugeWatch
from verify.measure.gauge_signs import GaugeFinding, GaugeSign, claims_alone
from verify.measure.point import Point
from verify.measure.theil_sen import theil_sen

_Q = 5.0  # Ah, of the invented pack


def test_theil_sen_agrees_with_scipy() -> None:
    draw = random.Random(1)
    for n in (2, 5, 60):
        points = [(i + draw.random(), 3.0 * i + draw.gauss(0, 5)) for i in range(n)]
        expected = stats.theilslopes([y for _, y in points], [x for x, _ in points]).slope
        assert theil_sen(points) == pytest.approx(expected)


def test_theil_sen_bears_outliers_where_a_line_of_least_squares_does_not() -> None:
    points = [(float(i), 2.0 * i) for i in range(20)]
    points[17] = (17.0, 900.0)
    assert theil_sen(points) == pytest.approx(2.0, abs=0.05)
    assert stats.linregress(*zip(*points, strict=True)).slope > 5


@pytest.mark.parametrize("points", [[], [(1.0, 1.0)], [(1.0, 1.0), (1.0, 2.0)]])
def test_slope_of_nothing_is_unknown(points: list[tuple[float, float]]) -> None:
    assert theil_sen(points) is None


# What the figures show alone.


@pytest.mark.parametrize(
    ("design", "full", "cell_v", "sign"),
    [
        (57.0, 57.0, 3.8, GaugeSign.NEVER_LEARNED),
        (None, 57.0, 3.8, GaugeSign.NO_DESIGN),
        (0.0, 57.0, 3.8, GaugeSign.NO_DESIGN),
        (0.9, 57.0, 3.8, GaugeSign.ABSURD_DESIGN),
        (65_535.0, 57.0, 3.8, GaugeSign.ABSURD_DESIGN),
        (57.0, 50.0, 9.9, GaugeSign.ABSURD_DESIGN),
        (50.0, 57.0, 3.8, GaugeSign.FULL_ABOVE_DESIGN),
    ],
)
def test_figures_that_cannot_be_are_named(
    design: float | None, full: float, cell_v: float, sign: GaugeSign
) -> None:
    found = claims_alone(design_wh=design, claimed_wh=full, design_cell_v=cell_v)
    assert [one.sign for one in found] == [sign]
    assert not any(one.shows_lie for one in found), "none of them is proof"
    assert all(one.sentence.endswith(".") and one.next_step.endswith(".") for one in found)


@pytest.mark.parametrize("full", [57.01, 56.9, 50.0, 62.0, None])
def test_usual_figures_are_left_alone(full: float | None) -> None:
    assert claims_alone(design_wh=57.0, claimed_wh=full, design_cell_v=3.8) == ()


# What a watch shows. A level is a function of (share of the true charge, current in A, charge counted since
# the start).

_Level = Callable[[float, float, float], float]


def _watch(
    level: _Level,
    *,
    current_a: Callable[[float], float] = lambda _: 2.0,
    start: float = 0.1,
    end: float = 0.99,
    claimed_ah: float = _Q,
    every_s: float = 10.0,
    hold_s: float = 60.0,
    ended_level: float | None = 1.0,
) -> tuple[GaugeFinding, ...]:
    watch = GaugeWatch(claimed_ah=claimed_ah, cells=3)
    share, counted, at_s = start, 0.0, 0.0
    direction = 1.0 if end > start else -1.0
    while (end - share) * direction > 0:
        amps = current_a(at_s)
        reads = round(min(1.0, max(0.0, level(share, amps, counted))), 2)
        watch.see(Point(at_s=at_s, level=reads, powered=direction > 0), counted, amps)
        at_s += every_s
        counted += amps * every_s / 3600
        share += amps * every_s / 3600 / _Q
    for _ in range(int(hold_s / every_s)):
        if ended_level is not None:
            watch.see(Point(at_s=at_s, level=ended_level, powered=direction > 0), counted, 0.0)
        at_s += every_s
    return watch.findings()


def _signs(found: tuple[GaugeFinding, ...]) -> set[GaugeSign]:
    return {one.sign for one in found}


def _lies(found: tuple[GaugeFinding, ...]) -> bool:
    return any(one.shows_lie for one in found)


def _jumping(at_s: float) -> float:
    return 0.6 if (at_s // 600) % 2 else 2.4


@pytest.mark.parametrize("off", [-0.05, -0.02, 0.0, 0.02, 0.05])
@pytest.mark.parametrize("gain", [0.97, 1.0, 1.03])
@pytest.mark.parametrize("start", [0.02, 0.1, 0.5])
def test_truthful_gauge_shows_no_lie(off: float, gain: float, start: float) -> None:
    def level(_share: float, _amps: float, counted: float) -> float:
        return min(0.99, start + off + gain * counted / _Q)

    assert not _lies(_watch(level, start=start, current_a=_jumping))


def test_truthful_gauge_that_mends_its_level_on_the_way_shows_none() -> None:
    def level(share: float, _amps: float, _counted: float) -> float:
        return share - 0.06 * (1 - share)

    assert not _lies(_watch(level))


def test_perfect_gauge_shows_nothing_at_all() -> None:
    assert _watch(lambda share, _amps, _counted: share, current_a=_jumping) == ()


@pytest.mark.parametrize("boast", [1.15, 1.3, 1.5])
def test_proportionate_boast(boast: float) -> None:
    found = _watch(lambda share, _amps, _counted: share, claimed_ah=_Q * boast)
    assert _signs(found) == {GaugeSign.PROPORTIONATE_BOAST}
    # A small one may also be a start level that was off.
    assert _lies(found) is (boast > 1.2)


@pytest.mark.parametrize("boast", [1.15, 1.3, 1.5])
def test_count_against_a_false_capacity_leaps_at_the_end(boast: float) -> None:
    def level(_share: float, _amps: float, counted: float) -> float:
        return min(0.99, 0.1 + counted / (_Q * boast))

    found = _watch(level, claimed_ah=_Q * boast)
    assert _signs(found) == {GaugeSign.FALSE_COUNT}
    assert _lies(found) is (boast > 1.2)


def test_leap_as_small_as_a_wrong_start_explains_is_doubt_not_proof() -> None:
    def level(_share: float, _amps: float, counted: float) -> float:
        return 0.1 - 0.06 + counted / _Q

    found = _watch(level)
    assert _signs(found) == {GaugeSign.FALSE_COUNT}
    assert not _lies(found)


def test_level_that_leaps_about_all_the_time_is_doubt_not_proof() -> None:
    draw = random.Random(2)
    found = _watch(lambda _share, _amps, _counted: draw.choice((0.0, 0.41, 0.13, 0.3)))
    assert GaugeSign.LEAPS in _signs(found)
    assert not _lies(found)


def test_level_made_from_voltage_follows_the_current() -> None:
    def level(share: float, amps: float, _counted: float) -> float:
        return share + 0.04 * (amps - 1.5)

    assert GaugeSign.FROM_VOLTAGE in _signs(_watch(level, current_a=_jumping))


def test_level_that_stands_while_charge_flows() -> None:
    found = _watch(lambda share, _amps, _counted: 0.4 if 0.4 < share < 0.6 else share)
    assert GaugeSign.STANDS in _signs(found)
    assert GaugeSign.LEAPS in _signs(found)


def test_sudden_fall_in_the_middle() -> None:
    found = _watch(
        lambda share, _amps, _counted: share if share > 0.46 else 0.02,
        current_a=lambda _: -2.0,
        start=0.9,
        end=0.3,
        ended_level=None,
    )
    assert GaugeSign.LEAPS in _signs(found)


def test_falls_too_fast_on_battery() -> None:
    # A 57 Wh pack loses 18 points for 10 Wh; one that loses 25 holds 40 Wh.
    found = _watch(
        lambda share, _amps, _counted: share,
        current_a=lambda _: -1.5,
        start=0.95,
        end=0.3,
        claimed_ah=_Q * 25 / 18,
        ended_level=None,
    )
    assert _signs(found) == {GaugeSign.FALLS_TOO_FAST}


def test_truthful_gauge_does_not_fall_too_fast() -> None:
    assert (
        _watch(
            lambda share, _amps, _counted: share,
            current_a=lambda _: -1.5,
            start=0.95,
            end=0.3,
            ended_level=None,
        )
        == ()
    )


def test_says_100_while_charge_goes_on() -> None:
    found = _watch(lambda share, _amps, _counted: share + 0.2)
    assert GaugeSign.FULL_TOO_EARLY in _signs(found)
    assert not _lies(found)


def _resting(level: float, cell_v: float, *, powered: bool = False, last_s: float = 900) -> Iterator[Point]:
    for at_s in range(0, int(last_s), 10):
        yield Point(at_s=float(at_s), level=level, voltage_v=3 * cell_v, powered=powered)


def _at_rest(level: float, cell_v: float, **more: float) -> tuple[GaugeFinding, ...]:
    watch = GaugeWatch(claimed_ah=_Q, cells=3, charged_to_v=4.2)
    for point in _resting(level, cell_v, **more):  # type: ignore[arg-type]
        watch.see(point, 0.0, 0.02)
    return watch.findings()


@pytest.mark.parametrize(
    ("level", "cell_v", "lies"), [(0.60, 3.40, True), (0.10, 4.00, False), (0.98, 3.90, True)]
)
def test_level_against_the_voltage_at_rest(level: float, cell_v: float, *, lies: bool) -> None:
    found = _at_rest(level, cell_v)
    assert _signs(found) == {GaugeSign.AGAINST_VOLTAGE}
    # Only a level above what the cells can have claims too much.
    assert _lies(found) is lies


@pytest.mark.parametrize(("level", "cell_v"), [(0.5, 3.75), (0.1, 3.45), (0.98, 4.17), (0.05, 3.3)])
def test_level_within_what_chemistry_allows_is_left_alone(level: float, cell_v: float) -> None:
    assert _at_rest(level, cell_v) == ()


@pytest.mark.parametrize("more", [{"powered": True}, {"last_s": 300}], ids=["fed", "short rest"])
def test_no_rest_tells_nothing(more: dict[str, float]) -> None:
    assert _at_rest(0.6, 3.4, **more) == ()


def test_without_a_claim_or_a_level_nothing_is_made_up() -> None:
    watch = GaugeWatch(claimed_ah=None)
    for i in range(100):
        watch.see(Point(at_s=10.0 * i, level=0.2 + 0.3 * (i > 50)), 0.01 * i, 2.0)
    assert watch.findings() == ()
    blind = GaugeWatch(claimed_ah=_Q)
    for i in range(100):
        blind.see(Point(at_s=10.0 * i), 0.01 * i, 2.0)
    assert blind.findings() == ()


def test_memory_does_not_grow_with_the_watch() -> None:
    watch = GaugeWatch(claimed_ah=_Q)
    for i in range(200_00):
        watch.see(Point(at_s=float(i), level=0.5), 0.01 * i, 2.0)
    assert len(watch._curve) <= 61
