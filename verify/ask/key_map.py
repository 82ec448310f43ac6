"""The keys that came, as a map of text that fills. Pure.

A terminal tells characters, not keys: two keys that write the same are one here, and a key that writes
nothing cannot be seen. Names of the sequences: ECMA-48, and the terminals that descend from the X Window
System's ("PC-style function keys"); Windows console: second half of the key code (from memory).
"""

import re
from collections import Counter
from collections.abc import Iterable

from verify.record.visible import visible

_MOVES = {"A": "Up", "B": "Down", "C": "Right", "D": "Left", "H": "Home", "F": "End", "Z": "Tab"}
_NUMBERED = {
    1: "Home", 2: "Ins", 3: "Del", 4: "End", 5: "PgUp", 6: "PgDn", 7: "Home", 8: "End",
    11: "F1", 12: "F2", 13: "F3", 14: "F4", 15: "F5", 17: "F6", 18: "F7", 19: "F8", 20: "F9",
    21: "F10", 23: "F11", 24: "F12",
}  # fmt: skip
_FIRST_FOUR = {"P": "F1", "Q": "F2", "R": "F3", "S": "F4"}
_LINUX = {letter: f"F{number}" for number, letter in enumerate("ABCDE", 1)}
_WINDOWS = {
    **{chr(58 + number): f"F{number}" for number in range(1, 11)},
    "\x85": "F11", "\x86": "F12", "H": "Up", "P": "Down", "K": "Left", "M": "Right",
    "G": "Home", "O": "End", "I": "PgUp", "Q": "PgDn", "R": "Ins", "S": "Del",
}  # fmt: skip
_PLAIN = {"\x1b": "Esc", "\t": "Tab", "\n": "Enter", " ": "Space", "\x7f": "Back"}
_SEQUENCE = re.compile("\x1b\\[(\\d*)(?:;\\d+)*([A-Za-z~])")

ROWS = (
    tuple(f"F{number}" for number in range(1, 13)),
    tuple("1234567890"),
    tuple("abcdefghijklm"),
    tuple("nopqrstuvwxyz"),
    ("Esc", "Tab", "Enter", "Space", "Back", "Ins", "Del", "Home", "End"),
    ("PgUp", "PgDn", "Up", "Down", "Left", "Right"),
)
"""The keys that most keyboards have; others are added as they come."""

_KNOWN = frozenset(name for row in ROWS for name in row)
_WIDTH = 70
_MOST_NAMED = 12
_MOST_OTHERS = 30


def key_name(sent: str) -> str:
    """Return the name of the key that sends this; what is not known is written out as it came."""
    if sent in _PLAIN:
        return _PLAIN[sent]
    if sent.startswith("\x00"):
        return _WINDOWS.get(sent[1:], f"?{visible(sent[1:])}")
    if sent.startswith("\x1b[["):
        return _LINUX.get(sent[3:], _unknown(sent))
    if sent.startswith("\x1bO"):
        return {**_FIRST_FOUR, **_MOVES}.get(sent[2:], _unknown(sent))
    if sent.startswith("\x1b["):
        return _sequence_name(sent)
    if sent.startswith("\x1b"):
        return key_name(sent[1:])  # held with Alt
    if len(sent) == 1 and sent < " ":
        return chr(ord(sent) + 96) if sent.isascii() and "\x01" <= sent <= "\x1a" else _unknown(sent)
    return sent.lower()


def _sequence_name(sent: str) -> str:
    found = _SEQUENCE.fullmatch(sent)
    if found is None:
        return _unknown(sent)
    number, last = found.groups()
    if last == "~":
        return _NUMBERED.get(int(number or 0), _unknown(sent))
    return {**_FIRST_FOUR, **_MOVES}.get(last, _unknown(sent))


def _unknown(sent: str) -> str:
    return f"?{visible(sent.removeprefix(chr(27)))}"


def map_lines(came: Counter[str]) -> tuple[str, ...]:
    """Return the map: each key with how often it came, a dot where it has not."""
    lines = ["  ".join(_cell(name, came) for name in row) for row in ROWS]
    others = [name for name in came if name not in _KNOWN][:_MOST_OTHERS]
    lines += _wrapped("Others:", (_cell(name, came) for name in others)) if others else []
    twice = [f"{name} {number}" for name, number in came.items() if number > 1]
    missing = sum(name not in came for name in _KNOWN)
    lines += ["", f"{len(came)} keys came. Of these rows, {missing} not yet."]
    if twice:
        rest = len(twice) - _MOST_NAMED
        more = [f"and {rest} more"] if rest > 0 else []
        lines += _wrapped("More than once:", [*twice[:_MOST_NAMED], *more])
    return tuple(lines)


def _cell(name: str, came: Counter[str]) -> str:
    return f"{name} {came[name] or '.'}"


def _wrapped(start: str, cells: Iterable[str]) -> list[str]:
    lines, line = [], start
    for cell in cells:
        if len(line) + 2 + len(cell) > _WIDTH:
            lines.append(line)
            line = " "
        line += f" {cell} "
    return [*lines, line.rstrip()]
