"""The lines of the journal: what happened, as it is written and folded.

A line holds its number, the hash of the line before, the instant and one event.
"""

from collections.abc import Iterable, Mapping

import msgspec

from verify.checklist.answers import Answer
from verify.record.model import Ticket, UsedChecklist
from verify.values import Instant, Outcome, Reading

JOURNAL_FORMAT = "journal/1"
NO_LINE_BEFORE = "0" * 64


class Began(msgspec.Struct, frozen=True, kw_only=True, tag="began"):
    """The run was opened for a ticket. signers: roles besides those that the checklists ask for."""

    format: str
    tool: str
    ticket: Ticket
    signers: tuple[str, ...] = ()
    checklists: tuple[UsedChecklist, ...]


class Opened(msgspec.Struct, frozen=True, kw_only=True, tag="opened"):
    """A session began: somebody works on the run, with this machine in front of the tool."""

    tool: str
    read_by: str
    machine: Mapping[str, str]
    simulated: bool
    scripted: bool


class Answered(msgspec.Struct, frozen=True, kw_only=True, tag="answered"):
    """A manual check was answered."""

    check: str
    answer: Answer


class WatchBegan(msgspec.Struct, frozen=True, kw_only=True, tag="watch-began"):
    """An automatic check began; its samples go into the trace file of this name."""

    check: str
    trace: str


class Found(msgspec.Struct, frozen=True, kw_only=True, tag="found"):
    """An automatic check ended. sha256 seals the trace as it lies on disk, `samples` lines long."""

    check: str
    readings: tuple[Reading, ...]
    aside: tuple[Reading, ...] = ()
    text: str
    stop: str | None = None
    trace: str
    samples: int
    sha256: str


class Waited(msgspec.Struct, frozen=True, kw_only=True, tag="waited"):
    """A waiting time has passed; seconds of it were witnessed."""

    check: str
    seconds: float


class Stepped(msgspec.Struct, frozen=True, kw_only=True, tag="stepped"):
    """A step was taken. by_itself: it has no words of its own and its hold was lifted."""

    step: str
    by_itself: bool = False


class AskedAgain(msgspec.Struct, frozen=True, kw_only=True, tag="asked-again"):
    """A check that was not good is asked again after something was mended."""

    check: str


class MadeSafe(msgspec.Struct, frozen=True, kw_only=True, tag="made-safe"):
    """Every open hazard was made safe: how, by whom, where the part is now."""

    how: str


class Undone(msgspec.Struct, frozen=True, kw_only=True, tag="undone"):
    """The lines with these numbers were wrong keys: they stay written and do not count."""

    lines: tuple[int, ...]


class Ended(msgspec.Struct, frozen=True, kw_only=True, tag="ended"):
    """Everything was asked; counts: how many lines of each kind came before, so that a loss shows."""

    outcome: Outcome
    counts: Mapping[str, int]


Event = (
    Began | Opened | Answered | WatchBegan | Found | Waited | Stepped | AskedAgain | MadeSafe | Undone | Ended
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
