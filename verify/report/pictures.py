"""The pictures of a run: out of its folder, into the page, and out of the page again.

A page is made from the record and these bytes alone, so whoever holds the page can make it again. Only what
has the hash that the record names is shown; a picture that is missing or another one is told in words.
"""

import base64
import re
from collections.abc import Mapping
from enum import StrEnum
from itertools import islice
from pathlib import Path

import msgspec

from verify.record.arrival import Picture
from verify.record.canonical import sha256_hex
from verify.record.model import Record
from verify.record.page import parts_of
from verify.record.pictures import Numbered, kept_in, numbered_pictures
from verify.report.words import PAGE

# As `verify.run.pictures` names them: a record from elsewhere must not reach out of the run's folder.
_NAME = re.compile(r"pictures/\d{2,6}\.jpg", re.ASCII)
_MOST_BYTES = 8_000_000  # several times what 1600 × 1600 pixels can come to
_NO_FRAME = (0xC4, 0xC8, 0xCC)  # between C0 and CF, and still no frame header (ITU-T T.81, table B.1)
_SIZE_UNKNOWN = (4, 3)


class Standing(StrEnum):
    """Whether a picture can be shown. MISSING: not there, or not readable. ALTERED: not the one taken."""

    SHOWN = "shown"
    MISSING = "missing"
    ALTERED = "altered"


class PictureView(msgspec.Struct, frozen=True, kw_only=True):
    """A picture as the page tells it, number from 1. on_arrival: taken then, else at a check.

    data: Base64 (RFC 4648, 4); empty where it is not shown. width, height: its shape, in pixels where they
    can be read.
    """

    number: int
    picture: Picture
    on_arrival: bool
    standing: Standing
    data: str
    width: int
    height: int


def picture_views(record: Record, pictures: Mapping[str, bytes]) -> tuple[PictureView, ...]:
    """Return each picture of the record in order. pictures: bytes by the file's name in the record."""
    return tuple(_view(one, pictures.get(one.picture.file)) for one in numbered_pictures(record))


def pictures_by_result(record: Record, views: tuple[PictureView, ...]) -> tuple[tuple[PictureView, ...], ...]:
    """Return for each result of the record the pictures taken at it."""
    rest = iter([view for view in views if not view.on_arrival])
    return tuple(tuple(islice(rest, len(result.pictures))) for result in record.results)


def read_pictures(folder: Path, record: Record) -> dict[str, bytes]:
    """Read the record's pictures from the run's folder; one that cannot be read is left out."""
    found = {}
    for one in numbered_pictures(record):
        data = _read(folder, one.picture.file)
        if data is not None:
            found[one.picture.file] = data
    return found


def pictures_in(page: bytes, record: Record) -> dict[str, bytes]:
    """Return what a page shows of the record's pictures, so that the same page can be made from it.

    An altered one comes back without bytes: that is not the one taken either.
    Raises NotAReportError where the page has two parts of the same name.
    """
    kept = kept_in(parts_of(page).get("pictures", b""))
    found = {one.picture.file: kept.get(one.number) for one in numbered_pictures(record)}
    return {name: data for name, data in found.items() if data is not None}


def unseen_pictures(record: Record, pictures: Mapping[str, bytes]) -> tuple[str, ...]:
    """Return a sentence for each picture that a page made from these does not show."""
    return tuple(
        f"{PAGE['picture']} {view.number}: {PAGE[f'{view.standing}_picture']}"
        for view in picture_views(record, pictures)
        if view.standing is not Standing.SHOWN
    )


def whole_pictures(record: Record, pictures: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return those that are the ones taken."""
    return {
        view.picture.file: pictures[view.picture.file]
        for view in picture_views(record, pictures)
        if view.standing is Standing.SHOWN
    }


def _view(one: Numbered, data: bytes | None) -> PictureView:
    if data is None:
        standing = Standing.MISSING
    elif sha256_hex(data) != one.picture.sha256:
        standing = Standing.ALTERED
    else:
        standing = Standing.SHOWN
    shown = data if data is not None and standing is Standing.SHOWN else b""
    width, height = _size(shown)
    return PictureView(
        number=one.number,
        picture=one.picture,
        on_arrival=one.at is None,
        standing=standing,
        data=base64.b64encode(shown).decode("ascii"),
        width=width,
        height=height,
    )


def _size(data: bytes) -> tuple[int, int]:
    """Return width and height in pixels from the frame header of a JPEG file (ITU-T T.81, B.2.2)."""
    at = 2
    while at + 9 <= len(data) and data[at] == 0xFF:
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4])
        if 0xC0 <= marker <= 0xCF and marker not in _NO_FRAME:
            height, width = int.from_bytes(data[at + 5 : at + 7]), int.from_bytes(data[at + 7 : at + 9])
            return (width, height) if width and height else _SIZE_UNKNOWN
        at += 2 + max(length, 2)
    return _SIZE_UNKNOWN


def _read(folder: Path, name: str) -> bytes | None:
    path = folder / name
    if _NAME.fullmatch(name) is None or not path.is_file():
        return None
    try:
        with path.open("rb") as file:
            return file.read(_MOST_BYTES + 1)
    except OSError:
        return None
