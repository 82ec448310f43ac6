"""A measured capacity is judged by both ends of its interval; else the next step is told."""

from datetime import UTC, datetime

import pytest

from verify.judge import Limit, Rule, judge
from verify.machine.simulated import SimulatedMachine
from verify.probe import Context, Finding, make_probe
from verify.probe.handed_on import CAPACITY_WH, DECIDED, GAUGE_VERDICT, LEAST_WH, MOST_WH, hand_on
from verify.testing.drive import drive
from verify.values import Quantity, Reading, Unit, Verdict, VirtualClock

NINETY = Limit(
    lower=Quantity(value=90, unit=Unit.PERCENT), rule=Rule.GUARDED, source="common practice, no source"
)
STEP = "Let it rest for ten minutes first."


def _verdict(reason: str) -> Reading:
    return hand_on("pack", GAUGE_VERDICT, None, Unit.COUNT, more="undecided", reason=reason)


def _found(*told: Reading) -> Finding:
    machine = SimulatedMachine(clock=VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC)))
    context = Context(label_wh=57.0, label={"energy": "57.0 Wh"}, earlier={"charge-to-full": told})
    return drive(make_probe("measured-capacity", {}, context), machine)


@pytest.mark.parametrize(
    ("low", "value", "high", "verdict"),
    [
        pytest.param(1.1, 2.8, 30.0, Verdict.DOES_NOT_CONFORM, id="wide-and-all-below"),
        pytest.param(8.0, 14.0, 40.0, Verdict.DOES_NOT_CONFORM, id="wider-than-itself-and-all-below"),
        pytest.param(1.1, 2.8, 81.0, Verdict.UNDECIDED, id="reaches-over-the-limit"),
        pytest.param(27.0, 30.0, 33.0, Verdict.DOES_NOT_CONFORM, id="small"),
        pytest.param(54.0, 56.0, 58.0, Verdict.CONFORMS, id="sound"),
    ],
)
def test_interval_wider_than_its_figure_is_judged_by_both_its_ends(
    low: float, value: float, high: float, verdict: Verdict
) -> None:
    found = _found(
        hand_on("pack", CAPACITY_WH, value, Unit.WATT_HOUR),
        hand_on("pack", LEAST_WH, low, Unit.WATT_HOUR),
        hand_on("pack", MOST_WH, high, Unit.WATT_HOUR),
        hand_on("pack", DECIDED, 1.0, Unit.COUNT),
        _verdict(STEP),
    )
    (reading,) = found.readings
    assert judge(reading, NINETY).verdict is verdict
    assert f"Measured {value:.1f} Wh (" in found.text or value < high - low
    if verdict is Verdict.UNDECIDED:
        assert reading.value is None
        assert STEP in (reading.reason or "")
        assert STEP in found.text


def test_charge_that_could_not_be_counted_says_why_not_to_do_the_same_again() -> None:
    found = _found(_verdict("The current that it tells cannot be right. Use a meter."))
    (reading,) = found.readings
    assert reading.value is None
    assert found.text == "The current that it tells cannot be right. Use a meter."
