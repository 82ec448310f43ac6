"""A rig whose part is missing: skipped at a desk, a failure in continuous integration."""

import pytest
from _pytest.outcomes import Failed, Skipped

from verify.testing.rigs import require_program, require_python_with


def test_a_missing_program_skips_at_a_desk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(Skipped, match="no-such-program"):
        require_program("no-such-program")


def test_a_missing_program_fails_in_ci(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(Failed, match="In CI it must"):
        require_program("no-such-program")


def test_a_missing_module_fails_in_ci(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(Failed, match="no_such_module"):
        require_python_with("no_such_module")


def test_what_is_there_is_found() -> None:
    assert require_program("sh").endswith("sh")
    assert require_python_with("json")
