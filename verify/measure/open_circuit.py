"""Rest voltage of a lithium-ion cell over its level: a band, as cells differ by chemistry.

The band holds published parametrisations of graphite against NMC, NCA or LCO cells, each drawn from 3.0 V at
rest (level 0) to 4.2 V at rest (level 1). A rest voltage therefore tells a level only within the band: well
near empty and near full, poorly in the middle. Worn cells stand among them: what is lost of lithium or of
the positive electrode shifts the curve. Iron-phosphate cells are not covered: their curve is flat.

Sources, one a curve, named by paper (values by PyBaMM's parameter sets): Ai et al., J. Electrochem. Soc. 167
(2020) 013512; Chen et al., ibid. 167 (2020) 080534; Ecker et al., ibid. 162 (2015) A1836; Kim et al., ibid.
158 (2011) A955; Mohtat et al., ibid. 167 (2020) 110561; O'Regan et al., Electrochim. Acta 425 (2022) 140700;
Ramadass et al., J. Electrochem. Soc. 151 (2004) A196.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence

import msgspec

from verify.measure.interval import Interval
from verify.values.errors import InvalidValueError

__all__ = [
    "EMPTY_CELL_V",
    "FULL_CELL_V",
    "MeanRatio",
    "charge_end_v",
    "level_at_rest",
    "mean_over",
    "mean_ratio",
    "not_covered",
    "rest_band",
]

EMPTY_CELL_V = 3.0
"""Rest voltage of a cell at level 0, here: below it a laptop does not run [common practice, no source]."""

FULL_CELL_V = 4.2
"""Rest voltage of a cell at level 1, of the kind that is charged to 4.2 V."""

HIGH_CELL_V = 4.25
"""Cells seen or made to charge above this are of the high-voltage kind, 4.35 to 4.45 V [common practice]."""

# fmt: off
_LEVELS = (
    0.000, 0.025, 0.050, 0.075, 0.100, 0.125, 0.150, 0.200, 0.250, 0.300, 0.350, 0.400, 0.450,
    0.500, 0.550, 0.600, 0.650, 0.700, 0.750, 0.800, 0.850, 0.900, 0.950, 0.975, 1.000,
)
_CURVES = {
    "Ai2020": (
        3.000, 3.384, 3.542, 3.619, 3.640, 3.650, 3.665, 3.695, 3.717, 3.733, 3.748, 3.762, 3.776,
        3.792, 3.812, 3.837, 3.868, 3.909, 3.952, 3.994, 4.041, 4.088, 4.138, 4.165, 4.200,
    ),
    "Chen2020": (
        3.000, 3.145, 3.233, 3.316, 3.392, 3.440, 3.467, 3.507, 3.554, 3.605, 3.646, 3.682, 3.721,
        3.767, 3.812, 3.852, 3.904, 3.958, 4.002, 4.048, 4.083, 4.097, 4.125, 4.158, 4.200,
    ),
    "Ecker2015": (
        3.000, 3.244, 3.370, 3.441, 3.485, 3.516, 3.544, 3.606, 3.673, 3.718, 3.750, 3.773, 3.782,
        3.789, 3.800, 3.819, 3.846, 3.888, 3.945, 3.990, 4.033, 4.081, 4.136, 4.167, 4.200,
    ),
    "NCA_Kim2011": (
        3.000, 3.171, 3.203, 3.227, 3.258, 3.289, 3.320, 3.381, 3.441, 3.499, 3.554, 3.603, 3.647,
        3.688, 3.729, 3.771, 3.820, 3.877, 3.932, 3.982, 4.031, 4.081, 4.136, 4.166, 4.200,
    ),
    "Mohtat2020": (
        3.000, 3.382, 3.473, 3.500, 3.513, 3.524, 3.544, 3.588, 3.622, 3.640, 3.655, 3.672, 3.693,
        3.717, 3.746, 3.799, 3.841, 3.881, 3.925, 3.972, 4.022, 4.077, 4.136, 4.168, 4.200,
    ),
    "ORegan2022": (
        3.000, 3.115, 3.205, 3.293, 3.353, 3.386, 3.409, 3.456, 3.513, 3.561, 3.596, 3.627, 3.658,
        3.695, 3.747, 3.821, 3.882, 3.923, 3.966, 4.017, 4.068, 4.094, 4.117, 4.151, 4.200,
    ),
    "Ramadass2004": (
        3.000, 3.334, 3.472, 3.552, 3.606, 3.644, 3.672, 3.709, 3.734, 3.754, 3.771, 3.789, 3.808,
        3.828, 3.850, 3.875, 3.902, 3.932, 3.964, 3.999, 4.037, 4.080, 4.132, 4.163, 4.200,
    ),
    "Ai2020 lithium 0.7": (
        3.000, 3.363, 3.495, 3.581, 3.647, 3.697, 3.732, 3.761, 3.777, 3.798, 3.828, 3.854, 3.881,
        3.908, 3.933, 3.961, 3.990, 4.017, 4.044, 4.072, 4.098, 4.125, 4.160, 4.180, 4.200,
    ),
    "Chen2020 lithium 0.7": (
        3.000, 3.185, 3.305, 3.388, 3.450, 3.505, 3.560, 3.665, 3.732, 3.769, 3.798, 3.829, 3.866,
        3.906, 3.947, 3.984, 4.016, 4.038, 4.050, 4.057, 4.070, 4.100, 4.146, 4.173, 4.200,
    ),
    "ORegan2022 lithium 0.7": (
        3.000, 3.164, 3.267, 3.337, 3.395, 3.451, 3.511, 3.608, 3.667, 3.710, 3.751, 3.792, 3.834,
        3.874, 3.910, 3.944, 3.979, 4.012, 4.038, 4.051, 4.059, 4.081, 4.130, 4.163, 4.200,
    ),
    "ORegan2022 positive 0.7": (
        3.000, 3.090, 3.159, 3.226, 3.293, 3.348, 3.386, 3.433, 3.472, 3.516, 3.564, 3.610, 3.650,
        3.692, 3.742, 3.796, 3.842, 3.883, 3.926, 3.982, 4.049, 4.090, 4.117, 4.151, 4.200,
    ),
    "NCA_Kim2011 positive 0.7": (
        3.000, 3.170, 3.200, 3.221, 3.244, 3.271, 3.299, 3.352, 3.401, 3.448, 3.494, 3.540, 3.588,
        3.638, 3.689, 3.741, 3.794, 3.846, 3.899, 3.951, 4.003, 4.059, 4.123, 4.160, 4.200,
    ),
    "Ecker2015 lithium 0.85": (
        3.000, 3.295, 3.457, 3.553, 3.612, 3.649, 3.672, 3.698, 3.715, 3.733, 3.748, 3.761, 3.784,
        3.812, 3.836, 3.861, 3.889, 3.919, 3.950, 3.985, 4.025, 4.081, 4.143, 4.172, 4.200,
    ),
}
# fmt: on
_MARGIN_V = 0.006  # what straight lines between the points of the table miss at most

# A cell charged on from 4.2 V takes more in: the slope of its voltage is 1 V a level or more [assumption], 13
# V in the one published set that goes there (O'Regan et al. 2022, to 4.4 V).
_SLOPES_ABOVE = (1.0, 15.0)
_HIGH_VOLTAGE_AT_MOST = 4.45

_NOT_LITHIUM_ION = {"life": "iron-phosphate", "nimh": "nickel-metal hydride", "nicd": "nickel-cadmium"}


class MeanRatio(msgspec.Struct, frozen=True, kw_only=True):
    """Mean rest voltage over the whole range against that over a part of it, and its half-width."""

    value: float
    half_width: float


def not_covered(technology: str | None) -> str:
    """Return why no curve of ours fits a pack of this technology, as the pack names it; "" where one does.

    technology: "Li-ion", "LiFe" and the like; None where the pack does not say, which counts as lithium-ion.
    """
    kind = _NOT_LITHIUM_ION.get((technology or "").strip().casefold().replace("-", ""))
    return "" if kind is None else f"Its rest voltage does not tell the level of a cell of the {kind} kind."


def charge_end_v(design_cell_v: float | None, *, seen_cell_v: float | None = None) -> float | None:
    """Return the voltage a cell is charged to, in V; None where 4.2 V and more are both possible.

    design_cell_v: nominal voltage a cell. seen_cell_v: the highest that was seen. Makers state 3.6 to 3.7 V
    for cells of 4.2 V, 3.8 V for 4.35 V and 3.85 V for 4.4 V and more [common practice, no source].
    """
    if seen_cell_v is not None and seen_cell_v > HIGH_CELL_V:
        return min(_HIGH_VOLTAGE_AT_MOST, max(4.35, seen_cell_v))
    if design_cell_v is None or not 3.5 <= design_cell_v <= 3.95:
        return None
    if design_cell_v < 3.72:
        return FULL_CELL_V
    if design_cell_v < 3.79:
        return None
    return 4.35 if design_cell_v < 3.83 else 4.4


def _volts_at(curve: Sequence[float], level: float) -> float:
    i = min(max(bisect_right(_LEVELS, level) - 1, 0), len(_LEVELS) - 2)
    share = (level - _LEVELS[i]) / (_LEVELS[i + 1] - _LEVELS[i])
    return curve[i] + share * (curve[i + 1] - curve[i])


def _level_of(curve: Sequence[float], volts: float) -> float:
    if volts <= curve[0]:
        return 0.0
    if volts >= curve[-1]:
        return 1.0
    i = bisect_right(curve, volts) - 1
    share = (volts - curve[i]) / (curve[i + 1] - curve[i])
    return _LEVELS[i] + share * (_LEVELS[i + 1] - _LEVELS[i])


def rest_band(level: float) -> tuple[float, float]:
    """Return the lowest and highest rest voltage, in V a cell, that a cell of 4.2 V has at this level.

    level: 0 to 1. Raises InvalidValueError otherwise.
    """
    if not 0 <= level <= 1:
        raise InvalidValueError(f"A level is 0 to 1, not {level:g}.")
    volts = [_volts_at(curve, level) for curve in _CURVES.values()]
    return min(volts) - _MARGIN_V, max(volts) + _MARGIN_V


def level_at_rest(cell_v: float, *, error_v: float, charged_to_v: float | None = FULL_CELL_V) -> Interval:
    """Return the level that a rest voltage stands for, 0 to 1: the middle of what the curves allow.

    cell_v: at rest, in V a cell, above 0. error_v: half-width of its error, 0 or more. charged_to_v: as of
    `charge_end_v`; above 4.25 V the curve is stretched by an assumption and the band is wider, None covers
    both kinds. Raises InvalidValueError where a voltage cannot be.
    """
    if not (math.isfinite(cell_v) and cell_v > 0 and error_v >= 0):
        raise InvalidValueError(f"{cell_v:g} V is no voltage of a cell at rest.")
    reach = error_v + _MARGIN_V
    low = min(_level_of(curve, cell_v - reach) for curve in _CURVES.values())
    high = max(_level_of(curve, cell_v + reach) for curve in _CURVES.values())
    if charged_to_v is None:
        low *= _share_of_range(_HIGH_VOLTAGE_AT_MOST)[0]
    elif charged_to_v > HIGH_CELL_V:
        shares = _share_of_range(charged_to_v)
        beyond = charged_to_v - FULL_CELL_V
        below, above = (max(0.0, min(1.0, (cell_v + one - FULL_CELL_V) / beyond)) for one in (-reach, reach))
        low = min(low * share + (1 - share) * below for share in shares)
        high = max(high * share + (1 - share) * above for share in shares)
    low, high = max(0.0, low), min(1.0, high)
    return Interval(value=(low + high) / 2, low=low, high=high)


def _share_of_range(charged_to_v: float) -> tuple[float, float]:
    """Return which share of its whole charge such a cell holds at 4.2 V: least and most [assumption]."""
    extra = charged_to_v - FULL_CELL_V
    return 1 / (1 + extra / _SLOPES_ABOVE[0]), 1 / (1 + extra / _SLOPES_ABOVE[1])


def _mean(curve: Sequence[float], start: float, end: float) -> float:
    """Return the mean of a curve over levels, by trapezoids between the table's points."""
    levels = [start, *(one for one in _LEVELS if start < one < end), end]
    volts = [_volts_at(curve, one) for one in levels]
    area = sum((levels[i + 1] - levels[i]) * (volts[i + 1] + volts[i]) / 2 for i in range(len(levels) - 1))
    return area / (end - start)


def mean_over(start: float, end: float) -> tuple[float, float]:
    """Return the lowest and highest mean rest voltage over levels start to end, in V a cell, of a 4.2 V cell.

    start below end, both 0 to 1. Raises InvalidValueError otherwise.
    """
    if not 0 <= start < end <= 1:
        raise InvalidValueError(f"Levels {start:g} to {end:g} are no range.")
    means = [_mean(curve, start, end) for curve in _CURVES.values()]
    return min(means), max(means)


def mean_ratio(start: float, end: float) -> MeanRatio:
    """Return by what the mean over start to end is multiplied to get the mean from empty to full.

    start below end, both 0 to 1: the part that was seen. The half-width is half the spread of the curves.
    Raises InvalidValueError otherwise.
    """
    if not 0 <= start < end <= 1:
        raise InvalidValueError(f"Levels {start:g} to {end:g} are no range.")
    ratios = [_mean(curve, 0.0, 1.0) / _mean(curve, start, end) for curve in _CURVES.values()]
    return MeanRatio(value=(min(ratios) + max(ratios)) / 2, half_width=(max(ratios) - min(ratios)) / 2)
