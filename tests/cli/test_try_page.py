from pathlib import Path

import pytest
from click.testing import CliRunner

from verify.cli import main
from verify.cli.group import handback
from verify.report.try_page import try_page


def test_the_page_is_written_whole_and_not_opened_unless_asked(tmp_path: Path) -> None:
    path = tmp_path / "try.html"
    done = CliRunner().invoke(handback, ["try", str(path)])
    assert done.exit_code == 0
    assert str(path) in done.output
    assert path.read_text(encoding="utf-8") == try_page()


def test_where_no_window_can_be_opened_its_place_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    path = tmp_path / "try.html"
    done = CliRunner().invoke(handback, ["try", str(path), "--open"])
    assert done.exit_code == 0
    assert f"Open it by hand: {path}" in done.output
    assert path.is_file()


def test_no_name_at_all_is_told_and_is_no_fault_of_the_tool(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["try", ""])
    assert ended.value.code == 3
    assert "No file is named" in capsys.readouterr().err
