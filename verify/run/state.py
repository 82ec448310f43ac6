"""Where a run stands: what the fold of its journal holds, and nothing else.

Undone lines do not count; attempts that were overtaken stay, marked out of date.
"""

import itertools
from collections.abc import Iterable, Mapping

import msgspec

from verify.judge import Judgement
from verify.machine import Inventory
from verify.record.arrival import Picture
from verify.record.model import Ticket
from verify.run.events import Accepted, Arrived, Began, Ended, Found, GivenBack, Line, Missed, Opened
from verify.values import Instant, Reading, Verdict


class Try(msgspec.Struct, frozen=True, kw_only=True):
    """One attempt at a check. n: the journal line. out_of_date: why it no longer counts, or empty.

    taken_back: what let it happen was a wrong key: it never counted, not even as the first.
    """

    n: int
    at: Instant
    judgement: Judgement
    readings: tuple[Reading, ...] = ()
    note: str = ""
    out_of_date: str = ""
    taken_back: bool = False


class OpenHazard(msgspec.Struct, frozen=True, kw_only=True):
    """A hazard that was seen. check: empty where no check found it. made_safe: how, None while it stands."""

    at: Instant
    check: str
    what: str
    made_safe: str | None = None
    made_safe_by: str = ""
    made_safe_at: Instant | None = None


class OpenedAgain(msgspec.Struct, frozen=True, kw_only=True):
    """What was opened again, why, and the checks that it made out of date."""

    at: Instant
    opened: tuple[str, ...]
    why: str
    voided: tuple[str, ...]


class State(msgspec.Struct, frozen=True, kw_only=True):
    """The run as its journal tells it.

    ticket: with all work that was added and the complaint as it was taken. started: it is said what is
    repaired. arrival: what was taken on arrival so far, all its lines in one; arrived_at: the last of them.
    tries: attempts by check, oldest first. pictures: by check, oldest first; those that went out of date with
    an attempt say so, and none that was undone is among them. steps: the instants of the steps that count,
    and the number of the line. accepted: concessions that count, by check. growths: work added after the
    beginning. watching: trace names of automatic checks that began and have not ended.
    last_by_hand: the lines that an undo would take back, or empty. read_by: the last session in which an
    automatic check ended; None where none did. inventory: the last that an automatic check was fed.
    """

    began: Began
    ticket: Ticket
    began_at: Instant
    last_at: Instant
    started: bool
    sessions: tuple[Opened, ...]
    arrival: Arrived
    arrived_at: Instant | None
    tries: Mapping[str, tuple[Try, ...]]
    pictures: Mapping[str, tuple[Picture, ...]]
    steps: Mapping[str, tuple[int, Instant]]
    accepted: Mapping[str, tuple[Instant, Accepted]]
    watching: Mapping[str, str]
    hazards: tuple[OpenHazard, ...]
    reopened: tuple[OpenedAgain, ...]
    growths: tuple[tuple[Instant, tuple[str, ...]], ...]
    noticed: tuple[tuple[Instant, str], ...]
    given_back: tuple[Instant, GivenBack] | None
    missed: tuple[tuple[Instant, Missed], ...]
    found: tuple[Found, ...]
    inventory: Inventory | None
    last_by_hand: tuple[int, ...]
    read_by: Opened | None
    ended: Ended | None

    @property
    def simulated(self) -> bool:
        """True as soon as one session read a simulated machine."""
        return any(session.simulated for session in self.sessions)

    @property
    def scripted(self) -> bool:
        """True as soon as one session took its answers from a script."""
        return any(session.scripted for session in self.sessions)

    @property
    def practice(self) -> bool:
        """True as soon as one session was for learning."""
        return any(session.practice for session in self.sessions)

    @property
    def hazards_open(self) -> tuple[OpenHazard, ...]:
        """The hazards that nobody made safe yet."""
        return tuple(hazard for hazard in self.hazards if hazard.made_safe is None)

    def current(self, check_id: str) -> Try | None:
        """Return the attempt that counts, or None where the check is not done."""
        tries = self.tries.get(check_id, ())
        return tries[-1] if tries and not tries[-1].out_of_date else None

    def verdict(self, check_id: str) -> Verdict:
        """Return the verdict that counts; NOT_DONE where there is none."""
        current = self.current(check_id)
        return Verdict.NOT_DONE if current is None else current.judgement.verdict

    def has_picture(self, check_id: str) -> bool:
        """Tell whether a picture counts for the check: taken since its last attempt went out of date."""
        return any(not picture.out_of_date for picture in self.pictures.get(check_id, ()))

    def is_open(self, check_id: str) -> bool:
        """Tell whether the check still has to be done: it is neither answered nor accepted as it is."""
        return self.current(check_id) is None and check_id not in self.accepted


def witnessed_s(lines: Iterable[Line], *, since: int, now: Instant) -> float:
    """Return how much time the run saw pass since line `since`, in s; `now` is in the last line's session.

    Only time within one boot counts: a wall clock proves nothing. Where the system names no boot, only
    time within one session.
    """
    told = [(line.at, isinstance(line.event, Opened)) for line in lines if line.n >= since]
    told.append((now, False))
    return sum(
        max(0.0, later.elapsed_s - earlier.elapsed_s)
        for (earlier, _), (later, new_session) in itertools.pairwise(told)
        if earlier.boot_id == later.boot_id and not (new_session and later.boot_id is None)
    )


def first_verdicts(state: State) -> dict[str, Verdict]:
    """Return the verdict of each check's first attempt that was not taken back: the first-pass result."""
    return {
        check: first.judgement.verdict
        for check, tries in state.tries.items()
        if (first := next((one for one in tries if not one.taken_back), None)) is not None
    }
