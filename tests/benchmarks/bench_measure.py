"""How long a log of a million rows takes, and how much memory, as ratios within one run.

usage: python tests/benchmarks/bench_measure.py [rows]

Promised: a million rows of all nine columns in under 3 s, and memory a small multiple of the file. The
baseline is a bare `csv.reader` whose cells all become floats and are thrown away. Runs alternate, each in a
process of its own; the fastest of each counts, as whatever else the computer does only adds. The limit is on
the processor's time, which a busy computer spoils least.
"""

import math
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

_ROUNDS = 3
_LIMIT_S, _LIMIT_MEMORY = 3.0, 4.0
_HANDBACK = str(Path(sys.executable).with_name("handback"))
_HEADING = "time_s,power_w,current_a,voltage_v,state_of_charge,remaining_wh,temperature_c,cpu_c,load"
_BARE = """
import csv, sys
with open(sys.argv[1], newline="") as file:
    rows = csv.reader(file)
    next(rows)
    for row in rows:
        if "" in row:
            row = [cell or "nan" for cell in row]
        list(map(float, row))
"""


def write_log(path: Path, rows: int, *, every_s: float, shuffled: bool = False, gaps: bool = False) -> None:
    """Write a charge of so many rows: constant current, taper, rest; with a gauge's steps."""
    chance = random.Random(1)
    lines = []
    for row in range(rows):
        share = row / rows
        amps = 3.0 if share < 0.5 else 3.0 * math.exp(-8 * (share - 0.5)) if share < 0.9 else 0.0
        amps += chance.choice((-0.01, 0.0, 0.01))
        volts = 9.6 + 3.0 * min(1.0, share * 2)
        level = min(100, round(110 * share))
        warm = "" if gaps and chance.random() < 0.1 else f"{25 + 4 * amps:.1f}"
        lines.append(
            f"{row * every_s:.2f},{amps * volts:.3f},{amps:.3f},{volts:.3f},{level},{0.57 * level:.2f},"
            f"{warm},{40 + 5 * chance.random():.1f},{chance.random():.2f}\n"
        )
    if shuffled:
        chance.shuffle(lines)
    path.write_text(f"{_HEADING}\n{''.join(lines)}", encoding="utf-8")


def run(command: list[str]) -> tuple[float, float]:
    """Return the wall time in s and the processor time in s of one run."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begun = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
    wall = time.perf_counter() - begun
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def peak_bytes(arguments: list[str]) -> float:
    """Return the largest memory of the command, the interpreter's own included (Linux)."""
    # Not getrusage: its figure begins with that of the process that started it.
    code = (
        "import contextlib, pathlib, sys\n"
        "from verify.cli import main\n"
        "with contextlib.suppress(SystemExit):\n"
        "    main(sys.argv[1:])\n"
        "status = pathlib.Path('/proc/self/status').read_text().split()\n"
        "sys.stderr.write(status[status.index('VmHWM:') + 1])\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=True,
    )
    return 1024.0 * float(told.stderr)


def measure(name: str, path: Path, *, limited: bool) -> bool:
    """Print the figures of one log; return whether it keeps to the limits."""
    ours: list[tuple[float, float]] = []
    theirs: list[tuple[float, float]] = []
    for _ in range(_ROUNDS):
        ours.append(run([_HANDBACK, "measure", str(path), "--json"]))
        theirs.append(run([sys.executable, "-c", _BARE, str(path)]))
    wall, busy = min(one[0] for one in ours), min(one[1] for one in ours)
    bare_wall, bare_busy = min(one[0] for one in theirs), min(one[1] for one in theirs)
    size = path.stat().st_size
    memory = peak_bytes(["measure", str(path), "--json"])
    print(
        f"{name}: {wall:.2f} s ({busy:.2f} s of processor), {busy / bare_busy:.2f} x a bare reader "
        f"({bare_wall:.2f} s); at most {memory / 1e6:.0f} MB, {memory / size:.2f} x its {size / 1e6:.0f} MB"
    )
    return not limited or (busy <= _LIMIT_S and memory <= _LIMIT_MEMORY * size)


def main() -> int:
    """Print the figures for each log; return 1 where the plain one breaks a limit."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    met = True
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        write_log(path, rows, every_s=0.01)
        met = measure(f"{rows:,} rows at 100 Hz", path, limited=True) and met
        write_log(path, rows, every_s=1.0)
        met = measure(f"{rows:,} rows at 1 Hz", path, limited=True) and met
        write_log(path, rows, every_s=0.01, gaps=True)
        measure("a tenth of one column empty", path, limited=False)
        write_log(path, rows, every_s=0.01, shuffled=True)
        measure("shuffled", path, limited=False)
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
