"""Reading and Verdict: what was measured, and what it means.

A reading has no order: only `verify.judge` compares, under a named rule.
"""

import math
from enum import StrEnum

import msgspec

from verify.values.errors import InvalidValueError
from verify.values.units import Unit, factor


class Verdict(StrEnum):
    """What a check has established. Starts as NOT_DONE; anything better is earned."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does not conform"
    UNDECIDED = "undecided"
    NOT_APPLICABLE = "not applicable"
    NOT_DONE = "not done"


class Outcome(StrEnum):
    """What a run comes to. Starts as HELD."""

    FIT = "fit"
    FIT_UNDER_CONCESSION = "fit under concession"
    HELD = "held"
    RETURNED_UNREPAIRED = "returned unrepaired"


class Reading(msgspec.Struct, frozen=True, kw_only=True):
    """A value with unit, standard uncertainty and source; or unknown, with the reason.

    value: finite, or None where unknown; then `reason` says why.
    standard_uncertainty: in the same unit, 0 or more; 0 for a count; None where nobody stated it.
    source: where it was read ("battery gauge BAT0", "feeler gauge").
    reason: why it is unknown; or, beside a value, why it is doubted.
    """

    value: float | None
    unit: Unit
    standard_uncertainty: float | None = None
    source: str
    reason: str | None = None

    def __post_init__(self) -> None:
        if self.value is None:
            if not self.reason:
                raise InvalidValueError("An unknown reading needs its reason.")
            if self.standard_uncertainty is not None:
                raise InvalidValueError("An unknown reading has no uncertainty.")
        elif not math.isfinite(self.value):
            raise InvalidValueError(f"{self.value} is not a value that can be read.")
        uncertainty = self.standard_uncertainty
        if uncertainty is not None and not (math.isfinite(uncertainty) and uncertainty >= 0):
            raise InvalidValueError(f"{uncertainty} is not a standard uncertainty: it must be 0 or more.")
        if not self.source:
            raise InvalidValueError("A reading needs its source.")

    def to(self, unit: Unit) -> "Reading":
        """Convert value and uncertainty to another unit of the same dimension.

        Raises UnitMismatchError where the dimensions differ.
        """
        scale = factor(self.unit, unit)
        value, uncertainty = self.value, self.standard_uncertainty
        return msgspec.structs.replace(
            self,
            value=None if value is None else value * scale,
            standard_uncertainty=None if uncertainty is None else uncertainty * scale,
            unit=unit,
        )
