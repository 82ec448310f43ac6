"""What only a series of readings can show."""

import pytest

from verify.machine import Pack, PackState
from verify.machine.series import Moment, charging_share, is_stuck, leaps, rate_disagrees, slope_w
from verify.values.errors import InvalidValueError


def series(
    step_s: float,
    energies_wh: list[float | None],
    *,
    power_w: float | None = None,
    levels: list[float | None] | None = None,
    estimated: tuple[str, ...] = (),
) -> list[Moment]:
    levels = levels or [None] * len(energies_wh)
    return [
        Moment(
            elapsed_s=step_s * step,
            pack=Pack(
                name="BAT0",
                remaining_wh=energy_wh,
                power_w=power_w,
                state_of_charge=level,
                estimated=estimated,
            ),
        )
        for step, (energy_wh, level) in enumerate(zip(energies_wh, levels, strict=True))
    ]


def test_half_a_watt_hour_a_minute_is_thirty_watts() -> None:
    # 30 W for 60 s is 0.5 Wh: the definition of the unit.
    assert slope_w(series(60, [20.0, 20.5, 21.0, 21.5])) == pytest.approx(30.0)


def test_slope_is_that_of_a_published_least_squares_fit() -> None:
    from scipy.stats import linregress

    energies: list[float | None] = [20.00, 20.13, 20.21, 20.38, 20.44, 20.61]
    times = [40.0 * step for step in range(6)]
    expected = linregress(times, energies).slope * 3600
    assert slope_w(series(40, energies)) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("step_s", "energies"),
    [
        pytest.param(10, [20.0, 20.1, 20.2], id="too-short"),
        pytest.param(100, [20.0, None, 20.2], id="too-few"),
        pytest.param(60, [], id="empty"),
    ],
)
def test_too_little_gives_no_slope(step_s: float, energies: list[float | None]) -> None:
    assert slope_w(series(step_s, energies)) is None


@pytest.mark.parametrize(
    ("power_w", "expected"),
    [
        pytest.param(30.0, False, id="the-same"),
        pytest.param(20.0, False, id="a-third-less"),
        pytest.param(14.0, True, id="less-than-half"),
        pytest.param(-30.0, True, id="the-other-way"),
        pytest.param(61.0, True, id="more-than-twice"),
        pytest.param(None, None, id="no-rate"),
    ],
)
def test_a_rate_disagrees_from_half_on(power_w: float | None, *, expected: bool | None) -> None:
    assert rate_disagrees(series(60, [20.0, 20.5, 21.0, 21.5], power_w=power_w)) is expected


@pytest.mark.parametrize(
    ("step_s", "energies", "power_w", "expected"),
    [
        pytest.param(60, [11.0] * 7, -6.0, True, id="still-for-six-minutes"),
        pytest.param(60, [11.0] * 6 + [10.9], -6.0, False, id="moves-at-last"),
        pytest.param(60, [12.0] + [11.0] * 6, -6.0, True, id="moved-before"),
        pytest.param(60, [11.0] * 4, -6.0, None, id="too-short"),
        pytest.param(60, [11.0] * 7, -2.0, False, id="hardly-anything-flows"),
        pytest.param(60, [11.0] * 7, None, None, id="no-rate"),
        pytest.param(60, [11.0] * 3 + [None] + [11.0] * 3, -6.0, None, id="a-gap"),
        pytest.param(60, [], None, None, id="empty"),
    ],
)
def test_a_stuck_gauge_needs_five_minutes_and_a_flow(
    step_s: float, energies: list[float | None], power_w: float | None, *, expected: bool | None
) -> None:
    assert is_stuck(series(step_s, energies, power_w=power_w)) is expected


@pytest.mark.parametrize(
    ("step_s", "levels", "expected"),
    [
        pytest.param(30, [0.50, 0.53, 0.56], (), id="three-per-cent-in-thirty-seconds"),
        pytest.param(30, [0.50, 0.54, 0.55], (30.0,), id="four-per-cent-in-thirty-seconds"),
        pytest.param(5, [0.50, 0.0, 0.5], (5.0, 10.0), id="to-nothing-and-back"),
        pytest.param(60, [0.50, 0.555], (), id="a-longer-gap-allows-more"),
        pytest.param(30, [0.50, None, 0.55], (), id="an-unknown-level-is-passed-over"),
    ],
)
def test_a_leap_is_more_than_three_per_cent_in_thirty_seconds(
    step_s: float, levels: list[float | None], expected: tuple[float, ...]
) -> None:
    assert leaps(series(step_s, [None] * len(levels), levels=levels)) == expected


def test_times_that_run_back_are_refused() -> None:
    moments = series(60, [20.0, 20.5, 21.0])
    for judge in (slope_w, is_stuck, leaps):
        with pytest.raises(InvalidValueError, match="rise"):
            judge(moments[::-1])


def test_share_of_charging_counts_readings() -> None:
    states = (PackState.CHARGING, PackState.HOLDING, PackState.CHARGING, PackState.CHARGING)
    moments = [
        Moment(elapsed_s=float(step), pack=Pack(name="BAT0", state=state))
        for step, state in enumerate(states)
    ]
    assert charging_share(moments) == 0.75
    assert charging_share([]) is None
