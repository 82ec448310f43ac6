"""From the columns of a recorded log to looks at a pack: all rows counted, of a long log some looked at."""

from array import array
from collections.abc import Iterator, Mapping, Sequence
from operator import mul, truediv

import msgspec

from verify.measure.point import Point
from verify.measure.tally import Tally, tallies
from verify.measure.thinning import chosen_looks

__all__ = ["LogLooks", "looks_at"]

_REST_A, _REST_W = 0.02, 0.25  # below it nothing flows: the converter's offset [common practice, no source]
_JUMP_A, _JUMP_W = 0.25, 2.5  # a smaller one gives no resistance [common practice, no source]
_FIELDS = ("current_a", "power_w", "voltage_v", "state_of_charge", "remaining_wh", "temperature_c")


class LogLooks(msgspec.Struct, frozen=True, kw_only=True):
    """The rows that are looked at, and what was counted up to each; columns as `looks_at` takes them."""

    rows: Sequence[int]
    times_s: "array[float]"
    columns: "Mapping[str, array[float]]"
    counts: Sequence[Tally | None]

    def column(self, name: str) -> list[float | None]:
        """Return a column at these rows, None where it is unknown or the log has none."""
        column = self.columns.get(name)
        if column is None:
            return [None] * len(self.rows)
        known = map(column.__getitem__, self.rows)
        return [value if value == value else None for value in known]

    def seconds(self) -> list[float]:
        """Return the times of these rows, in s."""
        return list(map(self.times_s.__getitem__, self.rows))

    def points(self) -> Iterator[Point]:
        """Yield the rows as looks at the pack.

        Power from outside is told by no column: it is there while the pack takes in, gone while it gives, and
        else as it was.
        """
        powered: bool | None = None
        series = zip(self.seconds(), self.counts, *map(self.column, _FIELDS), strict=True)
        for at_s, tally, current, power, volts, level, remaining, celsius in series:
            flow, rest = (power, _REST_W) if current is None else (current, _REST_A)
            if flow is not None and abs(flow) > rest:
                powered = flow > 0
            yield Point(
                at_s=at_s,
                current_a=current,
                power_w=power,
                voltage_v=volts,
                level=level,
                remaining_wh=remaining,
                temperature_c=celsius,
                powered=powered,
                tally=tally,
            )


def looks_at(times_s: "array[float]", columns: "Mapping[str, array[float]]") -> LogLooks:
    """Choose the rows to look at.

    times_s: strictly rising. columns: by a log's names, each as long, NaN where unknown; levels 0 to 1; a
    voltage above 0. Current and power are taken from each other and the voltage where one is not told.
    """
    current_a, power_w, voltage_v = (columns.get(name) for name in ("current_a", "power_w", "voltage_v"))
    flow = power_w if current_a is None else current_a
    rows = chosen_looks(times_s, flow, least_jump=_JUMP_W if current_a is None else _JUMP_A)
    counts: Sequence[Tally | None] = [None] * len(rows)
    if len(rows) < len(times_s) and flow is not None:
        if current_a is None and power_w is not None and voltage_v is not None:
            current_a = array("d", map(truediv, power_w, voltage_v))
        elif power_w is None and current_a is not None and voltage_v is not None:
            power_w = array("d", map(mul, current_a, voltage_v))
        counts = tallies(times_s, rows, current_a=current_a, power_w=power_w)
    return LogLooks(rows=rows, times_s=times_s, columns=columns, counts=counts)
