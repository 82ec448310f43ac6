"""Signing keys and signed pages for tests: fixed, invented, of no use to anyone."""

import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from verify.record.key_store import TrustedKey, utc_text
from verify.record.keys import SigningKey
from verify.record.model import Record
from verify.record.sign import sign_page
from verify.report.render import render
from verify.report.summary import render_summary

SIGNED_AT = datetime(2026, 3, 10, 12, 10, tzinfo=UTC)


def sample_key(role: str, name: str = "") -> SigningKey:
    """Return a key that is always the same for the same role and name."""
    name = name or f"Sample {role.capitalize()}"
    return SigningKey(hashlib.sha256(f"sample {role} {name}".encode()).digest(), name=name, role=role)


def known(*keys: SigningKey, revoked_at: str | None = None) -> tuple[TrustedKey, ...]:
    """Return the keys as known ones."""
    return tuple(
        TrustedKey(card=key.card, trusted_at=utc_text(SIGNED_AT), revoked_at=revoked_at) for key in keys
    )


def signed_by(record: Record, *keys: SigningKey, pictures: Mapping[str, bytes] | None = None) -> bytes:
    """Return the record's page, signed by the keys in their order, five minutes apart."""
    return _signed(render(record, pictures), *keys)


def summary_signed_by(
    record: Record, *keys: SigningKey, pictures: Mapping[str, bytes] | None = None
) -> bytes:
    """Return the record's summary, signed in the same way."""
    return _signed(render_summary(record, pictures), *keys)


def _signed(data: bytes, *keys: SigningKey) -> bytes:
    for number, key in enumerate(keys):
        data = sign_page(data, key=key, at=SIGNED_AT + timedelta(minutes=5 * number))
    return data
