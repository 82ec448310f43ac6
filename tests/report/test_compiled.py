"""A template's kept compiled form: used where it is whole and of this program, else passed over."""

import sys
from pathlib import Path

import pytest
from jinja2 import DictLoader, Environment

from verify.report import compiled
from verify.report.compiled import CompiledBeside

_TEXT = "{{ 'a'|mark }} {{ told }}"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(compiled, "_TEMPLATES", tmp_path)
    monkeypatch.setattr(sys, "pycache_prefix", None)
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    return tmp_path


def _shown(text: str = _TEXT, mark: str = "!") -> str:
    environment = Environment(
        loader=DictLoader({"t": text}), bytecode_cache=CompiledBeside(), autoescape=True
    )
    environment.filters["mark"] = lambda value: value + mark
    return environment.get_template("t").render(told="b")


def _kept(folder: Path) -> Path:
    (place,) = (folder / "__pycache__").iterdir()
    return place


def test_what_is_kept_is_used(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert _shown() == "a! b"
    assert _kept(folder).is_file()

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("compiled again")

    monkeypatch.setattr(Environment, "compile", refuse)
    assert _shown() == "a! b"


def test_a_changed_template_is_compiled_anew() -> None:
    _shown()
    assert _shown("{{ told }}") == "b"


def test_a_changed_filter_of_a_changed_program_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    _shown()
    monkeypatch.setattr(compiled, "_program", lambda: b"another state")
    assert _shown(mark="?") == "a? b"


@pytest.mark.parametrize("cut", [0, 1, 31, 32, 40, -1], ids=str)
def test_a_kept_form_cut_off_by_a_power_cut_is_made_anew(folder: Path, cut: int) -> None:
    _shown()
    place = _kept(folder)
    whole = place.read_bytes()
    place.write_bytes(whole[:cut])
    assert _shown() == "a! b"
    assert place.read_bytes() == whole


def test_a_damaged_byte_is_noticed(folder: Path) -> None:
    _shown()
    place = _kept(folder)
    whole = place.read_bytes()
    place.write_bytes(whole[:60] + bytes([whole[60] ^ 1]) + whole[61:])
    assert _shown() == "a! b"
    assert place.read_bytes() == whole


def test_a_folder_that_cannot_be_written_is_no_error(folder: Path) -> None:
    (folder / "__pycache__").write_bytes(b"a file stands in the way")
    assert _shown() == "a! b"


def test_nothing_is_written_where_python_was_told_so(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    assert _shown() == "a! b"
    assert list(folder.iterdir()) == []
