"""Make every character of a foreign text show itself.

Control characters can clear a terminal, bidirectional overrides can show "not good" as good, characters
without width can hide. They are replaced by their code, ⟨U+202E⟩; nothing is dropped.
"""

import unicodedata

# Line feed and tab are for the layout to handle; the two joiners shape letters and emoji, visibly.
_KEPT = frozenset("\n\t\u200c\u200d")
_HIDING = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


def visible(text: str) -> str:
    """Return the text with each control, format and separator character replaced by its code."""
    if text.isprintable():
        return text
    return "".join(
        f"⟨U+{ord(character):04X}⟩"
        if character not in _KEPT and unicodedata.category(character) in _HIDING
        else character
        for character in text
    )


def on_one_line(text: str) -> str:
    """Return the text visible, with its line feeds and tabs as spaces."""
    return " ".join(visible(text).split())
