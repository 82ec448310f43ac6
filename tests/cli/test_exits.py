import errno
from pathlib import Path

import click
import pytest

from verify.cli.exits import exit_code, run_command
from verify.values import errors
from verify.values.errors import HandbackError


def ended(error: BaseException | int | None) -> int:
    @click.group()
    def group() -> None:
        pass

    @group.command("go")
    def go() -> int | None:
        if isinstance(error, BaseException):
            raise error
        return error

    with pytest.raises(SystemExit) as caught:
        run_command(group, ["go"])
    assert isinstance(caught.value.code, int)
    return caught.value.code


@pytest.mark.parametrize("code", [0, 1, 2, 3])
def test_a_commands_code_is_the_exit_code(code: int) -> None:
    assert ended(code) == code


def test_nothing_returned_is_good() -> None:
    assert ended(None) == 0


@pytest.mark.parametrize("name", errors.__all__)
def test_every_error_of_the_family_ends_as_a_sentence(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    kind = getattr(errors, name)
    error = (
        kind("It is so.", where="a.yaml:3")
        if name == "ChecklistError"
        else kind("It is so.", next_step="Do that.")
    )
    code = ended(error)
    said = capsys.readouterr().err
    assert code == exit_code(error)
    assert code in (1, 2, 3)
    assert "It is so." in said
    assert "Traceback" not in said


def test_altered_is_a_finding_and_not_merely_a_failure() -> None:
    assert exit_code(errors.AlteredError("x")) == 1
    assert exit_code(errors.NotAReportError("x")) == 3
    assert exit_code(HandbackError("x")) == 3
    assert exit_code(errors.WrongUseError("x")) == 2


def test_a_full_disk_is_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert ended(OSError(errno.ENOSPC, "No space left on device", "/media/stick/x")) == 3
    said = capsys.readouterr().err
    assert "No space left" in said
    assert "/media/stick/x" in said
    assert "Traceback" not in said


def test_a_fault_of_the_tool_itself_shows_no_traceback_but_keeps_it(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert ended(ZeroDivisionError("by zero")) == 3
    said = capsys.readouterr().err
    assert "Traceback" not in said
    kept = next(tmp_path.glob("handback-fault-*.txt"))
    assert str(kept) in said
    assert "ZeroDivisionError" in kept.read_text(encoding="utf-8")


def test_ctrl_c_says_that_everything_is_kept(capsys: pytest.CaptureFixture[str]) -> None:
    assert ended(KeyboardInterrupt()) == 130
    assert "kept" in capsys.readouterr().err
