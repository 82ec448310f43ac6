"""Specimens: physical descriptions of machines, from which a truthful technician's answers are derived.

A specimen file stands beside its checklist as NAME.specimens.yaml. `facts` says what a sound machine is
like; `sees` says, check by check, what somebody who looks at these facts answers; `faults` change facts,
or the simulated machine; `specimens` put faults into a machine and say what must come of it. No answer is
written beside a specimen: it follows from the facts.
"""

from collections.abc import Mapping, Sequence

import msgspec

from verify.checklist.answers import (
    Answer,
    Counted,
    Entered,
    Hazard,
    Look,
    Measured,
    Photo,
    Seen,
    Span,
    Tally,
)
from verify.checklist.model import Check, Checklist, Kind
from verify.values import Outcome, Quantity, Unit, parse_quantity
from verify.values.errors import InvalidValueError, SpecimenError

LEAVES_MM = tuple(step / 20 for step in range(1, 21))
"""The usual feeler set: 0.05 to 1.00 mm in steps of 0.05 (DIN 2275, from memory)."""


NOT_MEASURED = "not measured"
"""What a fact says of a value that nobody can measure: no scale, no meter."""


class SeesHazard(msgspec.Struct, frozen=True, kw_only=True):
    """A hazard is present where any of these facts has this value."""

    present_when: Mapping[str, str]


class SeesLook(msgspec.Struct, frozen=True, kw_only=True):
    """Good where all of these facts have this value; cannot be seen where any of the others has."""

    good_when: Mapping[str, str]
    cannot_see_when: Mapping[str, str] = {}


class SeesPhoto(msgspec.Struct, frozen=True, kw_only=True):
    """As SeesLook, of the picture; there is none where any fact of `no_picture_when` has its value."""

    good_when: Mapping[str, str]
    cannot_see_when: Mapping[str, str] = {}
    no_picture_when: Mapping[str, str] = {}


class SeesGap(msgspec.Struct, frozen=True, kw_only=True):
    """The gap in mm at every station is the fact `gap`, but where `gap_at` names another fact."""

    gap: str
    gap_at: Mapping[str, str] = {}
    leaves_mm: tuple[float, ...] = LEAVES_MM


class SeesTally(msgspec.Struct, frozen=True, kw_only=True):
    """For each kind that is counted: which fact holds `out`, `new`, `back`, `returned`, `scrapped`."""

    tally: Mapping[str, Mapping[str, str]]


class SeesValue(msgspec.Struct, frozen=True, kw_only=True):
    """At each station the value is the fact that `value` names ("236 g"), or was not measured."""

    value: Mapping[str, str]


Sight = SeesHazard | SeesLook | SeesPhoto | SeesGap | SeesValue | SeesTally


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """Facts that are otherwise; faults of the simulated machine by name, each with its parameter."""

    facts: Mapping[str, str] = {}
    machine: Mapping[str, str] = {}


class Specimen(msgspec.Struct, frozen=True, kw_only=True):
    """One machine as it stands on the bench.

    label_wh: energy on the fitted battery's label, in Wh; None where the ticket has none.
    caught_by: checks that must not come out as conforming.
    """

    name: str
    expect: Outcome
    work: tuple[str, ...] = ()
    label_wh: float | None = None
    faults: tuple[str, ...] = ()
    caught_by: tuple[str, ...] = ()


class SpecimenFile(msgspec.Struct, frozen=True, kw_only=True):
    """A specimen file with all that it builds on.

    own: name of the checklist, or of the file of shop limits, that it proves. to_prove: the checks of that,
    each of which must catch something. checklists: those that it builds on, then its own; to be composed.
    """

    name: str
    own: str
    to_prove: tuple[str, ...]
    checklists: tuple[Checklist, ...]
    facts: Mapping[str, str]
    sees: Mapping[str, Sight]
    faults: Mapping[str, Fault]
    specimens: tuple[Specimen, ...]


def facts_of(file: SpecimenFile, specimen: Specimen) -> Mapping[str, str]:
    """Return the specimen's facts: those of the sound machine, changed by its faults in their order."""
    facts = dict(file.facts)
    for name in specimen.faults:
        facts.update(file.faults[name].facts)
    return facts


def machine_faults(file: SpecimenFile, specimen: Specimen) -> Mapping[str, str]:
    """Return what is wrong with the simulated machine: fault name to parameter ("31 Wh", "yes")."""
    found: dict[str, str] = {}
    for name in specimen.faults:
        found.update(file.faults[name].machine)
    return found


def answer_for(check: Check, facts: Mapping[str, str], table: Mapping[str, Sight]) -> Answer:
    """Return what a truthful technician who looks at these facts answers to a manual check.

    Raises SpecimenError where the table does not say what is seen, or not of this kind of check.
    """
    match check.kind, table.get(check.id):
        case Kind.HAZARD, SeesHazard(present_when=present_when):
            return Hazard(present=any(facts[name] == value for name, value in present_when.items()))
        case Kind.LOOK, SeesLook() as sight:
            seen, note = _seen(sight, facts)
            return Look(seen=seen, note=note)
        case Kind.PHOTO, SeesPhoto() as sight:
            return _photo(sight, facts)
        case Kind.MEASURE, SeesGap() as sight:
            return Measured(
                spans={
                    station: span_of(_gap_mm(sight.gap_at.get(station, sight.gap), facts), sight.leaves_mm)
                    for station in check.stations
                }
            )
        case Kind.MEASURE, SeesValue(value=value):
            return Entered(values=_values(value, facts))
        case Kind.COUNT, SeesTally(tally=tally):
            return Counted(tallies={kind: _tally(columns, facts) for kind, columns in tally.items()})
        case _:
            raise SpecimenError(
                f'The table "sees" does not say what is seen at the {check.kind} "{check.id}".',
                next_step=f'Add "{check.id}" below "sees".',
            )


def span_of(gap_mm: float, leaves_mm: Sequence[float]) -> Span:
    """Return what a leaf set says of a gap: the thickest leaf that enters, the thinnest that does not."""
    entering = [leaf for leaf in leaves_mm if leaf <= gap_mm]
    stopping = [leaf for leaf in leaves_mm if leaf > gap_mm]
    return Span(enters_mm=max(entering, default=0.0), stops_mm=min(stopping, default=None))


def uncaught(file: SpecimenFile) -> tuple[str, ...]:
    """Return the checks of what the file proves that catch no specimen."""
    caught = {check_id for specimen in file.specimens for check_id in specimen.caught_by}
    return tuple(check_id for check_id in file.to_prove if check_id not in caught)


def _seen(sight: SeesLook | SeesPhoto, facts: Mapping[str, str]) -> tuple[Seen, str]:
    for name, value in sight.cannot_see_when.items():
        if facts[name] == value:
            return Seen.CANNOT_SEE, f"{name}: {value}"
    for name, value in sight.good_when.items():
        if facts[name] != value:
            return Seen.NOT_GOOD, f"{name}: {facts[name]}"
    return Seen.GOOD, ""


def _photo(sight: SeesPhoto, facts: Mapping[str, str]) -> Photo:
    for name, value in sight.no_picture_when.items():
        if facts[name] == value:
            return Photo(seen=None, note=f"{name}: {value}")
    seen, note = _seen(sight, facts)
    return Photo(seen=seen, note=note)


def _gap_mm(name: str, facts: Mapping[str, str]) -> float:
    try:
        return parse_quantity(facts[name]).to(Unit.MILLIMETRE).value
    except InvalidValueError as error:
        raise SpecimenError(
            f'The fact "{name}" must be a length: {error.what}', next_step=error.next_step
        ) from error


def _values(named: Mapping[str, str], facts: Mapping[str, str]) -> dict[str, Quantity]:
    found = {}
    for station, name in named.items():
        if facts[name] == NOT_MEASURED:
            continue
        try:
            found[station] = parse_quantity(facts[name])
        except InvalidValueError as error:
            raise SpecimenError(
                f'The fact "{name}" must be a value or "{NOT_MEASURED}": {error.what}',
                next_step=error.next_step,
            ) from error
    return found


def _tally(columns: Mapping[str, str], facts: Mapping[str, str]) -> Tally:
    counted: dict[str, int] = {}
    for column, name in columns.items():
        if not (facts[name].isascii() and facts[name].isdigit() and len(facts[name]) <= 6):
            raise SpecimenError(
                f'The fact "{name}" must be a count, not "{facts[name]}".', next_step="Write a whole number."
            )
        counted[column] = int(facts[name])
    return msgspec.convert(counted, Tally)
