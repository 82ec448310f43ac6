"""Drawn pictures of an open machine, for where there is no camera and no machine: demo and specimens.

By lines and boxes, nothing of any real machine; the same words give the same bytes with the same version of
the library. Each says in itself that it was drawn.
"""

import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from verify.checklist import Check, Kind
from verify.record.arrival import Picture

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw

DRAWN = "drawn for the demo"

_SIZE = 960, 640  # shows a lead on a telephone, and stays far below 60 kB
_GROUND, _CASE, _BOARD, _PACK, _METAL, _INK, _SPOT = (
    "#d9d4c7", "#4a4f55", "#2f5d50", "#23262a", "#b9bec4", "#1c1c1c", "#8a5a2b",
)  # fmt: skip
_SCREWS = ((110, 110), (480, 104), (850, 110), (110, 530), (480, 536), (850, 530))
_SPILL = ((170, 150, 300, 220), (280, 190, 350, 240), (330, 140, 372, 172))
_LETTERING_PX, _CAPTION_PX = 20, 24


def drawing(caption: str, *, base_open: bool = True, spill: bool = False) -> bytes:
    """Draw a machine from below as a PNG file. caption: what it shows, written below it.

    base_open: battery, board, leads and screws show; else the cover. spill: something ran over it.
    """
    from io import BytesIO

    from PIL import Image, ImageDraw

    image = Image.new("RGB", _SIZE, _GROUND)
    pen = ImageDraw.Draw(image)
    pen.rounded_rectangle((60, 60, 900, 580), radius=28, fill=_CASE, outline=_INK, width=4)
    if base_open:
        _inside(pen)
    else:
        for x in range(300, 661, 24):
            pen.rounded_rectangle((x, 200, x + 10, 280), radius=5, fill=_INK)
    for x, y in _SCREWS:
        pen.ellipse((x - 13, y - 13, x + 13, y + 13), fill=_METAL, outline=_INK, width=2)
        pen.line((x - 7, y, x + 7, y), fill=_INK, width=3)
        pen.line((x, y - 7, x, y + 7), fill=_INK, width=3)
    for box in _SPILL if spill else ():
        pen.ellipse(box, fill=_SPOT)
    _lettered(pen, (60, 24), DRAWN, _LETTERING_PX)
    _lettered(pen, (60, 598), caption, _CAPTION_PX)
    written = BytesIO()
    image.save(written, "PNG")
    return written.getvalue()


def _inside(pen: "ImageDraw") -> None:
    pen.rounded_rectangle((150, 120, 810, 320), radius=10, fill=_BOARD, outline=_INK, width=3)
    pen.ellipse((620, 140, 780, 300), fill=_METAL, outline=_INK, width=3)
    for turn in range(0, 360, 45):
        pen.pieslice((640, 160, 760, 280), turn, turn + 18, fill=_CASE)
    pen.rounded_rectangle((190, 150, 330, 250), radius=6, fill=_METAL, outline=_INK, width=2)
    pen.rounded_rectangle((200, 350, 760, 520), radius=12, fill=_PACK, outline=_INK, width=3)
    for x in (340, 480, 620):
        pen.line((x, 356, x, 514), fill=_CASE, width=3)
    # The battery's plug, and a flat cable under its bar.
    pen.rectangle((440, 300, 520, 350), fill=_METAL, outline=_INK, width=3)
    pen.rectangle((540, 120, 590, 190), fill=_GROUND, outline=_INK, width=2)
    pen.rectangle((534, 186, 596, 200), fill=_INK)
    # Two antenna leads with their plugs.
    for number, (colour, x) in enumerate(((_INK, 390), (_GROUND, 424))):
        along = 332 - 10 * number
        pen.line((x - 250, along, x - 40, along, x - 16, 296, x, 220), fill=colour, width=7, joint="curve")
        pen.ellipse((x - 9, 211, x + 9, 229), fill=_METAL, outline=_INK, width=2)


def _lettered(pen: "ImageDraw", at: tuple[int, int], words: str, px: int) -> None:
    from PIL import ImageFont

    pen.text(at, words, fill=_INK, font=ImageFont.load_default(px))


class DrawingCamera:
    """Takes drawn pictures over into a run's folder, as if they came from a camera."""

    def __init__(self, folder: Path, *, spilt: str = "", at: Mapping[str, str] | None = None) -> None:
        """spilt: what the picture on arrival shows, of a closed machine with a spill; empty: there is none.

        at: what a picture shows, by check. A check that asks for one gets one whatever stands there.
        """
        self._folder = folder
        self._spilt = spilt
        self._at = dict(at or {})

    def arrival(self) -> tuple[Picture, ...]:
        """Take over the picture of the arrival, the first of the run; empty where there is none."""
        if not self._spilt:
            return ()
        data = drawing(self._spilt, base_open=False, spill=True)
        return (self._taken(data, number=1, shows=self._spilt),)

    def pictures(self, check: Check, *, number: int) -> tuple[Picture, ...]:
        """Take over the check's picture under this number; empty where there is none of it."""
        shows = self._at.get(check.id, check.about if check.kind is Kind.PHOTO else "")
        if not shows:
            return ()
        return (self._taken(drawing(shows), number=number, shows=shows),)

    def _taken(self, data: bytes, *, number: int, shows: str) -> Picture:
        from verify.run.pictures import take_over

        with tempfile.TemporaryDirectory() as place:
            file = Path(place) / "drawn.png"
            file.write_bytes(data)
            return take_over(self._folder, file, number=number, shows=shows)
