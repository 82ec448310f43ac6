"""When what happened in a run: stages, steps, what was opened again, hazards, gaps, watches. By its record.

All in s from the earliest moment of the record. Where its clock was set back meanwhile, times cannot be
compared: then everything stands in the order of the work, one after the other.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from enum import StrEnum

import msgspec

from verify.record.model import Gap, Record, Result
from verify.report.traced import attempts_traced

__all__ = ["Kind", "Mark", "RunTimes", "Stretch", "Unseen", "Watch", "run_times"]

_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|\+00:00)", re.ASCII)
_SET_BACK = re.compile(r"It jumped by -\d+ s before |it stood \d+ s back, at ")
_SET_FORWARD = re.compile(r"It jumped by \+\d+ s before ")
_WAITED = re.compile(r"(\d{1,6}) min have passed\.")
_A_WATCH_S = 60.0  # shorter ones are a tick, as any check
_SLACK_S = 1.0  # times are written in whole seconds
_ORIGIN = datetime(2000, 1, 1, tzinfo=UTC)


class Kind(StrEnum):
    """What a mark stands for."""

    STEP = "step"
    AGAIN = "again"
    HAZARD = "hazard"
    MADE_SAFE = "made_safe"
    GREW = "grew"
    UNSEEN = "unseen"


class Stretch(msgspec.Struct, frozen=True, kw_only=True):
    """The job stood at a stage from `start_s` to `end_s`."""

    stage: str
    start_s: float
    end_s: float


class Mark(msgspec.Struct, frozen=True, kw_only=True):
    """Something that happened at a moment. at: as the record writes it. what: foreign text."""

    kind: Kind
    at_s: float
    at: str
    what: tuple[str, ...]


class Unseen(msgspec.Struct, frozen=True, kw_only=True):
    """Time in which nobody watched a check."""

    check: str
    start_s: float
    end_s: float
    at: str
    seconds: float


class Watch(msgspec.Struct, frozen=True, kw_only=True):
    """A check that took its time. start_s None: how long is not known. stale: it is out of date."""

    check: str
    start_s: float | None
    end_s: float
    stale: bool


class RunTimes(msgspec.Struct, frozen=True, kw_only=True):
    """All of it. origin: what 0 s is; None where no time of the record can be read.

    by_order: the clock was set back, so a second is only a place in the order of the work. forward: it was
    set forward. unread: times that could not be read. checks_s: the moments at which a check was answered.
    not_taken: names of steps that were not taken.
    """

    origin: datetime | None
    end_s: float = 0.0
    stretches: tuple[Stretch, ...] = ()
    marks: tuple[Mark, ...] = ()
    unseen: tuple[Unseen, ...] = ()
    watches: tuple[Watch, ...] = ()
    checks_s: tuple[float, ...] = ()
    not_taken: tuple[str, ...] = ()
    by_order: bool = False
    forward: bool = False
    unread: int = 0


class _Event(msgspec.Struct):
    """One moment: wall_s as written, at_s as drawn; stage "" where it belongs to none."""

    wall_s: float
    stage: str = ""
    at_s: float = 0.0


def run_times(record: Record, seconds_of: Callable[[str], float | None]) -> RunTimes:
    """Return when what happened. seconds_of: how long a trace was watched, by its name; None: not known."""
    events = _Events()
    began, ended = events.take(record.began), events.take(record.ended)
    tries = {
        result.check: [events.take(one.at, result.stage) for one in result.attempts]
        for result in record.results
    }
    marks = [*_steps(record, events), *_happened(record, events)]
    gaps = [(gap, event) for gap in record.gaps if (event := events.take(gap.at)) is not None]
    marks += [(Mark(kind=Kind.UNSEEN, at_s=0.0, at=gap.at, what=(gap.check,)), event) for gap, event in gaps]
    if not events.all:
        return RunTimes(origin=None, unread=events.unread)
    by_order = _SET_BACK.search(record.clock_note) is not None or events.outside(began, ended)
    stages = dict.fromkeys((*(one.stage for one in record.results), *(one.stage for one in record.steps)))
    first_s = events.place(began, ended, tuple(stages), by_order=by_order)
    return RunTimes(
        origin=_ORIGIN + timedelta(seconds=first_s),
        end_s=max(event.at_s for event in events.all),
        stretches=events.stretches(event for mark, event in marks if mark.kind is Kind.AGAIN),
        marks=tuple(
            sorted(
                (msgspec.structs.replace(mark, at_s=event.at_s) for mark, event in marks),
                key=lambda one: one.at_s,
            )
        ),
        unseen=tuple(_unseen(gap, event.at_s, by_order=by_order) for gap, event in gaps),
        watches=tuple(
            watch
            for result in record.results
            for watch in _watches(
                result, tries[result.check], _lengths(record, result, seconds_of), by_order=by_order
            )
        ),
        checks_s=tuple(sorted({event.at_s for found in tries.values() for event in found if event})),
        not_taken=tuple(one.name for one in record.steps if one.at is None),
        by_order=by_order,
        forward=_SET_FORWARD.search(record.clock_note) is not None,
        unread=events.unread,
    )


class _Events:
    """Every moment of the record, and where it is drawn."""

    def __init__(self) -> None:
        self.all: list[_Event] = []
        self.unread = 0

    def take(self, text: str, stage: str = "") -> _Event | None:
        """Return the moment; None and counted where it cannot be read."""
        try:
            told = datetime.fromisoformat(text) if _MOMENT.fullmatch(text) else None
        except ValueError:
            told = None
        if told is None:
            self.unread += 1
            return None
        event = _Event((told - _ORIGIN).total_seconds(), stage)
        self.all.append(event)
        return event

    def outside(self, began: _Event | None, ended: _Event | None) -> bool:
        """Tell whether something happened before the run began or after its last line: the clock was set."""
        return any(
            (began is not None and one.wall_s < began.wall_s - _SLACK_S)
            or (ended is not None and one.wall_s > ended.wall_s + _SLACK_S)
            for one in self.all
        )

    def place(
        self, began: _Event | None, ended: _Event | None, stages: tuple[str, ...], *, by_order: bool
    ) -> float:
        """Give each moment its place; return the earliest, in s from `_ORIGIN`."""
        first_s = min(event.wall_s for event in self.all)
        for event in self.all:
            event.at_s = event.wall_s - first_s
        if by_order:
            ordered = self._ordered(began, ended, {name: place for place, name in enumerate(stages)})
            for place, event in enumerate(ordered):
                event.at_s = float(place)
        return first_s

    def _ordered(self, began: _Event | None, ended: _Event | None, stages: Mapping[str, int]) -> list[_Event]:
        """Return the moments by stage, and within one by the clock; what has no stage joins its neighbour."""
        keys: dict[int, tuple[int, float]] = {}
        place = 0
        for event in sorted(self.all, key=lambda one: one.wall_s):
            place = stages.get(event.stage, place)
            keys[id(event)] = place, event.wall_s
        if began is not None:
            keys[id(began)] = -1, 0.0
        if ended is not None:
            keys[id(ended)] = len(stages), 0.0
        return sorted(self.all, key=lambda one: keys[id(one)])

    def stretches(self, opened: "Iterable[_Event]") -> tuple[Stretch, ...]:
        """Return where the job stood when: from the last moment of one stage to the last one of the next.

        opened: moments at which it was opened again; what comes next begins there.
        """
        again = {id(event) for event in opened}
        found: list[Stretch] = []
        from_s = min(event.at_s for event in self.all)
        goes_on = False
        for event in sorted(self.all, key=lambda one: one.at_s):
            if not event.stage and id(event) not in again:
                continue
            if id(event) in again:
                if found:
                    found[-1] = msgspec.structs.replace(found[-1], end_s=event.at_s)
                goes_on = False
            elif goes_on and found[-1].stage == event.stage:
                found[-1] = msgspec.structs.replace(found[-1], end_s=event.at_s)
            else:
                found.append(Stretch(stage=event.stage, start_s=from_s, end_s=event.at_s))
                goes_on = True
            from_s = event.at_s
        return tuple(found)


def _steps(record: Record, events: _Events) -> Iterable[tuple[Mark, _Event]]:
    for step in record.steps:
        event = None if step.at is None else events.take(step.at, step.stage)
        if event is not None:
            yield Mark(kind=Kind.STEP, at_s=0.0, at=step.at or "", what=(step.name,)), event


def _happened(record: Record, events: _Events) -> Iterable[tuple[Mark, _Event]]:
    told: list[tuple[Kind, str, tuple[str, ...]]] = [
        (Kind.AGAIN, one.at, (*one.opened, one.why)) for one in record.reopenings
    ]
    told += [(Kind.GREW, one.at, one.work) for one in record.growths]
    for one in record.hazards:
        told.append((Kind.HAZARD, one.at, (one.what, "" if one.made_safe_at is None else one.made_safe)))
        if one.made_safe_at is not None:
            told.append((Kind.MADE_SAFE, one.made_safe_at, (one.made_safe,)))
    for kind, at, what in told:
        event = events.take(at)
        if event is not None:
            yield Mark(kind=kind, at_s=0.0, at=at, what=what), event


def _unseen(gap: Gap, at_s: float, *, by_order: bool) -> Unseen:
    # By order, lengths have no meaning: it is a place only.
    start_s = at_s if by_order else max(at_s - max(gap.seconds, 0.0), 0.0)
    return Unseen(check=gap.check, start_s=start_s, end_s=at_s, at=gap.at, seconds=gap.seconds)


def _lengths(record: Record, result: Result, seconds_of: Callable[[str], float | None]) -> list[float | None]:
    """Return how long each attempt took, in their order; None: not known."""
    known: list[float | None] = [None] * len(result.attempts)
    for back, (attempt, trace) in enumerate(attempts_traced(record, result), start=1):
        del attempt
        known[-back] = seconds_of(trace.name)
    for place, attempt in enumerate(result.attempts):
        waited = _WAITED.fullmatch(attempt.because) if result.kind == "wait" else None
        if waited is not None:
            known[place] = 60.0 * float(waited[1])
    return known


def _watches(
    result: Result, tries: list[_Event | None], lengths_s: list[float | None], *, by_order: bool
) -> Iterable[Watch]:
    took_time = result.kind == "wait" or any(one is not None and one >= _A_WATCH_S for one in lengths_s)
    for attempt, event, length_s in zip(result.attempts, tries, lengths_s, strict=True):
        if event is None or not took_time:
            continue
        start_s = None if length_s is None or by_order else max(event.at_s - length_s, 0.0)
        yield Watch(check=result.check, start_s=start_s, end_s=event.at_s, stale=bool(attempt.out_of_date))
