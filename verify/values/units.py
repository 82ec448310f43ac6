"""Units and quantities: a number never stands without its unit.

Decides which units exist, which belong to one dimension and how a quantity is written in a file ("0.30 mm").
`K` is a temperature difference; `°C` is a temperature: one is never converted into the other.
"""

import math
import re
from enum import StrEnum

import msgspec

from verify.values.errors import InvalidValueError, UnitMismatchError


class Unit(StrEnum):
    """A unit as it is written in files and shown on screens."""

    WATT_HOUR = "Wh"
    AMPERE_HOUR = "Ah"
    WATT = "W"
    VOLT = "V"
    AMPERE = "A"
    OHM = "ohm"
    MILLIOHM = "mohm"
    CELSIUS = "°C"
    KELVIN = "K"
    MILLIMETRE = "mm"
    SECOND = "s"
    MINUTE = "min"
    HOUR = "h"
    ONE = "1"
    PERCENT = "%"
    COUNT = "pieces"
    RPM = "rpm"
    C_RATE = "C"
    DBM = "dBm"
    DECIBEL = "dB"
    GRAM = "g"
    MEGAHERTZ = "MHz"


# Each unit's dimension and the factor to that dimension's base unit.
_SCALE: dict[Unit, tuple[str, float]] = {
    Unit.WATT_HOUR: ("energy", 1.0),
    Unit.AMPERE_HOUR: ("charge", 1.0),
    Unit.WATT: ("power", 1.0),
    Unit.VOLT: ("voltage", 1.0),
    Unit.AMPERE: ("current", 1.0),
    Unit.OHM: ("resistance", 1.0),
    Unit.MILLIOHM: ("resistance", 1e-3),
    Unit.CELSIUS: ("temperature", 1.0),
    Unit.KELVIN: ("temperature difference", 1.0),
    Unit.MILLIMETRE: ("length", 1.0),
    Unit.SECOND: ("time", 1.0),
    Unit.MINUTE: ("time", 60.0),
    Unit.HOUR: ("time", 3600.0),
    Unit.ONE: ("ratio", 1.0),
    Unit.PERCENT: ("ratio", 1e-2),
    Unit.COUNT: ("count", 1.0),
    Unit.RPM: ("rotation", 1.0),
    Unit.C_RATE: ("charge rate", 1.0),
    Unit.DBM: ("radio level", 1.0),
    Unit.DECIBEL: ("level difference", 1.0),
    Unit.GRAM: ("mass", 1.0),
    Unit.MEGAHERTZ: ("frequency", 1.0),
}

# The unit begins where the number ends: "0.30" is not 0.3 of a unit "0", nor "1001" a hundred times "1".
_WRITTEN = re.compile(r"([+-]?\d+(?:\.\d+)?)(?:\s+|(?![\d.]))(\S+)", re.ASCII)


class Quantity(msgspec.Struct, frozen=True, kw_only=True):
    """A finite number with its unit.

    Raises InvalidValueError for NaN and infinity.
    """

    value: float
    unit: Unit

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise InvalidValueError(f"{self.value} is not a number that can be measured.")

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}" if self.unit is not Unit.ONE else f"{self.value:g}"

    def to(self, unit: Unit) -> "Quantity":
        """Convert to another unit of the same dimension.

        Raises UnitMismatchError where the dimensions differ.
        """
        return Quantity(value=self.value * factor(self.unit, unit), unit=unit)


def dimension(unit: Unit) -> str:
    """Return the dimension that a unit measures, for instance "length"."""
    return _SCALE[unit][0]


def factor(source: Unit, target: Unit) -> float:
    """Return what a number in `source` is multiplied by to stand in `target`.

    Raises UnitMismatchError where the dimensions differ.
    """
    if source is target:
        return 1.0
    (source_dimension, source_scale), (target_dimension, target_scale) = (
        _SCALE[source],
        _SCALE[target],
    )
    if source_dimension != target_dimension:
        raise UnitMismatchError(
            f"{source} is a {source_dimension}, {target} is a {target_dimension}: they cannot be compared."
        )
    return source_scale / target_scale


def parse_quantity(text: str) -> Quantity:
    """Read a quantity as people write it in a file: number, optional space, unit.

    Raises InvalidValueError where it is not one; the message names the units that exist.
    """
    match = _WRITTEN.fullmatch(text.strip())
    if match is None:
        raise InvalidValueError(
            f'"{text}" is not a number with its unit.',
            next_step='Write it like "0.30 mm" or "90 %".',
        )
    number, unit_text = match.groups()
    try:
        unit = Unit(unit_text)
    except ValueError:
        raise InvalidValueError(
            f'"{unit_text}" is not a known unit.',
            next_step=f"Known units: {', '.join(unit.value for unit in Unit)}.",
        ) from None
    return Quantity(value=float(number), unit=unit)
