"""A figure with its 95 % interval: given where one standard uncertainty says too little."""

import math

import msgspec

from verify.values.errors import InvalidValueError

__all__ = ["COVERS_95", "Interval"]

COVERS_95 = 1.959963984540054
"""So many standard deviations of a normal error reach as far as 95 % of them, both ways."""


class Interval(msgspec.Struct, frozen=True, kw_only=True):
    """A value and the bounds between which it lies with 95 % probability, all in one unit.

    low <= value <= high; high is infinite where nothing bounds it. Raises InvalidValueError otherwise.
    """

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and self.low <= self.value <= self.high):
            raise InvalidValueError(f"{self.low:g} to {self.high:g} does not hold {self.value:g}.")

    @property
    def standard_uncertainty(self) -> float:
        """The half-width over 1.96: what a judge takes; infinite where a bound is."""
        return (self.high - self.low) / 2 / COVERS_95

    @property
    def bounded(self) -> bool:
        """Whether anything bounds it above."""
        return math.isfinite(self.high)

    @property
    def wider_than_itself(self) -> bool:
        """Whether it is bounded and wider than its own figure, which says nothing then."""
        return self.value < self.high - self.low < math.inf

    def ends(self, decimals: int) -> str:
        """Return "29.3 to 35.8", or "29.3 or more"."""
        high = f"to {self.high:.{decimals}f}" if self.bounded else "or more"
        return f"{self.low:.{decimals}f} {high}"

    def scaled(self, factor: float) -> "Interval":
        """Return it in another unit: each number times `factor`, above 0."""
        return Interval(value=self.value * factor, low=self.low * factor, high=self.high * factor)
