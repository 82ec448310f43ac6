"""One signature as text: JWS compact serialization (RFC 7515), Ed25519 (RFC 8037 as updated by RFC 9864).

Strict on the way in: one spelling of base64url (its spare bits are zero), a canonical header with exactly
`alg`, `jwk`, `kid` and `typ`, a `kid` that is the key's own RFC 7638 thumbprint. A header never chooses the
algorithm: it can only be the one.
"""

import msgspec

from verify.record.base64url import decode
from verify.record.canonical import require_canonical
from verify.record.keys import PublicKey, SigningKey
from verify.record.visible import on_one_line
from verify.values.errors import AlteredError, FileFormatError, InvalidValueError

ALGORITHM = "Ed25519"
TYPE = "handback-signature"


class _Header(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    alg: str
    jwk: PublicKey
    kid: str
    typ: str


class Signed(msgspec.Struct, frozen=True, kw_only=True):
    """A signature that holds: by which key, over which payload."""

    key: PublicKey
    payload: bytes


def write(payload: bytes, key: SigningKey) -> str:
    """Return the payload signed with the key, as one line of text.

    The signature is read back and verified before it is let go.
    """
    from joserfc import jws

    header: dict[str, object] = {
        "alg": ALGORITHM,
        "jwk": msgspec.to_builtins(key.public),
        "kid": key.public.thumbprint,
        "typ": TYPE,
    }
    text = jws.serialize_compact(header, payload, key.for_signing(), algorithms=[ALGORITHM])
    if read(text) != Signed(key=key.public, payload=payload):
        raise AlteredError("The signature does not read back as it was made.", next_step="Sign again.")
    return text


def read(text: str) -> Signed:
    """Verify the signature with the key that it names; whether that key is known is not decided here.

    Raises AlteredError, and nothing else, for everything that does not hold; "it" in its words is the
    signature.
    """
    pieces = text.split(".")
    if len(pieces) != 3:
        raise AlteredError("It is not in three pieces.")
    header_bytes, payload, signature = (_decode(piece) for piece in pieces)
    header = _header(header_bytes)
    if header.alg != ALGORITHM:
        raise AlteredError(f'It says algorithm "{on_one_line(header.alg)}"; it can only be {ALGORITHM}.')
    if header.typ != TYPE:
        raise AlteredError("It is of another type than a report's.")
    key = header.jwk
    if header.kid != key.thumbprint:
        raise AlteredError("Its key and the name of its key do not belong together.")
    if len(signature) != 64:
        raise AlteredError("It has the wrong length.")
    _verify(text, key)
    return Signed(key=key, payload=payload)


def _decode(text: str) -> bytes:
    try:
        return decode(text)
    except InvalidValueError as error:
        raise AlteredError(f"It is not spelled as it must be. {error.what}") from error


def _header(data: bytes) -> _Header:
    try:
        require_canonical(data, "The header")
        return msgspec.json.decode(data, type=_Header)
    except (FileFormatError, InvalidValueError, msgspec.MsgspecError, RecursionError) as error:
        raise AlteredError(f"Its header is not as it must be: {error}.") from error


def _verify(text: str, key: PublicKey) -> None:
    from joserfc import jws
    from joserfc.errors import JoseError
    from joserfc.jwk import OKPKey

    try:
        public = OKPKey.import_key(msgspec.to_builtins(key))
        jws.deserialize_compact(text, public, algorithms=[ALGORITHM])
    except (JoseError, ValueError, TypeError) as error:
        raise AlteredError("It does not fit what it signs.") from error
