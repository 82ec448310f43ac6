"""Whether a real part that a test needs is there: skip at a desk, fail in continuous integration."""

import os
import shutil
import subprocess
import sys
from typing import NoReturn

import pytest

__all__ = ["missing", "require_program", "require_python_with"]


def require_program(name: str) -> str:
    """Return the program's path; skip the test where it is missing, fail where CI is set.

    A rig that is silently skipped in CI proves nothing.
    """
    path = shutil.which(name)
    return path if path is not None else missing(f"{name} is not installed")


def require_python_with(module: str) -> str:
    """Return a Python that can import the module; skip or fail as `require_program` does.

    Bindings of system libraries belong to the system's own Python, seldom to a virtual environment.
    """
    for python in (sys.executable, shutil.which("python3", path="/usr/bin")):
        if python is None:
            continue
        tried = subprocess.run([python, "-c", f"import {module}"], capture_output=True, check=False)
        if tried.returncode == 0:
            return python
    return missing(f"No Python here can import {module}")


def missing(what: str) -> NoReturn:
    """Skip the test, fail it where CI is set. what: the part that is not there, without a full stop."""
    why = f"{what}, so this rig cannot run."
    if os.environ.get("CI"):
        pytest.fail(f"{why} In CI it must.", pytrace=False)
    pytest.skip(why)
