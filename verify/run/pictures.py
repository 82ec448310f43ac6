"""Take a picture over into the run's folder: upright, small, and with nothing in it but what it shows.

What is kept is written anew from the pixels: position, times, maker's notes, comments, profiles and the small
picture inside go with the old file, which is left as it is.
"""

import logging
import stat
import struct
import warnings
import zlib
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from verify.record.arrival import Picture
from verify.record.canonical import sha256_hex
from verify.record.files import sync_folder, write_whole
from verify.record.visible import on_one_line
from verify.values.errors import FileFormatError, FileWriteError, WrongUseError

if TYPE_CHECKING:
    from PIL.Image import Image as PixelImage

PICTURES = "pictures"
LOGO = "logo.png"

_LONGER_SIDE_PX = 1600  # shows a lead beside its clip, and keeps a report of ten pictures fit for mail
_QUALITY = 82  # of 100: blocks are not seen at arm's length; common practice, no source
_LOGO_PX = (600, 200)  # twice the size that it is shown in: sharp on a fine screen and on paper
_LOGO_MOST_BYTES = 60_000
_LOGO_COLOURS = (256, 64, 16)
_MOST_BYTES = 60_000_000
_MOST_PIXELS = 100_000_000  # four bytes each while it is worked on
_SIXTEEN_TO_EIGHT_BITS = 1 / 257  # 65535 becomes 255
_GREYS = 255

# Only what is decoded in this process: some formats would start a foreign program.
_FORMATS = frozenset({"JPEG", "MPO", "PNG", "WEBP", "TIFF", "GIF", "BMP", "AVIF"})
_ORIENTATION = 0x0112  # Exif 2.32 (CIPA DC-008), 4.6.4 A: tag 274

# What a decoder raises on bytes that are not what they claim.
_BROKEN = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    LookupError,
    TypeError,
    AttributeError,
    ArithmeticError,
    AssertionError,
    MemoryError,
    RuntimeError,
    struct.error,
    zlib.error,
)
_SAVE_AS = "Save it as JPEG or PNG, then give that file."

# What many telephones write (ISO/IEC 23008-12: file type box with one of these brands; from memory).
_HEIC_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})


def take_over(folder: Path, source: Path, *, number: int, shows: str = "") -> Picture:
    """Write the picture as `folder`/pictures/NN.jpg, durably, and return where it stands and its SHA-256.

    number: of the picture in this run, from 1; what stands under it already is replaced. shows: what it
    shows, in words. Turned upright by its orientation tag (Exif 2.32), the longer side at most 1600 px, never
    enlarged; what is transparent becomes white; of a moving picture the first frame is taken. The same
    file gives the same bytes with the same version of the library.
    Raises WrongUseError where there is no such file or it is too big, FileFormatError where it is no
    picture that can be read, FileWriteError where the new one cannot be written.
    """
    if number < 1:
        raise WrongUseError(f"{number} is not the number of a picture: they begin with 1.")
    written = _written_anew(_bytes_of(source), name=on_one_line(str(source)))
    place = folder / PICTURES
    path = place / f"{number:02d}.jpg"
    try:
        place.mkdir(exist_ok=True)
        sync_folder(folder)
    except OSError as error:
        raise FileWriteError(
            f"{place} could not be made: {error.strerror or error}.",
            next_step="Check the folder's rights and the free space, then take the picture over again.",
        ) from error
    write_whole(path, written)
    return Picture(file=f"{PICTURES}/{path.name}", shows=shows, sha256=sha256_hex(written))


def take_over_logo(folder: Path, source: Path) -> Picture:
    """Write a shop's mark as `folder`/logo.png, durably, and return where it stands and its SHA-256.

    At most 600 x 200 px and 60 kB, never enlarged; what is transparent becomes white. Colours are given up
    for that before pixels are.
    Raises as `take_over` does.
    """
    written = logo_bytes(source)
    write_whole(folder / LOGO, written)
    return Picture(file=LOGO, sha256=sha256_hex(written))


def logo_bytes(source: Path) -> bytes:
    """Return a shop's mark as it is taken over, a PNG. Raise as `take_over` does."""
    from PIL import Image

    pixels = _pixels_of(_bytes_of(source), name=on_one_line(str(source)), longer_px=_LOGO_PX[0])
    pixels.thumbnail(_LOGO_PX, Image.Resampling.LANCZOS)
    return _small_png(pixels)


def _small_png(pixels: "PixelImage") -> bytes:
    from PIL import Image

    while True:
        # From bare pixels: an image that was read carries its comments along into the next file.
        bare = Image.frombytes("RGB", pixels.size, pixels.tobytes())
        for image in (bare, *(bare.quantize(colors) for colors in _LOGO_COLOURS)):
            written = BytesIO()
            image.save(written, "PNG", optimize=True)
            if len(written.getvalue()) <= _LOGO_MOST_BYTES:
                return written.getvalue()
        width, height = pixels.size
        pixels = pixels.resize((max(1, width // 2), max(1, height // 2)), Image.Resampling.LANCZOS)


def _bytes_of(source: Path) -> bytes:
    name = on_one_line(str(source))
    try:
        found = source.stat()
        if stat.S_ISDIR(found.st_mode):
            raise WrongUseError(f"{name} is a folder.", next_step="Name the picture in it.")
        if not stat.S_ISREG(found.st_mode):
            raise WrongUseError(f"{name} is not a file.", next_step="Name a picture file.")
        with source.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)  # it may have grown since
    except FileNotFoundError:
        raise WrongUseError(
            f"{name} is not there.", next_step="Check the path; is the card or stick still in?"
        ) from None
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        reason = getattr(error, "strerror", None) or error
        raise FileFormatError(
            f"{name} cannot be read: {reason}.", next_step="Check the file's rights and the card or stick."
        ) from error
    if len(data) > _MOST_BYTES:
        raise WrongUseError(
            f"{name} is larger than {_MOST_BYTES // 1_000_000} MB.", next_step="Give a smaller picture."
        )
    return data


def _written_anew(data: bytes, *, name: str) -> bytes:
    """Return the picture's pixels, upright and small, as a JPEG without anything else."""
    from PIL import Image

    pixels = _pixels_of(data, name=name, longer_px=_LONGER_SIDE_PX)
    written = BytesIO()
    # From bare pixels: an image that was read carries its comments along into the next file.
    bare = Image.frombytes("RGB", pixels.size, pixels.tobytes())
    bare.save(written, "JPEG", quality=_QUALITY, optimize=True, subsampling="4:2:0")
    return written.getvalue()


def _pixels_of(data: bytes, *, name: str, longer_px: int) -> "PixelImage":
    """Return the picture upright, its longer side at most so many pixels, in red, green and blue.

    Raises FileFormatError, or WrongUseError where it has too many pixels. name: of the file, for messages.
    """
    from PIL import Image, UnidentifiedImageError

    Image.init()
    library = logging.getLogger("PIL")
    if not library.handlers:  # else its remarks on broken files land between the lines of the screen
        library.addHandler(logging.NullHandler())
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # odd tags and sizes that are judged here by a limit of ours
            with Image.open(BytesIO(data), formats=sorted(_FORMATS & set(Image.OPEN))) as image:
                _require_few_pixels(image, name=name)
                return _small_and_upright(image, longer_px)
    except Image.DecompressionBombError:  # the library's own limit lies higher, and is looked at first
        raise _too_many_pixels(name) from None
    except UnidentifiedImageError as error:
        if data[4:8] == b"ftyp" and data[8:12] in _HEIC_BRANDS:
            raise FileFormatError(
                f"{name} is a HEIC picture; this kind is not read here.",
                next_step="Save it as JPEG, or set the camera to JPEG and take it again.",
            ) from error
        raise FileFormatError(f"{name} is no picture that can be read here.", next_step=_SAVE_AS) from error
    except _BROKEN as error:
        raise FileFormatError(
            f"{name} is cut short, broken, or written in a way that is not read here.",
            next_step="Copy it from the camera again, or save it as JPEG or PNG.",
        ) from error


def _require_few_pixels(image: "PixelImage", *, name: str) -> None:
    if image.width * image.height > _MOST_PIXELS:
        raise _too_many_pixels(name)


def _too_many_pixels(name: str) -> WrongUseError:
    return WrongUseError(
        f"{name} has more than {_MOST_PIXELS // 1_000_000} million pixels.",
        next_step="Give a smaller picture.",
    )


def _small_and_upright(image: "PixelImage", longer_px: int) -> "PixelImage":
    from PIL import Image

    size = None
    if image.format == "JPEG":
        size = _fitting(image.width, image.height, longer_px)
        image.draft(
            None, size
        )  # a large one is decoded at a half, a quarter or an eighth, never below `size`
    image.load()
    if size is None:
        size = _fitting(
            image.width, image.height, longer_px
        )  # only now: some decoders turn it upright themselves
    upright = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_270,  # counted against the clock
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_90,
    }
    turn = upright.get(_orientation(image))
    pixels = _in_rgb(image)
    if pixels.size != size:
        pixels = pixels.resize(size, Image.Resampling.LANCZOS, reducing_gap=3.0)
    return pixels if turn is None else pixels.transpose(turn)


def _fitting(width: int, height: int, longer_px: int) -> tuple[int, int]:
    longer = max(width, height)
    if longer <= longer_px:
        return width, height
    return max(1, round(width * longer_px / longer)), max(1, round(height * longer_px / longer))


def _orientation(image: "PixelImage") -> int:
    """Return the orientation tag; 0 where none can be read: the pixels count all the same."""
    try:
        return int(image.getexif().get(_ORIENTATION, 0))
    except _BROKEN:
        return 0


def _in_rgb(image: "PixelImage") -> "PixelImage":
    """Return it in red, green and blue, 8 bits each, on white where it is transparent."""
    from PIL import Image

    if image.mode.startswith("I"):  # 16 bits of grey; a plain conversion would cut off above 255
        grey = image.convert("I").point(lambda value: value * _SIXTEEN_TO_EIGHT_BITS + 0.5)
        return grey.convert("L").convert("RGB")
    if image.has_transparency_data:
        drawn = image.convert("RGBA")
        ground = Image.new("RGBA", drawn.size, (_GREYS, _GREYS, _GREYS, _GREYS))
        return Image.alpha_composite(ground, drawn).convert("RGB")
    return image.convert("RGB")
