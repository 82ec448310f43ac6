"""Keys: the public part, the card that is handed to others, and the part that signs.

Ed25519 (RFC 8032) as a JSON Web Key (RFC 8037); a key is named by its thumbprint (RFC 7638).
"""

import hashlib
import json
import re
import unicodedata
from typing import TYPE_CHECKING

import msgspec

from verify.record.base64url import decode, encode
from verify.record.visible import on_one_line
from verify.values.errors import (
    FileFormatError,
    HandbackError,
    InvalidValueError,
    SigningKeyError,
    UnknownFormatError,
)

if TYPE_CHECKING:
    from joserfc.jwk import OKPKey

CARD_FORMAT = "key-card/1"
_LONGEST_NAME = 80  # characters; a name has to fit on one line of the page
_ROLE = re.compile(r"[a-z][a-z0-9-]{0,39}", re.ASCII)


class PublicKey(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The public part as a JSON Web Key with its required members only.

    Raises InvalidValueError where it is not an Ed25519 key of 32 bytes.
    """

    crv: str
    kty: str
    x: str

    def __post_init__(self) -> None:
        if (self.crv, self.kty) != ("Ed25519", "OKP") or len(decode(self.x)) != 32:
            raise InvalidValueError("This is not an Ed25519 public key.")

    @property
    def thumbprint(self) -> str:
        """The key's name: SHA-256 over its required members in order, base64url (RFC 7638)."""
        members = json.dumps({"crv": self.crv, "kty": self.kty, "x": self.x}, separators=(",", ":"))
        return encode(hashlib.sha256(members.encode()).digest())


class KeyCard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one shop hands to another so that a key is known: whose it is, for which role, the public part.

    Raises InvalidValueError where name or role cannot be one, or the thumbprint is another key's.
    """

    format: str
    name: str
    role: str
    thumbprint: str
    jwk: PublicKey

    def __post_init__(self) -> None:
        # Two names that look the same must be the same: no hidden character, no second spelling of one.
        plain = unicodedata.normalize("NFC", on_one_line(self.name))
        if not (self.name and self.name.isprintable() and self.name == plain):
            raise InvalidValueError(
                f"{self.name!a} cannot be a signer's name.",
                next_step="Use plain text, with single spaces.",
            )
        if len(self.name) > _LONGEST_NAME:
            raise InvalidValueError(f"A signer's name has at most {_LONGEST_NAME} characters.")
        if _ROLE.fullmatch(self.role) is None:
            raise InvalidValueError(
                f'"{self.role}" cannot be a role.', next_step="Use small letters and dashes: technician."
            )
        if self.thumbprint != self.jwk.thumbprint:
            raise InvalidValueError("The card's thumbprint is not that of its key.")


class SigningKey:
    """A key that can sign, with the name and role it signs for."""

    def __init__(self, seed: bytes, *, name: str, role: str) -> None:
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        public = Ed25519PrivateKey.from_private_bytes(seed).public_key().public_bytes_raw()
        key = PublicKey(crv="Ed25519", kty="OKP", x=encode(public))
        self.card = KeyCard(format=CARD_FORMAT, name=name, role=role, thumbprint=key.thumbprint, jwk=key)
        self._seed = seed

    @property
    def public(self) -> PublicKey:
        """The public part."""
        return self.card.jwk

    def for_signing(self) -> "OKPKey":
        """Return the key as the JOSE library wants it. It holds the secret part: keep it short."""
        from joserfc.jwk import OKPKey

        return OKPKey.import_key(
            {"kty": "OKP", "crv": "Ed25519", "x": self.public.x, "d": encode(self._seed)}
        )

    def locked_pem(self, passphrase: str | None) -> bytes:
        """Return the private part as PKCS #8 in PEM, encrypted with the passphrase; None: not encrypted."""
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        lock: serialization.KeySerializationEncryption = (
            serialization.NoEncryption()
            if passphrase is None
            else serialization.BestAvailableEncryption(passphrase.encode())
        )
        return Ed25519PrivateKey.from_private_bytes(self._seed).private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, lock
        )


def open_pem(pem: bytes, passphrase: str | None, card: KeyCard) -> SigningKey:
    """Return the signing key from its PEM file.

    passphrase: passed over where the file is not encrypted.
    Raises SigningKeyError where the passphrase is missing or wrong, or the file is not the card's key.
    """
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    locked = is_locked(pem)
    if locked and not passphrase:
        raise SigningKeyError(f"The key of {card.name} is locked.", next_step="Give its passphrase.")
    try:
        private = load_pem_private_key(pem, passphrase.encode() if locked and passphrase else None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        reason = "the passphrase is wrong, or the file is damaged" if locked else "the file is damaged"
        raise SigningKeyError(
            f"The key of {card.name} cannot be opened: {reason}.", next_step="Try again, or make a new key."
        ) from error
    if not isinstance(private, Ed25519PrivateKey):
        raise SigningKeyError(f"The key file of {card.name} holds another kind of key.")
    key = SigningKey(private.private_bytes_raw(), name=card.name, role=card.role)
    if key.public != card.jwk:
        raise SigningKeyError(
            f"The key file and the card of {card.name} do not belong together.",
            next_step="Make a new key, or put the right file back.",
        )
    return key


def is_locked(pem: bytes) -> bool:
    """Return whether the PEM file needs a passphrase."""
    return b"ENCRYPTED PRIVATE KEY" in pem


def card_from(data: bytes, where: str) -> KeyCard:
    """Read a key card. `where` names the file in messages.

    Raises FileFormatError where it is not one.
    """
    try:
        card = msgspec.json.decode(data, type=KeyCard)
    except (msgspec.MsgspecError, HandbackError, RecursionError, UnicodeError) as error:
        raise FileFormatError(
            f"{where} is not a key card: {error}",
            next_step="Ask for a new one: handback key show NAME > card.json",
        ) from error
    if card.format != CARD_FORMAT:
        raise UnknownFormatError(
            f'{where} says format "{on_one_line(card.format)}"; this version reads "{CARD_FORMAT}".',
            next_step="Read it with the version of handback that made it, or a newer one.",
        )
    return card


def card_bytes(card: KeyCard) -> bytes:
    """Return the card as the file that is handed to others."""
    return msgspec.json.format(msgspec.json.encode(card), indent=2) + b"\n"
