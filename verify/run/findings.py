"""From an answer or a finding to a judgement: which rule of `verify.judge` applies to which kind."""

from collections.abc import Iterable
from typing import assert_never

from verify.checklist import Check, Kind
from verify.checklist.answers import (
    Answer,
    Counted,
    Entered,
    Hazard,
    Look,
    Measured,
    Photo,
    Seen,
    Tally,
)
from verify.judge import Judgement, judge, judge_bracket, judge_tally
from verify.values import Reading, Unit, Verdict, dimension
from verify.values.errors import InvalidValueError, OrderError

# From worst to best: of several judgements on one check the worst counts.
_WORST_FIRST = (
    Verdict.DOES_NOT_CONFORM,
    Verdict.UNDECIDED,
    Verdict.NOT_DONE,
    Verdict.CONFORMS,
    Verdict.NOT_APPLICABLE,
)

_KIND_OF_ANSWER = {
    Look: Kind.LOOK,
    Photo: Kind.PHOTO,
    Hazard: Kind.HAZARD,
    Measured: Kind.MEASURE,
    Entered: Kind.MEASURE,
    Counted: Kind.COUNT,
}


def _worst(judgements: Iterable[Judgement]) -> Judgement:
    return min(judgements, key=lambda judgement: _WORST_FIRST.index(judgement.verdict))


def judge_answer(check: Check, answer: Answer) -> Judgement:
    """Judge a technician's answer.

    Raises OrderError where the answer is not of the check's kind.
    """
    by_leaves = check.unit is Unit.MILLIMETRE
    other_measure = (isinstance(answer, Measured) and not by_leaves) or (
        isinstance(answer, Entered) and by_leaves
    )
    if _KIND_OF_ANSWER[type(answer)] is not check.kind or other_measure:
        raise OrderError(f'"{check.id}" is a {check.kind}: this is not an answer to it.')
    match answer:
        case Look():
            return _judge_seen(answer.seen, answer.note, looked="Looked at", unseen="It cannot be seen.")
        case Photo():
            return _judge_photo(answer)
        case Hazard():
            return _judge_hazard(answer)
        case Measured():
            return _judge_measured(check, answer)
        case Entered():
            return _judge_entered(check, answer)
        case Counted():
            return _judge_counted(check, answer)
        case _:
            assert_never(answer)


def _judge_photo(answer: Photo) -> Judgement:
    if answer.seen is None:
        # Undecided, not "not done": it was asked and answered, and a check may say that this is only a note.
        return Judgement(verdict=Verdict.UNDECIDED, because=f"Not done: no picture was taken. {answer.note}")
    return _judge_seen(
        answer.seen, answer.note, looked="Picture taken", unseen="The picture does not show it."
    )


def _judge_seen(seen: Seen, note: str, *, looked: str, unseen: str) -> Judgement:
    note = f" {note}" if note else ""
    match seen:
        case Seen.GOOD:
            return Judgement(verdict=Verdict.CONFORMS, because=f"{looked} and good.{note}")
        case Seen.NOT_GOOD:
            return Judgement(verdict=Verdict.DOES_NOT_CONFORM, because=f"{looked} and not good.{note}")
        case Seen.CANNOT_SEE:
            return Judgement(verdict=Verdict.UNDECIDED, because=f"{unseen}{note}")
        case _:
            assert_never(seen)


def _judge_hazard(answer: Hazard) -> Judgement:
    note = f" {answer.note}" if answer.note else ""
    if answer.present is False:
        return Judgement(verdict=Verdict.CONFORMS, because=f"Nothing bulging, hot, wet or smelling.{note}")
    if answer.present is True:
        return Judgement(verdict=Verdict.DOES_NOT_CONFORM, because=f"A hazard was seen.{note}")
    # Cannot tell counts as yes.
    return Judgement(verdict=Verdict.DOES_NOT_CONFORM, because=f"A hazard could not be ruled out.{note}")


def _judge_measured(check: Check, answer: Measured) -> Judgement:
    if check.limit is None:
        return Judgement(verdict=Verdict.NOT_APPLICABLE, because="Recorded only: no limit is set.")
    strange = set(answer.spans) - set(check.stations)
    if strange:
        raise OrderError(f'"{check.id}" has no place called {", ".join(sorted(strange))}.')
    missing = [station for station in check.stations if station not in answer.spans]
    if missing:
        return Judgement(verdict=Verdict.UNDECIDED, because=f"Not measured at: {', '.join(missing)}.")
    judged = []
    for station, span in answer.spans.items():
        one = judge_bracket(span.enters_mm, span.stops_mm, check.limit, Unit.MILLIMETRE)
        judged.append(Judgement(verdict=one.verdict, because=f"{station}: {one.because}"))
    return _worst(judged)


def _judge_entered(check: Check, answer: Entered) -> Judgement:
    strange = set(answer.values) - set(check.stations)
    if strange:
        raise OrderError(f'"{check.id}" has no place called {", ".join(sorted(strange))}.')
    for station, quantity in answer.values.items():
        if dimension(quantity.unit) != dimension(check.unit):
            raise OrderError(f"{station} is measured in {check.unit}, not in {quantity.unit}.")
    missing = [station for station in check.stations if station not in answer.values]
    if check.limit is None:
        left_out = f" Not measured: {', '.join(missing)}." if missing else ""
        return Judgement(verdict=Verdict.NOT_APPLICABLE, because=f"Recorded only: no limit is set.{left_out}")
    if missing:
        return Judgement(verdict=Verdict.UNDECIDED, because=f"Not measured: {', '.join(missing)}.")
    return _worst(judge(reading, check.limit) for reading in readings_of(answer))


def _judge_counted(check: Check, answer: Counted) -> Judgement:
    uncounted = [kind for kind in check.counts if kind not in answer.tallies]
    if uncounted or not answer.tallies:
        return Judgement(
            verdict=Verdict.UNDECIDED, because=f"Not counted: {', '.join(uncounted) or 'anything'}."
        )
    judged = []
    for kind, tally in answer.tallies.items():
        one = judge_tally(tally.missing)
        judged.append(Judgement(verdict=one.verdict, because=f"{kind}: {one.because}"))
    return _worst(judged)


def readings_of(answer: Answer) -> tuple[Reading, ...]:
    """Return what was measured or counted as readings, for the record; a look has none."""
    match answer:
        case Measured():
            return tuple(
                _span_reading(station, span.enters_mm, span.stops_mm)
                for station, span in answer.spans.items()
            )
        case Entered():
            return tuple(
                Reading(value=quantity.value, unit=quantity.unit, source=f"{station}, typed in")
                for station, quantity in answer.values.items()
            )
        case Counted():
            return tuple(
                Reading(
                    value=tally.missing,
                    unit=Unit.COUNT,
                    standard_uncertainty=0,
                    source=f"{kind} missing: {_account(tally)}",
                )
                for kind, tally in answer.tallies.items()
            )
        case Look() | Photo() | Hazard():
            return ()
        case _:
            assert_never(answer)


def _account(tally: Tally) -> str:
    """Return all that the sum was made of, so that it can be followed on the page."""
    told = [f"{tally.out} out", f"{tally.new} new", f"{tally.back} back"]
    told += [
        f"{count} {word}"
        for count, word in ((tally.returned, "returned"), (tally.scrapped, "scrapped"))
        if count
    ]
    return ", ".join(told)


def _span_reading(station: str, enters_mm: float, stops_mm: float | None) -> Reading:
    source = f"{station}, feeler gauge"
    if stops_mm is None:
        return Reading(
            value=None,
            unit=Unit.MILLIMETRE,
            source=source,
            reason=f"Wider than the thickest leaf ({enters_mm:g} mm).",
        )
    # Anywhere in the interval is as likely: rectangular, half-width / √3 (JCGM 100, 4.3.7).
    half = (stops_mm - enters_mm) / 2
    return Reading(
        value=round(enters_mm + half, 4),
        unit=Unit.MILLIMETRE,
        standard_uncertainty=half / 3**0.5,
        source=source,
    )


def judge_readings(check: Check, readings: tuple[Reading, ...], text: str) -> Judgement:
    """Judge what an automatic check found: each reading against the limit, the worst counts."""
    if not readings:
        return Judgement(verdict=Verdict.UNDECIDED, because=text or "Nothing was read.")
    if check.limit is None:
        return Judgement(verdict=Verdict.NOT_APPLICABLE, because=f"Recorded only. {text}")
    limit = check.limit
    try:
        return _worst(judge(reading, limit) for reading in readings)
    except InvalidValueError as error:
        # It stands in the journal already: a limit in another unit must not keep the run from being read.
        return Judgement(verdict=Verdict.UNDECIDED, because=f"It does not go with its limit. {error.what}")
