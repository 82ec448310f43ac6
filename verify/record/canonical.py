"""One form for the same data: RFC 8785 (JSON Canonicalization Scheme), out and in.

What goes out is read back and compared before it is let go. What comes in must already stand in canonical
form: so one record has one text, and duplicate names, other spellings of a number and hidden white space
are refused without a rule for each.
"""

import hashlib
import json

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
        # The plain data are checked by the library itself, whatever the type checker believes.
        return rfc8785.dumps(msgspec.to_builtins(value))
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


def _number(text: str) -> int | float:
    # A double above 2^53 is written without an exponent up to 1e21: it is a double, not an exact integer.
    if len(text) <= len(str(_LARGEST_EXACT)) + 1 and abs(int(text)) <= _LARGEST_EXACT:
        return int(text)
    return float(text)


def _refuse_constant(text: str) -> float:
    raise ValueError(f"{text} is not a JSON number")
