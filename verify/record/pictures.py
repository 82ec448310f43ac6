"""The pictures of a record, numbered through, and how they stand in a page's own part.

The part "pictures" holds each picture once, as an image that nothing draws there; what stands beside a check
or an arrival only points at it by its number. So a picture that was changed is told by that part's hash and
by its own.
"""

import base64
import binascii
import re
from collections.abc import Iterable, Iterator, Mapping
from html import unescape

import msgspec

from verify.record.arrival import Picture
from verify.record.canonical import sha256_hex
from verify.record.model import Record
from verify.record.visible import on_one_line, visible

_KEPT = re.compile(
    rb'<(?:image|g) id="picture-data-([0-9]{1,6})" class="(shown|missing|altered)"'
    rb'(?: width="[0-9]+" height="[0-9]+" href="data:image/jpeg;base64,([A-Za-z0-9+/=]*)")?/>'
)
_PLACE = re.compile(rb'<figure id="picture-([0-9]{1,6})" class="picture shown">')
_FIGURE = re.compile(rb'<figure id="picture-([0-9]{1,6})" class="picture (?:shown|missing|altered)">')
_ASK = re.compile(rb'<span class="ask"><bdi>([^<]*)</bdi></span>')
_USED = re.compile(rb'<use href="#picture-data-([0-9]{1,6})"/>')
_OUT_OF_DATE = b'<span class="small"><strong>'
_MOST_NAMED = 5  # of those that were changed
_LONGEST_ASK = 80  # characters of a check that are told


class Numbered(msgspec.Struct, frozen=True, kw_only=True):
    """A picture with its number in the page, from 1. at: what the check asks; None: taken on arrival."""

    number: int
    picture: Picture
    at: str | None = None


def numbered_pictures(record: Record) -> tuple[Numbered, ...]:
    """Return the pictures in the order of their numbers: of the arrival, then of each check."""
    found: list[tuple[str | None, Picture]] = []
    if record.arrival is not None:
        found += [(None, picture) for picture in record.arrival.pictures or ()]
    found += [(result.ask, picture) for result in record.results for picture in result.pictures]
    return tuple(
        Numbered(number=number, at=at, picture=picture) for number, (at, picture) in enumerate(found, start=1)
    )


def kept_in(part: bytes) -> Mapping[int, bytes | None]:
    """Return what a page's part "pictures" keeps, by number: a picture's bytes, None where it is missing.

    One that was altered before the page was made, and one in broken Base64, come back empty.
    """
    return {
        int(number): None if standing == b"missing" else _decoded(data)
        for number, standing, data in _KEPT.findall(part)
    }


def changed_pictures(record: Record, parts: Mapping[str, bytes]) -> str:
    """Name the pictures that a page shows a place for and that are not the ones of the record; else empty.

    record: one whose bytes are as they were signed.
    """
    kept = kept_in(parts.get("pictures", b""))
    shown = {int(number) for number in _PLACE.findall(parts.get("technician", b""))}
    return " ".join(_shortened(_told(record, kept, shown)))


def misplaced_pictures(record: Record, parts: Mapping[str, bytes]) -> str:
    """Name the pictures that stand at another place of a page than where the record has them; else empty.

    record: one whose bytes are as they were signed.
    """
    part = parts.get("technician", b"")
    places = {place.number: place for place in _places(part)}
    if not places:
        return ""  # taken away altogether, or of a layout that this version does not know
    known = {visible(result.ask) for result in record.results}
    found = (_misplaced(one, places.get(one.number), known) for one in numbered_pictures(record))
    return " ".join(_shortened(line for line in found if line))


class _Place(msgspec.Struct, frozen=True, kw_only=True):
    """Where a page shows a picture. asked: by the last check that stands before it."""

    number: int
    asked: str
    inside: bytes


def _places(part: bytes) -> Iterator[_Place]:
    """Yield the places in one pass: an altered page may hold any number of beginnings without an end."""
    opened = list(_FIGURE.finditer(part))
    ends = [*(one.start() for one in opened[1:]), len(part)]
    asks, asked = _ASK.finditer(part), ""
    ask = next(asks, None)
    for one, end in zip(opened, ends, strict=False):
        while ask is not None and ask.start() < one.start():
            asked, ask = unescape(ask[1].decode(errors="replace")), next(asks, None)
        inside = part[one.end() : end].partition(b"</figure>")[0]
        yield _Place(number=int(one[1]), asked=asked, inside=inside)


def _misplaced(one: Numbered, place: _Place | None, known: set[str]) -> str:
    """Return what is wrong with a picture's place. known: what the record's checks ask."""
    named = f"icture {one.number}, {_where(one)},"
    if place is None:
        return f"P{named} has no place any more."
    used = _USED.search(place.inside)
    if used is not None and int(used[1]) != one.number:
        return f"In the place of p{named} stands picture {int(used[1])}."
    if one.at is not None and place.asked != visible(one.at) and place.asked in known:
        return f"P{named} was moved to “{_short(place.asked)}”."
    if one.picture.out_of_date and _OUT_OF_DATE not in place.inside:
        return f"P{named} is not marked as out of date any more."
    return ""


def _where(one: Numbered) -> str:
    return "taken on arrival" if one.at is None else f"at “{_short(one.at)}”"


def _told(record: Record, kept: Mapping[int, bytes | None], shown: set[int]) -> Iterator[str]:
    for one in numbered_pictures(record):
        data = kept.get(one.number)
        if one.number not in shown or (data is not None and sha256_hex(data) == one.picture.sha256):
            continue
        what = "is not there any more" if data is None else "is not the one that was taken"
        yield f"Picture {one.number}, {_where(one)}, {what}."


def _shortened(lines: Iterable[str]) -> tuple[str, ...]:
    told = tuple(lines)
    more = len(told) - _MOST_NAMED
    return told if more <= 0 else (*told[:_MOST_NAMED], f"So are {more} more.")


def _short(text: str) -> str:
    line = on_one_line(text)
    return line if len(line) <= _LONGEST_ASK else f"{line[:_LONGEST_ASK]}…"


def _decoded(data: bytes) -> bytes:
    try:
        return base64.b64decode(data, validate=True)
    except binascii.Error:
        return b""
