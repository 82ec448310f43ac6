"""The checks as a table: what its rows tell, and what they need not repeat. No layout."""

import re
from collections.abc import Iterable, Iterator

import msgspec

from verify.record.model import Attempt, Record, Result
from verify.record.visible import on_one_line
from verify.report import words
from verify.report.numbers import moment, written
from verify.report.pictures import PictureView, pictures_by_result
from verify.report.readings import More, readings_view
from verify.values import Reading, Verdict

_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_DAY_LENGTH = 10
_TIME = slice(11, 16)
# What a good look says beyond its verdict: nothing.
_LOOKED = frozenset({"Looked at and good.", "Picture taken and good."})


class Figure(msgspec.Struct, frozen=True, kw_only=True):
    """A reading that was judged, as it stands in its column. doubt: may be empty. Foreign text."""

    told: str
    source: str
    doubt: str


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One check. time: of the attempt that counts, without the day where it is its stage's; may be empty.

    because: why, empty where verdict, figures and limit say it all. note: of the one attempt; where there are
    more, or it is out of date, attempts holds them all.
    """

    number: int
    result: Result
    time: str
    because: str
    note: str
    attempts: tuple[Attempt, ...]
    figures: tuple[Figure, ...]
    more: tuple[More, ...]
    pictures: tuple[PictureView, ...]

    @property
    def apart(self) -> bool:
        """Return whether it stands out: neither good nor beside the point."""
        return self.result.verdict not in (Verdict.CONFORMS, Verdict.NOT_APPLICABLE)

    @property
    def measured(self) -> bool:
        """Return whether it has figures, so that the columns for them are needed."""
        result = self.result
        has_readings = bool(result.attempts and result.attempts[-1].readings)
        return has_readings or result.limit is not None or result.probability is not None


class Stage(msgspec.Struct, frozen=True, kw_only=True):
    """The checks of a stage, in their order. day: of the first of them, "2026-03-10"; empty: unknown."""

    name: str
    day: str
    rows: tuple[Row, ...]

    @property
    def measured(self) -> bool:
        """Return whether any of its checks has figures."""
        return any(row.measured for row in self.rows)


def stages_of(record: Record, pictures: tuple[PictureView, ...]) -> tuple[Stage, ...]:
    """Return the checks by stage, numbered through in the order of the record."""
    taken = pictures_by_result(record, pictures)
    grouped: dict[str, list[tuple[int, Result, tuple[PictureView, ...]]]] = {}
    for number, (result, shown) in enumerate(zip(record.results, taken, strict=True), start=1):
        grouped.setdefault(result.stage, []).append((number, result, shown))
    stages = []
    for name, group in grouped.items():
        day = next(_days(result for _, result, _ in group), "")
        rows = tuple(_row(number, result, shown, day) for number, result, shown in group)
        stages.append(Stage(name=name, day=day, rows=rows))
    return tuple(stages)


def _days(results: Iterable[Result]) -> Iterator[str]:
    for result in results:
        for attempt in result.attempts:
            if _DAY.match(attempt.at):
                yield attempt.at[:_DAY_LENGTH]


def _row(number: int, result: Result, pictures: tuple[PictureView, ...], day: str) -> Row:
    last = result.attempts[-1] if result.attempts else None
    alone = len(result.attempts) == 1 and not result.attempts[0].out_of_date
    readings = readings_view(result)
    because = "" if _says_no_more(result, readings.judged) else result.because
    return Row(
        number=number,
        result=result,
        time="" if last is None else short_moment(last.at, day),
        because=because,
        note=last.note if last is not None and alone and last.note not in because else "",
        attempts=() if alone else result.attempts,
        figures=tuple(_figure(one, result) for one in readings.judged),
        more=readings.more,
        pictures=pictures,
    )


def _figure(reading: Reading, result: Result) -> Figure:
    reason = on_one_line(reading.reason or "")
    if reading.value is None:
        told = words.NUMBERS.unknown if reason in result.because else written(reading, result.limit)
        return Figure(told=told, source=reading.source, doubt="")
    return Figure(told=written(reading, result.limit), source=reading.source, doubt=reason)


def short_moment(at: str, day: str) -> str:
    """Return a time without its day where that is `day`, as "09:02"; else as `moment`."""
    told = moment(at)
    return at[_TIME] if told != at and at.startswith(day) else told


def _says_no_more(result: Result, judged: tuple[Reading, ...]) -> bool:
    """Return whether the verdict, with the figures beside it, already says what the sentence does."""
    if result.because == f"{words.VERDICTS[result.verdict].capitalize()}.":
        return True
    if result.verdict is not Verdict.CONFORMS:
        return False
    figures_tell = result.limit is not None and bool(judged) and all(one.value is not None for one in judged)
    return figures_tell or result.because in _LOOKED
