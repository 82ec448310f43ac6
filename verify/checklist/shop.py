"""A shop's own file (`format: shop/1`): who it is, what it promises, and limits of its own.

It is read when a run begins, and what it says is copied into the run: a report never reads it again. Its
limits are those of a file of shop limits, and are read by `overrides`.
"""

import re
from collections.abc import Iterable
from pathlib import Path

import msgspec

from verify.checklist.fields import Fields, head
from verify.checklist.model import Checklist
from verify.checklist.near_miss import nearest
from verify.checklist.nodes import Items, Mistakes, Node, Scalar, Table, read_text, read_tree
from verify.checklist.overrides import Override, read_overrides
from verify.values.errors import ChecklistError

SHOP_FORMAT = "shop/1"
SHOP_FILE = "shop.yaml"
PICTURE_ENDINGS = (".png", ".jpg", ".jpeg", ".webp", ".gif", ".bmp", ".tif", ".tiff")

_KEYS = ("format", "name", "address", "telephone", "mail", "web", "logo", "terms", "warranty", "limits")
_WARRANTY_KEYS = ("days", "says")
# Bounds, in characters and lines: what fits a page's first screen and a sheet of paper; no source.
_LONGEST = {"name": 80, "telephone": 40, "mail": 120, "web": 120, "logo": 120, "warranty": 300, "says": 300}
_ADDRESS_LINES, _ADDRESS_LINE = 6, 80
_TERMS, _TERM = 12, 600
_MOST_DAYS = 3650
_FEWEST_DIGITS, _MOST_DIGITS = 3, 20  # emergency-like short numbers; ITU-T E.164 has 15, and an extension
_TELEPHONE = re.compile(r"[\d +()./,;ext-]+", re.ASCII | re.IGNORECASE)
_MAIL = re.compile(r"[^\s@<>]+@[^\s@<>]+")


class ShopFile(msgspec.Struct, frozen=True, kw_only=True):
    """What the file says. logo: the picture beside it; None: there is none.

    warranty_days: from the day that the machine is handed back; None: no number. limits: those of the checks
    of the checklists it was read with.
    """

    name: str
    address: tuple[str, ...] = ()
    telephone: str = ""
    mail: str = ""
    web: str = ""
    logo: Path | None = None
    warranty: str = ""
    warranty_days: int | None = None
    terms: tuple[str, ...] = ()
    limits: tuple[Override, ...] = ()


def load_shop(path: Path) -> ShopFile:
    """Read a shop's file but for its limits.

    Raises ChecklistError ("file:line", what was probably meant) for the first mistake; WrongUseError where
    the file cannot be opened.
    """
    return parse_shop(read_text(path), path=path)


def parse_shop(text: str, *, path: Path, checklists: Iterable[Checklist] | None = None) -> ShopFile:
    """Read a shop's file from its text; path: where it lies, for its logo and for messages.

    checklists: the shipped ones, whose checks the limits are for; None: the limits are not read.
    Raises ChecklistError for the first mistake.
    """
    found, mistakes = _read(text, path, checklists)
    if found is None or mistakes:
        raise mistakes[0]
    return found


def find_shop_mistakes(text: str, *, path: Path, checklists: Iterable[Checklist]) -> list[ChecklistError]:
    """Return all mistakes of a shop's file in the order of their lines; empty where it is good."""
    return _read(text, path, checklists)[1]


def _read(
    text: str, path: Path, checklists: Iterable[Checklist] | None
) -> tuple[ShopFile | None, list[ChecklistError]]:
    mistakes = Mistakes(str(path))
    found = None
    try:
        top = head(read_tree(text, mistakes), expected=SHOP_FORMAT, mistakes=mistakes)
        fields = Fields(top, known=_KEYS, owner="shop file", mistakes=mistakes)
        days, warranty = _warranty(fields)
        found = ShopFile(
            name=_short(fields, "name"),
            address=_lines(fields, "address", most=_ADDRESS_LINES, longest=_ADDRESS_LINE),
            telephone=_telephone(fields),
            mail=_mail(fields),
            web=_short(fields, "web", default=""),
            logo=_logo(fields, path.parent),
            warranty=warranty,
            warranty_days=days,
            terms=_lines(fields, "terms", most=_TERMS, longest=_TERM),
            limits=_limits(fields, checklists),
        )
    except ChecklistError as error:
        mistakes.end(error)
    return found, mistakes.in_order()


def _short(fields: Fields, key: str, *, default: str | None = None) -> str:
    """Return a text that is not longer than may be; empty where it may be missing and is."""
    if default is not None and not fields.has(key):
        return default
    text = fields.text(key)
    if len(text) > _LONGEST[key]:
        fields.wrong(key, _too_long(key, len(text), _LONGEST[key]), "Shorten it.")
    return text


def _too_long(key: str, length: int, longest: int) -> str:
    return f'"{key}" has {length} characters; at most {longest} are shown.'


def _lines(fields: Fields, key: str, *, most: int, longest: int) -> tuple[str, ...]:
    """Return a list of texts; one text alone is a list of one."""
    node = fields.table.get(key)
    if node is None:
        return ()
    items: tuple[Node, ...] = node.items if isinstance(node, Items) else (node,)
    if len(items) > most:
        fields.wrong(key, f'"{key}" has {len(items)} entries; at most {most} are shown.', "Shorten it.")
    found = []
    for item in items[:most]:
        if not isinstance(item, Scalar) or item.empty or not item.text:
            fields.mistakes.add(
                item.line,
                f'"{key}" must be one text, or a list of texts.',
                'Start each with a dash; put a text with ": " in it in quotes.',
            )
        elif len(item.text) > longest:
            fields.mistakes.add(item.line, _too_long(key, len(item.text), longest), "Shorten or divide it.")
        else:
            found.append(item.text)
    return tuple(found)


def _telephone(fields: Fields) -> str:
    text = _short(fields, "telephone", default="")
    digits = sum(character.isdigit() for character in text)
    if text and not (_TELEPHONE.fullmatch(text) and _FEWEST_DIGITS <= digits <= _MOST_DIGITS):
        fields.wrong(
            "telephone", f'"{text[:60]}" is no telephone number.', 'Write it like "+1 202 555 0142".'
        )
    return text


def _mail(fields: Fields) -> str:
    text = _short(fields, "mail", default="")
    if text and _MAIL.fullmatch(text) is None:
        fields.wrong("mail", f'"{text[:60]}" is no mail address.', "Write it like name@example.org.")
    return text


def _logo(fields: Fields, folder: Path) -> Path | None:
    """Return the picture beside the file; None where none is named."""
    text = _short(fields, "logo", default="")
    if not text:
        return None
    if text in {".", ".."} or Path(text).name != text or "\\" in text:
        fields.wrong("logo", f'"{text}" is not the name of a file.', "Put the picture beside this file.")
        return None
    path = folder / text
    if not path.is_file():
        beside = sorted(one.name for one in _files(folder) if one.suffix.lower() in PICTURE_ENDINGS)
        near = nearest(text, beside)
        fields.wrong(
            "logo",
            f'"{text}" does not lie beside this file.',
            f'Did you mean "{near}"?' if near else f"Put it into {folder}, or take the line out.",
        )
        return None
    return path


def _files(folder: Path) -> tuple[Path, ...]:
    try:
        return tuple(one for one in folder.iterdir() if one.is_file())
    except OSError:
        return ()


def _warranty(fields: Fields) -> tuple[int | None, str]:
    """Return how many days, and a sentence; each may be missing."""
    node = fields.table.get("warranty")
    if not isinstance(node, Table):
        return None, _short(fields, "warranty", default="")
    inner = Fields(node, known=_WARRANTY_KEYS, owner="warranty", mistakes=fields.mistakes)
    if not node.entries:
        fields.wrong("warranty", '"warranty" says nothing.', "Add days: 90, or take the line out.")
    days = None
    if inner.has("days"):
        days = inner.whole("days", least=1)
        if days > _MOST_DAYS:
            inner.wrong("days", f'"days" is {days}; at most {_MOST_DAYS} can be given.', "Correct it.")
    return days, _short(inner, "says", default="")


def _limits(fields: Fields, checklists: Iterable[Checklist] | None) -> tuple[Override, ...]:
    table = fields.inner("limits")
    if table is None or checklists is None:
        return ()
    if not table.entries:
        fields.wrong("limits", "No limit stands here.", "Add one, or take the line out.")
    return read_overrides(table, (check for each in checklists for check in each.checks), fields.mistakes)
