"""The composed checks of a job as one page of plain text: stage, place, number, sentence, minutes, holds.

Checks are numbered in the order of the work; a hold names those that it waits for by their numbers.
"""

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby

from verify.checklist import HAND_BACK, Check, Composition, Kind, Step
from verify.checklist.compose import hands_minutes, waiting_minutes
from verify.checklist.screens import screens
from verify.report.numbers import limit_written
from verify.report.sheet_words import LISTING, SHOWN
from verify.report.words import STAGES

_INDENT, _MINUTES = 5, 8
"""Columns: the number with its blanks, and the minutes at the right."""

_UNSURE = {Kind.PROBE: "unsure_probe", Kind.PHOTO: "unsure_photo"}


def numbered(composition: Composition) -> Mapping[str, int]:
    """Return each check's number on the page, by its id, from 1 on."""
    return {check.id: number for number, check in enumerate(composition.checks, 1)}


def until(composition: Composition, step: Step) -> str:
    """Return what a step waits for: "until 3 to 6 and 9 are good"; empty where it waits for nothing."""
    if step.id == HAND_BACK:
        return LISTING["until_all"]
    numbers = numbered(composition)
    guards = [numbers[check.id] for check in composition.guards(step.id)]
    if not guards:
        return ""
    return LISTING["until_one" if len(guards) == 1 else "until"].format(numbers=_ranges(guards))


def heading(composition: Composition, *, paper: bool = False) -> tuple[str, str]:
    """Return what the page is for, and how much it is: checks, screens (none on paper), time."""
    work = ", ".join(composition.work) or LISTING["work_unnamed"]
    return (
        LISTING["checks_for"].format(work=work),
        LISTING["much" if paper else "much_on_screens"].format(
            checks=len(composition.checks),
            screens=0 if paper else len(screens(composition)),
            hands=_span(hands_minutes(composition)),
            waiting=_span(waiting_minutes(composition)),
        ),
    )


def asides(check: Check, *, places: bool = True) -> tuple[str, ...]:
    """Return what is said of a check below its sentence, the caution last.

    places: name its stations and what is counted; False where a table beside names them.
    """
    lines: list[str] = []
    if check.stations and places:
        lines.append(LISTING["stations"].format(stations=", ".join(check.stations)))
    if check.counts and places:
        lines.append(LISTING["counts"].format(counts=", ".join(check.counts)))
    if check.shop_options:
        told = ", ".join(f"{name} {text}" for name, text in check.shop_options.items())
        lines.append(LISTING["shop_options"].format(options=told, source=check.options_source))
    if check.shipped_limit is not None and check.limit is not None:
        shop, shipped = limit_written(check.limit), limit_written(check.shipped_limit)
        lines.append(LISTING["shop_limit"].format(limit=shop, shipped=shipped))
    if check.note_only:
        lines.append(LISTING[_UNSURE.get(check.kind, "unsure")])
    if check.caution is not None:
        lines.append(LISTING["caution"].format(what=check.caution))
    return tuple(lines)


def sentence(check: Check) -> str:
    """Return what is asked, and what good looks like."""
    return LISTING["asked"].format(ask=check.ask, good=check.good) if check.good else check.ask


def minutes(check: Check) -> str:
    """Return "0.5 min", from three hours on "24 h"."""
    if check.minutes < 180:
        return LISTING["minutes"].format(minutes=f"{check.minutes:g}")
    return _span(check.minutes)


def places(checks: Iterable[Check]) -> Iterator[tuple[str, tuple[Check, ...]]]:
    """Give the checks that follow each other at one place together."""
    for place, group in groupby(checks, key=lambda check: check.place):
        yield place, tuple(group)


def listing(composition: Composition, *, width: int = 80, ids: bool = False) -> tuple[tuple[str, bool], ...]:
    """Return the page's lines, none longer than `width` (60 or more); True beside those that stand out.

    ids: say each check's id, as a shop's own files name it.
    """
    numbers = numbered(composition)
    what, much = heading(composition)
    lines = [(line, True) for line in textwrap.wrap(what, width)]
    lines += [(line, False) for line in textwrap.wrap(much, width)]
    stage = ""
    for segment in composition.segments:
        if segment.stage != stage:
            stage = segment.stage
            lines += [("", False), (STAGES.get(stage, stage).upper(), True)]
        for place, checks in places(segment.checks):
            lines.append((f"  {place}", False))
            for check in checks:
                lines += [(line, False) for line in _check_lines(check, numbers[check.id], width, ids=ids)]
        lines += _step_lines(composition, segment.step, width)
    return tuple(lines)


def _check_lines(check: Check, number: int, width: int, *, ids: bool) -> list[str]:
    said = textwrap.wrap(sentence(check), width - _INDENT - _MINUTES)
    lines = [f"{number:>3}  {said[0]:<{width - _INDENT - _MINUTES}}{minutes(check):>{_MINUTES}}"]
    below = [*said[1:]]
    helped = () if check.shows is None else (SHOWN[check.shows],)
    for line in (*((LISTING["id"].format(id=check.id),) if ids else ()), *helped, *asides(check)):
        below += textwrap.wrap(line, width - _INDENT)
    return lines + [" " * _INDENT + line for line in below]


def _step_lines(composition: Composition, step: Step, width: int) -> list[tuple[str, bool]]:
    waits = until(composition, step)
    said = [LISTING["not_yet_until"].format(step=step.name, until=waits)] if waits else []
    said += [LISTING["then"].format(what=step.do)] if step.do is not None else []
    lines = [(line, True) for each in said for line in textwrap.wrap(each, width, subsequent_indent="  ")]
    if step.caution is not None:
        caution = LISTING["caution"].format(what=step.caution)
        lines += [(line, False) for line in textwrap.wrap(caution, width, subsequent_indent="  ")]
    return lines


def _span(minutes_long: float) -> str:
    """Return "22 min", from three hours on "25 h 38 min"."""
    whole = round(minutes_long)
    if whole < 180:
        return LISTING["minutes"].format(minutes=whole)
    hours, rest = divmod(whole, 60)
    return LISTING["hours_minutes" if rest else "hours"].format(hours=hours, minutes=rest)


def _ranges(numbers: Iterable[int]) -> str:
    """Return "3 to 6, 9 and 11"; two that follow each other are named both."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    said: list[str] = []
    for run in runs:
        said += (
            [LISTING["run"].format(first=run[0], last=run[-1])]
            if len(run) > 2
            else [str(number) for number in run]
        )
    if len(said) == 1:
        return said[0]
    return LISTING["and"].format(others=", ".join(said[:-1]), last=said[-1])
