"""The run over time as the page shows it: drawing, what it says, a list of what happened, the figures."""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from verify.record.model import Record
from verify.report.numbers import lasting, moment
from verify.report.owner import kind_words
from verify.report.plots.folded import FoldedScale
from verify.report.plots.run_axis import AxisLane, draw_run, scale_of
from verify.report.run_times import Kind, Mark, RunTimes, Watch, run_times
from verify.report.words import OPENINGS, PAGE, RUN, STAGES, WATCHES

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["Happened", "RunView", "run_view"]

_MOST_STAGES, _MOST_WATCHES = 8, 7
_MOST_LISTED = 24


class Happened(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the list. number: as it stands over the drawing. what: foreign text."""

    number: int
    at: str
    what: str


class RunView(msgspec.Struct, frozen=True, kw_only=True):
    """The run over time. drawing None: says why there is none. rows: figures, their names in head.

    says: how long, and what happened; lengths: of stages and watches.
    """

    says: tuple[str, ...]
    lengths: tuple[str, ...] = ()
    drawing: "Markup | None" = None
    happened: tuple[Happened, ...] = ()
    several_days: bool = False
    more: str = ""
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def run_view(record: Record, seconds_of: Callable[[str], float | None]) -> RunView:
    """Return the view. seconds_of: how long a trace was watched, by its name; None: not known."""
    times = run_times(record, seconds_of)
    if times.origin is None:
        return RunView(says=(RUN["no_times"],))
    stages = tuple(dict.fromkeys(one.stage for one in times.stretches))
    by_check: dict[str, tuple[Watch, ...]] = {}
    for watch in times.watches:
        by_check[watch.check] = (*by_check.get(watch.check, ()), watch)
    drawn = _longest(by_check)
    lanes = [AxisLane(name=_stage(name), stage=name) for name in stages[:_MOST_STAGES]]
    lanes += [AxisLane(name=_watch(name), watches=by_check[name]) for name in drawn]
    asks = {result.check: result.ask for result in record.results}
    scale = scale_of(times)
    says = (*_says(record, times), *_folds(scale))
    lengths = tuple(_lengths(times, hidden=len(by_check) - len(drawn), stages=stages))
    listed = times.marks[:_MOST_LISTED]
    more = len(times.marks) - len(listed)
    several_days = any(mark.at[:10] != record.began[:10] for mark in listed)
    return RunView(
        says=says,
        lengths=lengths,
        drawing=draw_run(
            times, lanes, scale, title=RUN["title"], says=RUN["sentences"].join((*says, *lengths))
        ),
        happened=tuple(
            Happened(
                number=number, at=_short(mark.at, with_day=several_days), what=_happened(mark, times, asks)
            )
            for number, mark in enumerate(listed, start=1)
        ),
        several_days=several_days,
        more=RUN["and_more"].format(
            count=more, section=PAGE["reopenings"], steps=PAGE["steps"], gaps=PAGE["gaps"]
        )
        if more
        else "",
        head=(RUN["what"], RUN["from"], RUN["to"], RUN["lasted"]),
        rows=tuple(_rows(times)),
    )


def _longest(by_check: dict[str, tuple[Watch, ...]]) -> list[str]:
    """Return the checks whose watches took longest, in the order in which they began."""

    def took_s(check: str) -> float:
        return sum(one.end_s - one.start_s for one in by_check[check] if one.start_s is not None)

    chosen = sorted(by_check, key=lambda check: -took_s(check))[:_MOST_WATCHES]
    return sorted(
        chosen,
        key=lambda check: min(one.end_s if one.start_s is None else one.start_s for one in by_check[check]),
    )


def _stage(name: str) -> str:
    return STAGES[name] if name in STAGES else kind_words(name)


def _watch(check: str) -> str:
    return WATCHES[check] if check in WATCHES else kind_words(check)


def _says(record: Record, times: RunTimes) -> Iterable[str]:
    """Return how long it took and what happened, a sentence each."""
    if times.by_order:
        yield RUN["by_order"]
    else:
        yield RUN["whole"].format(
            began=moment(record.began), ended=moment(record.ended), time=lasting(times.end_s)
        )
        if times.forward:
            yield RUN["forward"]
    for key, kind in (
        ("steps", Kind.STEP),
        ("again", Kind.AGAIN),
        ("hazards", Kind.HAZARD),
        ("unseen", Kind.UNSEEN),
    ):
        count = sum(1 for mark in times.marks if mark.kind is kind)
        if count or kind is Kind.STEP:
            yield _counted(key, count)
    if times.not_taken:
        yield RUN["not_taken"].format(names=RUN["list"].join(times.not_taken))
    if times.unread:
        yield _counted("unread", times.unread)


def _lengths(times: RunTimes, *, hidden: int, stages: tuple[str, ...]) -> Iterable[str]:
    """Return which stages and watches there were, and how long, a sentence each."""
    if times.by_order and stages:
        yield RUN["stages_order"].format(stages=RUN["list"].join(map(_stage, stages)))
    elif stages:
        told = []
        for name in stages:
            stood_s = sum(one.end_s - one.start_s for one in times.stretches if one.stage == name)
            told.append(RUN["stage"].format(name=_stage(name), time=lasting(stood_s)))
        yield RUN["stages"].format(stages=RUN["list"].join(told))
    watches = [_told(one, times) for one in times.watches]
    yield RUN["watches"].format(watches=RUN["list"].join(watches)) if watches else RUN["no_watches"]
    if hidden:
        yield _counted("undrawn", hidden)
    if len(stages) > _MOST_STAGES:
        yield RUN["stages_undrawn"].format(count=len(stages) - _MOST_STAGES)


def _folds(scale: FoldedScale) -> Iterable[str]:
    if scale.folds:
        together_s = sum(fold.high_s - fold.low_s for fold in scale.folds)
        yield RUN["folded_one" if len(scale.folds) == 1 else "folded"].format(
            count=len(scale.folds), time=lasting(together_s)
        )


def _short(at: str, *, with_day: bool) -> str:
    """Return the time of day, with its day where there are several."""
    if moment(at) == at:
        return at
    return RUN["day_and_time"].format(day=at[:10], time=at[11:16]) if with_day else at[11:16]


def _counted(key: str, count: int) -> str:
    if count == 0:
        return RUN[f"no_{key}"]
    return RUN[f"{key}_one" if count == 1 and f"{key}_one" in RUN else key].format(count=count)


def _told(watch: Watch, times: RunTimes) -> str:
    known = "" if watch.start_s is not None else "_unknown"
    key = f"watch{'_order' if times.by_order else known}{'_stale' if watch.stale else ''}"
    length_s = 0.0 if watch.start_s is None else watch.end_s - watch.start_s
    return RUN[key].format(name=_watch(watch.check), time=lasting(length_s))


def _happened(mark: Mark, times: RunTimes, asks: dict[str, str]) -> str:
    match mark.kind:
        case Kind.AGAIN:
            opened = [OPENINGS.get(name, name) for name in mark.what[:-1]]
            return RUN["again_what"].format(what=RUN["list"].join(opened), why=mark.what[-1])
        case Kind.UNSEEN:
            check = mark.what[0]
            gap = next(one for one in times.unseen if one.check == check and one.at == mark.at)
            return RUN["unseen_what"].format(time=lasting(gap.seconds), what=asks.get(check, check))
        case Kind.GREW:
            return RUN[mark.kind.value].format(what=RUN["list"].join(map(kind_words, mark.what)))
        case Kind.HAZARD:
            return RUN["hazard" if mark.what[1] else "hazard_open"].format(what=mark.what[0])
        case Kind.STEP | Kind.MADE_SAFE:
            return RUN[mark.kind.value].format(what=mark.what[0])


def _rows(times: RunTimes) -> Iterable[tuple[str, ...]]:
    """Return stages and watches with their times, as they came; by order there are none to tell."""
    told = [(one.start_s, one.end_s, _stage(one.stage)) for one in times.stretches]
    told_watches = [
        (
            one.start_s,
            one.end_s,
            RUN["stale"].format(name=_watch(one.check)) if one.stale else _watch(one.check),
        )
        for one in times.watches
    ]
    for start_s, end_s, name in (*told, *told_watches):
        if times.by_order or times.origin is None:
            yield name, RUN["unknown"], RUN["unknown"], RUN["unknown"]
            continue
        length = RUN["unknown"] if start_s is None else lasting(end_s - start_s)
        yield name, _moment(times.origin, start_s), _moment(times.origin, end_s), length


def _moment(origin: datetime, at_s: float | None) -> str:
    if at_s is None:
        return RUN["unknown"]
    return moment((origin + timedelta(seconds=at_s)).replace(microsecond=0).isoformat())
