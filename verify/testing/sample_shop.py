"""A shop with all that its file can say, and its mark. All invented."""

from functools import cache
from io import BytesIO

import msgspec

from verify.record.arrival import Picture
from verify.record.canonical import sha256_hex
from verify.record.model import Record, Shop

LOGO = "logo.png"


@cache
def sample_logo() -> bytes:
    """Return a drawn mark as PNG."""
    from PIL import Image, ImageDraw

    image = Image.new("RGB", (240, 120), (255, 255, 255))
    draw = ImageDraw.Draw(image)
    for x in range(20, 220, 40):
        draw.arc((x, 40, x + 40, 80), 180, 360, fill=(13, 92, 99), width=6)
    data = BytesIO()
    image.save(data, "PNG")
    return data.getvalue()


def sample_shop() -> Shop:
    """Return what a shop's file could say. The telephone number is one of those kept for fiction."""
    return Shop(
        address=("14 Ropewalk Lane", "Saltmarsh Quay"),
        telephone="+1 202 555 0142",
        mail="bench@tidewater-repairs.example",
        web="tidewater-repairs.example",
        warranty="For the parts that were fitted.",
        warranty_days=90,
        terms=("Parts are kept for 30 days.", "Data are left alone."),
        logo=Picture(file=LOGO, sha256=sha256_hex(sample_logo())),
    )


def with_shop(record: Record) -> Record:
    """Return the record of a run that began with the shop's file."""
    return msgspec.structs.replace(record, shop=sample_shop())
