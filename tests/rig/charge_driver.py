"""Change a mocked laptop while unmodified programs read it. Run under umockdev-wrapper, by a Python with gi.

usage: charge_driver.py DEVICES STEPS.json COMMAND...

STEPS.json: a list of {path: {attribute: text}}. For each step the attributes are set, then a line is sent to
the command's standard input and one line of its standard output is passed on.
"""

import json
import subprocess
import sys
from pathlib import Path

import gi

gi.require_version("UMockdev", "1.0")
from gi.repository import UMockdev  # noqa: E402 - the version must be required first


def main(devices: str, steps_file: str, *command: str) -> int:
    """Play the steps; return the command's exit code."""
    testbed = UMockdev.Testbed.new()
    testbed.add_from_file(devices)
    steps = json.loads(Path(steps_file).read_text(encoding="utf-8"))
    watcher = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert watcher.stdin is not None
    assert watcher.stdout is not None
    for step in steps:
        for path, attributes in step.items():
            for attribute, text in attributes.items():
                testbed.set_attribute(path, attribute, text)
        watcher.stdin.write("read\n")
        watcher.stdin.flush()
        sys.stdout.write(watcher.stdout.readline())
        sys.stdout.flush()
    watcher.stdin.close()
    return watcher.wait(timeout=20)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
