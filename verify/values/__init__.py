"""Reading, Verdict, Outcome, units, errors and Clock: what all other packages speak."""

from verify.values.clock import Clock, Instant, SystemClock, VirtualClock
from verify.values.reading import Outcome, Reading, Verdict
from verify.values.units import Quantity, Unit, dimension, factor, parse_quantity

__all__ = [
    "Clock",
    "Instant",
    "Outcome",
    "Quantity",
    "Reading",
    "SystemClock",
    "Unit",
    "Verdict",
    "VirtualClock",
    "dimension",
    "factor",
    "parse_quantity",
]
