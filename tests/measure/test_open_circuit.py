"""Rest voltage and level against published parametrisations (tests/reference/open_circuit.csv)."""

import csv
from pathlib import Path

import pytest

from verify.measure.open_circuit import (
    charge_end_v,
    level_at_rest,
    mean_over,
    mean_ratio,
    not_covered,
    rest_band,
)
from verify.values.errors import InvalidValueError

_TABLE = Path(__file__).parents[1] / "reference" / "open_circuit.csv"


def _curves() -> tuple[list[float], dict[str, list[float]]]:
    with _TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    names = [name for name in rows[0] if name != "level"]
    return [float(row["level"]) for row in rows], {name: [float(row[name]) for row in rows] for name in names}


LEVELS, CURVES = _curves()


@pytest.mark.parametrize("name", CURVES)
def test_band_encloses_every_published_set(name: str) -> None:
    # One of them, OKane2022, is not in the product's table at all.
    for level, volts in zip(LEVELS, CURVES[name], strict=True):
        low, high = rest_band(level)
        assert low <= volts <= high


def test_band_is_no_wider_than_the_sets() -> None:
    for i, level in enumerate(LEVELS):
        low, high = rest_band(level)
        seen = [volts[i] for volts in CURVES.values()]
        assert low >= min(seen) - 0.015
        assert high <= max(seen) + 0.015


@pytest.mark.parametrize("error_v", [0.0, 0.01, -0.01])
@pytest.mark.parametrize("name", CURVES)
def test_level_of_every_set_lies_in_the_answer(name: str, error_v: float) -> None:
    for level, volts in zip(LEVELS, CURVES[name], strict=True):
        got = level_at_rest(volts + error_v, error_v=abs(error_v))
        assert got.low <= level <= got.high


def test_low_and_high_voltages_tell_more_than_middle_ones() -> None:
    def width(volts: float) -> float:
        got = level_at_rest(volts, error_v=0.01)
        return (got.high - got.low) / 2

    # 4 points either way is proven: below 3.2 V and above 4.1 V, not in between.
    assert width(3.10) < 0.02
    assert width(3.20) < 0.04
    assert width(4.15) < 0.04
    assert width(3.40) > 0.04
    assert width(3.70) > 0.10


@pytest.mark.parametrize(("volts", "low", "high"), [(2.0, 0.0, 0.0), (5.0, 1.0, 1.0)])
def test_beyond_the_curves_it_is_empty_or_full(volts: float, low: float, high: float) -> None:
    got = level_at_rest(volts, error_v=0.01)
    assert (got.low, got.high) == (low, high)


@pytest.mark.parametrize("volts", [0.0, -3.0, float("nan"), float("inf")])
def test_no_voltage_is_refused(volts: float) -> None:
    with pytest.raises(InvalidValueError):
        level_at_rest(volts, error_v=0.01)


def test_high_voltage_cell_is_wider_and_lower_at_the_same_voltage() -> None:
    usual = level_at_rest(4.15, error_v=0.01)
    high = level_at_rest(4.15, error_v=0.01, charged_to_v=4.4)
    assert high.low < usual.low
    assert high.high <= usual.high
    assert high.high - high.low > usual.high - usual.low
    full = level_at_rest(4.4, error_v=0.01, charged_to_v=4.4)
    assert full.high == 1.0
    assert full.low > 0.9


def test_stretch_of_a_high_voltage_cell_agrees_with_the_one_published_to_4_4_v() -> None:
    # O'Regan et al. (2022) give their cell up to 4.4 V. The graphite's stoichiometry, by PyBaMM, is 0.06638
    # at 3.0 V, 0.98420 at 4.2 V and 0.99974 at 4.4 V, each at rest.
    share = (0.98420 - 0.06638) / (0.99974 - 0.06638)
    got = level_at_rest(4.2, error_v=0.0, charged_to_v=4.4)
    assert got.low <= share <= got.high


def test_unknown_kind_covers_both() -> None:
    for volts in (3.1, 3.6, 3.9, 4.1, 4.2):
        unknown = level_at_rest(volts, error_v=0.01, charged_to_v=None)
        for kind in (4.2, 4.35, 4.4):
            one = level_at_rest(volts, error_v=0.01, charged_to_v=kind)
            assert unknown.low <= one.low
            assert unknown.high >= one.high


@pytest.mark.parametrize(
    ("design", "seen", "expected"),
    [
        (3.6, None, 4.2),
        (3.7, None, 4.2),
        (3.75, None, None),
        (3.8, None, 4.35),
        (3.85, None, 4.4),
        (3.7, 4.39, 4.39),
        (None, 4.30, 4.35),
        (None, None, None),
        (3.7, 4.21, 4.2),
        (9.9, None, None),
    ],
)
def test_end_voltage_comes_from_nominal_or_seen(
    design: float | None, seen: float | None, expected: float | None
) -> None:
    assert charge_end_v(design, seen_cell_v=seen) == expected


@pytest.mark.parametrize("technology", ["LiFe", "life", "NiMH", "NiCd"])
def test_other_chemistries_are_not_covered_and_say_so(technology: str) -> None:
    assert "does not tell" in not_covered(technology)


@pytest.mark.parametrize("technology", ["Li-ion", "Li-poly", "LION", None, "", "Unknown"])
def test_lithium_ion_and_unsaid_are_covered(technology: str | None) -> None:
    assert not_covered(technology) == ""


@pytest.mark.parametrize("name", CURVES)
@pytest.mark.parametrize(("start", "end"), [(0.025, 1.0), (0.3, 1.0), (0.3, 0.8), (0.0, 0.5)])
def test_mean_of_every_set_follows_from_the_part_that_was_seen(name: str, start: float, end: float) -> None:
    def mean(low: float, high: float) -> float:
        inner = [v for z, v in zip(LEVELS, CURVES[name], strict=True) if low <= z <= high]
        return (sum(inner) - (inner[0] + inner[-1]) / 2) / (len(inner) - 1)

    ratio = mean_ratio(start, end)
    # OKane2022 is not in the product's table: the margin is a thousandth.
    assert mean(0, 1) / mean(start, end) == pytest.approx(ratio.value, abs=ratio.half_width + 0.001)
    low, high = mean_over(start, end)
    assert low - 0.005 <= mean(start, end) <= high + 0.005


def test_whole_range_needs_no_correction() -> None:
    assert mean_ratio(0.0, 1.0).value == pytest.approx(1.0)
    assert mean_ratio(0.0, 1.0).half_width == pytest.approx(0.0)


@pytest.mark.parametrize(("start", "end"), [(0.5, 0.5), (0.6, 0.5), (-0.1, 1.0), (0.0, 1.1)])
def test_no_range_is_refused(start: float, end: float) -> None:
    with pytest.raises(InvalidValueError):
        mean_ratio(start, end)
    with pytest.raises(InvalidValueError):
        mean_over(start, end)
