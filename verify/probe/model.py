"""What an automatic check is: a stepper that is fed samples and ends with a finding.

A stepper never sleeps, prints, starts a thread or reads the machine: whoever runs it does.
"""

from enum import StrEnum
from typing import Protocol

import msgspec

from verify.machine import Sample
from verify.values import Reading


class Want(StrEnum):
    """What a probe needs someone to do before it can go on."""

    CHARGER_IN = "Plug in the charger."
    CHARGER_OUT = "Pull the charger out."
    LID_CLOSED = "Close the lid."
    LID_OPEN = "Open the lid."
    QUIET = "Close other programs. Wait."


class Working(msgspec.Struct, frozen=True, kw_only=True):
    """Not done yet. text: one short sentence. fraction 0 to 1 and seconds_left where known.

    load: whether the check asks for full load on all cores while it works.
    """

    text: str
    want: Want | None = None
    fraction: float | None = None
    seconds_left: float | None = None
    load: bool = False


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """Done: one reading for each pack or sensor judged, each to stand against the check's limit.

    text: one plain sentence that tells what was seen. stop: a hazard, in one sentence.
    aside: readings for the record that no limit judges.
    """

    readings: tuple[Reading, ...]
    text: str
    aside: tuple[Reading, ...] = ()
    stop: str | None = None


class Context(msgspec.Struct, frozen=True, kw_only=True):
    """What a probe may know of the ticket. label_wh: energy on the fitted pack's label, in Wh."""

    label_wh: float | None = None


class Probe(Protocol):
    """An automatic check under way."""

    def step(self, sample: Sample) -> Working | Finding:
        """Take in one sample (times rising) and tell where it stands."""
        ...
