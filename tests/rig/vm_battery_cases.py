"""The batteries that the virtual machine is given one after the other, and what hands do to each.

Read by the guest, which sets them up and works through a run on each, and by the tests, which know what must
come of it.
"""

from enum import StrEnum
from typing import Any

import msgspec

_HEAD = """\
format: checklist/1
id: battery-bench
revision: 1
title: A battery on the bench
for_work: [battery]
signers: [technician]
steps:
  - {id: run-up, name: look at the running machine, stage: arrived, leads_to: closed}
  - {id: end-charge, name: end the charge, stage: closed, leads_to: charged}
  - {id: hand-back, name: hand the machine back, stage: charged}
checks:
  - id: first-look
    kind: hazard
    ask: Is anything bulging, hot, wet, smoking or smelling?
    good: Nothing of the kind.
    place: whole machine
    stage: arrived
    minutes: 0.5
    before: [run-up]
    stop: yes
    caution: Lithium batteries burn. Keep clear of one that bulges.
"""

_PROBE = """\
  - id: {probe}
    kind: probe
    probe: {probe}
    ask: The tool looks at the battery.
    good: As the limit says.
    place: battery
    stage: closed
    minutes: 1
    before: [end-charge]
    voided_by: [pack-unplugged]
    limit: {{{limit}, source: "common practice, no source"}}
"""

_LIMITS = {
    "pack-present": "at_least: 1 pieces, rule: count",
    "runs-on-battery": "at_most: 60 s, rule: simple",
    "holds-under-load": "at_most: 0 pieces, rule: count",
    "charge-to-full": "at_least: 99 %, rule: simple",
    "claimed-capacity": "at_least: 90 %, rule: guarded",
    "rest-level": "at_most: 6 %, rule: simple",
    "measured-capacity": "at_least: 90 %, rule: guarded",
    "gauge-told-truth": "at_most: 0 pieces, rule: count",
}

LABEL_WH = 57.0
"""What stands on the label of every pack."""

MEAN_REST_V = 15.01
"""Mean open-circuit volts of such a pack over its charge, by the firmware's table, which names its source."""


class Meddling(StrEnum):
    """What hands do to the machine in the middle of a charge, at `MEDDLE_AT` of its level."""

    NOTHING = "nothing"
    PULLED = "pull the charger, put it in again later"
    LOOSE = "press the pack out of its contacts, and back at once"
    TAKEN = "take the pack out, and put it back once the run has told it"


MEDDLE_AT = 0.45


class Case(msgspec.Struct, frozen=True, kw_only=True):
    """A pack, how it stands, and what is looked at.

    holds_mah: what it holds in truth; claims_mah: as its gauge has it. starts_at: its true level, 0 to 1.
    milliamps: it tells charge and current, not energy and power. leaps: it counts against what it claims, and
    says full when the charge ends. charger_in, charging_off, fitted: how the machine stands. dies: it goes
    off below 30 %. drawn_w: what the machine takes.
    """

    name: str
    holds_mah: int = 3920
    claims_mah: int = 3920
    design_mah: int = 3960
    cycles: int = 2
    starts_at: float
    milliamps: bool = False
    leaps: bool = False
    charger_in: bool = True
    charging_off: bool = False
    fitted: bool = True
    dies: bool = False
    drawn_w: float = 9.0
    meddling: Meddling = Meddling.NOTHING
    checks: tuple[str, ...]

    @property
    def ticket(self) -> str:
        """The name of its ticket."""
        return f"TW-{self.name}"

    @property
    def started_again(self) -> "Case":
        """How it stands when somebody has started the machine again, on its charger."""
        return msgspec.structs.replace(self, dies=False, charging_off=False, starts_at=0.04)

    @property
    def checklist(self) -> str:
        """The text of its checklist."""
        return _HEAD + "".join(_PROBE.format(probe=probe, limit=_LIMITS[probe]) for probe in self.checks)


_COUNTED = ("charge-to-full", "measured-capacity", "gauge-told-truth")
_PROVEN = ("rest-level", *_COUNTED, "claimed-capacity")


def _proven(name: str, holds_mah: int, claims_mah: int, *more: str, **other: Any) -> Case:
    """Return a case that begins nearly empty, where volts at rest tell the level whatever the gauge says."""
    return Case(
        name=name,
        holds_mah=holds_mah,
        claims_mah=claims_mah,
        starts_at=0.025,
        charger_in=False,
        drawn_w=2.0,
        checks=(*_PROVEN, *more),
        **other,
    )


CASES = (
    _proven("truthful", 3920, 3920, "pack-present", "runs-on-battery"),
    _proven("boastful", 3100, 3950),
    _proven("leaping", 3100, 3950, leaps=True),
    _proven("worn", 2300, 2310, cycles=480),
    _proven("milliamps", 3920, 3920, "runs-on-battery", milliamps=True),
    Case(name="unproven", holds_mah=3400, claims_mah=3950, starts_at=0.40, checks=_COUNTED),
    Case(name="carrying", charging_off=True, starts_at=0.5, checks=("holds-under-load",)),
    Case(name="held-below-full", charging_off=True, starts_at=0.61, checks=("charge-to-full",)),
    Case(name="held-near-full", charging_off=True, starts_at=0.98, checks=("charge-to-full",)),
    Case(name="none", fitted=False, starts_at=0.5, checks=("pack-present", "charge-to-full")),
    Case(name="pulled", starts_at=0.40, meddling=Meddling.PULLED, checks=("charge-to-full",)),
    Case(name="loose", starts_at=0.40, meddling=Meddling.LOOSE, checks=("charge-to-full",)),
    Case(name="taken", starts_at=0.40, meddling=Meddling.TAKEN, checks=("charge-to-full",)),
    Case(
        name="dying",
        charging_off=True,
        dies=True,
        drawn_w=40.0,
        starts_at=0.308,
        checks=("pack-present", "holds-under-load", "charge-to-full"),
    ),
)
