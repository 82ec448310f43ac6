"""What the pages say stands in two modules, ready for translation, and nowhere else."""

import ast
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from verify.report import sheet_words, words
from verify.report.plots.pack_course import WENT_IN, WENT_OUT
from verify.report.plots.seams import PLACES

FOLDER = Path(words.__file__).parent
WORDS = {"words.py", "sheet_words.py"}
# They speak to whoever gives a command, not on a page; and the page to try speakers and keys is no report.
TERMINAL = {"prove.py", "sign_off.py", "issue.py", "try_page.py"}
MODULES = sorted(
    path
    for path in FOLDER.rglob("*.py")
    if path.name not in WORDS | TERMINAL and path.parent.name != "__pycache__"
)
TEMPLATES = sorted(path for path in FOLDER.glob("templates/*.html") if path.name != "try.html")

# Names that stand in markup or code and are not read: keys, addresses of a drawing, encodings.
_CODE = re.compile(r"[a-z0-9_./:#%&;=+*-]*|[A-Z][A-Z0-9-]*")

# What a record says, by which something in it is known: not said by the page.
_OF_THE_RECORD = {
    "battery gauge ",
    "Looked at and good.",
    "Picture taken and good.",
    WENT_IN,
    WENT_OUT,
    *PLACES,
}

_OF_MARKUP = {"look", "anchor"}  # names of style of a drawing's words


def _is_passed(node: ast.AST) -> bool:
    """Return whether nothing within can be said on a page: documentation, errors, patterns, style."""
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Constant)
    if isinstance(node, ast.Call):
        called = ast.unparse(node.func)
        return called.startswith("re.") or called.endswith("Error")
    if isinstance(node, ast.Assign):
        return ast.unparse(node.targets[0]) == "__all__"
    return isinstance(node, ast.Raise | ast.Assert) or (
        isinstance(node, ast.keyword) and node.arg in _OF_MARKUP
    )


def _texts(source: str) -> Iterator[tuple[int, str]]:
    """Give line and text of each string that could come onto a page."""
    tree = ast.parse(source)
    passed: set[int] = set()
    for node in ast.walk(tree):
        typed = [getattr(node, name, None) for name in ("annotation", "returns", "format_spec")]
        for one in (*typed, node if _is_passed(node) else None):
            if one is not None:
                passed.update(id(inner) for inner in ast.walk(one))
    for node in ast.walk(tree):
        if id(node) not in passed and isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.lineno, node.value


def said_by(source: str) -> list[str]:
    """Return the strings of a module that a person could read: more than one word, or one begun large.

    Markup is left out. A single small word by itself cannot be told from the name of a thing, so it passes.
    """
    found = []
    for number, text in _texts(source):
        is_markup = re.search(r"[<>]", text) is not None
        bare = re.sub(r"<[^>]*>?|^[^<]*>|\{[^}]*\}", " ", text) if is_markup else text
        wordy = [part for part in bare.split() if re.search(r"[^\W\d_]{2}", part)]
        joined = bool(wordy) and not is_markup and text != text.strip()
        prose = joined or len(wordy) > 1 or any(not _CODE.fullmatch(part) for part in wordy)
        if prose and text not in _OF_THE_RECORD:
            found.append(f"{number}: {text}")
    return found


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(FOLDER)))
def test_no_module_builds_a_sentence_of_its_own(module: Path) -> None:
    assert said_by(module.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "line",
    [
        'line = f"{count} checks are not done"',
        'line = f"{count} checks"',
        'line = "{count} checks"',
        'line = "; and ".join(lines)',
        'line = "Not seen."',
        'line = f"Missing: {name}"',
        'line = "for the technician"',
        'line = "<p>Not seen</p>"',
    ],
)
def test_a_sentence_in_a_module_is_found(line: str) -> None:
    assert len(said_by(line)) == 1


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_no_template_holds_a_word_of_its_own(template: Path) -> None:
    assert words_in(template.read_text(encoding="utf-8")) == []


def words_in(template: str) -> list[str]:
    """Return the words between the tags, and in what is read aloud of them."""
    inner = re.sub(r"\{%.*?%\}|\{#.*?#\}|<style>.*?</style>|<!--.*?-->", " ", template, flags=re.DOTALL)
    shown = re.findall(r"\{\{(.*?)\}\}", inner, flags=re.DOTALL)
    spoken = re.findall(r'\b(?:alt|aria-label|title|data-is|placeholder)="([^"]*)"', inner)
    quoted = [text for one in shown for text in re.findall(r"'([^']*)'|\"([^\"]*)\"", one)]
    inner = re.sub(r"\{\{.*?\}\}", " ", inner, flags=re.DOTALL)
    spoken = [re.sub(r"\{\{.*?\}\}", " ", text) for text in spoken]
    between = re.sub(r"<[^>]*>", " ", inner)
    found = [word for text in (between, *spoken) for word in re.findall(r"[^\W\d_]{2,}", text)]
    return found + [
        text
        for pair in quoted
        for text in pair
        if re.search(r"[^\W\d_]{2,} |[A-Z][a-z]", text) and "=" not in text
    ]


@pytest.mark.parametrize(
    "template",
    ["<p>Ready</p>", '<img alt="Picture {{ n }}">', "{{ 'Not yet' if late }}", "<p>{{ t.x }} of it</p>"],
)
def test_a_word_in_a_template_is_found(template: str) -> None:
    assert words_in(template)


@pytest.mark.parametrize(
    ("module", "name"),
    [
        (module, name)
        for module in (words, sheet_words)
        for name, value in vars(module).items()
        if name.isupper() and isinstance(value, Mapping) and all(type(key) is str for key in value)
    ],
    ids=str,
)
def test_no_word_is_left_over(module: object, name: str) -> None:
    sources = "".join(path.read_text(encoding="utf-8") for path in (*MODULES, *TEMPLATES))
    used = set(re.findall(r"\.([a-z_]+)|[\"']([a-z_0-9-]+)[\"']", sources))
    names = {one for pair in used for one in pair}
    plain = {key for key in getattr(module, name) if key in names}
    # A few are chosen by a name that the record gives, or made of two: those mappings are looked up whole.
    looked_up = re.search(rf"\b{name}(\.get\(|\[(?!\"))", sources)
    assert plain == set(getattr(module, name)) or looked_up
