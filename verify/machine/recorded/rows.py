"""From a piece of text to columns: at once where every line is a plain row, with care where some are not.

A quoted cell that goes on in the next line is not joined: no reading does, and a quotation mark that nobody
closed must not swallow the rest of the log.
"""

import csv
import math
import re
from array import array
from collections.abc import Iterable, Mapping, Sequence
from itertools import repeat

from verify.machine.recorded.figures import Figures
from verify.machine.recorded.heading import TIME, Heading

__all__ = ["Rows"]

_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?", re.ASCII)


class Rows:
    """The rows taken in so far.

    columns: by name. unfit: lines that are no row of this table; first_unfit: the first one's number.
    untimed: rows without a time. started_again: how often the heading stood among the rows.
    """

    def __init__(self, heading: Heading) -> None:
        self.columns = {name: Figures(name) for name in heading.places}
        self.unfit = 0
        self.first_unfit: int | None = None
        self.untimed = 0
        self.started_again = 0
        self._heading = heading
        self._comma: bool | None = None  # not seen yet

    def add(self, text: str, first_line: int) -> int:
        """Take in whole lines, without the last one's newline; return how many lines they were."""
        separator, width = self._heading.separator, self._heading.width
        if self._comma and separator != ",":
            text = text.replace(",", ".")
        lines = text.split("\n")
        numbers: Sequence[int] = range(first_line, first_line + len(lines))
        plain = width > 1 and '"' not in text and self._heading.text not in text
        if plain and set(map(str.count, lines, repeat(separator))) == {width - 1}:
            cells = text.replace("\n", separator).split(separator)
        else:
            cells, numbers = self._carefully(lines, first_line)
        if cells:
            columns = {name: cells[place::width] for name, place in self._heading.places.items()}
            if self._comma is None and "," in text and (separator != "," or '"' in text):
                self._comma = _decimal_comma(columns.values())
            self._take(columns, numbers, plain="_" not in text)
        return len(lines)

    def _carefully(self, lines: Sequence[str], first_line: int) -> tuple[list[str], list[int]]:
        """Return the cells of the lines that are rows, and the rows' line numbers."""
        width = self._heading.width
        cells: list[str] = []
        numbers: list[int] = []
        for number, (line, fields) in enumerate(
            zip(lines, self._split(lines), strict=True), start=first_line
        ):
            if not line.strip():
                continue
            if len(fields) > width and not any(map(str.strip, fields[width:])):
                del fields[width:]
            if line.strip() == self._heading.text:
                self.started_again += 1
            elif len(fields) == width:
                cells += fields
                numbers.append(number)
            elif not line.lstrip().startswith("#"):
                self.unfit += 1
                self.first_unfit = self.first_unfit or number
        return cells, numbers

    def _split(self, lines: Sequence[str]) -> list[list[str]]:
        """Split each line by itself; one with an odd number of quotation marks as if it had none."""
        separator = self._heading.separator
        bare = [line.replace('"', "") if line.count('"') % 2 else line for line in lines]
        try:
            split = list(csv.reader(bare, delimiter=separator))
        except csv.Error:
            split = []
        # A mark within a cell can still open one that does not end in its line.
        return (
            split if len(split) == len(lines) else [line.replace('"', "").split(separator) for line in lines]
        )

    def _take(self, columns: Mapping[str, Sequence[str]], numbers: Sequence[int], *, plain: bool) -> None:
        read = {
            name: self.columns[name].read(cells, numbers, comma=self._comma is True, plain=plain)
            for name, cells in columns.items()
        }
        times = read[TIME]
        if math.isnan(sum(times)):
            timed = [place for place, at_s in enumerate(times) if not math.isnan(at_s)]
            self.untimed += len(times) - len(timed)
            read = {name: array("d", [column[place] for place in timed]) for name, column in read.items()}
        for name, column in read.items():
            self.columns[name].values.extend(column)


def _decimal_comma(columns: Iterable[Sequence[str]]) -> bool | None:
    """Tell whether the comma stands for the point: some cells have it, none a point. None: no cell has."""
    commas = points = False
    for cells in columns:
        commas = commas or any(map(_COMMA.fullmatch, map(str.strip, cells)))
        points = points or any("." in cell for cell in cells)
    return not points if commas else None
