"""One form for the same data: RFC 8785 (JSON Canonicalization Scheme), out and in.

What goes out is read back and compared before it is let go. What comes in must already stand in canonical
form: so one record has one text, and duplicate names, other spellings of a number and hidden white space
are refused without a rule for each.
"""

import hashlib
import json
from functools import lru_cache

import msgspec

from verify.record.model import RECORD_FORMAT, Record
from verify.record.visible import on_one_line
from verify.values.errors import FileFormatError, HandbackError, InvalidValueError, UnknownFormatError

_LARGEST_EXACT = 2**53 - 1  # RFC 8785 3.2.2.3: numbers are IEEE 754 doubles


class _Format(msgspec.Struct, frozen=True):
    format: str


def sha256_hex(data: bytes) -> str:
    """Return the SHA-256 of the bytes, in lower-case hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def canonical(value: object) -> bytes:
    """Return the canonical JSON bytes of a struct or of plain data.

    Raises InvalidValueError for NaN, infinity, an integer beyond 2^53 - 1, text that is not Unicode, and
    what is not JSON at all.
    """
    import rfc8785

    try:
        plain = msgspec.to_builtins(value)
        data = _quickly(plain)
        # The plain data are checked by the library itself, whatever the type checker believes.
        return rfc8785.dumps(plain) if data is None else data
    except (ValueError, TypeError, RecursionError) as error:
        raise InvalidValueError(f"This cannot be written as canonical JSON: {error}.") from error


def require_canonical(data: bytes, what: str) -> None:
    """Refuse bytes that are not their own canonical form. `what` names them in the message.

    Raises FileFormatError.
    """
    try:
        parsed = json.loads(data.decode(), parse_int=_number, parse_constant=_refuse_constant)
        same = canonical(parsed) == data
    except (ValueError, RecursionError, InvalidValueError) as error:
        raise FileFormatError(f"{what} is not JSON: {error}.") from error
    if not same:
        raise FileFormatError(f"{what} is JSON, but not in the canonical form of RFC 8785.")


def record_bytes(record: Record) -> bytes:
    """Return the record's canonical bytes, read back and compared before they are let go.

    Raises InvalidValueError for what has no canonical form or does not come back the same.
    """
    data = canonical(record)
    if record_from(data) != record:
        raise InvalidValueError("The record does not read back as it was written.")
    return data


def record_from(data: bytes) -> Record:
    """Read a record from its canonical bytes; fields that this version does not know are passed over.

    Raises UnknownFormatError for another kind or major version, FileFormatError for anything else that
    is not a record in canonical form.
    """
    return _record_from(bytes(data))


@lru_cache(maxsize=1)  # proving reads the same bytes for the proof and for the page; both are never changed
def _record_from(data: bytes) -> Record:
    require_canonical(data, "The record")
    try:
        found = msgspec.json.decode(data, type=_Format).format
        if found != RECORD_FORMAT:
            raise UnknownFormatError(
                f'The record says format "{on_one_line(found)}"; this version reads "{RECORD_FORMAT}".',
                next_step="Read it with the version of handback that made it, or a newer one.",
            )
        return msgspec.json.decode(data, type=Record)
    except FileFormatError:
        raise
    except (msgspec.MsgspecError, HandbackError, RecursionError) as error:
        raise FileFormatError(f"The record cannot be read: {error}.") from error


def _quickly(plain: object) -> bytes | None:
    """Return what the library for RFC 8785 would, many times faster; None where it has to decide itself.

    The standard library's encoder escapes strings as RFC 8785 3.2.2.2 does. It sorts names by characters, not
    by UTF-16 units, which is another order only where a character takes two of them.
    """
    try:
        text = json.dumps(_as_written(plain), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        data, units = text.encode(), len(text.encode("utf-16-le")) // 2
    except (_OddError, UnicodeEncodeError, RecursionError):
        return None
    return data if units == len(text) else None


class _OddError(Exception):
    """A value that the standard library's encoder may write in another way, or should not write."""


def _as_written(value: object) -> object:
    """Return the value with 57 for 57.0, as RFC 8785 3.2.2.3 writes it.

    Python and ECMAScript both write the shortest digits that read back, and from 1e-4 to 1e16 both without an
    exponent.
    """
    kind = type(value)
    if kind is str or value is None or kind is bool:
        return value
    if isinstance(value, dict) and kind is dict:
        if all(type(name) is str for name in value):
            return {name: _as_written(inner) for name, inner in value.items()}
    elif isinstance(value, (list, tuple)) and kind in (list, tuple):
        return [_as_written(inner) for inner in value]
    elif isinstance(value, (int, float)) and kind in (int, float) and abs(value) <= _LARGEST_EXACT:
        if value == int(value):
            return int(value)
        if abs(value) >= 1e-4:
            return value
    raise _OddError


def _number(text: str) -> int | float:
    # A double above 2^53 is written without an exponent up to 1e21: it is a double, not an exact integer.
    if len(text) <= len(str(_LARGEST_EXACT)) + 1 and abs(int(text)) <= _LARGEST_EXACT:
        return int(text)
    return float(text)


def _refuse_constant(text: str) -> float:
    raise ValueError(f"{text} is not a JSON number")
