"""How long the command takes to answer, as ratios within one run.

usage: python tests/benchmarks/bench_probe.py

Promised: `handback --help` at most 5 × `python -c pass`; `handback probe --json` at most 2 × a bare script
that imports psutil and reads the same values. Runs alternate, so that both see the same machine; medians
are compared.
Compiled bytecode is kept, in a folder of the run's own, as it is for any installed program.
"""

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

_ROUNDS = 25
_HANDBACK = str(Path(sys.executable).with_name("handback"))
_LAPTOP = Path(__file__).parents[1] / "rig" / "laptop.umockdev"

_BARE_PSUTIL = """
import json, psutil
battery = psutil.sensors_battery()
frequency = psutil.cpu_freq()
print(json.dumps({
    "batteries": [] if battery is None else [battery.percent, battery.power_plugged],
    "temperatures": psutil.sensors_temperatures(),
    "fans": psutil.sensors_fans(),
    "cpu": [psutil.cpu_percent(None), psutil.cpu_count(), frequency and frequency.current],
}, indent=2))
"""


def seconds(command: list[str], bytecode: str) -> float:
    """Return the wall time of one run, in s."""
    env = {key: text for key, text in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    env["PYTHONPYCACHEPREFIX"] = bytecode
    begun = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True, env=env)
    return time.perf_counter() - begun


def ratio(command: list[str], base: list[str]) -> tuple[float, float, float]:
    """Return the ratio of the medians, and both medians in ms; the two alternate."""
    with tempfile.TemporaryDirectory() as bytecode:
        for warming in (command, base):
            seconds(warming, bytecode)
        pairs = [(seconds(command, bytecode), seconds(base, bytecode)) for _ in range(_ROUNDS)]
    ours, theirs = (statistics.median(column) * 1000 for column in zip(*pairs, strict=True))
    return ours / theirs, ours, theirs


def main() -> int:
    """Print each ratio beside its limit; return 1 if one is not met."""
    python = sys.executable
    cases = [
        ("handback --help / python -c pass", [_HANDBACK, "--help"], [python, "-c", "pass"], 5.0),
        ("probe --json / bare psutil", [_HANDBACK, "probe", "--json"], [python, "-c", _BARE_PSUTIL], 2.0),
    ]
    mocked = shutil.which("umockdev-run")
    if mocked is not None:
        rig = [mocked, "-d", str(_LAPTOP), "--"]
        cases.append(
            (
                "the same on a mocked laptop",
                [*rig, _HANDBACK, "probe", "--json"],
                [*rig, python, "-c", _BARE_PSUTIL],
                2.0,
            )
        )
    met = True
    for name, command, base, limit in cases:
        found, ours, theirs = ratio(command, base)
        met = met and found <= limit
        print(f"{name}: {found:.2f} (limit {limit:g}; {ours:.1f} ms / {theirs:.1f} ms)")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
