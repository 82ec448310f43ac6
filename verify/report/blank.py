"""The composed checks of a job as a sheet to fill by hand: as plain text, and as a page to print.

It is for where no computer can stand. It is no record: its answers are given to the tool afterwards.
"""

import textwrap
from collections.abc import Iterable

from verify.checklist import Check, Composition, Kind
from verify.report.listing import asides, heading, minutes, numbered, places, sentence, until
from verify.report.render import template
from verify.report.words import HAZARD_ADVICE, STAGES
from verify.values import Unit

TALLY_COLUMNS = ("out", "new", "back", "returned", "scrapped", "missing")
SPAN_COLUMNS = ("enters, mm", "stops, mm")

TITLE = "Sheet to fill by hand"
USE = (
    "One cross for each number. Cannot see, or cannot tell, counts as not good where no line says otherwise. "
    "Give the answers to the tool afterwards: this sheet is no record."
)
TALLY_RULE = "Missing = out + new - back - returned - scrapped."
VALUE_RULE = "Leave it empty where it was not measured."
SPAN_RULE = "Enters: the thickest leaf that goes in. Stops: the thinnest that does not."
LOCAL_RULES = "The maker's service instructions, local rules and licensed persons come before this sheet."
TICKET_LINES = ("Ticket", "Machine", "Serial, if the owner agrees", "Bench and date")
FLAWS = "Accepted with a known flaw: number, by whom, why, the owner's yes (how, when)"
BESIDE = "Seen beside the work, not repaired"
MADE_SAFE = "Hazard made safe: which part, where it lies now, by whom, when"

_WIDTH, _INDENT, _FREE_ROWS = 80, 5, 4


def boxes(check: Check) -> tuple[str, ...]:
    """Return the answers that a cross is put at."""
    if check.kind is Kind.HAZARD:
        return ("No", "Yes", "Cannot tell: counts as yes")
    if check.kind is Kind.WAIT:
        return ("Done",)
    if check.kind is Kind.PROBE:
        return ("Good", "Not good", "Cannot tell")
    return ("Good", "Not good", "Cannot see")


def table(check: Check) -> tuple[tuple[str, ...], tuple[str, ...], str] | None:
    """Return columns, rows and the rule of the table to fill; None where the check has none.

    A count without named kinds has empty rows.
    """
    if check.kind is Kind.MEASURE and check.unit is not Unit.MILLIMETRE:
        return (check.unit.value,), check.stations, VALUE_RULE
    if check.kind is Kind.MEASURE:
        return SPAN_COLUMNS, check.stations, SPAN_RULE
    if check.kind is Kind.COUNT:
        return TALLY_COLUMNS, check.counts or ("",) * _FREE_ROWS, TALLY_RULE
    return None


def to_write(check: Check) -> tuple[str, ...]:
    """Return what is written beside the boxes, each on a line."""
    if check.kind is Kind.PROBE:
        return ("Reading of the tool", "Note")
    return ("From, to", "Note") if check.kind is Kind.WAIT else ("Note",)


def signatures(composition: Composition) -> tuple[str, ...]:
    """Return who signs, in order."""
    return composition.signers or ("technician",)


def blank_text(composition: Composition) -> str:
    """Return the sheet as plain text of 80 columns."""
    numbers = numbered(composition)
    lines = [TITLE.upper(), *_wrapped(heading(composition, paper=True)), ""]
    lines += [*(_line(each) for each in TICKET_LINES), ""]
    lines += ["IF ANYTHING BULGES, IS HOT, WET, SMOKES OR SMELLS"]
    lines += _wrapped(HAZARD_ADVICE, first="- ", indent="  ")
    lines += [*_wrapped((LOCAL_RULES,)), "", *_wrapped((USE,))]
    stage = ""
    for segment in composition.segments:
        if segment.stage != stage:
            stage = segment.stage
            lines += ["", STAGES.get(stage, stage).upper()]
        for place, checks in places(segment.checks):
            lines += ["", f"  {place}"]
            for check in checks:
                lines += _check_lines(check, numbers[check.id])
        lines += _hold_lines(segment.step.name, until(composition, segment.step))
        if segment.step.do is not None:
            lines += [
                *_wrapped((f"Then: {segment.step.do}",)),
                "[ ] Done   Time ________   Initials ________",
            ]
        lines += _wrapped((f"Caution: {segment.step.caution}",)) if segment.step.caution is not None else []
    for what in (MADE_SAFE, FLAWS, BESIDE):
        lines += ["", f"{what}:", "_" * _WIDTH, "_" * _WIDTH]
    for role in signatures(composition):
        lines += ["", f"{role.upper()}", _line("Name, date"), _line("Signature")]
    return "\n".join(lines) + "\n"


def blank_page(composition: Composition) -> str:
    """Return the sheet as one HTML page without scripts or requests; it prints on A4 and Letter."""
    return template("blank.html").render(
        composition=composition,
        heading=heading(composition, paper=True),
        numbers=numbered(composition),
        waits={step.id: until(composition, step) for step in composition.steps},
        places={index: tuple(places(each.checks)) for index, each in enumerate(composition.segments)},
        signers=signatures(composition),
        boxes=boxes,
        table=table,
        to_write=to_write,
        asides=asides,
        minutes=minutes,
        title=TITLE,
        use=USE,
        advice=HAZARD_ADVICE,
        local_rules=LOCAL_RULES,
        ticket_lines=TICKET_LINES,
        ends=(MADE_SAFE, FLAWS, BESIDE),
    )


def _hold_lines(name: str, waits: str) -> list[str]:
    return ["", *_wrapped((f"NOT YET: {name}, {waits}.",))] if waits else [""]


def _check_lines(check: Check, number: int) -> list[str]:
    inner = " " * _INDENT
    answers = "   ".join(f"[ ] {each}" for each in boxes(check))
    lines = [f"{number:>3}  {answers:<{_WIDTH - _INDENT - 8}}{minutes(check):>8}"]
    for text in (sentence(check), *asides(check, places=False)):
        lines += textwrap.wrap(text, _WIDTH, initial_indent=inner, subsequent_indent=inner)
    filled = table(check)
    if filled is not None:
        columns, rows, rule = filled
        first = max(16, *(len(row) + 2 for row in rows))
        width = (_WIDTH - _INDENT - first) // len(columns)
        lines += [inner + " " * first + "".join(f"{column:<{width}}" for column in columns).rstrip()]
        lines += [
            inner
            + f"{row or '_' * (first - 2):<{first}}"
            + (("_" * (width - 2) + "  ") * len(columns)).rstrip()
            for row in rows
        ]
        lines += textwrap.wrap(rule, _WIDTH, initial_indent=inner, subsequent_indent=inner)
    return lines + [_line(each, indent=inner) for each in to_write(check)]


def _line(what: str, *, indent: str = "") -> str:
    start = f"{indent}{what}: "
    return start + "_" * (_WIDTH - len(start))


def _wrapped(texts: Iterable[str], *, first: str = "", indent: str = "") -> list[str]:
    return [
        line
        for text in texts
        for line in textwrap.wrap(text, _WIDTH, initial_indent=first, subsequent_indent=indent)
    ]
