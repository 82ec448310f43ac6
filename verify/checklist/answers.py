"""What a technician can answer to a manual check."""

from collections.abc import Mapping
from enum import StrEnum

import msgspec

from verify.values import Quantity
from verify.values.errors import InvalidValueError


class Seen(StrEnum):
    """The three answers to a look."""

    GOOD = "good"
    NOT_GOOD = "not good"
    CANNOT_SEE = "cannot see"


class Look(msgspec.Struct, frozen=True, kw_only=True, tag="look"):
    """An answer to a look; `note` is asked for where it cannot be seen."""

    seen: Seen
    note: str = ""


class Photo(msgspec.Struct, frozen=True, kw_only=True, tag="photo"):
    """What the picture just taken shows; seen None: there is none, and `note` says why.

    Raises InvalidValueError where there is neither a picture nor a reason.
    """

    seen: Seen | None
    note: str = ""

    def __post_init__(self) -> None:
        if self.seen is None and not self.note.strip():
            raise InvalidValueError("It needs a reason.", next_step="Say why there is no picture.")


class Hazard(msgspec.Struct, frozen=True, kw_only=True, tag="hazard"):
    """The first question: anything bulging, hot, wet, smoking, smelling? present None: cannot tell."""

    present: bool | None
    note: str = ""


class Span(msgspec.Struct, frozen=True, kw_only=True):
    """A reading with a feeler gauge: the thickest leaf that enters, the thinnest that does not, in mm.

    enters_mm: 0 where not even the thinnest enters. stops_mm: None where even the thickest enters.
    """

    enters_mm: float
    stops_mm: float | None

    def __post_init__(self) -> None:
        if self.enters_mm < 0:
            raise InvalidValueError(f"A leaf of {self.enters_mm:g} mm cannot be.")
        if self.stops_mm is not None and self.stops_mm <= self.enters_mm:
            raise InvalidValueError(
                f"A {self.enters_mm:g} mm leaf enters, a {self.stops_mm:g} mm leaf does not: that cannot be.",
                next_step="The leaf that does not enter is the thicker one.",
            )


class Measured(msgspec.Struct, frozen=True, kw_only=True, tag="measured"):
    """A span at each station, by its name; a station that was not reached is left out."""

    spans: Mapping[str, Span]
    note: str = ""


class Tally(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One kind's account: out + new = back + returned + scrapped + missing."""

    out: int
    new: int = 0
    back: int
    returned: int = 0
    scrapped: int = 0

    def __post_init__(self) -> None:
        if min(self.out, self.new, self.back, self.returned, self.scrapped) < 0:
            raise InvalidValueError("A count is 0 or more.")

    @property
    def missing(self) -> int:
        """How many are not accounted for; negative: more came back than went out."""
        return self.out + self.new - self.back - self.returned - self.scrapped


class Counted(msgspec.Struct, frozen=True, kw_only=True, tag="counted"):
    """A tally for each kind that was counted."""

    tallies: Mapping[str, Tally]
    note: str = ""


class Entered(msgspec.Struct, frozen=True, kw_only=True, tag="entered"):
    """A value with its unit at each station, by its name; one that was not measured is left out.

    Raises InvalidValueError for a value below 0: none of them can be.
    """

    values: Mapping[str, Quantity]
    note: str = ""

    def __post_init__(self) -> None:
        for station, quantity in self.values.items():
            if quantity.value < 0:
                raise InvalidValueError(f"{station}: {quantity} cannot be.", next_step="Read it again.")


Answer = Look | Photo | Hazard | Measured | Entered | Counted
