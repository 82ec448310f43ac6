"""A limit's bounds as bare numbers in one unit, and a reading beside them as it is written."""

from verify.judge.model import Limit
from verify.measure.rounding import PLAIN, Style, write_limit, write_reading
from verify.values import Quantity, Reading, Unit, dimension


class Bounds:
    """A limit's bounds in its own unit, which is that of the lower one where it has both."""

    def __init__(self, limit: Limit) -> None:
        first = limit.lower if limit.lower is not None else limit.upper
        assert first is not None  # a limit without bounds cannot be made
        self.unit: Unit = first.unit
        self._lower, self._upper = (
            None if bound is None else bound.to(self.unit) for bound in (limit.lower, limit.upper)
        )

    @property
    def lower(self) -> float | None:
        """The least that conforms, in `unit`; None where nothing is too little."""
        return None if self._lower is None else self._lower.value

    @property
    def upper(self) -> float | None:
        """The most that conforms, in `unit`; None where nothing is too much."""
        return None if self._upper is None else self._upper.value

    @property
    def marks(self) -> tuple[float, ...]:
        """The bounds that there are."""
        return tuple(bound for bound in (self.lower, self.upper) if bound is not None)

    def within(self, value: float) -> bool:
        """Return whether a bare value, in `unit`, lies on or between the bounds."""
        return (self.lower is None or value >= self.lower) and (self.upper is None or value <= self.upper)

    def written(self, style: Style = PLAIN) -> str:
        """Write them: "at least 90 %"."""
        return write_limit(self._lower, self._upper, style=style)

    def of(self, quantity: Quantity) -> float:
        """Return a quantity as a bare number in `unit`. Raises UnitMismatchError."""
        return quantity.to(self.unit).value

    def fit(self, reading: Reading) -> bool:
        """Return whether the reading is of the limit's dimension."""
        return dimension(reading.unit) == dimension(self.unit)

    def reading(self, reading: Reading) -> Reading:
        """Convert a reading; the number loses the last bits that only the conversion put there.

        Raises UnitMismatchError where it is of another dimension.
        """
        converted = reading.to(self.unit)
        if reading.unit is self.unit or converted.value is None:
            return converted
        return Reading(
            value=float(f"{converted.value:.12g}"),
            unit=self.unit,
            standard_uncertainty=converted.standard_uncertainty,
            source=converted.source,
            reason=converted.reason,
        )


def write_limited(reading: Reading, limit: Limit | None, *, style: Style = PLAIN) -> str:
    """Write a reading in the unit of the limit that it stands against, never rounded onto or across it.

    As `write_reading` where there is no limit, or one of another dimension.
    """
    bounds = None if limit is None else Bounds(limit)
    if bounds is None or not bounds.fit(reading):
        return write_reading(reading, style=style)
    return write_reading(bounds.reading(reading), apart_from=bounds.marks, style=style)
