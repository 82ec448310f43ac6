"""From typed text to what it means: seam gaps, counts, lists, paths. Pure but for whether a file is there.

A gap: the thickest leaf that enters, then the thinnest that does not ("0.25 0.30").
A count: the kind, how many out, how many back, and if need be new, returned, scrapped ("short 6 6").
A value in its unit: the number, and the unit if one likes ("61.4" or "61.4 Wh").
"""

import os
import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from urllib.parse import unquote, urlsplit

from verify.checklist.answers import Span, Tally
from verify.values import Quantity, Unit, dimension, parse_quantity
from verify.values.errors import InvalidValueError

_GAP_HELP = 'Type the leaf that enters, then the one that does not, in mm: "0.25 0.30".'
_COUNT_HELP = 'Type the kind, how many came out, how many went back: "short 6 6".'
_NUMBERS_HELP = 'Type how many came out, how many went back: "6 6".'
_THICKEST_MM = 20.0


def _number(text: str, advice: str) -> float:
    # A decimal comma is how half the world types it.
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        raise InvalidValueError(f'"{text}" is not a number.', next_step=advice) from None
    if not 0 <= number <= _THICKEST_MM:
        raise InvalidValueError(f"{text} mm is no gap of a seam.", next_step=advice)
    return number


def parse_span(text: str) -> Span:
    """Read a gap; a "-" for the second leaf: even the thickest enters.

    Raises InvalidValueError, with what to type.
    """
    parts = text.split()
    if len(parts) != 2:
        raise InvalidValueError("A gap needs two leaves.", next_step=_GAP_HELP)
    enters, stops = parts
    return Span(
        enters_mm=_number(enters, _GAP_HELP), stops_mm=None if stops == "-" else _number(stops, _GAP_HELP)
    )


def parse_value(text: str, unit: Unit) -> Quantity | None:
    """Read a value in `unit`, or another unit of its dimension; None for "-" or nothing: not measured.

    Raises InvalidValueError, with what to type.
    """
    told = text.strip().replace(",", ".")
    if told in ("", "-"):
        return None
    advice = f'Type the number in {unit}, or "-" where it was not measured.'
    try:
        found = parse_quantity(told if told[-1:].isalpha() or told[-1:] == "%" else f"{told} {unit}")
    except InvalidValueError:
        raise InvalidValueError(f'"{text}" is not a number in {unit}.', next_step=advice) from None
    if dimension(found.unit) != dimension(unit) or found.value < 0:
        raise InvalidValueError(f"{found} is not what is asked here.", next_step=advice)
    return found.to(unit)


def parse_numbers(text: str) -> Tally:
    """Read the count of a kind that is given: out, back, and if need be new, returned, scrapped.

    Raises InvalidValueError, with what to type.
    """
    words = text.split()
    if not 2 <= len(words) <= 5 or not all(word.isascii() and word.isdigit() for word in words):
        raise InvalidValueError("A count needs two numbers.", next_step=_NUMBERS_HELP)
    out, back, new, returned, scrapped = [*(int(word) for word in words), 0, 0, 0][:5]
    return Tally(out=out, back=back, new=new, returned=returned, scrapped=scrapped)


def parse_tally(text: str) -> tuple[str, Tally]:
    """Read one kind's count. The kind may have blanks in it; the numbers come last.

    Raises InvalidValueError, with what to type.
    """
    words = text.split()
    numbers: list[str] = []
    while words and words[-1].isascii() and words[-1].isdigit() and len(numbers) < 5:
        numbers.insert(0, words.pop())
    if not words or len(numbers) < 2:
        raise InvalidValueError("A count needs a kind and two numbers.", next_step=_COUNT_HELP)
    return " ".join(words), parse_numbers(" ".join(numbers))


def parse_list(text: str) -> tuple[str, ...]:
    """Read words that are separated by commas; empty, "none" and "-" are none."""
    words = [" ".join(word.split()) for word in text.split(",")]
    return tuple(word for word in words if word and word.lower() not in ("none", "-"))


def parse_paths(text: str, *, there: Callable[[Path], bool] = os.path.exists) -> tuple[Path, ...]:
    """Read the paths of files, as typed or as a terminal writes them when files are dragged in.

    That is in quotes, with blanks behind a backslash, or as file addresses; several are separated by blanks.
    What names a file as it stands is that one: who types a path puts no quotes round its blanks.
    there: tells whether a file is there.
    Raises InvalidValueError where a quote is not closed.
    """
    whole = Path(text.strip()).expanduser()
    if text.strip() and there(whole):
        return (whole,)
    if sys.platform == "win32":
        # A backslash separates folders there.
        words = [text.strip().strip('"')]
    else:
        try:
            words = shlex.split(text)
        except ValueError:
            raise InvalidValueError(
                "A quote is not closed.", next_step="Type the path, or drag the file in again."
            ) from None
    return tuple(_path(word) for word in words)


def _path(word: str) -> Path:
    if word.startswith("file://"):
        return Path(unquote(urlsplit(word).path))
    return Path(word).expanduser()
