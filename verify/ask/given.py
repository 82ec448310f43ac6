"""What a file of answers says, as the answer or the line of arrival that it means. Pure but for pictures."""

from collections.abc import Callable, Mapping
from typing import assert_never

import msgspec

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
    Span,
    Tally,
)
from verify.checklist.near_miss import did_you_mean
from verify.record.arrival import FUNCTIONS, FoundAs, Picture, Tried
from verify.run import arrival
from verify.run.events import Arrived
from verify.values import Unit, parse_quantity
from verify.values.errors import InvalidValueError

ARRIVAL_KEYS = ("found_as", "complaint", "accessories", "pictures", "tried")
"""What stands below `arrival:`."""

NO_PICTURE = "none"
"""The answer to a photo where there is no picture; its note says why."""

_KEY_OF = {
    arrival.FOUND_AS: "found_as",
    arrival.COMPLAINT: "complaint",
    arrival.ACCESSORIES: "accessories",
    arrival.PICTURES: "pictures",
}


def parse_answer(check: Check, given: object) -> Answer:
    """Turn what a file says into an answer of the check's kind.

    Raises InvalidValueError, ValueError, TypeError or KeyError where it does not fit.
    """
    match check.kind:
        case Kind.LOOK:
            seen, note = _with_note(given)
            return Look(seen=Seen(str(seen)), note=note)
        case Kind.PHOTO:
            seen, note = _with_note(given)
            return Photo(seen=None if seen == NO_PICTURE else Seen(str(seen)), note=note)
        case Kind.HAZARD:
            seen, note = _with_note(given)
            # YAML reads a bare no and yes as false and true.
            present = {"false": False, "no": False, "true": True, "yes": True, "cannot tell": None}
            return Hazard(present=present[str(seen).lower()], note=note)
        case Kind.MEASURE if check.unit is not Unit.MILLIMETRE:
            return Entered(
                values={str(place): parse_quantity(_text(value)) for place, value in _mapping(given).items()}
            )
        case Kind.MEASURE:
            return Measured(spans={str(place): _span(span) for place, span in _mapping(given).items()})
        case Kind.COUNT:
            return Counted(
                tallies={str(kind): msgspec.convert(tally, Tally) for kind, tally in _mapping(given).items()}
            )
        case Kind.PROBE | Kind.WAIT:
            raise InvalidValueError("The tool establishes it by itself.")
        case _:
            assert_never(check.kind)


def _mapping(given: object) -> Mapping[object, object]:
    if not isinstance(given, dict):
        raise TypeError(f"{given!r} is not a list of names and values")
    return given


def _with_note(given: object) -> tuple[object, str]:
    if isinstance(given, dict):
        return given["answer"], str(given.get("note", ""))
    return given, ""


def _span(given: object) -> Span:
    if not isinstance(given, list) or len(given) != 2:
        raise TypeError(f"{given!r} is not two leaves")
    enters, stops = given
    return Span(enters_mm=float(enters), stops_mm=None if stops is None else float(stops))


def parse_arrival(
    topic: str, given: Mapping[object, object], *, picture: Callable[[str, str, int], Picture]
) -> Arrived | None:
    """Turn what a file says of a topic on arrival into its line; None where it says nothing.

    picture: takes a file over; is handed its path, what it shows and how many come before it here.
    Raises InvalidValueError, ValueError, TypeError or KeyError where it does not fit; what `picture` raises.
    """
    if topic in FUNCTIONS:
        tried = _mapping(given.get("tried", {}))
        return Arrived(tried={topic: Tried(str(tried[topic]))}) if topic in tried else None
    key = _KEY_OF[topic]
    if key not in given:
        return None
    said = given[key]
    if topic == arrival.FOUND_AS:
        return Arrived(found_as=FoundAs(str(said)))
    if topic == arrival.COMPLAINT:
        return Arrived(complaint=_text(said))
    if topic == arrival.ACCESSORIES:
        return Arrived(accessories=tuple(_text(one) for one in _list(said)))
    return Arrived(pictures=parse_pictures(said, picture=picture))


def parse_pictures(given: object, *, picture: Callable[[str, str, int], Picture]) -> tuple[Picture, ...]:
    """Turn a list of pictures into those taken over; picture: as above, the number counted from 0.

    Raises InvalidValueError, TypeError or KeyError where it is none; what `picture` raises.
    """
    return tuple(picture(*_picture(one), index) for index, one in enumerate(_list(given)))


def refuse_unknown_arrival(given: Mapping[object, object]) -> None:
    """Raise InvalidValueError for a key or a function that there is not."""
    refuse_unknown(given, ARRIVAL_KEYS)
    refuse_unknown(_mapping(given.get("tried", {})), FUNCTIONS)


def refuse_unknown(given: Mapping[object, object], known: tuple[str, ...]) -> None:
    """Raise InvalidValueError for the first key that is not known, with what was probably meant."""
    for key in given:
        if key not in known:
            raise InvalidValueError(
                f'"{key}" is nothing that is asked here.', next_step=did_you_mean(str(key), known)
            )


def _text(given: object) -> str:
    if not isinstance(given, str):
        raise TypeError(f"{given!r} is not a text")
    return given


def _list(given: object) -> list[object]:
    if not isinstance(given, list):
        raise TypeError(f"{given!r} is not a list")
    return given


def _picture(given: object) -> tuple[str, str]:
    if isinstance(given, dict):
        refuse_unknown(given, ("file", "shows"))
        return _text(given["file"]), _text(given.get("shows", ""))
    return _text(given), ""
