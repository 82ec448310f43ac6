"""The composed checks of a job as one page of plain text: stage, place, number, sentence, minutes, holds.

Checks are numbered in the order of the work; a hold names those that it waits for by their numbers.
"""

import textwrap
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby

from verify.checklist import HAND_BACK, Check, Composition, Kind, Shows, Step
from verify.checklist.compose import hands_minutes, waiting_minutes
from verify.checklist.screens import screens
from verify.report.numbers import limit_written
from verify.report.words import STAGES

SHOWN: Mapping[Shows, str] = {
    Shows.TONES: "Tool: plays the tones (T).",
    Shows.COLOURS: "Tool: shows the colours (T).",
    Shows.KEYS: "Tool: shows a key map (T).",
}
"""What the tool can show for a check, and the key that does it."""

_INDENT, _MINUTES = 5, 8
"""Columns: the number with its blanks, and the minutes at the right."""


def numbered(composition: Composition) -> Mapping[str, int]:
    """Return each check's number on the page, by its id, from 1 on."""
    return {check.id: number for number, check in enumerate(composition.checks, 1)}


def until(composition: Composition, step: Step) -> str:
    """Return what a step waits for: "until 3 to 6 and 9 are good"; empty where it waits for nothing."""
    if step.id == HAND_BACK:
        return "until every number is good"
    numbers = numbered(composition)
    guards = [numbers[check.id] for check in composition.guards(step.id)]
    if not guards:
        return ""
    return f"until {_ranges(guards)} {'is' if len(guards) == 1 else 'are'} good"


def heading(composition: Composition, *, paper: bool = False) -> tuple[str, str]:
    """Return what the page is for, and how much it is: checks, screens (none on paper), time."""
    work = ", ".join(composition.work) or "whatever was done"
    on_screens = "" if paper else f" on {len(screens(composition))} screens"
    return (
        f"Checks for: {work}",
        (
            f"{len(composition.checks)} checks{on_screens}. "
            f"About {_span(hands_minutes(composition))} of hands, "
            f"{_span(waiting_minutes(composition))} of reading and waiting."
        ),
    )


def asides(check: Check, *, places: bool = True) -> tuple[str, ...]:
    """Return what is said of a check below its sentence, the caution last.

    places: name its stations and what is counted; False where a table beside names them.
    """
    lines = [f"At: {', '.join(check.stations)}."] if check.stations and places else []
    lines += [f"Count: {', '.join(check.counts)}."] if check.counts and places else []
    if check.shop_options:
        told = ", ".join(f"{name} {text}" for name, text in check.shop_options.items())
        lines += [f"Set by the shop: {told} ({check.options_source})."]
    if check.shipped_limit is not None and check.limit is not None:
        lines += [f"Shop limit: {limit_written(check.limit)}; shipped: {limit_written(check.shipped_limit)}."]
    if check.note_only:
        unsure = "the tool cannot tell" if check.kind is Kind.PROBE else "it cannot be seen"
        lines += [f"If {unsure}, that does not hold. Not good does."]
    lines += [f"Caution: {check.caution}"] if check.caution is not None else []
    return tuple(lines)


def sentence(check: Check) -> str:
    """Return what is asked, and what good looks like."""
    return f"{check.ask} Good: {check.good}" if check.good else check.ask


def minutes(check: Check) -> str:
    """Return "0.5 min", from three hours on "24 h"."""
    return f"{check.minutes:g} min" if check.minutes < 180 else _span(check.minutes)


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
    for line in (*((f"Id: {check.id}",) if ids else ()), *helped, *asides(check)):
        below += textwrap.wrap(line, width - _INDENT)
    return lines + [" " * _INDENT + line for line in below]


def _step_lines(composition: Composition, step: Step, width: int) -> list[tuple[str, bool]]:
    waits = until(composition, step)
    said = [f"Not yet: {step.name}, {waits}."] if waits else []
    said += [f"Then: {step.do}"] if step.do is not None else []
    lines = [(line, True) for each in said for line in textwrap.wrap(each, width, subsequent_indent="  ")]
    if step.caution is not None:
        lines += [
            (line, False) for line in textwrap.wrap(f"Caution: {step.caution}", width, subsequent_indent="  ")
        ]
    return lines


def _span(minutes_long: float) -> str:
    """Return "22 min", from three hours on "25 h 38 min"."""
    whole = round(minutes_long)
    if whole < 180:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


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
        said += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"
