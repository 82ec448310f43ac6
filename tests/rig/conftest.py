"""What the rigs share: the system's Chromium, driven."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from verify.testing.rigs import missing, require_program

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=require_program("chromium"), args=["--no-sandbox"])
        yield opened
        opened.close()
