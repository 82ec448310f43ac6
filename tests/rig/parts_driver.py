"""Run the unmodified command on a mocked laptop whose /proc/net/wireless is a given file.

usage: parts_driver.py PROC ARGUMENT...

/proc cannot be mocked beside /sys: this stands in for that one file, and all others are the computer's own.
PROC is an empty folder with "wireless" in it; it is filled with links.
"""

import sys
from pathlib import Path

from verify.cli import main
from verify.machine import linux


def with_radio(folder: Path) -> Path:
    """Return a folder laid out like /proc, with the given file as net/wireless."""
    proc = folder / "proc"
    (proc / "net").mkdir(parents=True, exist_ok=True)
    for name in ("cpuinfo", "meminfo", "stat", "acpi"):
        link = proc / name
        if not link.is_symlink():
            link.symlink_to(Path("/proc") / name)
    (proc / "net/wireless").write_bytes((folder / "wireless").read_bytes())
    return proc


if __name__ == "__main__":
    linux._PROC = with_radio(Path(sys.argv[1]))
    main(sys.argv[2:])
