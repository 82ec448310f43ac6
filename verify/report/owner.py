"""What the owner's part tells, picked from the record: no layout, no words of its own."""

import msgspec

from verify.judge import Bounds, Limit, judge
from verify.measure.rounding import write_value
from verify.probe.watching import GAUGE
from verify.record.model import Part, Record, Result, Ticket, Work
from verify.record.visible import on_one_line
from verify.report import words
from verify.report.readings import judged_of
from verify.values import Outcome, Reading, Unit, Verdict, parse_quantity
from verify.values.errors import InvalidValueError

_COMPLAINT_CHECK = "complaint-gone"
_PROBE = "probe"
_OPEN = (Verdict.UNDECIDED, Verdict.NOT_DONE)
_GOES_HOME = (Outcome.FIT, Outcome.FIT_UNDER_CONCESSION)
# Work that is not on a part: nothing is said to have been taken out for it.
_ON_NO_PART = frozenset({"software-only", "liquid"})
_BY_EYE = frozenset({"look", "photo"})


class OwnerView(msgspec.Struct, frozen=True, kw_only=True):
    """The owner's part.

    flaws: results that were accepted. unchecked, seen: results. wrong: results that stand in the way;
    missing: what else does, in words; unmade: those of them that tell of a hazard. beside: what was seen
    outside the work. stuck: steps not taken.
    """

    complaint_verdict: Verdict
    complaint_says: str
    complaint_because: str
    complaint_accepted: bool
    counted: str
    flaws: tuple[Result, ...]
    unchecked: tuple[Result, ...]
    seen: tuple[Result, ...]
    beside: tuple[str, ...]
    wrong: tuple[Result, ...]
    missing: tuple[str, ...]
    unmade: tuple[str, ...]
    stuck: tuple[str, ...]
    care: tuple[str, ...]


def owner_view(record: Record) -> OwnerView:
    """Pick what the owner is told."""
    verdict, says, because = _complaint(record)
    unmade = _unmade(record)
    return OwnerView(
        complaint_verdict=verdict,
        complaint_says=says,
        complaint_because=because,
        complaint_accepted=any(
            result.accepted is not None for result in record.results if result.check == _COMPLAINT_CHECK
        ),
        counted=_counted(record),
        flaws=tuple(result for result in record.results if result.accepted is not None),
        unchecked=tuple(result for result in record.results if result.verdict in _OPEN),
        seen=_seen(record),
        beside=tuple(seen.what for seen in record.seen_beside),
        wrong=_wrong(record),
        missing=(*unmade, *_missing(record)),
        unmade=unmade,
        stuck=tuple(step.name for step in record.steps if step.held_because and record.given_back is None),
        care=_care(record),
    )


def part_words(part: Part) -> str:
    """Return what a part is, in plain words: where it comes from, what it is called, what its label says."""
    pieces = [words.SOURCES.get(part.source, f"{part.source}.")]
    if part.identity:
        pieces.append(f"{words.PAGE['identity_of_part']} {part.identity}.")
    if part.label:
        label = ", ".join(f"{name} {_in_words(value)}" for name, value in part.label.items())
        pieces.append(f"{words.PAGE['label']} {label}.")
    return " ".join(on_one_line(piece) for piece in pieces)


def headline_of(record: Record) -> tuple[str, str]:
    """Return the word for the outcome and its sentence, which claims no more than was checked."""
    if record.outcome is Outcome.FIT and any(result.verdict in _OPEN for result in record.results):
        return words.HEADLINE_NOT_ALL
    return words.HEADLINES[record.outcome]


def work_words(record: Record, work: Work) -> str:
    """Return what was done with a part, in plain words; of a machine that stays, nothing that is to come."""
    if work.part is not None:
        return part_words(work.part)
    done = record.outcome in _GOES_HOME and work.kind not in _ON_NO_PART
    return words.PAGE["disturbed" if done else "no_part"]


def _in_words(text: str) -> str:
    """Return what a label says with the unit's name, where it is a number with its unit."""
    try:
        unit = parse_quantity(text).unit
    except InvalidValueError:
        return text
    named = words.OWNER_NUMBERS.units.get(unit)
    return f"{text.strip().removesuffix(unit.value).rstrip()} {named}" if named else text


def machine_words(ticket: Ticket) -> str:
    """Return which machine it is, on one line, as the ticket says."""
    name = on_one_line(f"{ticket.maker} {ticket.model}") or words.PAGE["unnamed"]
    serial = f"{words.PAGE['serial'].lower()} {on_one_line(ticket.serial)}" if ticket.serial else ""
    return ", ".join(piece for piece in (name, serial) if piece)


def plainly(result: Result) -> str:
    """Return why a check came to its verdict, for the owner; empty where the verdict says it all.

    Where the tool judged a figure, what was found and what good is, in units that have names and without
    figures of uncertainty: those, and what the tool noted, stand with the check. What it says of a battery's
    gauge beyond a figure is for the technician, and so is all but the first sentence of what it says of
    anything else: where to look next. Else what was noted, and the check's own sentence.
    """
    last = result.attempts[-1] if result.attempts else None
    because = "" if result.because == _alone(result.verdict) else result.because
    note = last.note if last is not None and last.note not in because else ""
    if note and result.kind in _BY_EYE and because.endswith(f" {words.VERDICTS[result.verdict]}."):
        because = ""  # it says the verdict again
    told = _first_sentence if result.kind == _PROBE else on_one_line
    for reading in judged_of(last.readings) if last is not None and result.limit is not None else ():
        assert result.limit is not None
        judged = judge(reading, result.limit)
        if judged.verdict is not result.verdict or not ("±" in because or judged.because == because):
            continue
        if reading.source.startswith(GAUGE) and (reading.value is None or reading.unit is Unit.COUNT):
            return words.OWNER["with_check"]
        if reading.value is None:
            return told(reading.reason or "")
        if reading.unit is Unit.COUNT and note:
            return told(note)  # it names what was counted
        return _found(reading, result.limit, result.verdict)
    return told(" ".join(filter(None, (because, note))))


def _first_sentence(text: str) -> str:
    line = on_one_line(text)
    first, more, _ = line.partition(". ")
    return f"{first}." if more else line


def _alone(verdict: Verdict) -> str:
    word = words.VERDICTS[verdict]
    return f"{word[:1].upper()}{word[1:]}."


def _found(reading: Reading, limit: Limit, verdict: Verdict) -> str:
    bounds = Bounds(limit)
    style = words.OWNER_MORE if limit.lower is None else words.OWNER_SPARE
    value = _long(reading) or write_value(bounds.reading(reading), apart_from=bounds.marks, style=style)
    said = "found"
    if verdict is Verdict.UNDECIDED:
        said = "doubted" if reading.reason or reading.standard_uncertainty is None else "near"
    return words.OWNER[said].format(value=value, limit=bounds.written(style))


def _long(reading: Reading) -> str:
    """Return a long time in units of its own; empty for anything else."""
    if reading.unit is not Unit.SECOND or reading.value is None:
        return ""
    told = (
        text.format(count=int(reading.value // size))
        for size, text in words.OWNER_LONG
        if reading.value >= 2 * size
    )
    return next(told, "")


def kind_words(kind: str) -> str:
    """Return a kind of work as one reads it: keyboard-deck, Keyboard deck."""
    if kind in words.KINDS:
        return words.KINDS[kind]
    plain = on_one_line(kind).replace("-", " ").replace("_", " ")
    return plain[:1].upper() + plain[1:]


def _complaint(record: Record) -> tuple[Verdict, str, str]:
    found = next((result for result in record.results if result.check == _COMPLAINT_CHECK), None)
    verdict = Verdict.NOT_DONE if found is None else found.verdict
    says_all = verdict in (Verdict.CONFORMS, Verdict.NOT_DONE)
    if found is not None and says_all and not record.ticket.complaint.strip():
        return Verdict.NOT_DONE, words.COMPLAINT_NONE, ""  # what nobody complained of cannot be gone
    if found is None:
        return verdict, words.COMPLAINT_UNCHECKED, ""
    return verdict, words.COMPLAINT[verdict], "" if says_all else found.because


def _counted(record: Record) -> str:
    """Return how many checks came to which verdict, all of them, so that nothing hides in a sum."""
    counts = [
        (sum(result.verdict is verdict for result in record.results), verdict) for verdict in words.VERDICTS
    ]
    opening = words.PAGE["counted_one" if len(record.results) == 1 else "counted"]
    told = ", ".join(
        words.COUNTED[verdict][count > 1].format(count=count) for count, verdict in counts if count
    )
    if not told:
        return words.PAGE["no_checks"]
    accepted = sum(result.accepted is not None for result in record.results)
    beside = f" {words.PAGE['counted_accepted'].format(count=accepted)}" if accepted else ""
    return f"{opening.format(all=len(record.results))} {told}.{beside}"


def _not_good(record: Record) -> tuple[Result, ...]:
    """Return what is not good and was not accepted: the accepted flaws have a place of their own."""
    return tuple(
        result
        for result in record.results
        if result.verdict is Verdict.DOES_NOT_CONFORM and result.accepted is None
    )


def _seen(record: Record) -> tuple[Result, ...]:
    """Return what is not good and does not hold a machine that goes home."""
    return _not_good(record) if record.outcome is Outcome.FIT else ()


def _wrong(record: Record) -> tuple[Result, ...]:
    """Return what is not good or cannot be told, and holds; what is not done is listed where it belongs."""
    if record.outcome is Outcome.FIT:
        return ()
    undecided = tuple(
        result
        for result in record.results
        if result.verdict is Verdict.UNDECIDED and not result.note_only and result.accepted is None
    )
    return (*_not_good(record), *undecided)


def _missing(record: Record) -> tuple[str, ...]:
    """Return the reasons that no result tells already, and how many checks are still to be done."""
    ids = {result.check for result in record.results}
    hazards = [hazard.what for hazard in record.hazards if hazard.made_safe_at is None]
    lines = [
        reason
        for reason in record.reasons
        if reason.partition(":")[0] not in ids and not any(what in reason for what in hazards)
    ]
    if record.given_back is not None:
        lines = []  # why it goes back is told at length
    undone = sum(result.verdict is Verdict.NOT_DONE and result.accepted is None for result in record.results)
    if undone and record.given_back is None:
        word = "undone_one" if undone == 1 else "undone"
        lines.append(words.PAGE[word].format(count=undone))
    return tuple(lines)


def _unmade(record: Record) -> tuple[str, ...]:
    """Return a line for each hazard that was not made safe."""
    return tuple(
        words.OWNER["unmade"].format(what=on_one_line(hazard.what) or words.OWNER["nameless"])
        for hazard in record.hazards
        if hazard.made_safe_at is None
    )


def _care(record: Record) -> tuple[str, ...]:
    lines: list[str] = []
    goes_home = record.outcome in _GOES_HOME
    for work in record.ticket.work:
        if goes_home and work.part is not None:  # only what is new needs running in
            lines += [line for line in words.CARE_FOR.get(work.kind, ()) if line not in lines]
    return (*lines, *words.CARE_ALWAYS)
