"""What there is to be seen at a manual check of a simulated machine, and what is true of it. Pure."""

from collections.abc import Iterable, Mapping
from typing import assert_never

from verify.checklist import Check, Kind
from verify.checklist.specimens import (
    SeesGap,
    SeesHazard,
    SeesLook,
    SeesPhoto,
    SeesTally,
    SeesValue,
    Sight,
    answer_for,
    span_of,
)
from verify.judge import Judgement
from verify.run.findings import judge_answer
from verify.values import Unit, Verdict, parse_quantity


def stops_all(check: Check) -> bool:
    """Tell whether "not good" at the check is a hazard."""
    return check.stop or check.kind is Kind.HAZARD


def is_bad(judgement: Judgement) -> bool:
    """Tell whether a check came out as not good, or could not be told."""
    return judgement.verdict in (Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED)


def truth_is_bad(check: Check, facts: Mapping[str, str], sees: Mapping[str, Sight]) -> bool:
    """Tell whether somebody who tells what the facts are finds the check not good, or cannot see it."""
    return is_bad(judge_answer(check, answer_for(check, facts, sees)))


def what_is_seen(check: Check, facts: Mapping[str, str], sees: Mapping[str, Sight]) -> str:
    """Tell what there is to be seen at a check, as plain facts; empty where the table does not say.

    Nothing in it says whether that is good.
    """
    sight = sees.get(check.id)
    match sight:
        case None:
            return ""
        case SeesHazard():
            return _told(sight.present_when, facts)
        case SeesLook():
            return _told({**sight.good_when, **sight.cannot_see_when}, facts)
        case SeesPhoto():
            return _told({**sight.no_picture_when, **sight.good_when, **sight.cannot_see_when}, facts)
        case SeesTally():
            return _told([name for columns in sight.tally.values() for name in columns.values()], facts)
        case SeesValue(value=value):
            return _told(value.values(), facts)
        case SeesGap():
            return _leaves(check, sight, facts)
        case _:
            assert_never(sight)


def _told(names: Iterable[str], facts: Mapping[str, str]) -> str:
    return "; ".join(f"{name}: {facts[name]}" for name in dict.fromkeys(names))


def _leaves(check: Check, sight: SeesGap, facts: Mapping[str, str]) -> str:
    """Say what the leaves do, stations that are alike together."""
    alike: dict[str, list[str]] = {}
    for station in check.stations:
        gap_mm = parse_quantity(facts[sight.gap_at.get(station, sight.gap)]).to(Unit.MILLIMETRE).value
        span = span_of(gap_mm, sight.leaves_mm)
        enters = f"a {span.enters_mm:.2f} mm leaf enters" if span.enters_mm else "no leaf enters"
        stops = "" if span.stops_mm is None else f"a {span.stops_mm:.2f} mm leaf does not"
        alike.setdefault(", ".join(word for word in (enters, stops) if word), []).append(station)
    if len(alike) == 1:
        return f"everywhere: {next(iter(alike))}"
    return "; ".join(f"{', '.join(stations)}: {said}" for said, stations in alike.items())
