"""Handing a page to a browser by a child process.

No window is in a test's computer. In the browser's place stands a small program of the shell's, found as the
system's browsers are: it notes what it was given, and ends as its name says.
"""

from pathlib import Path

import pytest

from verify.machine.browser import open_page
from verify.values.errors import MachineError


@pytest.fixture
def browser(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "shows"
    monkeypatch.setenv("DISPLAY", ":99")
    monkeypatch.setenv("PATH", str(tmp_path))  # no browser of this computer is found
    monkeypatch.setenv("BROWSER", f"{path} %s")
    return path


def install(path: Path, *, code: int) -> None:
    path.write_text(f'#!/bin/sh\necho "$1" > "$0.given"\nexit {code}\n', encoding="utf-8")
    path.chmod(0o755)


def test_the_page_is_handed_over_by_its_address(browser: Path, tmp_path: Path) -> None:
    install(browser, code=0)
    open_page(tmp_path / "two words.html")
    given = Path(f"{browser}.given").read_text(encoding="utf-8").strip()
    assert given == (tmp_path / "two words.html").as_uri()


def test_a_browser_that_fails_is_told_with_where_the_page_lies(browser: Path, tmp_path: Path) -> None:
    install(browser, code=1)
    with pytest.raises(MachineError, match="No browser could be opened") as raised:
        open_page(tmp_path / "try.html")
    assert str(tmp_path / "try.html") in str(raised.value.next_step)


def test_without_windows_nothing_takes_the_terminal_over(
    browser: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    install(browser, code=0)
    monkeypatch.delenv("DISPLAY")
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    with pytest.raises(MachineError, match="no windows"):
        open_page(tmp_path / "try.html")
    assert not Path(f"{browser}.given").exists()
