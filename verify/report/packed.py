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

__all__ = ["Packed", "PackedView", "pack", "packed_views", "read_packed", "traces_in"]

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
    return {
        name.decode("ascii"): _unpacked(text)
        for standing, name, text in _TRACE.findall(part)
        if standing != Standing.MISSING.value.encode() and name.decode("ascii") in named
    }


def packed_views(record: Record, traces: Mapping[str, Packed]) -> tuple[PackedView, ...]:
    """Return each trace of the record once, in its order, as the page carries it."""
    found = standings(record, {name: one.data for name, one in traces.items()})
    return tuple(
        PackedView(name=name, standing=standing, text=traces[name].text if standing is Standing.SHOWN else "")
        for name, standing in found.items()
    )


def _unpacked(text: bytes) -> Packed:
    """Return what a text stands for; no bytes where it stands for none, or for more than a trace can be."""
    try:
        whole = zlib.decompressobj()
        data = whole.decompress(base64.b64decode(text, validate=True), MOST_BYTES)
    except (binascii.Error, zlib.error):
        return Packed(data=b"", text="")
    if not whole.eof or whole.unused_data:
        return Packed(data=b"", text="")
    return Packed(data=data, text=text.decode("ascii"))
