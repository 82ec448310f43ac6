"""A YAML file as a tree in which every key and value knows its line.

Every scalar keeps the text that was written: `no` stays "no" and `0.30` stays "0.30"; whoever reads a
field decides what it is. Refused: what is not UTF-8, is too big, too deep or more than one document;
aliases, anchors and tags. Keys given twice are collected as mistakes, for the tree can still be read.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from verify.values.errors import ChecklistError, WrongUseError

if TYPE_CHECKING:
    import yaml

MAX_BYTES = 1 << 18
"""A checklist is some kilobytes; more than 256 KiB is another file, and takes seconds to read."""

MOST_MISTAKES = 100
"""Nobody reads more of one file at once."""

MAX_DEPTH = 8
"""The file formats need five levels; a bound keeps a malicious file from piling up without end."""

_ALIAS = "An anchor (&name) or alias (*name) is not read here: a few nested ones can grow without bound."


class Scalar(msgspec.Struct, frozen=True, kw_only=True):
    """A word, number or sentence, as text, on one line with single spaces.

    empty: nothing was written (or ~ or null, unquoted).
    """

    text: str
    line: int
    empty: bool = False


class Items(msgspec.Struct, frozen=True, kw_only=True):
    """A list."""

    items: tuple["Node", ...]
    line: int


class Table(msgspec.Struct, frozen=True, kw_only=True):
    """Keys with values, each key once, in the file's order."""

    entries: tuple[tuple[Scalar, "Node"], ...]
    line: int

    def get(self, key: str) -> "Node | None":
        """Return the key's value, or None where the key is not there."""
        return next((value for name, value in self.entries if name.text == key), None)


Node = Scalar | Items | Table


class Mistakes:
    """The mistakes found in one file, in the order they were found."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.found: list[ChecklistError] = []

    def add(self, line: int, what: str, next_step: str = "") -> None:
        """Note a mistake at a line.

        Raises ChecklistError, which is noted too, where there are too many to go on.
        """
        self.found.append(self.error(line, what, next_step))
        if len(self.found) == MOST_MISTAKES:
            self.found.append(
                self.error(line, "The mistakes below are not told: too many.", "Mend these first.")
            )
            raise self.found[-1]

    def error(self, line: int, what: str, next_step: str = "") -> ChecklistError:
        """Return a mistake as an error, to be raised where reading cannot go on."""
        return ChecklistError(what, where=f"{self.name}:{line}", next_step=next_step)

    def end(self, error: ChecklistError) -> None:
        """Note the mistake that reading ended at, once."""
        if not any(error is noted for noted in self.found):
            self.found.append(error)

    def in_order(self) -> list[ChecklistError]:
        """Return the mistakes in the order of their lines."""
        return sorted(self.found, key=lambda error: int(error.where.rpartition(":")[2]))


def read_text(path: Path) -> str:
    """Return a file's text.

    Raises ChecklistError where it is too big or not UTF-8; WrongUseError where it cannot be opened.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise WrongUseError(
            f"{path} cannot be read: {error.strerror or error}.",
            next_step="Check the name and the rights of the file.",
        ) from error
    return decode(data, name=str(path))


def decode(data: bytes, *, name: str) -> str:
    """Return the text of a file's bytes; a byte order mark is dropped.

    Raises ChecklistError where they are too many or not UTF-8.
    """
    mistakes = Mistakes(name)
    _refuse_too_big(len(data), mistakes)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise mistakes.error(
            data[: error.start].count(b"\n") + 1,
            f"Byte {data[error.start]:#04x} is not UTF-8 text.",
            "Save the file as UTF-8.",
        ) from error


def read_tree(text: str, mistakes: Mistakes) -> Node:
    """Read the one document of a text; add keys that stand twice to the mistakes.

    Raises ChecklistError where the text is not YAML, or is YAML that is refused.
    """
    import yaml

    _refuse_too_big(len(text), mistakes)
    quick = getattr(yaml, "CSafeLoader", None)
    if quick is not None:
        noted = len(mistakes.found)
        try:
            return _Builder(mistakes).build(yaml.parse(text, Loader=quick))
        except (yaml.YAMLError, ValueError, OverflowError):
            # The slow parser tells more exactly what is wrong.
            del mistakes.found[noted:]
    try:
        return _Builder(mistakes).build(yaml.parse(text, Loader=yaml.SafeLoader))
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        raise mistakes.error(
            mark.line + 1 if mark else 1,
            f"This is not YAML: {error.problem or 'it cannot be read'}.",
            'Look at the colons, quotes and indents here; put a text with ": " in it in quotes.',
        ) from error
    except yaml.reader.ReaderError as error:
        line = text[: error.position].count("\n") + 1
        raise mistakes.error(
            line, "A character here cannot be printed.", "Take it out, or type the line anew."
        ) from error
    except (yaml.YAMLError, ValueError, OverflowError) as error:
        # The parser lets a few of Python's own errors through, for instance on the escape "\UFFFFFFFF".
        raise mistakes.error(1, f"This is not YAML: {error}.", "Look at the escapes (\\u, \\U).") from error


def _refuse_too_big(size: int, mistakes: Mistakes) -> None:
    if size > MAX_BYTES:
        raise mistakes.error(
            1, "The file is larger than 256 KiB.", "A checklist has some kilobytes: is it this file?"
        )


class _Open:
    """A list or table that is still being read."""

    def __init__(self, line: int, *, table: bool) -> None:
        self.line = line
        self.table = table
        self.items: list[Node] = []
        self.entries: dict[str, tuple[Scalar, Node]] = {}
        self.key: Scalar | None = None


class _Builder:
    """Builds the tree from the parser's events, without recursion."""

    def __init__(self, mistakes: Mistakes) -> None:
        self._mistakes = mistakes
        self._open: list[_Open] = []
        self._root: Node | None = None

    def build(self, events: "Iterator[yaml.Event]") -> Node:
        import yaml

        for event in events:
            # The stubs allow an event without a mark; the parser makes none.
            line = event.start_mark.line + 1 if event.start_mark is not None else 1
            if isinstance(event, yaml.DocumentStartEvent) and self._root is not None:
                raise self._mistakes.error(
                    line, "A second document starts here.", "Keep one checklist a file."
                )
            if isinstance(event, yaml.NodeEvent):
                self._refuse_marks(event, line)
            if isinstance(event, yaml.ScalarEvent):
                self._put(self._scalar(event, line))
            elif isinstance(event, yaml.CollectionStartEvent):
                self._begin(line, table=isinstance(event, yaml.MappingStartEvent))
            elif isinstance(event, yaml.CollectionEndEvent):
                self._put(_closed(self._open.pop()))
        if self._root is None:
            raise self._mistakes.error(1, "The file is empty.", "Start it with a line that says format: …")
        return self._root

    def _refuse_marks(self, event: "yaml.NodeEvent", line: int) -> None:
        if event.anchor is not None:
            raise self._mistakes.error(line, _ALIAS, "Write the text out where it is needed.")
        tag = getattr(event, "tag", None)
        if tag is not None:
            raise self._mistakes.error(line, f'A tag ("{tag}") is not read here.', "Take it out.")

    def _scalar(self, event: "yaml.ScalarEvent", line: int) -> Scalar:
        text: str = event.value
        if any(not character.isprintable() and not character.isspace() for character in text):
            # Escapes ("\e[2J") would reach the screen; half a character cannot be written at all.
            raise self._mistakes.error(line, "A character here cannot be printed.", "Take the escape out.")
        plain = not event.style  # None, or empty where libyaml parsed it
        return Scalar(text=" ".join(text.split()), line=line, empty=plain and text in {"", "~", "null"})

    def _begin(self, line: int, *, table: bool) -> None:
        if len(self._open) == MAX_DEPTH:
            raise self._mistakes.error(
                line, f"This is nested deeper than {MAX_DEPTH} levels.", "Make it flatter."
            )
        if self._open and self._open[-1].table and self._open[-1].key is None:
            raise self._mistakes.error(line, "A key must be a word.", "Look at the braces and brackets here.")
        self._open.append(_Open(line, table=table))

    def _put(self, node: Node) -> None:
        if not self._open:
            self._root = node
            return
        top = self._open[-1]
        if not top.table:
            top.items.append(node)
        elif top.key is None:
            # _begin has refused every other kind of key.
            if isinstance(node, Scalar):
                top.key = node
        else:
            key, top.key = top.key, None
            if key.text in top.entries:
                first = top.entries[key.text][0].line
                self._mistakes.add(
                    key.line,
                    f'"{key.text}" stands here a second time (first in line {first}).',
                    "Keep one of them.",
                )
            else:
                top.entries[key.text] = (key, node)


def _closed(done: _Open) -> Node:
    if done.table:
        return Table(entries=tuple(done.entries.values()), line=done.line)
    return Items(items=tuple(done.items), line=done.line)
