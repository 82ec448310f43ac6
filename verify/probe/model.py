"""What an automatic check is: a stepper that is fed samples and ends with a finding.

A stepper never sleeps, prints, starts a thread or reads the machine: whoever runs it does.
"""

from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from typing import Protocol

import msgspec

from verify.machine import Inventory, Sample
from verify.values import Reading


class Want(StrEnum):
    """What a probe needs someone to do before it can go on."""

    CHARGER_IN = "Plug in the charger."
    CHARGER_OUT = "Pull the charger out."
    LID_CLOSED = "Close the lid."
    LID_OPEN = "Open the lid."
    PLUG_MOVED = "Press the plug gently, the way it says here. It stays in."
    QUIET = "Close other programs. Wait."
    REST = "Pull the charger out. Shut the machine down."


class Working(msgspec.Struct, frozen=True, kw_only=True):
    """Not done yet. text: one short sentence. fraction 0 to 1 and seconds_left where known.

    seconds_band: the least and the most that it still takes, where one number would say too much.
    load: whether the check asks for full load on all cores while it works. often: whether it needs a sample
    a second. inventory: whether the next sample has to carry the inventory.
    """

    text: str
    want: Want | None = None
    fraction: float | None = None
    seconds_left: float | None = None
    seconds_band: tuple[float, float] | None = None
    load: bool = False
    often: bool = False
    inventory: bool = False


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
    """What a probe may know of the ticket. label_wh: energy on the fitted pack's label, in Wh.

    label: all that it says, as written: "energy", "voltage", "charge", "weight".
    earlier: readings and asides of each automatic check's last finding that still counts, by check.
    newer: which of all checks ended after this one last did; None where it never did.
    entered: values that a person measured and typed in, by check; none where they are out of date.
    work: kinds of work. arrival_inventory, arrival_readings: what was taken on arrival; None, empty where
    nothing was. said_at: the latest wall clock that any line of the run bears, from whatever computer;
    said_on_arrival: the same as the inventory was taken on arrival.
    witnessed_s: how much time the run has seen pass since the check began, on whatever computer, in s.
    """

    label_wh: float | None = None
    label: Mapping[str, str] = {}
    earlier: Mapping[str, tuple[Reading, ...]] = {}
    newer: frozenset[str] | None = None
    entered: Mapping[str, tuple[Reading, ...]] = {}
    work: tuple[str, ...] = ()
    arrival_inventory: Inventory | None = None
    arrival_readings: tuple[Reading, ...] = ()
    said_at: datetime | None = None
    said_on_arrival: datetime | None = None
    witnessed_s: float = 0.0

    @property
    def fresh(self) -> Mapping[str, tuple[Reading, ...]]:
        """`earlier` without what this check was told before: asked again, it waits for a new load."""
        newer = self.newer
        return {name: told for name, told in self.earlier.items() if newer is None or name in newer}


class Probe(Protocol):
    """An automatic check under way."""

    def step(self, sample: Sample) -> Working | Finding:
        """Take in one sample (times rising) and tell where it stands."""
        ...
