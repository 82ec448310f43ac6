"""What a laptop's readings can be at all. A value outside is implausible: unknown, never a failure.

All bounds are common practice, no source, unless one is named: wide enough for every laptop pack and
sensor, narrow enough to catch sentinels, wrapped numbers and confused units.
"""

CELL_NOMINAL_V = 3.7
"""Voltage by which the number of cells in series is told from a pack's nominal voltage."""

CELLS_IN_SERIES = (1, 5)
CELL_V = (2.5, 4.55)
"""Voltage of one lithium cell from deeply empty to full, high-voltage kinds included."""

PACK_V = (CELLS_IN_SERIES[0] * CELL_V[0], CELLS_IN_SERIES[1] * CELL_V[1])
DESIGN_WH = (10.0, 110.0)
"""Up to the 100 Wh of air travel (IATA Dangerous Goods Regulations, from memory), and some margin."""

FULL_OVER_DESIGN = (0.02, 1.25)
LEARNED_MAX = 1.20
"""Full over design, or over the label: a gauge that says more has not learned its pack."""

FULL_WH = (DESIGN_WH[0] * FULL_OVER_DESIGN[0], DESIGN_WH[1] * FULL_OVER_DESIGN[1])
LEVEL_MAX = 1.10
"""Remaining over full: a little above 1 is a full charge that has aged since it was learned."""

POWER_MAX_W = 150.0
CURRENT_MAX_A = 20.0
C_RATE_MAX = 2.0
"""Power over capacity, per hour."""

RESTING_W = 0.1
RESTING_A = 0.010
"""Below these a flow is the offset of the converter: zero."""

CHARGING_MIN_W = 0.5
"""A pack that takes in less is not being charged, whatever its status says."""

FULL_MAX_C = 0.05
"""A pack that takes more is not full, whatever its status says (a common cell specification's cut-off)."""

CYCLES_MAX = 5000
CELSIUS = (1.0, 115.0)
PACK_CELSIUS = (-20.0, 115.0)
"""A pack may come in from the cold; exactly 0 °C stands for "not told"."""

LIMIT_CELSIUS = (30.0, 126.0)
"""A sensor's high and critical limits; 0, 127, 255, 0 K and 0xFFFF K all stand for "not set"."""

RPM = (500, 8500)
"""A turning fan; 0 stands apart."""

CLOCK_MHZ = (100.0, 7000.0)


def within(value: float, bounds: tuple[float, float]) -> bool:
    """Tell whether the value lies in the bounds, ends included."""
    return bounds[0] <= value <= bounds[1]
