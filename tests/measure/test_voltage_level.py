"""The level that a voltage stands for: of loaded cells at their knee, of a capacity that is smaller than
claimed.

The levels at the knee are those of the committed PyBaMM series (tests/reference/pybamm), by the run's number;
the papers stand there.
"""

import pytest

from verify.measure.capacity import StartHow
from verify.measure.voltage_level import VoltageLevel


def _watched(
    rate_c: float, celsius: float, *, claimed_ah: float = 4.0, holds_ah: float = 4.0
) -> VoltageLevel:
    volts = VoltageLevel(cells=3, claimed_ah=claimed_ah, charged_to_v=4.2)
    for second in range(0, 3600, 20):
        volts.see(float(second), -rate_c * holds_ah, celsius)
    return volts


@pytest.mark.parametrize(
    ("run", "cell_v", "rate_c", "celsius", "level"),
    [
        (2, 3.028, 0.38, 5.5, 0.0085),
        (9, 3.099, 0.29, 26.2, 0.0433),
        (9, 3.007, 0.29, 26.3, 0.0215),
        (11, 3.100, 0.20, 17.0, 0.0537),
        (11, 3.001, 0.20, 17.1, 0.0274),
        (21, 3.1085, 0.18, 15.1, 0.0116),
        (22, 3.109, 0.17, 5.1, 0.0096),
        (28, 3.009, 0.22, 35.0, 0.0038),
        (45, 3.002, 0.21, 35.1, 0.0028),
        (49, 3.099, 0.25, 7.2, 0.0645),
        (49, 3.003, 0.25, 7.7, 0.0421),
        (53, 3.096, 0.30, 26.4, 0.0473),
        (54, 3.097, 0.25, 7.2, 0.0643),
    ],
)
def test_loaded_cell_at_its_knee_holds_what_published_cells_do(
    run: int, cell_v: float, rate_c: float, celsius: float, level: float
) -> None:
    known = _watched(rate_c, celsius).level(3 * cell_v, -rate_c * 4.0)
    assert known.how is StartHow.DRAINED
    assert abs(known.level - level) <= known.half_width, run


def test_less_is_left_the_lower_the_voltage_and_the_weaker_and_warmer_the_load() -> None:
    def most(cell_v: float, rate_c: float, celsius: float) -> float:
        known = _watched(rate_c, celsius).level(3 * cell_v, -rate_c * 4.0)
        return known.level + known.half_width

    assert most(3.0, 0.2, 25.0) < most(3.1, 0.2, 25.0)
    assert most(3.0, 0.2, 25.0) < most(3.0, 0.7, 25.0)
    assert most(3.0, 0.2, 25.0) < most(3.0, 0.2, 5.0)
    # By PyBaMM up to 12 % at 0.7 C and 5 °C.
    assert most(3.0, 0.7, 5.0) >= 0.12


def test_smaller_capacity_than_claimed_makes_the_same_current_a_higher_rate() -> None:
    boasts = _watched(0.25, 25.0, claimed_ah=8.0)
    look = boasts.look(9.03, -1.0)
    truly = _watched(0.25, 25.0).level(9.03, -1.0)
    claimed = boasts.level_of(look)
    assert claimed.half_width < truly.half_width
    assert boasts.level_of(look, capacity_ah=4.0).half_width == pytest.approx(truly.half_width)


def test_voltage_under_load_is_judged_by_the_smaller_capacity_too() -> None:
    boasts = _watched(0.25, 25.0, claimed_ah=8.0)
    look = boasts.look(10.8, -1.0)
    assert boasts.level_of(look).how is StartHow.LOADED
    assert boasts.level_of(look, capacity_ah=4.0).half_width > boasts.level_of(look).half_width
