"""What a rate is in W and C, and what holds it back."""

import pytest

from verify.measure.phases import PhaseKind
from verify.measure.rate import HeldBackBy, judge_rate


def test_rate_in_c_of_a_handbook() -> None:
    # Definition of the C rate (IEC 61434): 2.5 A into 5 Ah are 0.5 C; by power, 36 W into 72 Wh.
    by_current = judge_rate(
        power_w=None, current_a=2.5, kind=PhaseKind.CONSTANT_CURRENT, design_ah=5.0, powered=True
    )
    by_power = judge_rate(
        power_w=36.0, current_a=None, kind=PhaseKind.CONSTANT_CURRENT, design_wh=72.0, powered=True
    )
    assert by_current.rate_c == by_power.rate_c == 0.5


@pytest.mark.parametrize(
    ("given", "by"),
    [
        pytest.param({"kind": PhaseKind.FULL, "power_w": 0.0}, HeldBackBy.FULL, id="full"),
        pytest.param({"temperature_c": 48.0}, HeldBackBy.TEMPERATURE, id="warm"),
        pytest.param({"temperature_c": 5.0}, HeldBackBy.TEMPERATURE, id="cool"),
        pytest.param(
            {"kind": PhaseKind.HOLDING, "power_w": 0.0, "current_a": 0.0, "level": 0.8, "limit": 0.8},
            HeldBackBy.LIMIT,
            id="limit",
        ),
        pytest.param({"offered_w": 45.0, "power_w": 38.0}, HeldBackBy.CHARGER, id="charger-gives-all"),
        pytest.param(
            {"offered_w": 45.0, "power_w": 10.0, "machine_w": 30.0}, HeldBackBy.LOAD, id="load-takes-it"
        ),
        pytest.param({"kind": PhaseKind.DISCHARGE, "power_w": -5.0}, HeldBackBy.CHARGER, id="drained"),
        pytest.param({"kind": PhaseKind.CONSTANT_VOLTAGE, "power_w": 8.0}, HeldBackBy.TAPER, id="taper"),
        pytest.param({"kind": PhaseKind.CONSTANT_POWER}, HeldBackBy.CHARGER, id="constant-power"),
        pytest.param({"offered_w": 90.0}, HeldBackBy.PACK, id="pack-takes-no-more"),
        pytest.param({"kind": PhaseKind.TRICKLE, "current_a": 0.3}, HeldBackBy.PACK, id="gentle"),
        pytest.param({"current_a": 0.5, "power_w": 6.0}, HeldBackBy.NOTHING_KNOWN, id="nothing-known"),
    ],
)
def test_what_holds_a_charge_back(given: dict[str, object], by: HeldBackBy) -> None:
    usual: dict[str, object] = {
        "power_w": 36.0,
        "current_a": 3.0,
        "kind": PhaseKind.CONSTANT_CURRENT,
        "design_ah": 5.0,
        "powered": True,
    }
    rate = judge_rate(**(usual | given))  # type: ignore[arg-type]
    assert rate.held_back_by is by


def test_a_slow_charge_without_known_reason_is_told_with_what_to_do() -> None:
    rate = judge_rate(
        power_w=6.0, current_a=0.5, kind=PhaseKind.CONSTANT_CURRENT, design_ah=5.0, powered=True
    )
    assert rate.slow
    assert rate.sentence == (
        "6.0 W, 0.10 C into the battery. That is slow. Look at the charger's watts, its plug and its lead."
    )


def test_a_taper_is_not_slow() -> None:
    rate = judge_rate(
        power_w=6.0, current_a=0.5, kind=PhaseKind.CONSTANT_VOLTAGE, design_ah=5.0, powered=True
    )
    assert not rate.slow
    assert rate.sentence == "6.0 W, 0.10 C into the battery. Limited by the taper near full."


def test_on_battery_nothing_holds_a_charge_back() -> None:
    rate = judge_rate(power_w=-12.0, current_a=-1.0, kind=PhaseKind.DISCHARGE, design_ah=5.0, powered=False)
    assert rate.held_back_by is None
    assert rate.sentence == "12.0 W, 0.20 C out of the battery."


def test_an_unknown_rate_is_unknown_not_nothing() -> None:
    rate = judge_rate(power_w=None, current_a=None, kind=None, powered=True)
    assert (rate.power_w, rate.rate_c, rate.held_back_by, rate.slow) == (None, None, None, False)
    assert rate.sentence == "The rate is not told."


def test_without_a_capacity_there_is_no_c() -> None:
    rate = judge_rate(power_w=20.0, current_a=2.0, kind=PhaseKind.CONSTANT_CURRENT, powered=True)
    assert rate.rate_c is None
    assert rate.sentence.startswith("20.0 W into the battery.")
