"""The page that helps to judge speakers, screen and keys: one file, no server, no request.

Its one script is named in the page's own policy by its hash (Content Security Policy Level 3, W3C): nothing
else can run in it.
"""

from base64 import b64encode
from collections.abc import Mapping
from pathlib import Path

COLOURS: Mapping[str, tuple[int, int, int]] = {
    "white": (255, 255, 255),
    "black": (0, 0, 0),
    "grey": (128, 128, 128),
    "dark grey": (48, 48, 48),
    "red": (255, 0, 0),
    "green": (0, 255, 0),
    "blue": (0, 0, 255),
}
"""In this order, red, green, blue from 0 to 255; the last three each light other dots of the panel."""

_NAMES = {
    "Backquote": "`", "Minus": "-", "Equal": "=", "BracketLeft": "[", "BracketRight": "]",
    "Backslash": "\\", "Semicolon": ";", "Quote": "'", "Comma": ",", "Period": ".", "Slash": "/",
    "Escape": "Esc", "Backspace": "Back", "CapsLock": "Caps", "Delete": "Del", "Insert": "Ins",
    "ShiftLeft": "Shift left", "ShiftRight": "Shift right", "ControlLeft": "Ctrl",
    "ControlRight": "Ctrl right", "AltLeft": "Alt", "AltRight": "Alt right", "MetaLeft": "System",
    "PageUp": "PgUp", "PageDown": "PgDn",
    "ArrowUp": "↑", "ArrowDown": "↓", "ArrowLeft": "←", "ArrowRight": "→",
}  # fmt: skip
_WIDTHS = {
    "Backspace": 4, "Tab": 3, "Backslash": 3, "CapsLock": 4, "Enter": 4, "ShiftLeft": 5, "ShiftRight": 5,
    "Space": 10, "ControlRight": 4, "AltRight": 4, "ControlLeft": 3, "MetaLeft": 3, "AltLeft": 3,
    "Home": 3, "End": 3, "PageUp": 3, "PageDown": 3,
}  # fmt: skip
_ROWS = (
    ("Escape", *(f"F{number}" for number in range(1, 13)), "Insert", "Delete"),
    ("Backquote", *(f"Digit{digit}" for digit in "1234567890"), "Minus", "Equal", "Backspace"),
    ("Tab", *(f"Key{letter}" for letter in "QWERTYUIOP"), "BracketLeft", "BracketRight", "Backslash"),
    ("CapsLock", *(f"Key{letter}" for letter in "ASDFGHJKL"), "Semicolon", "Quote", "Enter"),
    ("ShiftLeft", *(f"Key{letter}" for letter in "ZXCVBNM"), "Comma", "Period", "Slash", "ShiftRight"),
    ("ControlLeft", "MetaLeft", "AltLeft", "Space", "AltRight", "ControlRight"),
    ("Home", "End", "PageUp", "PageDown", "ArrowLeft", "ArrowUp", "ArrowDown", "ArrowRight"),
)
"""Places of keys by their codes (UI Events KeyboardEvent code Values, W3C); others are added as they come."""


def try_page() -> str:
    """Return the page as HTML."""
    from hashlib import sha256

    from verify.machine.tones import LEVEL, RISE_FROM_HZ, RISE_S, RISE_TO_HZ, STEADY_HZ, STEADY_S
    from verify.report.render import template

    values = {
        "steadyHz": STEADY_HZ,
        "steadyS": STEADY_S,
        "fromHz": RISE_FROM_HZ,
        "toHz": RISE_TO_HZ,
        "riseS": RISE_S,
        "level": LEVEL,
        "colours": [[name, "#{:02x}{:02x}{:02x}".format(*parts)] for name, parts in COLOURS.items()],
    }
    script = template("try.js").render(values=values)
    digest = b64encode(sha256(script.encode()).digest()).decode()
    return template("try.html").render(script=script, digest=digest, values=values, rows=_rows())


def write_try_page(path: Path) -> None:
    """Write the page to `path`, whole. Raises FileWriteError."""
    from verify.record.files import write_whole

    write_whole(path, try_page().encode())


def _rows() -> tuple[tuple[tuple[str, str, int], ...], ...]:
    """Return code, name and width of each key, row by row."""
    return tuple(tuple((code, _name(code), _WIDTHS.get(code, 2)) for code in row) for row in _ROWS)


def _name(code: str) -> str:
    return _NAMES.get(code, code.removeprefix("Key").removeprefix("Digit"))
