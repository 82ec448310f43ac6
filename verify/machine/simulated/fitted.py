"""The pack that a simulated machine has: faults, and small honest errors from the seed, made into designs.

The errors of a sound gauge are a third of what is assumed of one: gain ±1 %, offset ±1 mA, level ±0.4 points,
full capacity ±0.3 %, each as likely anywhere within [assumption].
"""

import random

import msgspec

from verify.machine.simulated.faults import ParsedFaults
from verify.machine.simulated.gauge import GaugeDesign, Lie
from verify.machine.simulated.pack import PackDesign, PackHabits, SimulatedPack

__all__ = ["fitted_pack", "pack_ambient_c"]

_LIES = {"gauge-boasts": Lie.BOASTS, "gauge-leaps": Lie.LEAPS, "gauge-since-full": Lie.SINCE_FULL}
_FIXED_C = 25.0  # what a resistor in place of a sensor says [common practice, no source]


def fitted_pack(
    design: PackDesign, faults: ParsedFaults, *, seed: int, level: float, ambient_c: float
) -> SimulatedPack:
    """Return the pack with these faults at this level; the same seed gives the same gauge."""
    cells = design.sound_cells(holds_wh=faults.value("pack-holds"), ohm=faults.value("cells-tired"))
    ahead = faults.value("cells-out-of-step")
    if ahead is not None:
        cells = msgspec.structs.replace(cells, ahead=ahead)
    stops = [stop for name in ("charge-limit", "charge-stops-at") if (stop := faults.value(name)) is not None]
    habits = PackHabits(
        stops_at=min(stops, default=None),
        refuses="cell-voltage" in faults,
        says_full="no-full-word" not in faults,
        heats_to_c=faults.value("pack-hot"),
        told_c=_FIXED_C if "temperature-still" in faults else None,
    )
    return SimulatedPack(
        design,
        cells=cells,
        gauge=_gauge(design, faults, seed),
        habits=habits,
        level=level,
        ambient_c=pack_ambient_c(faults, ambient_c),
    )


def pack_ambient_c(faults: ParsedFaults, ambient_c: float) -> float:
    """Return the temperature that the pack lies in, in °C."""
    for name in ("pack-cold", "pack-warm"):
        celsius = faults.value(name)
        if celsius is not None:
            return celsius
    return ambient_c


def _gauge(design: PackDesign, faults: ParsedFaults, seed: int) -> GaugeDesign:
    drawn = random.Random(f"gauge {seed}")
    gauge = GaugeDesign(
        gain=drawn.uniform(-0.01, 0.01),
        offset_a=drawn.uniform(-0.001, 0.001),
        level_error=drawn.uniform(-0.004, 0.004),
        full_error=drawn.uniform(-0.003, 0.003),
    )
    too_much, off = faults.value("sensor-gain"), faults.value("level-off")
    if too_much is not None:
        gauge = msgspec.structs.replace(gauge, gain=too_much)
    if off is not None:
        gauge = msgspec.structs.replace(gauge, level_error=off, learns=False)
    if "pack-holds" in faults:
        gauge = msgspec.structs.replace(gauge, full_wh=design.design_wh)
    if "level-from-volts" in faults:
        gauge = msgspec.structs.replace(gauge, lie=Lie.VOLTS)
    if "gauge-not-learned" in faults:
        gauge = msgspec.structs.replace(gauge, full_wh=design.design_wh, learns=False)
    for name, lie in _LIES.items():
        claims_wh = faults.value(name)
        if claims_wh is not None:
            gauge = msgspec.structs.replace(gauge, claims_wh=claims_wh, lie=lie)
    return gauge
