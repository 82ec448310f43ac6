"""All that a page shows as an image: the pictures that were taken, and the shop's mark."""

from collections.abc import Mapping
from pathlib import Path

from verify.record.model import Record
from verify.report.logo import logo_in, read_logo, unseen_logo
from verify.report.pictures import pictures_in, read_pictures, unseen_pictures, whole_pictures


def read_images(folder: Path, record: Record) -> dict[str, bytes]:
    """Read them from the run's folder, by the file's name in the record; what cannot be read is left out."""
    return {**read_pictures(folder, record), **read_logo(folder, record)}


def images_in(page: bytes, record: Record) -> dict[str, bytes]:
    """Return what a page shows of them, so that the same page can be made from it.

    Raises NotAReportError where the page has two parts of the same name.
    """
    return {**pictures_in(page, record), **logo_in(page, record)}


def unseen_images(record: Record, images: Mapping[str, bytes]) -> tuple[str, ...]:
    """Return a sentence for each that a page made from these does not show."""
    return (*unseen_pictures(record, images), *unseen_logo(record, images))


def whole_images(record: Record, images: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return those that are the ones taken."""
    whole = whole_pictures(record, images)
    if record.shop is not None and record.shop.logo is not None and not unseen_logo(record, images):
        whole[record.shop.logo.file] = images[record.shop.logo.file]
    return whole
