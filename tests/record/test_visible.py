"""No character of a foreign text hides itself or its neighbours."""

import pytest

from verify.record.visible import on_one_line, visible


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain, äöü, 王", "plain, äöü, 王"),
        ("not\u202e good", "not⟨U+202E⟩ good"),
        ("\x1b[2J", "⟨U+001B⟩[2J"),
        ("a\x00b", "a⟨U+0000⟩b"),
        ("zero\u200bwidth", "zero⟨U+200B⟩width"),
        ("a\u2028b", "a⟨U+2028⟩b"),
        ("a\x85b\x9fc", "a⟨U+0085⟩b⟨U+009F⟩c"),
        ("tag\U000e0041", "tag⟨U+E0041⟩"),
        ("two\nlines", "two\nlines"),
        ("👩\u200d🔧", "👩\u200d🔧"),
    ],
)
def test_hidden_characters_show_their_code(text: str, shown: str) -> None:
    assert visible(text) == shown


def test_one_line_stays_one_line() -> None:
    assert on_one_line("a\n b\t\r\nc") == "a b ⟨U+000D⟩ c"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        # Default_Ignorable_Code_Point, Unicode's DerivedCoreProperties (from memory): letters without ink.
        ("a\u3164b", "a⟨U+3164⟩b"),
        ("a\u115fb", "a⟨U+115F⟩b"),
        ("a\u034fb", "a⟨U+034F⟩b"),
        ("a\u2800b", "a⟨U+2800⟩b"),
        ("z" + "\u0335" * 4, "z" + "\u0335" * 4),
        ("z" + "\u0335" * 6, "z" + "\u0335" * 4 + "⟨U+0335⟩" * 2),
        ("❤\ufe0f שָׁלוֹם", "❤\ufe0f שָׁלוֹם"),
    ],
    ids=["filler", "leading filler", "joiner", "empty braille", "four marks", "six marks", "living text"],
)
def test_blank_letters_and_towers_of_marks_show_their_code(text: str, shown: str) -> None:
    assert visible(text) == shown
