"""Computations on what was read: pure functions, each with its source."""

from verify.measure.cells import cells_in_series
from verify.measure.counting import Integral
from verify.measure.full import ChargePoint, FullWatch, advance
from verify.measure.rounding import write_number, write_reading
from verify.measure.uncertainty import combine, quotient, rectangular, resolution, triangular

__all__ = [
    "ChargePoint",
    "FullWatch",
    "Integral",
    "advance",
    "cells_in_series",
    "combine",
    "quotient",
    "rectangular",
    "resolution",
    "triangular",
    "write_number",
    "write_reading",
]
