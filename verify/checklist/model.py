"""Checklist, check, step: what is to be established, in which order, and what guards what.

A *check* establishes one thing. A *step* is something done to the machine that is guarded by a hold:
it is not due until every check with that step in `before` is good. A step without words of its own is
taken by itself as soon as its hold is lifted.
"""

from collections.abc import Mapping
from enum import StrEnum

import msgspec

from verify.judge import Limit
from verify.values import Unit


class Kind(StrEnum):
    """How a check is established.

    HAZARD: the first question of a run (no, yes, cannot tell). LOOK: good, not good, cannot see.
    MEASURE: a gap, or a value in its unit, at each named station. COUNT: so many of each kind, out and back.
    PHOTO: a picture, and whether it is good. PROBE: read by the tool. WAIT: a time that must pass.
    """

    HAZARD = "hazard"
    LOOK = "look"
    MEASURE = "measure"
    COUNT = "count"
    PHOTO = "photo"
    PROBE = "probe"
    WAIT = "wait"


class Concession(StrEnum):
    """Who may accept a check that is not good, as a known flaw.

    OWNER: a named person, with the owner's yes: the owner will notice it. SHOP: a named person of the shop
    alone: the owner cannot notice it. NEVER: it has to be mended.
    """

    OWNER = "owner"
    SHOP = "shop"
    NEVER = "never"


class Shows(StrEnum):
    """What the tool can show for a look, where it runs on the repaired machine.

    TONES: left, right and rising. COLOURS: fields that fill the screen. KEYS: a map of the keys that came.
    """

    TONES = "tones"
    COLOURS = "colours"
    KEYS = "keys"


STAGES = ("arrived", "open", "closed", "charged", "finished")
"""Where a job stands, in this order. The first is where it starts."""

HAND_BACK = "hand-back"
"""The last step of every run; every check of the work guards it."""

COMPLAINT_GONE = "complaint-gone"
"""The last check of every run, whatever else is asked in its stage."""

BASE, PACK_UNPLUGGED = "base", "pack-unplugged"
OPENINGS = (BASE, "lid", PACK_UNPLUGGED, "feet-removed")
"""What a check may be voided by when it is opened or undone again; the battery's plug is behind the base."""


class Check(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to establish.

    ask: at most 20 words, imperative. good: at most 12, what good looks like. about: at most 10 words, a
    name for the owner, who sees no imperative; empty: `ask` stands there.
    work: kinds of work that call for it; empty means whenever its checklist applies.
    before: steps that it guards besides hand-back. after: a step that must have been taken.
    stop: "not good" or "cannot see" is a hazard. note_only: undecided does not hold the machine;
    held_for: kinds of work for which it does all the same.
    caution: shown with it, where it can hurt. options: for the probe. stations: for a measure, whose unit
    is mm by feeler leaves, or another one that is typed in; then a limit may be missing: only recorded.
    counts: the kinds to count; empty means the technician names them. wait_s: seconds, for a wait.
    shows: what the tool can show for it.
    concession: who may accept it where it is not good; a hazard and a stop check nobody.
    reads: checks whose readings it judges; asked again, it asks them again too.
    beside: checks that establish the same, where asking both is right; `why` says what this one adds.
    shipped_limit: the limit that a shop's own one took the place of; None: the limit is the shipped one.
    shop_options: those of `options` that the shop set; options_source: where it has them from.
    """

    id: str
    kind: Kind
    ask: str
    good: str
    place: str
    stage: str
    minutes: float
    about: str = ""
    work: tuple[str, ...] = ()
    before: tuple[str, ...] = ()
    after: str | None = None
    voided_by: tuple[str, ...] = ()
    limit: Limit | None = None
    stop: bool = False
    note_only: bool = False
    held_for: tuple[str, ...] = ()
    caution: str | None = None
    why: str | None = None
    probe: str | None = None
    options: Mapping[str, str] = {}
    stations: tuple[str, ...] = ()
    unit: Unit = Unit.MILLIMETRE
    counts: tuple[str, ...] = ()
    wait_s: float = 0.0
    shows: Shows | None = None
    concession: Concession = Concession.OWNER
    reads: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    shipped_limit: Limit | None = None
    shop_options: Mapping[str, str] = {}
    options_source: str = ""

    @property
    def may_be_accepted(self) -> bool:
        """Whether anybody may accept it where it is not good."""
        return not (self.stop or self.kind is Kind.HAZARD or self.concession is Concession.NEVER)


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """Something done to the machine, guarded by a hold.

    name: as in "not yet: {name}" ("connect the battery"). do: what to do, imperative; None where it
    takes itself. leads_to: the stage that it opens. work: as in Check. voided_by: openings after which it
    has to be done again; one that takes itself is taken again after any that was.
    """

    id: str
    name: str
    do: str | None = None
    stage: str
    leads_to: str | None = None
    work: tuple[str, ...] = ()
    voided_by: tuple[str, ...] = ()
    caution: str | None = None


class Checklist(msgspec.Struct, frozen=True, kw_only=True):
    """A checklist as loaded. for_work empty: every repair. text: the file's text, kept for the record.

    includes: kinds of work that are done whenever a work of `for_work` is; they are asked for as well.
    order: ids of steps in their order, those that another checklist defines among them; empty: as `steps`.
    """

    id: str
    revision: int
    title: str
    for_work: tuple[str, ...] = ()
    includes: tuple[str, ...] = ()
    signers: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    order: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()
    text: str = ""


class Segment(msgspec.Struct, frozen=True, kw_only=True):
    """A stretch of the run: checks in order, then the step that closes it."""

    stage: str
    checks: tuple[Check, ...]
    step: Step


class Composition(msgspec.Struct, frozen=True, kw_only=True):
    """Checklists put together for a ticket's work: nothing twice, in an order that protects the work."""

    checklists: tuple[Checklist, ...]
    work: tuple[str, ...]
    signers: tuple[str, ...]
    segments: tuple[Segment, ...]

    @property
    def checks(self) -> tuple[Check, ...]:
        """All checks, in order."""
        return tuple(check for segment in self.segments for check in segment.checks)

    @property
    def steps(self) -> tuple[Step, ...]:
        """All steps, in order."""
        return tuple(segment.step for segment in self.segments)

    def guards(self, step_id: str) -> tuple[Check, ...]:
        """Return the checks that must be good before the step; for the last step, all of them."""
        if step_id == HAND_BACK:
            return self.checks
        return tuple(check for check in self.checks if step_id in check.before)
