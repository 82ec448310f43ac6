"""A shop's mark: out of the run's folder, into the page, and out of the page again, as pictures are."""

import base64
from collections.abc import Mapping
from pathlib import Path

import msgspec

from verify.record.arrival import Picture
from verify.record.canonical import sha256_hex
from verify.record.model import Record
from verify.record.shop_mark import mark_in
from verify.report.pictures import Standing
from verify.report.words import SHOP

# As `verify.run.pictures` names it: a record from elsewhere must not reach out of the run's folder.
_NAME = "logo.png"
_MOST_BYTES = 200_000  # some times what is taken over


class LogoView(msgspec.Struct, frozen=True, kw_only=True):
    """The mark as the page tells it. data: Base64 (RFC 4648, 4); empty where it is not shown."""

    standing: Standing
    data: str


def logo_view(record: Record, pictures: Mapping[str, bytes]) -> LogoView | None:
    """Return the mark; None where the shop has none. pictures: bytes by the file's name in the record."""
    logo = _of(record)
    if logo is None:
        return None
    data = pictures.get(logo.file)
    if data is None:
        return LogoView(standing=Standing.MISSING, data="")
    if sha256_hex(data) != logo.sha256:
        return LogoView(standing=Standing.ALTERED, data="")
    return shown_logo(data)


def shown_logo(data: bytes) -> LogoView:
    """Return a mark that is shown. data: a PNG."""
    return LogoView(standing=Standing.SHOWN, data=base64.b64encode(data).decode("ascii"))


def read_logo(folder: Path, record: Record) -> dict[str, bytes]:
    """Read the mark from the run's folder; nothing where there is none, or it cannot be read."""
    logo = _of(record)
    path = folder / _NAME
    if logo is None or logo.file != _NAME or not path.is_file():
        return {}
    try:
        with path.open("rb") as file:
            return {_NAME: file.read(_MOST_BYTES + 1)}
    except OSError:
        return {}


def logo_in(page: bytes, record: Record) -> dict[str, bytes]:
    """Return the mark that a page shows, so that the same page can be made from it.

    An altered one comes back without bytes: that is not the one taken over either.
    """
    logo = _of(record)
    shown = None if logo is None else mark_in(page)
    return {} if logo is None or shown is None else {logo.file: shown}


def unseen_logo(record: Record, pictures: Mapping[str, bytes]) -> tuple[str, ...]:
    """Return a sentence where a page made from these does not show the mark."""
    view = logo_view(record, pictures)
    if view is None or view.standing is Standing.SHOWN:
        return ()
    return (SHOP[f"{view.standing}_logo"],)


def _of(record: Record) -> Picture | None:
    return None if record.shop is None else record.shop.logo
