"""Lines that answer a manual check: a note, the gaps at named places, a count of each kind."""

from collections.abc import Callable

from verify.ask.entry import parse_numbers, parse_span, parse_tally, parse_value
from verify.ask.lines import Entry, Prompt, Still, TypedLine
from verify.checklist import Check, Kind
from verify.checklist.answers import Answer, Counted, Entered, Look, Measured, Photo, Seen, Span, Tally
from verify.run import plan
from verify.values import Quantity
from verify.values.errors import InvalidValueError

Take = Callable[[Answer], None]
"""Hands the answer on."""


def asks(check: Check) -> Still:
    """Return what tells whether this very check is the one that is asked."""
    return lambda due: isinstance(due, plan.Ask) and due.pending[0] == check.id


def note_line(check: Check, seen: Seen, take: Take) -> Prompt:
    """Ask what is wrong, or why it cannot be seen; of the picture, where that is asked for."""

    def done(text: str) -> None:
        if seen is Seen.CANNOT_SEE and not text:
            raise InvalidValueError("It needs a reason.")
        take(Photo(seen=seen, note=text) if check.kind is Kind.PHOTO else Look(seen=seen, note=text))

    prompt = "What is wrong?" if seen is Seen.NOT_GOOD else "Why can it not be seen?"
    return TypedLine(Entry(prompt=prompt), done, still=asks(check))


def no_picture_line(check: Check, take: Take) -> Prompt:
    """Ask why there is no picture."""
    return TypedLine(
        Entry(prompt="Why is there no picture?"),
        lambda text: take(Photo(seen=None, note=text)),
        still=asks(check),
    )


def span_line(check: Check, take: Take, spans: dict[str, Span] | None = None) -> Prompt:
    """Ask for the gap at each named place, one line each."""
    before = spans or {}
    station = check.stations[len(before)]

    def done(text: str) -> Prompt | None:
        more = {**before, station: parse_span(text)}
        if len(more) < len(check.stations):
            return span_line(check, take, more)
        take(Measured(spans=more))
        return None

    shown = tuple(f"{name}: {span.enters_mm:g} to {_end(span)} mm" for name, span in before.items())
    prompt = f"{station}, leaf that enters, leaf that does not (mm):"
    return TypedLine(Entry(prompt=prompt, done=shown), done, still=asks(check))


def value_line(check: Check, take: Take, values: dict[str, Quantity | None] | None = None) -> Prompt:
    """Ask for the value at each named place, one line each; a "-" where it was not measured."""
    before = values or {}
    station = check.stations[len(before)]

    def done(text: str) -> Prompt | None:
        more = {**before, station: parse_value(text, check.unit)}
        if len(more) < len(check.stations):
            return value_line(check, take, more)
        take(Entered(values={name: value for name, value in more.items() if value is not None}))
        return None

    shown = tuple(f"{name}: {value or 'not measured'}" for name, value in before.items())
    prompt = f"{station} ({check.unit}; - where not measured):"
    return TypedLine(Entry(prompt=prompt, done=shown), done, still=asks(check))


def tally_line(check: Check, take: Take, tallies: dict[str, Tally] | None = None) -> Prompt:
    """Ask for the count of each kind, one line each; the technician names them where the check does not."""
    before = tallies or {}
    left = [kind for kind in check.counts if kind not in before]

    def done(text: str) -> Prompt | None:
        if not text and not left and before:
            take(Counted(tallies=before))
            return None
        kind, tally = (left[0], parse_numbers(text)) if left else parse_tally(text)
        more = {**before, kind: tally}
        if check.counts and len(more) == len(check.counts):
            take(Counted(tallies=more))
            return None
        return tally_line(check, take, more)

    shown = tuple(f"{kind}: {tally.out} out, {tally.back} back" for kind, tally in before.items())
    asked = f"{left[0]}: out and back:" if left else "kind, out, back (empty line: that is all):"
    return TypedLine(Entry(prompt=asked, done=shown), done, still=asks(check))


def _end(span: Span) -> str:
    return "?" if span.stops_mm is None else f"{span.stops_mm:g}"
