"""Packs drawn for the study of what the measurement reaches, each simulated and measured look by look.

The physics are the simulated machine's; the errors of its gauge are drawn from what is assumed of one
(`verify.measure.assumed`), times a factor. Everything follows from the number of the pack.
"""

import random

import msgspec

from verify.machine.model import PackState
from verify.machine.simulated.cell import CellDesign, curve
from verify.machine.simulated.charger import Charger, Flow
from verify.machine.simulated.gauge import GaugeDesign, Lie
from verify.machine.simulated.pack import PackDesign, SimulatedPack
from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.capacity import StartHow, StartLevel
from verify.measure.open_circuit import EMPTY_CELL_V, FULL_CELL_V
from verify.measure.pack_measurement import Measured, PackMeasurement
from verify.measure.point import Point

LOOK_S = 20.0
IDLE_W = 6.0
_ADAPTER_W = 65.0
_REST_S = 900.0
_LONGEST_S = 6 * 3600.0
_NOMINAL_CELL_V = 3.7
_LEFT_AT_END = (0.08, 0.45)  # V a cell at 1 C, as `verify.measure.capacity` assumes it
_SLOPE_AT_FULL_V = 1.35  # V a level, of the published curves near full


class OffCharger(Charger, frozen=True, kw_only=True):
    """A charger that ends its charge at another voltage at rest, by so much a cell."""

    off_v: float

    def current(
        self, spare_w: float, *, series: int, volts: float, highest_v: float, ohm: float, celsius: float
    ) -> tuple[float, Flow]:
        """Return the current as the charger does that sees so much less on the cells."""
        return super().current(
            spare_w, series=series, volts=volts, highest_v=highest_v - self.off_v, ohm=ohm, celsius=celsius
        )


class Drawn(msgspec.Struct, frozen=True, kw_only=True):
    """One pack as it truly is. wh, ah: between 3.0 V and 4.2 V a cell at rest, as it is measured."""

    design: PackDesign
    cells: CellDesign
    gauge: GaugeDesign
    taper_c: float
    off_v: float
    ambient_c: float
    level: float
    wh: float
    ah: float


class Measurement(msgspec.Struct, frozen=True, kw_only=True):
    """What came of one: the pack, the end result, and whether `limit_wh` was decided, and when, in s.

    next_test: what is told to do next where it was not decided.
    """

    drawn: Drawn
    measured: Measured
    released: bool | None
    decided_s: float | None
    charged_s: float
    next_test: str


def _true_range() -> float:
    """Return the range from 3.0 V to 4.2 V at rest in the simulated cell's own levels."""
    ends = []
    for volts in (EMPTY_CELL_V, FULL_CELL_V):
        low, high = -0.1, 1.1
        for _ in range(50):
            middle = (low + high) / 2
            low, high = (middle, high) if curve().at(middle)[0] < volts else (low, middle)
        ends.append(low)
    return ends[1] - ends[0]


def _mean_v() -> float:
    """Return the mean rest voltage over that range."""
    table, steps, width = curve(), 2000, _true_range()
    return sum(table.at((i + 0.5) / steps * width)[0] for i in range(steps)) / steps


RANGE, MEAN_V = _true_range(), _mean_v()


def draw(
    number: int,
    *,
    health: tuple[float, float],
    level: tuple[float, float],
    errors: float = 1.0,
    boast: tuple[float, float] | None = None,
    lies: tuple[Lie, ...] = (),
) -> Drawn:
    """Draw one. health: true energy over design. level: at the start. errors: times the assumed half-widths.

    boast: the claim over the truth, drawn from this range; lies: how, each as likely. Without it, the gauge
    is truthful: it has learned what its own sensor shows.
    """
    source = random.Random(number)
    within = source.uniform
    design_wh, series = within(30.0, 90.0), source.choice((2, 3, 4))
    wh = design_wh * within(*health)
    ah = wh / (series * MEAN_V)
    design_ah = design_wh / (series * _NOMINAL_CELL_V)
    design = PackDesign(
        design_wh=round(design_wh, 2),
        holds_wh=wh,
        design_voltage_v=round(series * _NOMINAL_CELL_V, 1),
        cells=series,
        cycle_count=3,
        manufacturer="Fennel",
        model="drawn",
        serial=str(number),
    )
    cells = CellDesign(
        series=series, capacity_ah=ah / RANGE, ohm=CellDesign.sound_ohm(design_ah) * within(0.7, 1.8)
    )
    gauge = GaugeDesign(
        update_s=source.choice((1.0, 4.0, 20.0)),
        level_step=source.choice((0.0001, 0.01)),
        current_step_a=source.choice((0.001, 0.010)),
        gain=errors * within(-ASSUMED.gain, ASSUMED.gain),
        offset_a=errors * within(-ASSUMED.offset_a, ASSUMED.offset_a),
        voltage_gain=errors * within(-0.001, 0.001),
        level_error=errors * within(-ASSUMED.level, ASSUMED.level),
    )
    if boast is not None:
        lie = source.choice(lies)
        gauge = msgspec.structs.replace(
            gauge, lie=lie, claims_wh=wh * within(*boast), learns=False, level_error=0.0
        )
    taper_c, ambient_c, begins = within(0.03, 0.07), within(17.0, 28.0), within(*level)
    # Where a charge ends: by the charger's voltage, and by what the last current leaves to fill.
    off_v = _SLOPE_AT_FULL_V * errors * within(-ASSUMED.full, ASSUMED.full)
    off_v += taper_c * design_ah * (cells.ohm - within(*_LEFT_AT_END) / ah)
    return Drawn(
        design=design,
        cells=cells,
        gauge=gauge,
        taper_c=taper_c,
        ambient_c=ambient_c,
        level=begins,
        wh=wh,
        ah=ah,
        off_v=off_v,
    )


def _point(pack: SimulatedPack, at_s: float, *, powered: bool) -> Point:
    gauge = pack.gauge
    current_a, voltage_v = gauge.current_a, gauge.voltage_v
    return Point(
        at_s=at_s,
        current_a=current_a,
        power_w=current_a * voltage_v,
        voltage_v=voltage_v,
        level=gauge.told_level,
        remaining_wh=gauge.remaining_wh,
        temperature_c=gauge.temperature_c,
        powered=powered,
        says_full=gauge.state is PackState.FULL,
    )


def measure(
    drawn: Drawn,
    *,
    believed: bool = False,
    drained: bool = False,
    rested: bool = False,
    limit_wh: float | None = None,
    assumed: Assumed = ASSUMED,
) -> Measurement:
    """Charge the pack to full under the eyes of the measurement.

    believed: its level at the start is taken with the error of a gauge that has learned. drained: it first
    runs until it can carry nothing. rested: it then rests, switched off, before the charger goes in.
    """
    pack = SimulatedPack(
        drawn.design,
        cells=drawn.cells,
        gauge=drawn.gauge,
        charger=OffCharger(design_ah=drawn.design.design_ah, taper_c=drawn.taper_c, off_v=drawn.off_v),
        level=drawn.level,
        ambient_c=drawn.ambient_c,
    )
    start = None
    if believed:
        start = StartLevel(level=pack.gauge.told_level, half_width=assumed.level, how=StartHow.BELIEVED)
    told_wh = pack.gauge.full_wh
    watch = PackMeasurement(
        assumed=assumed,
        design_wh=drawn.design.design_wh,
        design_voltage_v=drawn.design.design_voltage_v,
        claimed_wh=told_wh,
        cells=drawn.design.cells,
        start=start,
    )
    at_s = 0.0

    def go(*, offered_w: float | None, load_w: float) -> None:
        nonlocal at_s
        pack.advance(LOOK_S, offered_w=offered_w, load_w=load_w, ambient_c=drawn.ambient_c)
        at_s += LOOK_S
        watch.see(_point(pack, at_s, powered=offered_w is not None))

    if drained:
        while not pack.spent and at_s < _LONGEST_S:
            go(offered_w=None, load_w=2.5 * IDLE_W)
    if rested:
        for _ in range(round(_REST_S / LOOK_S)):
            go(offered_w=None, load_w=0.05)
    began_s, looks = at_s, 0
    released: bool | None = None
    decided_s = None
    while pack.state is not PackState.FULL and at_s - began_s < _LONGEST_S:
        go(offered_w=_ADAPTER_W, load_w=IDLE_W)
        looks += 1
        if limit_wh is not None and released is None and looks % 15 == 0:
            released = watch.decides(limit_wh)
            decided_s = None if released is None else at_s - began_s
    charged_s = at_s - began_s
    for _ in range(6):
        go(offered_w=_ADAPTER_W, load_w=IDLE_W)
    if limit_wh is not None and released is None:
        released = watch.decides(limit_wh)
    return Measurement(
        drawn=drawn,
        measured=watch.result(),
        released=released,
        decided_s=decided_s,
        charged_s=charged_s,
        next_test="" if limit_wh is None else watch.next_test(limit_wh),
    )
