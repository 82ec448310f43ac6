"""The published demo keys: anyone can sign with them, so they prove nothing about who signed.

Their secret is the phrase below, for all to read. They make sample reports that can be compared byte for
byte. `key trust` refuses them, and `prove` never counts them as known.
"""

import hashlib
from functools import cache

from verify.record.keys import SigningKey
from verify.values.errors import WrongUseError

_PUBLIC_PHRASE = "handback demo key: published, proves nothing about who signed"
_NAMES = {"technician": "Demo Technician", "reviewer": "Demo Reviewer"}


@cache
def demo_signing_key(role: str) -> SigningKey:
    """Return the demo key for a role: technician or reviewer.

    Raises WrongUseError for any other role.
    """
    if role not in _NAMES:
        raise WrongUseError(f'There is no demo key for "{role}".', next_step=f"Roles: {', '.join(_NAMES)}.")
    seed = hashlib.sha256(f"{_PUBLIC_PHRASE} / {role}".encode()).digest()
    return SigningKey(seed, name=_NAMES[role], role=role)


def is_demo_key(thumbprint: str) -> bool:
    """Return whether the thumbprint is that of a published demo key."""
    return any(demo_signing_key(role).card.thumbprint == thumbprint for role in _NAMES)
