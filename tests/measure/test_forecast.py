"""The forecast of a charge on the simulated machine, as a watch sees it: level, current and volts of its
gauge.
"""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from verify.machine.model import PackState
from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15, SimulatedDesign, SimulatedMachine
from verify.measure.forecast import ChargeForecast
from verify.measure.interval import Interval
from verify.measure.phases import PhaseKind
from verify.measure.point import Point
from verify.values import VirtualClock

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
EVERY_S = 10.0


class Charge:
    """One whole charge and what was forecast at each look."""

    def __init__(self, design: SimulatedDesign, *, level: float, tells_volts: bool = True) -> None:
        clock = VirtualClock(start=START)
        machine = SimulatedMachine(clock=clock, description=design, level=level)
        machine.plug_in()
        pack = design.pack
        self.forecast = ChargeForecast(
            capacity_ah=pack.design_wh / pack.design_voltage_v, cells=pack.cells, full_cell_v=4.2
        )
        self.looks: list[tuple[float, Interval | None]] = []
        self.ends_s = 0.0
        self.kind_at_end: PhaseKind | None = None
        for i in range(int(4 * 3600 / EVERY_S)):
            seen = machine.sample().packs[0]
            at_s = i * EVERY_S
            self.forecast.see(
                Point(
                    at_s=at_s,
                    current_a=seen.current_a,
                    voltage_v=seen.voltage_v if tells_volts else None,
                    level=seen.state_of_charge,
                    powered=True,
                    says_full=seen.state is PackState.FULL,
                )
            )
            if seen.state is PackState.FULL:
                self.ends_s = at_s
                self.kind_at_end = self.forecast.phases.kind
                break
            left = self.forecast.time_left()
            self.looks.append((at_s, left))
            clock.wait(EVERY_S)

    def bands(self) -> Iterator[tuple[float, Interval]]:
        for at_s, left in self.looks:
            if left is not None:
                yield self.ends_s - at_s, left


CASES = [
    pytest.param(LARKSPUR_15, 0.2, True, id="15-from-20"),
    pytest.param(LARKSPUR_15, 0.6, True, id="15-from-60"),
    pytest.param(LARKSPUR_15, 0.35, False, id="15-without-volts"),
    pytest.param(LARKSPUR_13, 0.1, True, id="13-from-10"),
]


@pytest.mark.parametrize(("design", "level", "tells_volts"), CASES)
def test_the_band_holds_the_truth_and_is_of_use(
    design: SimulatedDesign, level: float, *, tells_volts: bool
) -> None:
    charge = Charge(design, level=level, tells_volts=tells_volts)
    assert charge.ends_s > 0
    bands = list(charge.bands())
    assert len(bands) > 0.9 * len(charge.looks)
    # The pack's own word comes up to two windows before the watch for full would tell it.
    held = [band.low - 90 <= truth <= band.high for truth, band in bands]
    assert sum(held) / len(held) >= 0.90
    late = [band for truth, band in bands if truth <= 1800]
    narrow = [band.high < 3 * band.low or band.high - band.low < 900 for band in late]
    assert sum(narrow) / len(narrow) >= 0.9


def test_at_full_nothing_is_forecast_any_more() -> None:
    charge = Charge(LARKSPUR_15, level=0.8)
    assert charge.kind_at_end in (PhaseKind.CONSTANT_VOLTAGE, PhaseKind.FULL)
    for i in range(1, 4):
        charge.forecast.see(
            Point(at_s=charge.ends_s + i * EVERY_S, current_a=0.0, level=1.0, powered=True, says_full=True)
        )
    assert charge.forecast.phases.kind is PhaseKind.FULL
    assert charge.forecast.time_left() is None


def test_without_capacity_nothing_is_forecast() -> None:
    forecast = ChargeForecast(capacity_ah=None)
    for t in range(0, 600, 10):
        forecast.see(Point(at_s=float(t), current_a=2.0, voltage_v=11.5, level=0.5, powered=True))
    assert forecast.time_left() is None
