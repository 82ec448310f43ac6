"""How many cells stand in series in a pack, from its nominal voltage."""

NOMINAL_CELL_V = 3.7
"""Nominal voltage of a lithium-ion cell; makers state 3.6 to 3.87 V [common practice, no source]."""

USUAL_AH = 3.0
"""What C is reckoned from where no capacity is told: a small laptop pack's [common practice, no source]."""

_NOMINAL_LOW_V, _NOMINAL_HIGH_V = 3.5, 3.95
_MOST_CELLS = 5


def cells_in_series(design_voltage_v: float | None) -> int | None:
    """Return the number of cells in series of a pack with this nominal voltage, in V.

    None where the voltage is unknown or fits no whole number of cells (1 to 5, each 3.5 to 3.95 V nominal).
    Source: common practice, no source.
    """
    if design_voltage_v is None or design_voltage_v <= 0:
        return None
    cells = round(design_voltage_v / NOMINAL_CELL_V)
    if not 1 <= cells <= _MOST_CELLS:
        return None
    return cells if _NOMINAL_LOW_V <= design_voltage_v / cells <= _NOMINAL_HIGH_V else None
