"""The bench computer's keys: its own, and those of others that it knows.

A folder: `key-NAME.pem` (private, locked with a passphrase), `key-NAME.card.json` (public), and
`trusted.json`, the list of known keys. A key made here is known here. A revoked key stays on the list with
its date, so that it is refused by name.
"""

import contextlib
import os
import re
import unicodedata
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import msgspec

from verify.record.canonical import sha256_hex
from verify.record.demo_key import is_demo_key
from verify.record.files import write_whole
from verify.record.keys import KeyCard, SigningKey, card_bytes, card_from, is_locked, open_pem
from verify.record.visible import on_one_line
from verify.values.errors import (
    FileFormatError,
    FileWriteError,
    HandbackError,
    SigningKeyError,
    UnknownFormatError,
)

HOME_VARIABLE = "HANDBACK_HOME"
TRUSTED_FORMAT = "trusted-keys/1"
_OWN_CARD = re.compile(r"key-.+\.card\.json", re.DOTALL)
_LONGEST_PASSPHRASE = 1023  # bytes; the library that locks the file takes no more


class TrustedKey(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A known key. trusted_at, revoked_at: UTC, ISO 8601; revoked_at None while it counts."""

    card: KeyCard
    trusted_at: str
    revoked_at: str | None = None


class _TrustedList(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    format: str
    keys: tuple[TrustedKey, ...] = ()


def default_home() -> Path:
    """Return where this bench keeps its keys: HANDBACK_HOME, else the user's configuration folder."""
    named = os.environ.get(HOME_VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_config_dir

    return Path(user_config_dir("handback", appauthor=False))


def utc_text(at: datetime) -> str:
    """Return an aware time as ISO 8601 in UTC, to the second."""
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")


class KeyStore:
    """The keys in one folder; the folder is made when the first key is."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def new(self, name: str, role: str, passphrase: str | None, *, at: datetime) -> KeyCard:
        """Make a key, write it and know it from now on.

        passphrase: None leaves the file unlocked: whoever reads it can sign.
        Raises SigningKeyError where the name is taken, InvalidValueError for an impossible name or role,
        FileWriteError where it cannot be written.
        """
        if passphrase is not None and not 1 <= _bytes_of(passphrase) <= _LONGEST_PASSPHRASE:
            raise SigningKeyError(
                f"A passphrase has 1 to {_LONGEST_PASSPHRASE} bytes of text.",
                next_step="Choose another one.",
            )
        key = SigningKey(os.urandom(32), name=_composed(name), role=role)
        pem, card = self._pem_path(key.card.name), self._card_path(key.card.name)
        for path in (pem, card):
            if path.exists():
                raise SigningKeyError(
                    f"There is a key of that name or one much like it already: {path}. It was left as it is.",
                    next_step="Choose another name; a key is never overwritten.",
                )
        self.trusted()  # a damaged list is told before anything is written
        self._make_folder()
        written: list[Path] = []
        try:
            write_whole(pem, key.locked_pem(passphrase), overwrite=False, private=True)
            written.append(pem)
            write_whole(card, card_bytes(key.card), overwrite=False)
            written.append(card)
            self._add(TrustedKey(card=key.card, trusted_at=utc_text(at)))
        except HandbackError:
            # Half a key would only stand in the way of the next try under this name.
            for path in written:
                with contextlib.suppress(OSError):
                    path.unlink()
            raise
        return key.card

    def own(self) -> tuple[KeyCard, ...]:
        """Return the cards of the keys that can sign here, by name.

        Raises FileFormatError for a damaged card and for a folder that cannot be read.
        """
        try:
            paths = sorted(self.folder.iterdir())
        except FileNotFoundError:
            return ()
        except OSError as error:
            raise FileFormatError(
                f"{self.folder} cannot be read: {error.strerror or error}.",
                next_step=f"Set {HOME_VARIABLE} to the folder that holds your keys.",
            ) from error
        return tuple(_own_card(path) for path in paths if _OWN_CARD.fullmatch(path.name))

    def card(self, name: str) -> KeyCard:
        """Return the card of an own key.

        Raises SigningKeyError where there is none of that name.
        """
        own = self.own()
        for card in own:
            if _composed(name) in (card.name, card.thumbprint):
                return card
        names = ", ".join(card.name for card in own)
        raise SigningKeyError(
            f"There is no key named {name} here.",
            next_step=f"Keys here: {names}."
            if names
            else "Make one: handback key new NAME --role technician",
        )

    def is_locked(self, card: KeyCard) -> bool:
        """Return whether the own key needs a passphrase."""
        return is_locked(self._read_pem(card))

    def counting(self) -> tuple[KeyCard, ...]:
        """Return the cards of the own keys that were not revoked, by name. Raise as `own` and `trusted`."""
        revoked = {key.card.thumbprint for key in self.trusted() if key.revoked_at is not None}
        return tuple(card for card in self.own() if card.thumbprint not in revoked)

    def require_counts(self, card: KeyCard) -> None:
        """Raise SigningKeyError where the key is revoked."""
        for known in self.trusted():
            if known.card.thumbprint == card.thumbprint and known.revoked_at is not None:
                raise SigningKeyError(
                    f"The key of {card.name} was revoked on {known.revoked_at}.",
                    next_step=f'Make a new key: handback key new "ANOTHER NAME" --role {card.role}',
                )

    def open(self, card: KeyCard, passphrase: str | None) -> SigningKey:
        """Return the own key, ready to sign.

        Raises SigningKeyError where it is revoked, locked, damaged or gone.
        """
        self.require_counts(card)
        return open_pem(self._read_pem(card), passphrase, card)

    def trusted(self) -> tuple[TrustedKey, ...]:
        """Return all known keys, the revoked ones included.

        Raises FileFormatError where the list is damaged: it is never taken for empty.
        """
        path = self.folder / "trusted.json"
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            return ()
        except OSError as error:
            raise FileFormatError(
                f"{path} cannot be read: {error.strerror or error}.",
                next_step=f"Check its rights, or set {HOME_VARIABLE} to the folder that holds your keys.",
            ) from error
        try:
            listed = msgspec.json.decode(data, type=_TrustedList)
        except (msgspec.MsgspecError, HandbackError, RecursionError, UnicodeError) as error:
            raise FileFormatError(
                f"{path} is damaged: {error}",
                next_step="Put it back from a copy; without one, move it away and trust each card again.",
            ) from error
        if listed.format != TRUSTED_FORMAT:
            raise UnknownFormatError(
                f'{path} says format "{on_one_line(listed.format)}"; this reads "{TRUSTED_FORMAT}".',
                next_step="Use the version of handback that wrote it, or a newer one.",
            )
        return listed.keys

    def trust(self, card: KeyCard, *, at: datetime) -> None:
        """Know a key from now on; one that is known already stays as it is.

        Raises SigningKeyError for a demo key, a revoked key, and a known key under another name or role.
        """
        if is_demo_key(card.thumbprint):
            raise SigningKeyError(
                "This is the published demo key: anyone can sign with it. It is never trusted.",
                next_step="Make a key of your own: handback key new NAME --role technician",
            )
        for known in self.trusted():
            if known.card.thumbprint != card.thumbprint:
                continue
            if known.revoked_at is not None:
                raise SigningKeyError(
                    f"The key of {known.card.name} was revoked on {known.revoked_at}.",
                    next_step="Ask for the card of a new key.",
                )
            if known.card != card:
                raise SigningKeyError(
                    f"This key is known already, as {known.card.name}, {known.card.role}.",
                    next_step="One key serves one person in one role: ask for a key of its own.",
                )
            return
        self._make_folder()
        self._add(TrustedKey(card=card, trusted_at=utc_text(at)))

    def revoke(self, name: str, *, at: datetime) -> KeyCard:
        """Refuse a known key from now on, whatever time its signatures claim. name: or its thumbprint.

        Raises SigningKeyError where no known key, or more than one, is meant.
        """
        known = self.trusted()
        meant = [key for key in known if _composed(name) in (key.card.name, key.card.thumbprint)]
        if not meant:
            raise SigningKeyError(f"No known key is named {name}.", next_step="See: handback key list")
        if len(meant) > 1:
            raise SigningKeyError(
                f"{len(meant)} known keys are named {name}.", next_step="Give its thumbprint."
            )
        (key,) = meant
        if key.revoked_at is None:
            revoked = msgspec.structs.replace(key, revoked_at=utc_text(at))
            self._write([revoked if other is key else other for other in known])
        return key.card

    def _add(self, key: TrustedKey) -> None:
        self._write([*self.trusted(), key])

    def _write(self, keys: Sequence[TrustedKey]) -> None:
        listed = _TrustedList(format=TRUSTED_FORMAT, keys=tuple(keys))
        data = msgspec.json.format(msgspec.json.encode(listed), indent=2) + b"\n"
        write_whole(self.folder / "trusted.json", data)

    def _make_folder(self) -> None:
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            raise FileWriteError(
                f"{self.folder} could not be made: {error.strerror or error}.",
                next_step=f"Set {HOME_VARIABLE} to a folder that can be written.",
            ) from error

    def _read_pem(self, card: KeyCard) -> bytes:
        try:
            return self._pem_path(card.name).read_bytes()
        except OSError as error:
            raise SigningKeyError(
                f"The key file of {card.name} cannot be read: {error.strerror or error}.",
                next_step=f"It should be {self._pem_path(card.name)}.",
            ) from error

    def _pem_path(self, name: str) -> Path:
        return self.folder / f"key-{_file_name(name)}.pem"

    def _card_path(self, name: str) -> Path:
        return self.folder / f"key-{_file_name(name)}.card.json"


def _bytes_of(passphrase: str) -> int:
    """Return its length in bytes; 0 where it is no text at all, as a variable of another encoding gives."""
    try:
        return len(passphrase.encode())
    except UnicodeEncodeError:
        return 0


def _composed(name: str) -> str:
    """Return the name with its accents as one character each, as cards have it (Unicode form NFC)."""
    return unicodedata.normalize("NFC", name)


def _own_card(path: Path) -> KeyCard:
    put_back = "Put it back from a copy; without one, move it and its .pem away."
    try:
        return card_from(path.read_bytes(), str(path))
    except OSError as error:
        raise FileFormatError(
            f"{path} cannot be read: {error.strerror or error}.", next_step=put_back
        ) from error
    except UnknownFormatError:
        raise
    except FileFormatError as error:
        raise FileFormatError(error.what, next_step=put_back) from error


def _file_name(name: str) -> str:
    """Return a name that every file system takes; what it cannot spell is told apart by a short hash."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii").lower()
    spelled = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")
    return spelled if name.isascii() and spelled else f"{spelled}-{sha256_hex(name.encode())[:8]}".strip("-")
