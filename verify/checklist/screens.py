"""What the technician sees at once.

Looks and pictures at one place that follow each other share a screen, one answer a line. All else that needs
somebody is a screen of its own: the hazard question, a measure, a count, the prompt of a step. A probe
or a wait goes on by itself and is none.
"""

from itertools import groupby

import msgspec

from verify.checklist.model import Check, Composition, Kind, Segment, Step
from verify.checklist.placing import needs_nobody

MOST_LOOKS = 7
"""More lines are not taken in at one glance (common practice, no source)."""


class Screen(msgspec.Struct, frozen=True, kw_only=True):
    """One screen: checks at one place, or a step with words of its own.

    segment: index into the composition's segments.
    """

    segment: int
    place: str = ""
    checks: tuple[Check, ...] = ()
    step: Step | None = None


def screens(composition: Composition) -> tuple[Screen, ...]:
    """Return all screens of a run, in order."""
    return tuple(
        screen
        for index, segment in enumerate(composition.segments)
        for screen in segment_screens(segment, index)
    )


def segment_screens(segment: Segment, index: int) -> tuple[Screen, ...]:
    """Return the screens of one segment, its step's prompt last."""
    found: list[Screen] = []
    asked = (check for check in segment.checks if not needs_nobody(check))
    for (kind, place), group in groupby(asked, key=lambda check: (_with_looks(check.kind), check.place)):
        checks = tuple(group)
        most = MOST_LOOKS if kind is Kind.LOOK else 1
        found += [
            Screen(segment=index, place=place, checks=checks[start : start + most])
            for start in range(0, len(checks), most)
        ]
    if segment.step.do is not None:
        found.append(Screen(segment=index, step=segment.step))
    return tuple(found)


def _with_looks(kind: Kind) -> Kind:
    """Return the kind that it shares a screen with: whoever looks there has the camera at hand as well."""
    return Kind.LOOK if kind is Kind.PHOTO else kind
