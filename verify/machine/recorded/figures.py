"""From the cells of one column to numbers: at once where all are, one by one where some are not.

A cell that is no number, or one that the quantity cannot have, becomes NaN: unknown. It is counted, and the
first one is kept to be shown.
"""

import math
import re
from array import array
from collections.abc import Sequence

from verify.machine.recorded.heading import TIME
from verify.machine.recorded.remark import shown

__all__ = ["Figures"]

_NAN = math.nan
_OTHER_UNIT = 0.10  # of a column's numbers: a sentinel is rarer [common practice, no source]
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_COMMA_NUMBER = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?", re.ASCII)
_NOTHING = frozenset(("", "nan", "null", "none", "na", "n/a", "-", "--", "?", "unknown"))

# What each column can hold at all, wider than any laptop: it catches sentinels and confused units
# [common practice, no source].
_BOUNDS = {
    TIME: (-1e10, 1e10),
    "power_w": (-1000.0, 1000.0),
    "current_a": (-100.0, 100.0),
    "voltage_v": (0.5, 100.0),
    "state_of_charge": (-1.0, 110.0),
    "remaining_wh": (0.0, 1000.0),
    "temperature_c": (-60.0, 200.0),
    "cpu_c": (-60.0, 200.0),
    "load": (-0.01, 110.0),
}


class Figures:
    """One column: its numbers so far (NaN where unknown) and what was wrong with the others.

    text: cells that hold no number. beyond: numbers that cannot be. first_text, first_beyond: the line and
    the cell of the first of each.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.values = array("d")
        self.text = 0
        self.beyond = 0
        self.first_text: tuple[int, str] | None = None
        self.first_beyond: tuple[int, str] | None = None
        self._low, self._high = _BOUNDS[name]

    @property
    def other_unit(self) -> bool:
        """Whether so many numbers cannot be that the column is in another unit: the others are wrong too."""
        if not self.beyond:
            # Counting a million takes its time.
            return False
        known = sum(1 for value in self.values if value == value)
        return self.beyond >= _OTHER_UNIT * (known + self.beyond)

    def read(self, cells: Sequence[str], lines: Sequence[int], *, comma: bool, plain: bool) -> "array[float]":
        """Return the cells' numbers; take note of what is none.

        lines: the line of each cell. comma: whether a comma may stand for the point. plain: whether `float`
        reads exactly what a log may hold (it takes 1_000 as well).
        """
        if plain:
            try:
                values = list(map(float, cells))
            except ValueError:
                pass
            else:
                # One NaN or infinity shows in the sum; where it does not, least and greatest can be trusted.
                if math.isfinite(sum(values)) and self._low <= min(values) and max(values) <= self._high:
                    return array("d", values)
        return array(
            "d", [self._one(cell, line, comma=comma) for cell, line in zip(cells, lines, strict=True)]
        )

    def _one(self, cell: str, line: int, *, comma: bool) -> float:
        bare = cell.strip()
        if comma and _COMMA_NUMBER.fullmatch(bare):
            bare = bare.replace(",", ".")
        if not _NUMBER.fullmatch(bare):
            if bare.casefold() not in _NOTHING:
                self.text += 1
                self.first_text = self.first_text or (line, shown(bare))
            return _NAN
        value = float(bare)
        if self._low <= value <= self._high:
            return value
        self.beyond += 1
        self.first_beyond = self.first_beyond or (line, shown(bare))
        return _NAN
