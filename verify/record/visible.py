"""Make every character of a foreign text show itself.

Control characters can clear a terminal, bidirectional overrides can show "not good" as good, characters
without width or ink can hide, and marks stacked on one letter cover the lines around it. They are replaced
by their code, ⟨U+202E⟩; nothing is dropped.
"""

import unicodedata

# Line feed and tab are for the layout to handle; the two joiners shape letters and emoji, visibly.
_KEPT = frozenset("\n\t\u200c\u200d")
_HIDING = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
# Letters, marks and symbols by their category, and still without ink: Default_Ignorable_Code_Point (Unicode,
# DerivedCoreProperties; from memory) without the variation selectors, and the empty Braille pattern.
_INKLESS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u2800\u3164\uffa0")
_MARKS = frozenset({"Mn", "Me"})
_MOST_MARKS = 4  # on one letter; no living script stacks more (from memory)


def visible(text: str) -> str:
    """Return the text with each control, format, separator and inkless character replaced by its code.

    So is every mark beyond the fourth on one letter.
    """
    if text.isascii() and text.isprintable():
        return text
    shown: list[str] = []
    marks = 0
    for character in text:
        category = unicodedata.category(character)
        marks = marks + 1 if category in _MARKS else 0
        hides = category in _HIDING or character in _INKLESS or marks > _MOST_MARKS
        shown.append(f"⟨U+{ord(character):04X}⟩" if hides and character not in _KEPT else character)
    return "".join(shown)


def on_one_line(text: str) -> str:
    """Return the text visible, with its line feeds and tabs as spaces."""
    return " ".join(visible(text).split())
