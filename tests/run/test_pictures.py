"""A picture taken over: upright, small, stripped; and plain words where it cannot be."""

import errno
import os
import random
import resource
import struct
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

import pytest
from PIL import ExifTags, Image

from verify.record.canonical import sha256_hex
from verify.run.pictures import take_over
from verify.values.errors import FileFormatError, FileWriteError, HandbackError, WrongUseError

RED, GREEN, BLUE, WHITE = (220, 20, 20), (20, 190, 40), (20, 40, 220), (250, 250, 250)
CORNERS = {"top left": RED, "top right": GREEN, "bottom left": BLUE, "bottom right": WHITE}

# Exif 2.32 (JEITA CP-3451 / CIPA DC-008), 4.6.4 A, tag 274: for each value, which visual side the stored
# "0th row" is, and which the stored "0th column".
EXIF_TABLE = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}
_OPPOSITE = {"top": "bottom", "bottom": "top", "left": "right", "right": "left"}


def _as_stored(orientation: int, *, wide: int = 120, high: int = 80) -> Image.Image:
    """Return the pixels as a camera held that way stores them, of a scene wide × high with CORNERS.

    Worked out from the standard's table alone: each stored corner lies on one stored row and one stored
    column, the table says which visual sides these are, so which visual corner it shows.
    """
    row, column = EXIF_TABLE[orientation]
    turned = row in ("left", "right")
    size = (high, wide) if turned else (wide, high)
    image = Image.new("RGB", size)
    for low, side_of_row in ((False, row), (True, _OPPOSITE[row])):
        for right, side_of_column in ((False, column), (True, _OPPOSITE[column])):
            sides = {side_of_row, side_of_column}
            corner = f"{(sides & {'top', 'bottom'}).pop()} {(sides & {'left', 'right'}).pop()}"
            box = (
                size[0] // 2 if right else 0,
                size[1] // 2 if low else 0,
                size[0] if right else size[0] // 2,
                size[1] if low else size[1] // 2,
            )
            image.paste(CORNERS[corner], box)
    return image


def _corners(image: Image.Image) -> dict[str, tuple[int, ...]]:
    wide, high = image.size
    rgb = image.convert("RGB")
    at = {
        "top left": (wide // 8, high // 8),
        "top right": (wide - 1 - wide // 8, high // 8),
        "bottom left": (wide // 8, high - 1 - high // 8),
        "bottom right": (wide - 1 - wide // 8, high - 1 - high // 8),
    }
    found = {}
    for name, where in at.items():
        pixel = rgb.getpixel(where)
        assert isinstance(pixel, tuple)
        found[name] = tuple(int(part) for part in pixel)
    return found


def _near(found: tuple[int, ...], wanted: tuple[int, ...], *, within: int = 14) -> bool:
    return all(abs(a - b) <= within for a, b in zip(found, wanted, strict=True))


def _taken(tmp_path: Path, source: Path, number: int = 1) -> Image.Image:
    folder = tmp_path / "run"
    folder.mkdir(exist_ok=True)
    picture = take_over(folder, source, number=number)
    image = Image.open(BytesIO((folder / picture.file).read_bytes()))
    assert image.format == "JPEG"
    return image


def _exif(orientation: int | None = None) -> Image.Exif:
    exif = Image.Exif()
    if orientation is not None:
        exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = "Fennel Optics"
    exif[ExifTags.Base.DateTime] = "2026:03:10 09:02:11"
    exif[ExifTags.Base.ImageDescription] = "kitchen-table-of-the-owner"
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    inner[ExifTags.Base.MakerNote] = b"MAKER-NOTE-OF-FENNEL"
    inner[ExifTags.Base.DateTimeOriginal] = "2026:03:10 09:02:11"
    position = exif.get_ifd(ExifTags.IFD.GPSInfo)
    position[ExifTags.GPS.GPSLatitudeRef] = "N"
    position[ExifTags.GPS.GPSLatitude] = (54.0, 19.0, 31.5)
    position[ExifTags.GPS.GPSLongitudeRef] = "E"
    position[ExifTags.GPS.GPSLongitude] = (10.0, 8.0, 24.25)
    position[ExifTags.GPS.GPSAreaInformation] = b"ASCII\0\0\0QUAY-BY-THE-OLD-CRANE"
    return exif


@pytest.mark.parametrize("format_", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", list(EXIF_TABLE))
def test_a_picture_stands_upright_whichever_way_the_camera_was_held(
    tmp_path: Path, orientation: int, format_: str
) -> None:
    source = tmp_path / f"held.{format_.lower()}"
    _as_stored(orientation).save(source, format_, exif=_exif(orientation))
    image = _taken(tmp_path, source)
    assert image.size == (120, 80)
    for name, colour in _corners(image).items():
        assert _near(colour, CORNERS[name]), name
    assert not image.getexif()


@pytest.mark.parametrize("format_", ["JPEG", "TIFF"])
def test_a_large_picture_held_upright_is_shrunk_by_its_longer_side(tmp_path: Path, format_: str) -> None:
    source = tmp_path / "large"
    _as_stored(6, wide=2400, high=4000).save(source, format_, exif=_exif(6))
    image = _taken(tmp_path, source)
    assert image.size == (960, 1600)
    assert all(_near(colour, CORNERS[name]) for name, colour in _corners(image).items())


def test_an_orientation_that_the_standard_does_not_know_leaves_the_pixels_as_they_are(tmp_path: Path) -> None:
    source = tmp_path / "odd.jpg"
    _as_stored(1).save(source, exif=_exif(9))
    assert all(_near(colour, CORNERS[name]) for name, colour in _corners(_taken(tmp_path, source)).items())


def test_position_times_and_makers_words_are_gone(tmp_path: Path) -> None:
    source = tmp_path / "told-too-much.jpg"
    thumbnail = BytesIO()
    Image.new("RGB", (16, 12), RED).save(thumbnail, "JPEG", comment=b"THUMBNAIL-INSIDE")
    _as_stored(1).save(
        source,
        exif=_exif(1),
        comment=b"COMMENT-OF-THE-CAMERA",
        icc_profile=b"PROFILE-OF-THE-CAMERA" * 8,
        xmp=b"<x:xmpmeta>WORDS-IN-XMP</x:xmpmeta>",
    )
    # What some telephones hang behind a picture's end, here a whole second picture.
    source.write_bytes(source.read_bytes() + thumbnail.getvalue())
    told = (
        b"Fennel",
        b"2026:03:10",
        b"kitchen-table",
        b"MAKER-NOTE",
        b"QUAY-BY-THE-OLD-CRANE",
        b"COMMENT-OF",
        b"PROFILE-OF",
        b"WORDS-IN-XMP",
        b"THUMBNAIL-INSIDE",
        b"Exif\0\0",
        b"ICC_PROFILE",
    )
    before = source.read_bytes()
    assert [word for word in told if word not in before] == []  # else the search below would prove nothing
    with Image.open(source) as original:
        assert original.getexif().get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] == "N"
    image = _taken(tmp_path, source)
    after = (tmp_path / "run" / "pictures" / "01.jpg").read_bytes()
    assert [word for word in told if word in after] == []
    assert not image.getexif().get_ifd(ExifTags.IFD.GPSInfo)
    assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert source.read_bytes() == before


def test_only_the_segments_that_pixels_need_are_in_the_file(tmp_path: Path) -> None:
    # ITU-T T.81 (JPEG), table B.1: application data are FFE1 to FFEF, comments FFFE. FFE0 is the JFIF header.
    source = tmp_path / "a.png"
    _as_stored(1).save(source, exif=_exif(1))
    _taken(tmp_path, source)
    data = (tmp_path / "run" / "pictures" / "01.jpg").read_bytes()
    at, markers = 2, []
    while data[at + 1] != 0xDA:  # start of scan
        assert data[at] == 0xFF
        markers.append(data[at + 1])
        at += 2 + int.from_bytes(data[at + 2 : at + 4])
    assert set(markers) <= {0xE0, 0xDB, 0xC0, 0xC4}
    assert data.endswith(b"\xff\xd9")


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((1600, 1200), (1600, 1200)),
        ((1601, 1200), (1600, 1199)),
        ((4001, 3000), (1600, 1200)),
        ((60, 40), (60, 40)),
        ((1, 1), (1, 1)),
        ((9000, 2), (1600, 1)),
    ],
    ids=["just fits", "one over", "between the decoder's steps", "small", "one pixel", "a thread"],
)
def test_it_is_shrunk_to_1600_pixels_and_never_enlarged(
    tmp_path: Path, size: tuple[int, int], expected: tuple[int, int]
) -> None:
    source = tmp_path / "a.jpg"
    Image.new("RGB", size, GREEN).save(source)
    image = _taken(tmp_path, source)
    assert image.size == expected
    assert _near(_corners(image)["top left"], GREEN)


def _grey_16(source: Path) -> None:
    image = Image.new("I;16", (40, 40), 65535)
    image.paste(257 * 100, (0, 0, 20, 40))
    image.save(source, "PNG")


def _palette(source: Path) -> None:
    image = Image.new("RGB", (40, 40), RED)
    image.paste(BLUE, (20, 0, 40, 40))
    image.quantize(4).save(source, "GIF")


def _palette_with_hole(source: Path) -> None:
    image = Image.new("P", (40, 40), 0)
    image.putpalette([*RED, *BLUE])
    image.paste(1, (20, 0, 40, 40))
    image.save(source, "PNG", transparency=0)


def _half_transparent(source: Path) -> None:
    image = Image.new("RGBA", (40, 40), (*RED, 0))
    image.paste((*BLUE, 255), (20, 0, 40, 40))
    image.save(source, "PNG")


def _cmyk(source: Path) -> None:
    image = Image.new("CMYK", (40, 40), (0, 255, 255, 0))
    image.paste((255, 255, 0, 0), (20, 0, 40, 40))
    image.save(source, "JPEG", quality=95)


def _moving(source: Path) -> None:
    first, second = Image.new("RGB", (40, 40), RED), Image.new("RGB", (40, 40), GREEN)
    first.paste(BLUE, (20, 0, 40, 40))
    first.save(source, "GIF", save_all=True, append_images=[second])


def _black_and_white(source: Path) -> None:
    image = Image.new("1", (40, 40), 0)
    image.paste(1, (20, 0, 40, 40))
    image.save(source, "PNG")


@pytest.mark.parametrize(
    ("make", "left", "right"),
    [
        (_grey_16, (100, 100, 100), (255, 255, 255)),
        (_palette, RED, BLUE),
        (_palette_with_hole, (255, 255, 255), BLUE),
        (_half_transparent, (255, 255, 255), BLUE),
        (_cmyk, (255, 0, 0), (0, 0, 255)),
        (_moving, RED, BLUE),
        (_black_and_white, (0, 0, 0), (255, 255, 255)),
    ],
    ids=["16 bit grey", "palette", "palette with a hole", "transparent", "CMYK", "moving", "1 bit"],
)
def test_every_kind_of_pixel_comes_out_in_its_colours(
    tmp_path: Path, make: Callable[[Path], None], left: tuple[int, ...], right: tuple[int, ...]
) -> None:
    source = tmp_path / "source"
    make(source)
    corners = _corners(_taken(tmp_path, source))
    assert _near(corners["top left"], left, within=20)
    assert _near(corners["top right"], right, within=20)


def test_the_same_picture_gives_the_same_bytes_and_their_hash(tmp_path: Path) -> None:
    source = tmp_path / "Bild vom Gerät ü.jpg"
    _as_stored(6).save(source, exif=_exif(6))
    folder = tmp_path / "run of a stick"
    folder.mkdir()
    one = take_over(folder, source, number=1, shows="The keys, sticky.")
    twelve = take_over(folder, source, number=12)
    assert (one.file, twelve.file) == ("pictures/01.jpg", "pictures/12.jpg")
    assert (one.shows, twelve.shows) == ("The keys, sticky.", "")
    data = (folder / one.file).read_bytes()
    assert one.sha256 == sha256_hex(data) == twelve.sha256
    assert (folder / twelve.file).read_bytes() == data
    # nothing half written is left beside them
    assert sorted(path.name for path in (folder / "pictures").iterdir()) == ["01.jpg", "12.jpg"]


def _cut_short(source: Path) -> None:
    Image.effect_noise((400, 300), 60).convert("RGB").save(source, "JPEG")
    source.write_bytes(source.read_bytes()[:-9000])


def _too_many_pixels(source: Path) -> None:
    Image.new("1", (10_001, 10_000)).save(source, "PNG")


def _far_too_many_pixels(source: Path) -> None:
    # A small file that unpacks to 225 million pixels.
    Image.new("1", (15_000, 15_000)).save(source, "PNG")


def _too_large_a_file(source: Path) -> None:
    with source.open("wb") as file:
        file.truncate(60_000_001)


@pytest.mark.parametrize(
    ("make", "error", "says"),
    [
        (lambda _: None, WrongUseError, "is not there"),
        (lambda path: path.mkdir(), WrongUseError, "is a folder"),
        (os.mkfifo, WrongUseError, "is not a file"),
        (lambda path: path.write_bytes(b""), FileFormatError, "is no picture"),
        (lambda path: path.write_text("%!PS-Adobe-3.0 EPSF-3.0\n"), FileFormatError, "is no picture"),
        (lambda path: path.write_text("<svg xmlns='x'/>"), FileFormatError, "is no picture"),
        (_cut_short, FileFormatError, "is cut short"),
        (_too_many_pixels, WrongUseError, "more than 100 million pixels"),
        (_far_too_many_pixels, WrongUseError, "more than 100 million pixels"),
        (_too_large_a_file, WrongUseError, "larger than 60 MB"),
    ],
    ids=["missing", "folder", "pipe", "empty", "a program", "text", "cut", "pixels", "bomb", "bytes"],
)
def test_what_cannot_be_taken_over_is_refused_in_one_plain_line(
    tmp_path: Path, make: Callable[[Path], object], error: type[HandbackError], says: str
) -> None:
    source = tmp_path / "source.jpg"
    make(source)
    with pytest.raises(error) as caught:
        take_over(tmp_path, source, number=1)
    assert says in caught.value.what
    assert caught.value.next_step
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "pictures").exists()


def test_a_name_that_no_file_can_have_is_refused_and_shows_itself(tmp_path: Path) -> None:
    with pytest.raises(HandbackError) as caught:
        take_over(tmp_path, tmp_path / "a\x00\x1b[2J\n.jpg", number=1)
    assert str(caught.value).isprintable()


def test_the_library_says_nothing_of_its_own_on_the_screen(tmp_path: Path) -> None:
    # TIFF 6.0, section 8: tag 277 is the number of samples in a pixel, here far too many.
    source, whole = tmp_path / "source.tif", BytesIO()
    _as_stored(1).save(whole, "TIFF")
    entry = struct.pack("<HHL", 277, 3, 1)
    assert whole.getvalue().count(entry) == 1
    source.write_bytes(
        whole.getvalue().replace(entry + struct.pack("<H", 3), entry + struct.pack("<H", 2048))
    )
    code = (
        "import sys; from pathlib import Path; from verify.run.pictures import take_over\n"
        "try: take_over(Path(sys.argv[1]), Path(sys.argv[2]), number=1)\n"
        "except Exception as error: print(type(error).__name__)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code, tmp_path, source], capture_output=True, text=True, check=True
    )
    assert (ended.stdout, ended.stderr) == ("FileFormatError\n", "")


def test_a_number_that_no_picture_has_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongUseError):
        take_over(tmp_path, tmp_path / "a.jpg", number=0)


def test_broken_tags_do_not_lose_the_picture(tmp_path: Path) -> None:
    source = tmp_path / "a.jpg"
    _as_stored(1).save(source, exif=b"Exif\0\0II*\0\xff\xff\xff\x7f" + b"\xff" * 40)
    assert all(_near(colour, CORNERS[name]) for name, colour in _corners(_taken(tmp_path, source)).items())


def test_a_damaged_picture_ends_in_our_errors_or_in_a_picture(tmp_path: Path) -> None:
    chance = random.Random(1042)
    source = tmp_path / "source"
    refused = 0
    for format_ in ("JPEG", "PNG", "GIF", "TIFF", "WEBP", "BMP"):
        whole = BytesIO()
        _as_stored(5).save(whole, format_, exif=_exif(5))
        for _ in range(40):
            data = bytearray(whole.getvalue())
            for _ in range(chance.randint(1, 12)):
                data[chance.randrange(len(data))] = chance.randrange(256)
            source.write_bytes(bytes(data[: chance.randint(1, len(data))] if chance.random() < 0.4 else data))
            try:
                _taken(tmp_path, source)
            except HandbackError:
                refused += 1
    assert refused > 20


@contextmanager
def _room_for_500_bytes() -> Iterator[None]:
    """Let the kernel refuse what a file holds beyond 500 bytes: a write that really fails half way.

    Only around the write itself: whatever else this process writes is refused, too.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (500, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def _two_versions(tmp_path: Path) -> tuple[Path, bytes]:
    source = tmp_path / "a.jpg"
    _as_stored(1).save(source)
    take_over(tmp_path, source, number=1)
    _as_stored(3).save(source)
    return source, (tmp_path / "pictures" / "01.jpg").read_bytes()


def test_no_room_says_so_and_leaves_the_picture_that_stood_there(
    tmp_path: Path,
) -> None:
    source, before = _two_versions(tmp_path)
    assert len(before) > 500
    with _room_for_500_bytes(), pytest.raises(FileWriteError, match="could not be written") as caught:
        take_over(tmp_path, source, number=1)
    assert "free space" in caught.value.next_step
    assert [path.name for path in (tmp_path / "pictures").iterdir()] == ["01.jpg"]
    assert (tmp_path / "pictures" / "01.jpg").read_bytes() == before


def test_a_full_disk_is_named_as_what_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source, before = _two_versions(tmp_path)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    # A stand-in: a disk that is really full needs a mount of its own.
    monkeypatch.setattr("verify.record.files.sync", full)
    monkeypatch.setattr("verify.run.pictures.sync_folder", lambda _: None)
    with pytest.raises(FileWriteError, match="No space left"):
        take_over(tmp_path, source, number=1)
    assert (tmp_path / "pictures" / "01.jpg").read_bytes() == before


def test_a_place_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    source = tmp_path / "a.jpg"
    _as_stored(1).save(source)
    (tmp_path / "pictures").write_text("in the way")
    with pytest.raises(FileWriteError, match="could not be made"):
        take_over(tmp_path, source, number=1)
