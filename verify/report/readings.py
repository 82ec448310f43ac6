"""Which readings of a check were judged, and what else it read and hands on to others. No layout."""

import msgspec

from verify.probe.handed_on import DECIDED, GAUGE_SIGN, GAUGE_VERDICT, is_handed_on, says, told_by
from verify.record.model import Result
from verify.report.numbers import written
from verify.report.words import ELSE
from verify.values import Reading, dimension


class More(msgspec.Struct, frozen=True, kw_only=True):
    """One line of what else was read. remark: a doubt or a next step, may be empty. Foreign text."""

    what: str
    told: str
    remark: str = ""


class ReadingsView(msgspec.Struct, frozen=True, kw_only=True):
    """What the last attempt read. judged: stands against the limit; more: what no limit judged."""

    judged: tuple[Reading, ...] = ()
    more: tuple[More, ...] = ()


def readings_view(result: Result) -> ReadingsView:
    """Part what was judged from the rest: a record holds the judged ones first, all of one dimension.

    One that is handed on ends them, where the first was not handed on itself.
    """
    readings = result.attempts[-1].readings if result.attempts else ()
    judged = judged_of(readings)
    return ReadingsView(judged=judged, more=tuple(_more(one) for one in readings[len(judged) :]))


def judged_of(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Return those at the beginning that are of one kind with the first."""
    count = 0
    for reading in readings:
        first = readings[0]
        same = dimension(reading.unit) == dimension(first.unit)
        if not same or is_handed_on(reading) != is_handed_on(first):
            break
        count += 1
    return readings[:count]


def _more(reading: Reading) -> More:
    what, told, label = reading.source, written(reading), ELSE["doubted"]
    if says(reading, DECIDED):
        told = ELSE["yes" if reading.value else "no"]
    elif says(reading, GAUGE_VERDICT) or says(reading, GAUGE_SIGN):
        # Its number is a code for the checks after it; what it means stands behind the sentence.
        told = told_by(reading)
        what = reading.source.removesuffix(f", {told}")
        label = ELSE["next"]
        if says(reading, GAUGE_SIGN) and reading.value:
            told = ELSE["lie"].format(sign=told)
    has_remark = reading.reason is not None and (reading.value is not None or label != ELSE["doubted"])
    return More(
        what=what[:1].upper() + what[1:],
        told=told,
        remark=label.format(why=reading.reason) if has_remark else "",
    )
