"""Traces inside the page: compressed as zlib (RFC 1950) in Base64 (RFC 4648, 4), hashed as they were sealed.

A page is made from the record, the pictures and these texts, so whoever holds the page can make it again. The
text is kept as it stands: another release of the compressor may write another one for the same bytes.
"""

import base64
import binascii
import re
import zlib
from collections.abc import Mapping
from pathlib import Path

import msgspec

from verify.record.model import Record
from verify.record.page import parts_of
from verify.report.pictures import Standing
from verify.report.traces import MOST_BYTES, read_traces, standings

__all__ = [
    "Packed",
    "PackedView",
    "carried_or_there",
    "pack",
    "packed_views",
    "read_packed",
    "standings_in",
    "traces_in",
]

_LEVEL = 6  # 7 takes half as long again for a fiftieth less, 9 three times as long for a twenty-fifth
_TRACE = re.compile(
    rb'<pre class="packed (shown|missing|altered)" data-trace="([0-9a-z.-]{1,120})">([A-Za-z0-9+/=]*)</pre>'
)


class Packed(msgspec.Struct, frozen=True, kw_only=True):
    """A trace: its bytes, and the text that stands for them in a page."""

    data: bytes
    text: str


class PackedView(msgspec.Struct, frozen=True, kw_only=True):
    """A trace as the page carries it; text: empty where its bytes are not those that were sealed."""

    name: str
    standing: Standing
    text: str


def pack(data: bytes) -> Packed:
    """Return the bytes with the text that stands for them."""
    return Packed(data=data, text=base64.b64encode(zlib.compress(data, _LEVEL)).decode("ascii"))


def read_packed(folder: Path, record: Record) -> dict[str, Packed]:
    """Read the record's traces from the run's folder; one that cannot be read is left out."""
    return {name: pack(data) for name, data in read_traces(folder, record).items()}


def traces_in(page: bytes, record: Record) -> dict[str, Packed] | None:
    """Return the record's traces that a page carries; None where it was made without any.

    An altered one comes back without bytes: those are not what was sealed either.
    Raises NotAReportError where the page has two parts of the same name.
    """
    part = parts_of(page).get("traces")
    if part is None:
        return None
    named = {trace.name for trace in record.traces}
    found: dict[str, Packed] = {}
    left = MOST_BYTES
    for standing, name, text in _TRACE.findall(part):
        if standing != Standing.MISSING.value.encode() and name.decode("ascii") in named:
            found[name.decode("ascii")] = one = _unpacked(text, most=left)
            left -= len(one.data)
    return found


def carried_or_there(page: bytes, folder: Path, record: Record) -> dict[str, Packed]:
    """Return the traces as a page carries them, and those that it lacks though they lie whole in the folder.

    Raises NotAReportError where the page has two parts of the same name.
    """
    carried = traces_in(page, record) or {}
    found = standings(record, {name: one.data for name, one in carried.items()})
    if all(standing is Standing.SHOWN for standing in found.values()):
        return carried
    there = read_traces(folder, record)
    whole = [name for name, standing in standings(record, there).items() if standing is Standing.SHOWN]
    lacking = {name: pack(there[name]) for name in whole if found[name] is not Standing.SHOWN}
    return {**carried, **lacking}


def standings_in(page: bytes, record: Record) -> dict[str, Standing]:
    """Return what a page itself says of the record's traces, by name; empty where it was made without any.

    Raises NotAReportError where the page has two parts of the same name.
    """
    told = _TRACE.findall(parts_of(page).get("traces", b""))
    by_name = {name.decode("ascii"): Standing(standing.decode("ascii")) for standing, name, _ in told}
    return {trace.name: by_name[trace.name] for trace in record.traces if trace.name in by_name}


def packed_views(record: Record, traces: Mapping[str, Packed]) -> tuple[PackedView, ...]:
    """Return each trace of the record once, in its order, as the page carries it."""
    found = standings(record, {name: one.data for name, one in traces.items()})
    return tuple(
        PackedView(name=name, standing=standing, text=traces[name].text if standing is Standing.SHOWN else "")
        for name, standing in found.items()
    )


def _unpacked(text: bytes, *, most: int) -> Packed:
    """Return what a text stands for; no bytes where it stands for none, or for more than so many."""
    try:
        whole = zlib.decompressobj()
        data = whole.decompress(base64.b64decode(text, validate=True), max(most, 1))  # 0: without limit
    except (binascii.Error, zlib.error):
        return Packed(data=b"", text="")
    if not whole.eof or whole.unused_data:
        return Packed(data=b"", text="")
    return Packed(data=data, text=text.decode("ascii"))
