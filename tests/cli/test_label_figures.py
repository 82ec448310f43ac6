"""What `--label` takes of a part's label: its energy, better all of its figures."""

import pytest

from verify.cli.ticket_options import work_from
from verify.values.errors import HandbackError


def label(text: str) -> dict[str, str]:
    (work,) = work_from(("battery=reproduction",), (f"battery={text}",))
    assert work.part is not None
    return dict(work.part.label)


@pytest.mark.parametrize(
    ("text", "figures"),
    [
        ("57.0 Wh", {"energy": "57.0 Wh"}),
        ("57.0Wh", {"energy": "57.0Wh"}),
        (
            "57.0 Wh 11.4 V 5.0 Ah",
            {"energy": "57.0 Wh", "voltage": "11.4 V", "charge": "5.0 Ah"},
        ),
        (
            "11.4 V, 5.0 Ah, 57.0 Wh, 236 g",
            {"voltage": "11.4 V", "charge": "5.0 Ah", "energy": "57.0 Wh", "weight": "236 g"},
        ),
    ],
)
def test_each_figure_is_kept_as_it_is_printed(text: str, figures: dict[str, str]) -> None:
    assert label(text) == figures


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("11.4 V 5.0 Ah", "energy"),
        ("57.0 Wh 57.1 Wh", "twice"),
        ("57.0 Wh 20 °C", "not what a label says"),
        ("-57.0 Wh", "not what a label says"),
        ("0 Wh", "not what a label says"),
        ("57.0 Wh and more", "not a number with its unit"),
        ("a lot", "not a number with its unit"),
        ("", "not a number with its unit"),
    ],
    ids=[
        "no energy", "an energy twice", "a temperature", "below nothing", "nothing", "words", "no figure",
        "empty",
    ],
)  # fmt: skip
def test_what_is_no_label_is_told_with_what_to_write(text: str, what: str) -> None:
    with pytest.raises(HandbackError) as caught:
        label(text)
    assert what in caught.value.what
    assert caught.value.next_step
