"""The quick parser (libyaml, where it is built in) and the slow one read the same."""

from pathlib import Path

import pytest
import yaml

from verify.checklist.nodes import Mistakes, read_tree
from verify.checklist.shipped import shipped_dir
from verify.values.errors import ChecklistError

_SHIPPED = sorted(shipped_dir().glob("*.yaml"))
_WRONG = {
    "an open quote": 'format: "checklist/1\nid: a\n',
    "a colon in a text": "format: checklist/1\nask: Look: now\n",
    "an indent that is off": "a:\n  b: 1\n c: 2\n",
    "an escape that is none": 'a: "\\q"\n',
    "a bracket left open": "a: [1, 2\nb: 3\n",
    "half a character": "a: \ud800\n",
}


def read(text: str) -> tuple[object, list[str]]:
    mistakes = Mistakes("x.yaml")
    try:
        return read_tree(text, mistakes), [str(each) for each in mistakes.found]
    except ChecklistError as error:
        return None, [str(error)]


@pytest.mark.parametrize("path", _SHIPPED, ids=lambda path: path.name)
def test_both_read_the_same_tree_and_lines(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = path.read_text(encoding="utf-8")
    quick = read(text)
    monkeypatch.delattr(yaml, "CSafeLoader", raising=False)
    assert read(text) == quick
    assert quick[0] is not None


@pytest.mark.parametrize("text", _WRONG.values(), ids=_WRONG)
def test_a_mistake_is_told_in_the_same_words(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    quick = read(text)
    monkeypatch.delattr(yaml, "CSafeLoader", raising=False)
    assert read(text) == quick
    assert quick[1]
