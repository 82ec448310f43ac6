"""Where a number lies on an axis, and the round numbers that are written beside it.

Steps are 1, 2 or 5 times a power of ten [common practice, no source].
"""

import math

import msgspec

from verify.values.errors import InvalidValueError

__all__ = ["Scale", "round_ticks"]

_STEPS = (1.0, 2.0, 5.0, 10.0)
_EXACT = 1e-9  # of a step: what rounding of doubles leaves


class Scale(msgspec.Struct, frozen=True, kw_only=True):
    """From a value to a place: `low` lies at `start`, `high` at `end`. start above end is an axis upwards.

    Raises InvalidValueError unless low is below high and all four are finite.
    """

    low: float
    high: float
    start: float
    end: float

    def __post_init__(self) -> None:
        """Refuse a scale that cannot be."""
        if not all(map(math.isfinite, (self.low, self.high, self.start, self.end))) or self.low >= self.high:
            raise InvalidValueError(f"From {self.low:g} to {self.high:g} is no scale.")

    def at(self, value: float) -> float:
        """Return the place of a value; beyond the ends it goes on evenly."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def round_ticks(low: float, high: float, *, most: int) -> tuple[float, ...]:
    """Return round numbers from low to high, both included where they are round; at most `most`, 2 or more.

    low below high, both finite. Raises InvalidValueError otherwise.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high) or most < 2:
        raise InvalidValueError(f"From {low:g} to {high:g} there are no {most} round numbers.")
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    for times in _STEPS:
        step = times * power
        first, last = math.ceil(low / step - _EXACT), math.floor(high / step + _EXACT)
        if last - first + 1 <= most:
            return tuple(round(number * step, 12) for number in range(first, last + 1))
    raise InvalidValueError(f"From {low:g} to {high:g} there are no {most} round numbers.")
