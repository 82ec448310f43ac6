"""base64url without padding (RFC 7515 section 2), in one spelling only.

A lax decoder passes over the spare bits of the last character, so that one signature has several texts.
"""

import base64
import binascii

from verify.values.errors import InvalidValueError


def encode(data: bytes) -> str:
    """Encode the bytes."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode("ascii")


def decode(text: str) -> bytes:
    """Decode the text.

    Raises InvalidValueError where it is not what `encode` writes.
    """
    try:
        data = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError) as error:
        raise InvalidValueError("This is not base64url.") from error
    if encode(data) != text:
        raise InvalidValueError("This is a second spelling of base64url.")
    return data
