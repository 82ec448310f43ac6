"""Pictures drawn for demo and specimens: the same bytes each time, small, and they say what they are."""

from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from verify.ask.drawn import DRAWN, DrawingCamera, drawing
from verify.checklist.shipped import shipped_checklists

CHECKS = {check.id: check for checklist in shipped_checklists() for check in checklist.checks}


@pytest.mark.parametrize("base_open", [True, False])
def test_the_same_words_give_the_same_bytes(*, base_open: bool) -> None:
    once, again = (drawing("As it came in", base_open=base_open, spill=True) for _ in range(2))
    assert once == again
    assert once != drawing("As it came in", base_open=not base_open, spill=True)
    assert once != drawing("As it came in", base_open=base_open)
    assert Image.open(BytesIO(once)).format == "PNG"


def test_it_is_lettered_as_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    lettered: list[str] = []
    draw = ImageDraw.ImageDraw.text

    def noted(pen: ImageDraw.ImageDraw, at: tuple[float, float], text: str, **how: object) -> None:
        lettered.append(text)
        draw(pen, at, text, **how)  # type: ignore[arg-type] # handed through

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", noted)
    drawing("The open machine")
    assert lettered == [DRAWN, "The open machine"]


def test_a_camera_that_draws_keeps_each_below_60_kb_under_its_number(tmp_path: Path) -> None:
    camera = DrawingCamera(tmp_path, spilt="Tea over the base", at={"pack-fixed": "The battery in its bay"})
    taken = (
        *camera.arrival(),
        *camera.pictures(CHECKS["pack-fixed"], number=2),
        *camera.pictures(CHECKS["open-picture"], number=3),
    )
    assert [one.file for one in taken] == [f"pictures/0{number}.jpg" for number in (1, 2, 3)]
    assert [one.shows for one in taken] == [
        "Tea over the base",
        "The battery in its bay",
        CHECKS["open-picture"].about,
    ]
    for one in taken:
        assert 5_000 < (tmp_path / one.file).stat().st_size < 60_000
    assert camera.pictures(CHECKS["lead-plugs"], number=4) == ()
    assert DrawingCamera(tmp_path).arrival() == ()
