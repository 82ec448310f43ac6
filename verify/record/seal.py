"""What one signer signs, and the line that carries it.

The payload covers all bytes before its own line, so each later signer covers the earlier ones; it repeats
what matters of the record, so that a stranger needs no parser for the page.
"""

import re
from collections.abc import Mapping

import msgspec

from verify.record import jws
from verify.record.canonical import canonical, require_canonical
from verify.record.keys import PublicKey, SigningKey
from verify.record.page import MARKER, bytes_words
from verify.record.visible import on_one_line
from verify.values import Outcome
from verify.values.errors import AlteredError, FileFormatError, InvalidValueError

SIGNATURE_FORMAT = "signature/1"
_LINE = re.compile(rb"<!--handback-signature ([A-Za-z0-9_.-]+)-->\n")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", re.ASCII)
_MOST_LINES = 16  # a report asks for two or three; more is an attempt to keep the verifier busy


class Payload(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """What is signed, as canonical JSON.

    order: 1 for the first signer. time: the signer's clock, UTC, ISO 8601; clock_note: its standing.
    length, sha256: of all bytes before this line. record_sha256: of the record's canonical bytes.
    parts: SHA-256 of each part of the page, to say where a change is. on_machine: signed on the repaired
    machine itself; stands there only where it is so.
    """

    format: str
    order: int
    role: str
    name: str
    time: str
    clock_note: str
    ticket: str
    outcome: Outcome
    simulated: bool
    scripted: bool
    length: int
    sha256: str
    record_sha256: str
    journal_head: str
    journal_count: int
    parts: Mapping[str, str]
    on_machine: bool = False

    def __post_init__(self) -> None:
        if not all(text.isprintable() for text in (self.name, self.role, self.time, self.clock_note)):
            raise InvalidValueError("A signer's name, role and time are plain text.")
        if _TIME.fullmatch(self.time) is None:
            raise InvalidValueError("A signing time is in UTC, to the second.")


class Seal(msgspec.Struct, frozen=True, kw_only=True):
    """A signature line that was verified: the key that it names, what it signs, where its line begins."""

    key: PublicKey
    payload: Payload
    starts: int


def seal_line(payload: Payload, key: SigningKey) -> bytes:
    """Return the line to append to the page."""
    return MARKER + jws.write(canonical(payload), key).encode("ascii") + b"-->\n"


def lines_of(tail: bytes) -> tuple[bytes, ...]:
    """Return the JWS of each line; the tail must be such lines and nothing else.

    Raises AlteredError.
    """
    found: list[bytes] = []
    at = 0
    while at < len(tail):
        match = _LINE.match(tail, at)
        if match is None:
            raise AlteredError(_why_no_line(tail[at:], len(found)))
        found.append(match.group(1))
        at = match.end()
    if len(found) > _MOST_LINES:
        raise AlteredError(f"There are more than {_MOST_LINES} signature lines.")
    return tuple(found)


def _why_no_line(rest: bytes, before: int) -> str:
    if not rest.startswith(MARKER):
        if MARKER in rest:
            put_in = bytes_words(rest.index(MARKER))
            return f"Between signature {before} and the next something was put in: {put_in}."
        return f"After the last signature something was added: {bytes_words(len(rest))}."
    line, ended, _ = rest.partition(b"\n")
    if not ended:
        return f"Signature {before + 1} is cut off before its end."
    if line.endswith(b"-->\r"):
        return "Its line ends were changed."
    if before:
        return f"After signature {before} stands another signature marker, with no signature in it."
    return "A signature marker stands after the page, with no signature in it."


def open_line(text: bytes, *, starts: int) -> Seal:
    """Verify one signature and read its payload, which must be canonical.

    Raises AlteredError; "it" in its words is the signature.
    """
    signed = jws.read(text.decode("ascii"))
    try:
        require_canonical(signed.payload, "What it signs")
        payload = msgspec.json.decode(signed.payload, type=Payload)
    except (FileFormatError, InvalidValueError, msgspec.MsgspecError, RecursionError) as error:
        raise AlteredError(f"What it signs is not a report's: {error}.") from error
    if payload.format != SIGNATURE_FORMAT:
        found = on_one_line(payload.format)
        raise AlteredError(
            f'It says format "{found}"; this version reads "{SIGNATURE_FORMAT}".',
            next_step="Prove it with the version of handback that made it, or a newer one.",
        )
    return Seal(key=signed.key, payload=payload, starts=starts)
