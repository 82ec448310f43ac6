"""What one sample costs beside plain reads of the very files that it reads.

usage: python tests/benchmarks/bench_sample.py

Promised: at most 1.5 ×. The files are found out by watching one sample; the plain reads list the same folders
and read the same files with open() and read(), as a script would. On a real machine the firmware takes far
longer to answer than either; on this made tree only our own work is seen.
"""

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from verify.machine.linux import LinuxMachine
from verify.machine.sysfs import fetch_bytes
from verify.testing.sysfs_tree import CHARGE_PACK, SysfsTree
from verify.values import SystemClock

_LIMIT = 1.5
_ROUNDS, _REPEATS = 40, 25


def files_of_one_sample(root: Path) -> list[str]:
    """Return the paths that a sample reads, the one-off readings (labels, limits) taken before."""
    seen: list[str] = []

    def watching(path: str) -> bytes:
        seen.append(path)
        return fetch_bytes(path)

    machine = LinuxMachine(sysfs=root, clock=SystemClock(), fetch=watching)
    machine.sample()
    seen.clear()
    machine.sample()
    return list(seen)


def microseconds(work: Callable[[], object]) -> float:
    """Return the time of one call, in µs, over some repeats."""
    begun = time.perf_counter()
    for _ in range(_REPEATS):
        work()
    return (time.perf_counter() - begun) / _REPEATS * 1e6


def main() -> int:
    """Print the ratio for each kind of pack; return 1 if the limit is not met."""
    met = True
    for name, base in (("energy pack", None), ("charge pack", CHARGE_PACK)):
        with tempfile.TemporaryDirectory() as folder:
            tree = SysfsTree(Path(folder))
            tree.laptop()
            if base is not None:
                tree.battery(base=base)
            files = files_of_one_sample(tree.root)
            supplies = tree.root / "class/power_supply"
            folders = [str(entry) for entry in (supplies, tree.root / "class/hwmon", *supplies.iterdir())]
            machine = LinuxMachine(sysfs=tree.root, clock=SystemClock())

            def plain(files: list[str] = files, folders: list[str] = folders) -> None:
                for entry in folders:
                    os.listdir(entry)  # noqa: PTH208 - the cheapest way, as the yardstick should be
                for file in files:
                    with open(file, encoding="utf-8") as stream:  # noqa: PTH123 - as above
                        stream.read()

            machine.sample()
            pairs = [(microseconds(machine.sample), microseconds(plain)) for _ in range(_ROUNDS)]
            ours, theirs = (statistics.median(column) for column in zip(*pairs, strict=True))
            found = ours / theirs
            met = met and found <= _LIMIT
            figures = f"limit {_LIMIT}; {ours:.0f} µs / {theirs:.0f} µs, {len(files)} files"
            print(f"one sample / plain reads, {name}: {found:.2f} ({figures})")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
