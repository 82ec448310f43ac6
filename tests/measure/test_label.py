"""What is printed on a pack: worked arithmetic, and what each sign must catch and leave alone."""

import pytest

from verify.measure.interval import Interval
from verify.measure.label import LabelSign, judged_together, label_findings, printed
from verify.values.errors import InvalidValueError


@pytest.mark.parametrize(
    ("text", "value", "half_step"),
    [
        ("57.0", 57.0, 0.05),
        ("57", 57.0, 0.5),
        ("11,4", 11.4, 0.05),
        ("3000", 3000.0, 0.5),
        (" 5.05 ", 5.05, 0.005),
    ],
)
def test_printed_figure_has_the_width_of_its_last_digit(text: str, value: float, half_step: float) -> None:
    got = printed(text)
    assert got.value == pytest.approx(value)
    assert got.half_step == pytest.approx(half_step)


@pytest.mark.parametrize("text", ["", "Wh", "-3", "0", "nan", "inf", "1e", "5 7"])
def test_what_is_no_printed_number_is_refused(text: str) -> None:
    with pytest.raises(InvalidValueError):
        printed(text)


def _signs(**figures: object) -> set[LabelSign]:
    return {one.sign for one in label_findings(**figures)}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("wh", "volts", "ah"),
    [
        ("72", "14.40", "5.0"),  # a published worked example: 14.40 V × 5 Ah = 72 Wh
        ("57.0", "11.4", "5.0"),
        ("57", "11.4", "5"),
        ("48", "11.1", "4.4"),
        ("48.84", "11.1", "4.4"),
        ("41.4", "7.6", "5.45"),
    ],
)
def test_label_that_is_right_within_its_rounding_is_left_alone(wh: str, volts: str, ah: str) -> None:
    assert _signs(wh=printed(wh), volts=printed(volts), ah=printed(ah)) == set()


@pytest.mark.parametrize(
    ("wh", "volts", "ah"), [("72", "11.1", "5.2"), ("57.0", "11.4", "4.0"), ("40", "11.4", "5.0")]
)
def test_wh_that_is_not_volts_times_ah_is_found(wh: str, volts: str, ah: str) -> None:
    assert _signs(wh=printed(wh), volts=printed(volts), ah=printed(ah)) == {LabelSign.ARITHMETIC}


@pytest.mark.parametrize(("wh", "found"), [("57", False), ("65", False), ("66", True), ("90", True)])
def test_more_than_the_original_in_the_same_case_is_found(wh: str, *, found: bool) -> None:
    assert (LabelSign.ABOVE_DESIGN in _signs(wh=printed(wh), design_wh=57.0)) is found


@pytest.mark.parametrize(
    ("volts", "cells", "found"),
    [
        ("11.4", 3, False),
        ("10.8", 3, False),
        ("7.6", 3, True),
        ("14.8", 3, True),
        ("9.2", None, True),
        ("15.4", 4, False),
    ],
)
def test_label_voltage_of_other_cells_is_found(volts: str, cells: int | None, *, found: bool) -> None:
    assert (LabelSign.VOLTAGE in _signs(volts=printed(volts), cells=cells)) is found


@pytest.mark.parametrize(("grams", "found"), [(205, False), (202, False), (195, True), (150, True)])
def test_claim_against_weight(grams: float, *, found: bool) -> None:
    # Common practice, no source: 57 Wh weighs at least about 205 g.
    assert (LabelSign.TOO_LIGHT in _signs(wh=printed("57.0"), weight_kg=grams / 1000)) is found


@pytest.mark.parametrize("kg", [0.0, -1.0, float("nan"), float("inf")])
def test_weight_that_cannot_be_is_refused(kg: float) -> None:
    with pytest.raises(InvalidValueError):
        label_findings(wh=printed("57"), weight_kg=kg)
    with pytest.raises(InvalidValueError):
        judged_together(None, weight_kg=kg)


_COUNTED = Interval(value=50.0, low=47.0, high=54.0)


def test_meter_bounds_from_above_only() -> None:
    # It feeds the machine too: much more through the meter than into the pack is no contradiction.
    got = judged_together(_COUNTED, meter_wh=80.0)
    assert got.capacity_wh == _COUNTED
    assert got.findings == ()
    cut = judged_together(_COUNTED, meter_wh=51.0).capacity_wh
    assert cut is not None
    assert (cut.low, cut.value) == (47.0, 50.0)
    assert cut.high == pytest.approx(51.0 * 1.02)


def test_count_above_the_meter_is_a_contradiction_and_no_capacity() -> None:
    got = judged_together(_COUNTED, meter_wh=40.0)
    assert got.capacity_wh is None
    assert [one.sign for one in got.findings] == [LabelSign.ABOVE_METER]


def test_claim_that_cannot_have_gone_through_the_meter_is_found() -> None:
    got = judged_together(None, meter_wh=45.0, claim_wh=57.0)
    assert [one.sign for one in got.findings] == [LabelSign.CLAIM_ABOVE_METER]
    assert judged_together(None, meter_wh=45.0, meter_levels=0.7, claim_wh=57.0).findings == ()


def test_weight_bounds_too() -> None:
    got = judged_together(_COUNTED, weight_kg=0.15)
    assert got.capacity_wh is None
    light = judged_together(None, weight_kg=0.15, claim_wh=57.0)
    assert [one.sign for one in light.findings] == [LabelSign.TOO_LIGHT]


def test_infinite_bound_is_closed_by_the_meter() -> None:
    at_least = Interval(value=30.0, low=29.0, high=float("inf"))
    got = judged_together(at_least, meter_wh=50.0).capacity_wh
    assert got is not None
    assert got.high == pytest.approx(51.0)


@pytest.mark.parametrize(
    ("meter", "levels"), [(0.0, 1.0), (-5.0, 1.0), (float("nan"), 1.0), (50.0, 0.0), (50.0, 1.5)]
)
def test_meter_that_cannot_be_is_refused(meter: float, levels: float) -> None:
    with pytest.raises(InvalidValueError):
        judged_together(_COUNTED, meter_wh=meter, meter_levels=levels)
