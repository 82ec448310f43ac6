"""What there is to say about a log as a file, beside what is measured from it."""

import msgspec

__all__ = ["Remark", "shown"]

_LONGEST = 40


class Remark(msgspec.Struct, frozen=True, kw_only=True):
    """One fact about the file, and what to do next; next_step is empty where nothing need be done."""

    what: str
    next_step: str = ""


def shown(text: str) -> str:
    """Return what a file holds as it can be shown: short, and no character that a terminal would obey."""
    plain = "".join(letter if letter.isprintable() else "\ufffd" for letter in text.strip())
    return plain if len(plain) <= _LONGEST else f"{plain[: _LONGEST - 1]}…"
