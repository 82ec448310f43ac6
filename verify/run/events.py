"""The lines of the journal: what happened, as it is written and folded.

A line holds its number, the hash of the line before, the instant and one event.
"""

from collections.abc import Iterable, Mapping

import msgspec

from verify.checklist.answers import Answer
from verify.machine import Inventory
from verify.record.arrival import FoundAs, Picture, Tried
from verify.record.model import Shop, Ticket, UsedChecklist, Work
from verify.values import Instant, Outcome, Reading

JOURNAL_FORMAT = "journal/1"
NO_LINE_BEFORE = "0" * 64


class Began(msgspec.Struct, frozen=True, kw_only=True, tag="began"):
    """The run was opened for a ticket. signers: roles besides those that the checklists ask for.

    arriving: the machine is taken in first; what is to be repaired is not said yet. shop: what the shop's
    file said then.
    """

    format: str
    tool: str
    ticket: Ticket
    shop: Shop | None = None
    signers: tuple[str, ...] = ()
    checklists: tuple[UsedChecklist, ...]
    arriving: bool = False


class Opened(msgspec.Struct, frozen=True, kw_only=True, tag="opened"):
    """A session began: somebody works on the run at a computer.

    machine: who that computer is; marks: what tells it from others of its model, hashed. on_machine: whether
    it is the repaired machine itself; None: nobody said. practice: the run is for learning.
    """

    tool: str
    read_by: str
    machine: Mapping[str, str]
    marks: tuple[str, ...] = ()
    on_machine: bool | None = None
    simulated: bool
    scripted: bool
    practice: bool = False


class Placed(msgspec.Struct, frozen=True, kw_only=True, tag="placed"):
    """Somebody said, in this session, whether this computer is the repaired machine itself."""

    on_machine: bool


class Arrived(msgspec.Struct, frozen=True, kw_only=True, tag="arrived", omit_defaults=True):
    """Something was taken on arrival; None: this line says nothing of it."""

    found_as: FoundAs | None = None
    complaint: str | None = None
    accessories: tuple[str, ...] | None = None
    tried: Mapping[str, Tried] | None = None
    pictures: tuple[Picture, ...] | None = None
    readings: tuple[Reading, ...] | None = None
    readings_note: str = ""
    inventory: Inventory | None = None


class WorkAdded(msgspec.Struct, frozen=True, kw_only=True, tag="work-added"):
    """What is repaired was said, or has grown. checklists: those that were not in use before."""

    work: tuple[Work, ...]
    checklists: tuple[UsedChecklist, ...] = ()
    signers: tuple[str, ...] = ()


class Answered(msgspec.Struct, frozen=True, kw_only=True, tag="answered"):
    """A manual check was answered."""

    check: str
    answer: Answer


class Pictured(msgspec.Struct, frozen=True, kw_only=True, tag="pictured"):
    """A picture was taken at a check, before or after its answer; its file is in the run's folder already."""

    check: str
    picture: Picture


class WatchBegan(msgspec.Struct, frozen=True, kw_only=True, tag="watch-began"):
    """An automatic check began; its samples go into the trace file of this name."""

    check: str
    trace: str


class Found(msgspec.Struct, frozen=True, kw_only=True, tag="found"):
    """An automatic check ended. sha256 seals the trace as it lies on disk, with its `samples`.

    inventory: the last that the check was fed; None where it asked for none.
    """

    check: str
    readings: tuple[Reading, ...]
    aside: tuple[Reading, ...] = ()
    text: str
    stop: str | None = None
    trace: str
    samples: int
    sha256: str
    inventory: Inventory | None = None


class Waited(msgspec.Struct, frozen=True, kw_only=True, tag="waited"):
    """A waiting time has passed; seconds of it were witnessed."""

    check: str
    seconds: float


class Missed(msgspec.Struct, frozen=True, kw_only=True, tag="missed", omit_defaults=True):
    """Nobody watched for so many seconds while a check or a wait went on.

    asleep_s: how much of it the machine slept; lid_closed: it was seen closed just before. None: unknown.
    """

    check: str
    seconds: float
    asleep_s: float | None = None
    lid_closed: bool | None = None


class Stepped(msgspec.Struct, frozen=True, kw_only=True, tag="stepped"):
    """A step was taken. by_itself: it has no words of its own and its hold was lifted."""

    step: str
    by_itself: bool = False


class AskedAgain(msgspec.Struct, frozen=True, kw_only=True, tag="asked-again"):
    """A check that was not good is asked again after something was mended."""

    check: str


class Reopened(msgspec.Struct, frozen=True, kw_only=True, tag="reopened"):
    """Something was opened again, and why; what it voids is asked again."""

    opened: tuple[str, ...]
    why: str


class Accepted(msgspec.Struct, frozen=True, kw_only=True, tag="accepted"):
    """A check that is not good was accepted as a known flaw: by whom, why, how and when the owner agreed."""

    check: str
    by: str
    reason: str
    owner_agreed: str = ""


class Noticed(msgspec.Struct, frozen=True, kw_only=True, tag="noticed"):
    """Something was seen outside the work; it is told to the owner and not repaired."""

    what: str


class HazardMet(msgspec.Struct, frozen=True, kw_only=True, tag="hazard-met"):
    """Somebody saw a hazard, whatever was asked at that moment."""

    what: str


class MadeSafe(msgspec.Struct, frozen=True, kw_only=True, tag="made-safe"):
    """Every open hazard was made safe: which part was isolated and where it is now, and by whom."""

    how: str
    by: str = ""


class GivenBack(msgspec.Struct, frozen=True, kw_only=True, tag="given-back"):
    """The repair was declined: why, which risks were told, the owner's signature or why there is none."""

    why: str
    risks_told: str
    owner_signed: str


class Undone(msgspec.Struct, frozen=True, kw_only=True, tag="undone"):
    """The lines with these numbers were wrong keys: they stay written and do not count."""

    lines: tuple[int, ...]


class Ended(msgspec.Struct, frozen=True, kw_only=True, tag="ended"):
    """Everything was asked; counts: how many lines of each kind came before, so that a loss shows."""

    outcome: Outcome
    counts: Mapping[str, int]


Event = (
    Began
    | Opened
    | Placed
    | Arrived
    | WorkAdded
    | Answered
    | Pictured
    | WatchBegan
    | Found
    | Waited
    | Missed
    | Stepped
    | AskedAgain
    | Reopened
    | Accepted
    | Noticed
    | HazardMet
    | MadeSafe
    | GivenBack
    | Undone
    | Ended
)


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the journal. before: SHA-256 of the line before, without its line feed."""

    n: int
    before: str
    at: Instant
    event: Event


def counts_of(lines: Iterable[Line]) -> dict[str, int]:
    """Count the lines of each kind, by tag."""
    counts: dict[str, int] = {}
    for line in lines:
        tag = str(type(line.event).__struct_config__.tag)
        counts[tag] = counts.get(tag, 0) + 1
    return dict(sorted(counts.items()))
