"""The composed checks of a job as a sheet to fill by hand: as plain text, and as a page to print.

It is for where no computer can stand. It is no record: its answers are given to the tool afterwards.
"""

import textwrap
from collections.abc import Iterable

from verify.checklist import Check, Composition, Kind
from verify.checklist.shop import ShopFile
from verify.report import sheet_words
from verify.report.listing import asides, heading, minutes, numbered, places, sentence, until
from verify.report.logo import shown_logo
from verify.report.render import template
from verify.report.sheet_words import LISTING, SHEET
from verify.report.words import HAZARD_ADVICE, STAGES
from verify.values import Unit

_WIDTH, _INDENT, _FREE_ROWS = 80, 5, 4


def boxes(check: Check) -> tuple[str, ...]:
    """Return the answers that a cross is put at."""
    return sheet_words.BOXES.get(check.kind, sheet_words.BOXES_ELSE)


def table(check: Check) -> tuple[tuple[str, ...], tuple[str, ...], str] | None:
    """Return columns, rows and the rule of the table to fill; None where the check has none.

    A count without named kinds has empty rows.
    """
    if check.kind is Kind.MEASURE and check.unit is not Unit.MILLIMETRE:
        return (check.unit.value,), check.stations, SHEET["value_rule"]
    if check.kind is Kind.MEASURE:
        return sheet_words.SPAN_COLUMNS, check.stations, SHEET["span_rule"]
    if check.kind is Kind.COUNT:
        return sheet_words.TALLY_COLUMNS, check.counts or ("",) * _FREE_ROWS, SHEET["tally_rule"]
    return None


def to_write(check: Check) -> tuple[str, ...]:
    """Return what is written beside the boxes, each on a line."""
    return sheet_words.TO_WRITE.get(check.kind, sheet_words.TO_WRITE_ELSE)


def signatures(composition: Composition) -> tuple[str, ...]:
    """Return who signs, in order."""
    return composition.signers or (SHEET["technician"],)


def blank_text(composition: Composition, *, shop: ShopFile | None = None) -> str:
    """Return the sheet as plain text of 80 columns. shop: whose sheet it is."""
    numbers = numbered(composition)
    house = [] if shop is None else [*_wrapped((shop.name, *_reached(shop))), ""]
    lines = [*house, SHEET["title"].upper(), *_wrapped(heading(composition, paper=True)), ""]
    lines += [*(_line(each) for each in sheet_words.TICKET_LINES), ""]
    lines += [SHEET["hazard"].upper()]
    lines += _wrapped(HAZARD_ADVICE, first="- ", indent="  ")
    lines += [*_wrapped((SHEET["local_rules"],)), "", *_wrapped((SHEET["use"],))]
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
                *_wrapped((LISTING["then"].format(what=segment.step.do),)),
                f"[ ] {SHEET['done']}   {SHEET['time']} ________   {SHEET['initials']} ________",
            ]
        if segment.step.caution is not None:
            lines += _wrapped((LISTING["caution"].format(what=segment.step.caution),))
    for what in _ends():
        lines += ["", f"{what}:", "_" * _WIDTH, "_" * _WIDTH]
    for role in signatures(composition):
        lines += ["", f"{role.upper()}", _line(SHEET["name_and_date"]), _line(SHEET["signature"])]
    return "\n".join(lines) + "\n"


def blank_page(composition: Composition, *, shop: ShopFile | None = None, logo: bytes | None = None) -> str:
    """Return the sheet as one HTML page without scripts or requests; it prints on A4 and Letter.

    shop: whose sheet it is; logo: its mark as it is taken over into a run, a PNG.
    """
    return template("blank.html").render(
        composition=composition,
        house="" if shop is None else shop.name,
        reached=() if shop is None else _reached(shop),
        shop={"logo": None if logo is None else shown_logo(logo)},
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
        sheet=SHEET,
        say_listing=LISTING,
        advice=HAZARD_ADVICE,
        ticket_lines=sheet_words.TICKET_LINES,
        caution=LISTING["caution"].partition("{")[0],
        ends=_ends(),
    )


def _reached(shop: ShopFile) -> tuple[str, ...]:
    """Return where the shop is and how it is reached; empty where its file does not tell."""
    told = (", ".join(shop.address), shop.telephone, shop.mail, shop.web)
    return tuple(text for text in told if text)


def _ends() -> tuple[str, ...]:
    return SHEET["made_safe"], SHEET["flaws"], SHEET["beside"]


def _hold_lines(name: str, waits: str) -> list[str]:
    if not waits:
        return [""]
    said = LISTING["not_yet_until"].format(step=name, until=waits)
    begins = LISTING["not_yet"]
    return ["", *_wrapped((said.replace(begins, begins.upper(), 1),))]


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
