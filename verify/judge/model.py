"""Limits and judgements: the types that a decision is made of."""

from enum import StrEnum

import msgspec

from verify.values import Quantity, Verdict, dimension
from verify.values.errors import InvalidValueError, UnitMismatchError


class Rule(StrEnum):
    """The decision rule: how a reading's uncertainty counts at the limit.

    SIMPLE: the value alone decides (simple acceptance, ILAC-G8:09/2019, w = 0).
    GUARDED: conforms only where 95 % sure (ISO 14253-1:2017 default, one-sided 1.645 u).
    COUNT: an exact number, no uncertainty.
    INFORM: recorded, never fails.
    """

    SIMPLE = "simple"
    GUARDED = "guarded"
    COUNT = "count"
    INFORM = "inform"


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """An acceptance limit: at least one bound, its decision rule and where it comes from.

    source: a published source, or "common practice, no source".
    Raises InvalidValueError without bounds, source or with lower above upper; UnitMismatchError where
    the bounds have different dimensions.
    """

    lower: Quantity | None = None
    upper: Quantity | None = None
    rule: Rule
    source: str

    def __post_init__(self) -> None:
        if self.lower is None and self.upper is None:
            raise InvalidValueError("A limit needs a lower or an upper bound.")
        if not self.source.strip():
            raise InvalidValueError('A limit needs its source ("common practice, no source" is one).')
        if self.lower is not None and self.upper is not None:
            if dimension(self.lower.unit) != dimension(self.upper.unit):
                raise UnitMismatchError(f"{self.lower} and {self.upper} bound different things.")
            if self.lower.value > self.upper.to(self.lower.unit).value:
                raise InvalidValueError(
                    f"The lower bound {self.lower} is above the upper bound {self.upper}."
                )


class Judgement(msgspec.Struct, frozen=True, kw_only=True):
    """A verdict and the ground for it.

    probability: that the true value conforms, 0 to 1; None where it was not computed.
    because: one plain sentence.
    """

    verdict: Verdict
    because: str
    probability: float | None = None
