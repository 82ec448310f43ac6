"""How wide a text is at most, and how to cut it where it is wider. In units of letters 20 units high.

Widths by kind of letter, of a plain sans-serif face [measured on common ones, rounded up; no source].
"""

import math
import unicodedata

from verify.record.visible import on_one_line

__all__ = ["clipped", "lines_of", "width_of"]

_NARROW, _USUAL, _DIGIT, _LARGE, _WIDE, _FULL = 7.5, 12.9, 14.0, 15.8, 22.0, 24.0  # some may be bold
_NARROW_ONES = frozenset(("i", "j", "l", "t", "f", "r", "I", *".,:;'|!()[]{}/-", " ", "\u00a0", "·"))
_WIDE_ONES = frozenset(("m", "w", "M", "W", "%", "@", "—", "…"))
_EAST_ASIAN = 0x2E7F
"""What lies beyond is as wide as it is high, or taken for it."""

_ELLIPSIS = "…"
_MOST_OF_IT = 0.75  # of a cut text stays where it is cut before a word
_LOST = 2 * _USUAL  # of each line, as words that do not fit go down whole


def width_of(text: str) -> float:
    """Return how wide the text is at most, on one line, in units."""
    return sum(map(_width, on_one_line(text)))


def clipped(text: str, room: float) -> str:
    """Return the text on one line, ended with "…" where it is wider than `room`; empty where nothing fits.

    Cut before a word, or where that would take more than a quarter of it, within one.
    """
    text = on_one_line(text)
    if width_of(text) <= room:
        return text
    left = room - _WIDE
    kept = 0
    for character in text:
        left -= _width(character)
        if left < 0:
            break
        kept += 1
    whole_words = text[:kept].rpartition(" ")[0]
    end = whole_words if len(whole_words) > kept * _MOST_OF_IT else text[:kept]
    return f"{end.rstrip(' .,;:')}{_ELLIPSIS}" if kept else ""


def lines_of(text: str, room: float) -> int:
    """Return how many lines of that width the text takes; 0 where it is empty."""
    return math.ceil(width_of(text) / (room - _LOST)) if text else 0


def _width(character: str) -> float:
    if character in _NARROW_ONES:
        return _NARROW
    if character in _WIDE_ONES:
        return _WIDE
    if character.isascii():
        return _DIGIT if character.isdigit() else _LARGE if character.isupper() else _USUAL
    if unicodedata.category(character).startswith("M"):
        return 0.0
    wide = unicodedata.east_asian_width(character) in {"W", "F"} or ord(character) > _EAST_ASIAN
    return _FULL if wide else _WIDE
