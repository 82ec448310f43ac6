"""The pictures taken on arrival: out of the run's folder, into the page, and out of the page again.

A page is made from the record and these bytes alone, so whoever holds the page can make it again. Only what
has the hash that the record names is shown; a picture that is missing or another one is told in words.
"""

import base64
import binascii
import re
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path

import msgspec

from verify.record.arrival import Picture
from verify.record.canonical import sha256_hex
from verify.record.model import Record
from verify.record.page import parts_of
from verify.report.words import PAGE

# As `verify.run.pictures` names them: a record from elsewhere must not reach out of the run's folder.
_NAME = re.compile(r"pictures/\d{2,6}\.jpg", re.ASCII)
_MOST_BYTES = 8_000_000  # several times what 1600 × 1600 pixels can come to
_FIGURE = re.compile(
    rb'<figure class="picture (shown|missing|altered)">\n'
    rb'(?:<img src="data:image/jpeg;base64,([A-Za-z0-9+/=]*)")?'
)


class Standing(StrEnum):
    """Whether a picture can be shown. MISSING: not there, or not readable. ALTERED: not the one taken."""

    SHOWN = "shown"
    MISSING = "missing"
    ALTERED = "altered"


class PictureView(msgspec.Struct, frozen=True, kw_only=True):
    """A picture as the page tells it. data: Base64 (RFC 4648, 4); empty where it is not shown."""

    number: int
    picture: Picture
    standing: Standing
    data: str


def picture_views(record: Record, pictures: Mapping[str, bytes]) -> tuple[PictureView, ...]:
    """Return each picture of the record in order. pictures: bytes by the file's name in the record."""
    return tuple(
        _view(number, picture, pictures.get(picture.file))
        for number, picture in enumerate(_of(record), start=1)
    )


def read_pictures(folder: Path, record: Record) -> dict[str, bytes]:
    """Read the record's pictures from the run's folder; one that cannot be read is left out."""
    found = {}
    for picture in _of(record):
        data = _read(folder, picture.file)
        if data is not None:
            found[picture.file] = data
    return found


def pictures_in(page: bytes, record: Record) -> dict[str, bytes]:
    """Return what a page shows of the record's pictures, so that the same page can be made from it.

    An altered one comes back without bytes: that is not the one taken either.
    Raises NotAReportError where the page has two parts of the same name.
    """
    told = _FIGURE.findall(parts_of(page).get("pictures", b""))
    return {
        picture.file: _decoded(data)
        for picture, (standing, data) in zip(_of(record), told, strict=False)
        if standing != Standing.MISSING.value.encode()
    }


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


def _of(record: Record) -> tuple[Picture, ...]:
    return () if record.arrival is None else record.arrival.pictures or ()


def _view(number: int, picture: Picture, data: bytes | None) -> PictureView:
    if data is None:
        standing = Standing.MISSING
    elif sha256_hex(data) != picture.sha256:
        standing = Standing.ALTERED
    else:
        standing = Standing.SHOWN
    shown = base64.b64encode(data).decode("ascii") if data and standing is Standing.SHOWN else ""
    return PictureView(number=number, picture=picture, standing=standing, data=shown)


def _read(folder: Path, name: str) -> bytes | None:
    path = folder / name
    if _NAME.fullmatch(name) is None or not path.is_file():
        return None
    try:
        with path.open("rb") as file:
            return file.read(_MOST_BYTES + 1)
    except OSError:
        return None


def _decoded(data: bytes) -> bytes:
    try:
        return base64.b64decode(data, validate=True)
    except binascii.Error:
        return b""
