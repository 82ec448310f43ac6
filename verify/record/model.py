"""The record: what a run established, in the form that is hashed, signed and kept.

`format` names kind and major version. Built by `verify.run` from the journal; rendered by
`verify.report`; never changed afterwards.
"""

from collections.abc import Mapping

import msgspec

from verify.judge import Limit
from verify.machine import Inventory
from verify.record.arrival import Arrival, Picture
from verify.values import Outcome, Reading, Unit, Verdict, parse_quantity

RECORD_FORMAT = "record/1"

BATTERY_WORK = ("battery", "doubtful-battery")
"""Kinds of work whose part is a battery."""


class Part(msgspec.Struct, frozen=True, kw_only=True):
    """A part that was fitted: where it comes from and what its label says.

    source: original, used or reproduction. label: "energy", "voltage", "charge", "weight" as written, for
    instance {"energy": "57.0 Wh"}.
    """

    source: str
    identity: str = ""
    label: Mapping[str, str] = {}


class Work(msgspec.Struct, frozen=True, kw_only=True):
    """One kind of work done: part fitted, or only disturbed (part None)."""

    kind: str
    part: Part | None = None


class Ticket(msgspec.Struct, frozen=True, kw_only=True):
    """The shop's job. maker, model, serial: of the machine, as the ticket says."""

    id: str
    shop: str = ""
    bench: str = ""
    owner: str = ""
    maker: str = ""
    model: str = ""
    serial: str = ""
    complaint: str = ""
    work: tuple[Work, ...] = ()

    def label_wh(self) -> float | None:
        """Return the energy that the fitted battery's label claims, in Wh; None where there is none.

        Raises InvalidValueError where the label is not an energy.
        """
        energy = self.label().get("energy")
        return None if energy is None else parse_quantity(energy).to(Unit.WATT_HOUR).value

    def label(self) -> Mapping[str, str]:
        """Return what the fitted battery's label says, as written; empty where there is none."""
        parts = [work.part for work in self.work if work.part is not None and work.kind in BATTERY_WORK]
        return next((part.label for part in parts if part.label), {})


class Shop(msgspec.Struct, frozen=True, kw_only=True):
    """What the shop's file said of it when the run began; its name stands in the ticket.

    address: lines. terms: paragraphs. warranty: a sentence, or empty; warranty_days: from the day that the
    machine is handed back, None: no number was given. logo: below the run's folder, None: there is none.
    """

    address: tuple[str, ...] = ()
    telephone: str = ""
    mail: str = ""
    web: str = ""
    warranty: str = ""
    warranty_days: int | None = None
    terms: tuple[str, ...] = ()
    logo: Picture | None = None


class Attempt(msgspec.Struct, frozen=True, kw_only=True):
    """One answer or measurement. at: wall clock, UTC, ISO 8601. out_of_date: why, or empty."""

    at: str
    verdict: Verdict
    because: str
    readings: tuple[Reading, ...] = ()
    note: str = ""
    out_of_date: str = ""


class Accepted(msgspec.Struct, frozen=True, kw_only=True):
    """A concession: who accepted a check that is not good, why, and how and when the owner said yes.

    owner_agreed: empty where the checklist says that the owner cannot notice it.
    """

    at: str
    by: str
    reason: str
    owner_agreed: str = ""


class Result(msgspec.Struct, frozen=True, kw_only=True):
    """What a check came to; attempts in the order they were made, the last one counts.

    about: its name for the owner; empty: `ask` is.
    shipped_limit: the limit that the shop's own one took the place of; None: `limit` is the shipped one.
    shop_options: what the shop set of how the check is made, with options_source; empty: nothing.
    pictures: those taken at it, in the order they were taken, with those that are out of date by now.
    """

    check: str
    checklist: str
    kind: str
    stage: str
    place: str
    ask: str
    good: str
    verdict: Verdict
    because: str
    about: str = ""
    probability: float | None = None
    limit: Limit | None = None
    caution: str | None = None
    why: str | None = None
    note_only: bool = False
    accepted: Accepted | None = None
    attempts: tuple[Attempt, ...] = ()
    shipped_limit: Limit | None = None
    shop_options: Mapping[str, str] = {}
    options_source: str = ""
    pictures: tuple[Picture, ...] = ()


class StepTaken(msgspec.Struct, frozen=True, kw_only=True):
    """A step: taken at a time, or not (at None) and then why not."""

    step: str
    name: str
    stage: str
    at: str | None
    held_because: tuple[str, ...] = ()


class HazardSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A hazard: when, what, and how it was made safe (empty: it was not), by whom."""

    at: str
    what: str
    made_safe: str = ""
    made_safe_by: str = ""
    made_safe_at: str | None = None


class Reopening(msgspec.Struct, frozen=True, kw_only=True):
    """The machine was opened again: what, why, and the checks that were asked again for it."""

    at: str
    opened: tuple[str, ...]
    why: str
    voided: tuple[str, ...] = ()


class Growth(msgspec.Struct, frozen=True, kw_only=True):
    """Work that was added after the run had begun."""

    at: str
    work: tuple[str, ...]


class SeenBeside(msgspec.Struct, frozen=True, kw_only=True):
    """Something seen outside the work: told to the owner, not repaired, never a reason to hold."""

    at: str
    what: str


class GivenBack(msgspec.Struct, frozen=True, kw_only=True):
    """Returned unrepaired: why, which risks were told by whom, the owner's signature or why there is none."""

    at: str
    why: str
    risks_told: str
    owner_signed: str


class Gap(msgspec.Struct, frozen=True, kw_only=True):
    """Time in which nobody watched a check or a wait, in s. asleep_s: how much of it the machine slept.

    lid_closed: the lid was seen closed just before. None: unknown.
    """

    at: str
    check: str
    seconds: float
    asleep_s: float | None = None
    lid_closed: bool | None = None


class UsedChecklist(msgspec.Struct, frozen=True, kw_only=True):
    """A checklist as it was used: its whole text and the SHA-256 of that text."""

    id: str
    revision: int
    title: str
    sha256: str
    text: str


class Trace(msgspec.Struct, frozen=True, kw_only=True):
    """A sealed file of samples beside the journal."""

    name: str
    check: str
    sha256: str
    samples: int


class RequiredSigner(msgspec.Struct, frozen=True, kw_only=True):
    """Who must sign, in which order. thumbprint None: any key that the prover trusts for the role."""

    order: int
    role: str
    thumbprint: str | None = None


class Record(msgspec.Struct, frozen=True, kw_only=True):
    """The whole of it.

    practice: the run was for learning, on a simulated machine. first_pass: the verdict of each check's first
    attempt; first_pass_outcome: what the outcome would be had nothing been asked twice. inventory: what the
    machine had when it was last read; None: never since the arrival. shop: None where no file told of it.
    """

    format: str
    tool: str
    ticket: Ticket
    shop: Shop | None = None
    simulated: bool
    scripted: bool
    practice: bool = False
    began: str
    ended: str
    clock_note: str
    outcome: Outcome
    reasons: tuple[str, ...]
    machine: Mapping[str, str]
    read_by: str
    results: tuple[Result, ...]
    steps: tuple[StepTaken, ...]
    hazards: tuple[HazardSeen, ...] = ()
    arrival: Arrival | None = None
    inventory: Inventory | None = None
    reopenings: tuple[Reopening, ...] = ()
    growths: tuple[Growth, ...] = ()
    seen_beside: tuple[SeenBeside, ...] = ()
    given_back: GivenBack | None = None
    gaps: tuple[Gap, ...] = ()
    first_pass: Mapping[str, Verdict] = {}
    first_pass_outcome: Outcome = Outcome.HELD
    checklists: tuple[UsedChecklist, ...]
    traces: tuple[Trace, ...] = ()
    signers: tuple[RequiredSigner, ...]
    journal_head: str
    journal_count: int
