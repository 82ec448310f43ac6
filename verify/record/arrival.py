"""What was taken on arrival, before the first screw: the types that the journal and the record share."""

from collections.abc import Mapping
from enum import StrEnum

import msgspec

from verify.machine import Inventory
from verify.values import Reading


class FoundAs(StrEnum):
    """How the machine came in."""

    RUNS = "runs"
    DEAD = "does not start"
    APART = "already apart"


class Tried(StrEnum):
    """What a function did when it was tried."""

    WORKS = "works"
    FAILS = "does not work"
    NOT_TRIED = "not tried"


FUNCTIONS = (
    "picture and lid",
    "keys and touchpad",
    "sound and camera",
    "wireless network",
    "battery and charger",
)
"""What is tried on a machine that runs: a line each."""


class Picture(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A picture that was taken over: its file below the run's folder, what it shows, its SHA-256.

    out_of_date: why it no longer shows what is so, or empty; of those taken at a check.
    """

    file: str
    shows: str = ""
    sha256: str
    out_of_date: str = ""


class Arrival(msgspec.Struct, frozen=True, kw_only=True):
    """What was taken on arrival. None: not said. at: wall clock of the last line of it, UTC, ISO 8601.

    tried: by function. readings: short ones, where the machine ran; readings_note: why there are none.
    inventory: what the machine had, without what tells one part from another of its make; None: not taken.
    """

    at: str
    found_as: FoundAs | None = None
    accessories: tuple[str, ...] | None = None
    tried: Mapping[str, Tried] = {}
    pictures: tuple[Picture, ...] | None = None
    readings: tuple[Reading, ...] = ()
    readings_note: str = ""
    inventory: Inventory | None = None
