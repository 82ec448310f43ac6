"""How long until a charge decides: arithmetic by hand."""

import math

import pytest

from verify.measure.assumed import Assumed
from verify.measure.decide_time import expected_doubt, minutes_to_decide
from verify.measure.interval import Interval

_FULL = Interval(value=6000.0, low=5400.0, high=7200.0)


def test_doubt_is_the_gain_alone_where_the_start_is_known() -> None:
    doubt = expected_doubt(0.0, 0.0, assumed=Assumed(gain=0.03, full=0.0))
    assert doubt == pytest.approx(0.9 * 0.03, rel=1e-4)


def test_doubt_grows_with_the_level_that_is_not_proven() -> None:
    assert expected_doubt(0.1, 0.06) < expected_doubt(0.5, 0.06) < expected_doubt(0.8, 0.06)
    assert math.isinf(expected_doubt(0.97, 0.06))


def test_what_goes_in_decides_first_where_the_limit_is_far_below() -> None:
    # 30 Wh at 30 W is an hour; 2.7 % of gain (one-sided) and 3 % that is not stored make it 63.5 minutes.
    got = minutes_to_decide(
        limit_wh=30.0, expected_wh=50.0, level=0.02, rate_w=30.0, doubt=0.03, to_full_s=_FULL
    )
    assert got is not None
    assert got.value == pytest.approx(60 * 1.027 / 0.97, rel=1e-3)
    assert got.low < got.value < got.high
    assert got.value * 60 < _FULL.value


def test_what_went_in_already_counts() -> None:
    figures = {"limit_wh": 30.0, "expected_wh": 50.0, "rate_w": 30.0, "doubt": 0.03}
    before = minutes_to_decide(level=0.02, to_full_s=_FULL, **figures)  # type: ignore[arg-type]
    after = minutes_to_decide(level=0.32, went_in_wh=15.0, to_full_s=_FULL, **figures)  # type: ignore[arg-type]
    assert before is not None
    assert after is not None
    assert before.value - after.value == pytest.approx(30.0, abs=0.1)


def test_otherwise_the_end_of_the_charge_decides() -> None:
    got = minutes_to_decide(
        limit_wh=45.0, expected_wh=50.0, level=0.3, rate_w=30.0, doubt=0.05, to_full_s=_FULL
    )
    assert got is not None
    assert got.value == pytest.approx(100.0)
    assert got.high == pytest.approx(120.0)
    assert got.low < 90.0, "the taper may show it before"


@pytest.mark.parametrize(
    ("limit_wh", "expected_wh", "rate_w"), [(48.0, 50.0, 30.0), (45.0, 0.0, 30.0), (45.0, 50.0, 0.0)]
)
def test_nothing_is_promised_where_it_will_not_decide(
    limit_wh: float, expected_wh: float, rate_w: float
) -> None:
    got = minutes_to_decide(
        limit_wh=limit_wh, expected_wh=expected_wh, level=0.3, rate_w=rate_w, doubt=0.06, to_full_s=_FULL
    )
    assert got is None


def test_level_and_rate_alone_give_a_time_before_the_start() -> None:
    got = minutes_to_decide(limit_wh=40.0, expected_wh=50.0, level=0.3, rate_w=25.0, doubt=0.06)
    assert got is not None
    # 70 % at C/2 with a taper: between an hour and a half and three.
    assert 80 < got.value < 180
