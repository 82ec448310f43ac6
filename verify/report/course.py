"""How the run went: the first pass against the last, what was opened again, added, or not watched."""

import msgspec

from verify.record.model import Gap, Record, Reopening
from verify.report import words
from verify.report.numbers import lasting
from verify.report.owner import kind_words
from verify.values import Verdict


class Changed(msgspec.Struct, frozen=True, kw_only=True):
    """A check whose last result is not its first."""

    ask: str
    first: Verdict
    last: Verdict


class Event(msgspec.Struct, frozen=True, kw_only=True):
    """Something that happened on the way. at: UTC, ISO 8601; lines and items: foreign text."""

    at: str
    lines: tuple[str, ...]
    items: tuple[str, ...] = ()


class Course(msgspec.Struct, frozen=True, kw_only=True):
    """The way of the run. first_pass: what the outcome had been; empty where the record does not say."""

    first_pass: str
    changed: tuple[Changed, ...]
    reopenings: tuple[Event, ...]
    growths: tuple[Event, ...]
    gaps: tuple[Event, ...]


def course_of(record: Record) -> Course:
    """Tell how the run went; everything is empty where nothing of the kind happened."""
    asks = {result.check: result.ask for result in record.results}
    return Course(
        first_pass=words.HEADLINES[record.first_pass_outcome][0] if record.first_pass else "",
        changed=tuple(
            Changed(ask=result.ask, first=record.first_pass[result.check], last=result.verdict)
            for result in record.results
            if record.first_pass.get(result.check, result.verdict) is not result.verdict
        ),
        reopenings=tuple(_reopening(one, asks) for one in record.reopenings),
        growths=tuple(
            Event(at=one.at, lines=(", ".join(kind_words(kind) for kind in one.work),))
            for one in record.growths
        ),
        gaps=tuple(_gap(one, asks) for one in record.gaps),
    )


def _reopening(one: Reopening, asks: dict[str, str]) -> Event:
    opened = ", ".join(words.OPENINGS.get(name, name) for name in one.opened)
    opened = opened[:1].upper() + opened[1:]
    asked = words.WAY["voided" if one.voided else "voided_none"]
    return Event(
        at=one.at,
        lines=(words.WAY["opened"].format(what=opened, why=one.why), asked),
        items=tuple(asks.get(check, check) for check in one.voided),
    )


def _gap(gap: Gap, asks: dict[str, str]) -> Event:
    say = words.WAY
    pieces = [say["unwatched"].format(time=lasting(gap.seconds))]
    if gap.asleep_s is None:
        pieces.append(say["asleep_unknown"])
    elif gap.asleep_s > 0:
        pieces.append(say["asleep"].format(time=lasting(gap.asleep_s)))
    else:
        pieces.append(say["awake"])
    if gap.lid_closed:
        pieces.append(say["lid_closed"])
    return Event(at=gap.at, lines=(f"{', '.join(pieces)}.", asks.get(gap.check, gap.check)))
