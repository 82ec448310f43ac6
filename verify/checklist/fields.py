"""Take typed values out of one table of a file, noting every mistake with its line.

Each reader returns a harmless value where it noted a mistake; who builds an object looks first whether
any was noted.
"""

import re
from collections.abc import Iterable, Mapping

from verify.checklist.near_miss import did_you_mean
from verify.checklist.nodes import Items, Mistakes, Node, Scalar, Table
from verify.values import Quantity, Unit, dimension, parse_quantity
from verify.values.errors import InvalidValueError

_ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*", re.ASCII)
_NUMBER = re.compile(r"\d{1,9}(\.\d{1,9})?", re.ASCII)
_WHOLE = re.compile(r"\d{1,9}", re.ASCII)
MOST_ENTRIES = 200
"""Of one list; a job has some dozens of checks, and putting them in order grows with the square of them."""

_FLAGS = {"yes": True, "true": True, "no": False, "false": False}


def is_id(text: str) -> bool:
    """Return whether the text can be an id: small letters, digits and single dashes."""
    return _ID.fullmatch(text) is not None


def _as_id(text: str) -> str:
    """Return the sentence that tells how the text would be written as an id."""
    near = re.sub(r"[^a-z0-9]+", "-", text[:60].lower()).strip("-")
    return f'Use small letters, digits and dashes: "{near or "close-base"}".'


class Fields:
    """The fields of one table; `owner` names it in messages ('check "cover-flush"')."""

    def __init__(self, table: Table, *, known: Iterable[str], owner: str, mistakes: Mistakes) -> None:
        self.table = table
        self.owner = owner
        self.mistakes = mistakes
        names = tuple(known)
        for key, _ in table.entries:
            if key.text not in names:
                mistakes.add(
                    key.line, f'"{key.text}" is not a key of a {owner}.', did_you_mean(key.text, names)
                )

    def has(self, key: str) -> bool:
        """Return whether the key stands in the table."""
        return self.table.get(key) is not None

    def line(self, key: str) -> int:
        """Return the line of the key's value, or of the table where it has none."""
        node = self.table.get(key)
        return self.table.line if node is None else node.line

    def wrong(self, key: str, what: str, next_step: str = "") -> None:
        """Note a mistake at the key's line."""
        self.mistakes.add(self.line(key), what, next_step)

    def text(self, key: str, *, default: str | None = None) -> str:
        """Return a text; without `default` it must be there and not be empty."""
        node = self.table.get(key)
        if node is None:
            if default is None:
                self.wrong(key, f'This {self.owner} has no "{key}".', f'Add a line "{key}: …".')
            return default or ""
        if not isinstance(node, Scalar):
            self.wrong(key, f'"{key}" must be one text.', "Take the list or the inner keys out.")
            return ""
        if node.empty or not node.text:
            self.wrong(key, f'"{key}" has no value.', "Write one, or take the line out.")
            return ""
        return node.text

    def optional(self, key: str) -> str | None:
        """Return a text, or None where the key is not there."""
        return self.text(key) if self.has(key) else None

    def sentence(self, key: str, *, most_words: int, default: str | None = None) -> str:
        """Return a text of at most so many words."""
        text = self.text(key, default=default)
        if (words := len(text.split())) > most_words:
            self.wrong(
                key, f'"{key}" has {words} words; at most {most_words} are read at the bench.', "Shorten it."
            )
        return text

    def identifier(self, key: str, *, default: str | None = None) -> str:
        """Return an id."""
        text = self.text(key, default=default)
        if text and not is_id(text):
            self.wrong(key, f'"{text}" cannot be an id.', _as_id(text))
        return text

    def choice(self, key: str, choices: Iterable[str]) -> str:
        """Return one of the choices."""
        return self._chosen(key, self.text(key), tuple(choices))

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts, each once; empty where the key is not there."""
        found: list[str] = []
        for item in self._items(key, f"Write it in brackets: {key}: [one, two]."):
            if not isinstance(item, Scalar) or not item.text:
                self.mistakes.add(
                    item.line, f'"{key}" must be a list of words.', "Look at the brackets and commas."
                )
            elif item.text in found:
                self.mistakes.add(item.line, f'"{item.text}" stands twice in "{key}".', "Keep one of them.")
            else:
                found.append(item.text)
        return tuple(found)

    def choices(self, key: str, known: Iterable[str]) -> tuple[str, ...]:
        """Return a list of known words."""
        words = tuple(known)
        return tuple(self._chosen(key, text, words) for text in self.texts(key))

    def identifiers(self, key: str) -> tuple[str, ...]:
        """Return a list of ids."""
        found = self.texts(key)
        for text in found:
            if not is_id(text):
                self.wrong(key, f'"{text}" cannot be an id.', _as_id(text))
        return found

    def flag(self, key: str) -> bool:
        """Return yes or no; no where the key is not there."""
        text = self.text(key, default="no").lower()
        if text and text not in _FLAGS:
            self.wrong(
                key, f'"{key}" must be yes or no, not "{text}".', f'Write "{key}: yes" or leave it out.'
            )
        return _FLAGS.get(text, False)

    def number(self, key: str, *, least: float, most: float) -> float:
        """Return a number in the range, ends included."""
        text = self.text(key)
        value = float(text) if _NUMBER.fullmatch(text) else None
        if text and (value is None or not least <= value <= most):
            self.wrong(
                key, f'"{key}" must be a number from {least:g} to {most:g}, not "{text}".', "Correct it."
            )
        return least if value is None else value

    def whole(self, key: str, *, least: int) -> int:
        """Return a whole number of at least `least`."""
        text = self.text(key)
        value = int(text) if _WHOLE.fullmatch(text) else None
        if text and (value is None or value < least):
            self.wrong(key, f'"{key}" must be a whole number from {least} on, not "{text}".', "Correct it.")
        return least if value is None else value

    def quantity(self, key: str, *, of: Unit | None = None) -> Quantity | None:
        """Return a quantity, None where the key is not there; of: a unit of the dimension it must have."""
        text = self.optional(key)
        if not text:
            return None
        try:
            found = parse_quantity(text)
        except InvalidValueError as error:
            self.wrong(key, error.what, error.next_step)
            return None
        if of is not None and dimension(found.unit) != dimension(of):
            self.wrong(key, f'"{text}" is no {dimension(of)}.', f'Write "{key}" like "20 {of}".')
            return None
        return found

    def inner(self, key: str) -> Table | None:
        """Return the table under a key, or None where it is not there."""
        node = self.table.get(key)
        if node is None or isinstance(node, Table):
            return node
        self.wrong(
            key, f'"{key}" must have keys of its own.', f"Write them indented below {key}:, or in braces."
        )
        return None

    def entries(self, key: str) -> tuple[Node, ...]:
        """Return the items of a list of anything; empty where the key is not there."""
        return self._items(key, "Start each entry with a dash.")

    def words(self, key: str) -> Mapping[str, str]:
        """Return a table of texts; empty where the key is not there."""
        table = self.inner(key)
        if table is None:
            return {}
        return words_of(table, self.mistakes)

    def _items(self, key: str, hint: str) -> tuple[Node, ...]:
        node = self.table.get(key)
        if node is None:
            return ()
        if not isinstance(node, Items):
            self.wrong(key, f'"{key}" must be a list.', hint)
            return ()
        if len(node.items) > MOST_ENTRIES:
            self.wrong(
                key,
                f'"{key}" has {len(node.items)} entries; at most {MOST_ENTRIES} are read.',
                "Split the file.",
            )
            return ()
        return node.items

    def _chosen(self, key: str, text: str, known: tuple[str, ...]) -> str:
        if text and text not in known:
            self.wrong(key, f'"{text}" is not a known word for "{key}".', did_you_mean(text, known))
        return text


def words_of(table: Table, mistakes: Mistakes) -> Mapping[str, str]:
    """Return a table whose values are all texts."""
    found: dict[str, str] = {}
    for key, value in table.entries:
        if isinstance(value, Scalar) and not value.empty:
            found[key.text] = value.text
        else:
            mistakes.add(key.line, f'"{key.text}" must have one text.', f'Write "{key.text}: …".')
    return found


def head(node: Node, *, expected: str, mistakes: Mistakes) -> Table:
    """Return a file's top table after its format was found to be the expected one ("checklist/1").

    Raises ChecklistError where it is no table, or of another format: nothing below could be trusted.
    """
    kind, _, _ = expected.partition("/")
    start = f"Start the file with: format: {expected}"
    if not isinstance(node, Table) or not node.entries:
        raise mistakes.error(node.line, f"This is not a {kind} file.", start)
    written = node.get("format")
    if written is None:
        raise mistakes.error(node.line, "The file does not say its format.", start)
    if not isinstance(written, Scalar) or written.text != expected:
        text = written.text if isinstance(written, Scalar) else "something else"
        same_kind = text.partition("/")[0] == kind
        raise mistakes.error(
            written.line,
            f'The format is "{text[:60]}"; this tool reads "{expected}".',
            "Use a newer tool for this file." if same_kind else start,
        )
    if node.entries[0][0].text != "format":
        mistakes.add(node.entries[0][0].line, '"format" must be the first key.', start)
    return node
