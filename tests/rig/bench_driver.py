"""The hands at a mocked laptop: follows a run's journal and does what it asks. Run by a Python with gi.

usage: bench_driver.py DEVICES JOURNAL COMMAND...

Starts the command, and until it ends: plugs the charger in after the step "charge" and lets the charge flow.
The hour after the step "go-on-charging" is left out, as nobody looks at the battery then; it ends soon after
the end of the charge is watched. Pulls the charger when the machine is to run on its battery, and plugs it in
again.
"""

import json
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import gi

gi.require_version("UMockdev", "1.0")
from gi.repository import UMockdev  # noqa: E402 - the version must be required first

BATTERY = "/sys/devices/pci0000:00/PNP0C0A:00/power_supply/BAT0"
ADAPTER = "/sys/devices/pci0000:00/ACPI0003:00/power_supply/AC"
FULL_WH = 56.4
CELLS = 3
NOMINAL_V = 3.8
CELL_OHM = 0.04
REST_V = ((0.0, 3.0), (0.1, 3.62), (0.5, 3.8), (0.9, 4.2), (1.0, 4.34))
"""Level, and volts of a cell at rest: the rough course of cells that are charged to 4.35 V [from memory]."""

CHARGE_W = 28.4
TAPER_W = 2.5  # where chargers end it: below a twentieth of the capacity an hour
DRAWN_W = 9.1
ALL_BUT_FULL = 0.9999
"""Where the hour that is left out ends: no more flows in the seconds that are watched after it."""

WATCHED_FOR = 12
"""Looks at the journal while the end of the charge is watched, before it is full."""

OUT_AFTER = 6
"""Looks at the journal before the charger is pulled: the check wants to see it in first."""


def rest_v(level: float) -> float:
    """Return the volts of a cell at rest, on straight lines between the points."""
    for (low, low_v), (high, high_v) in pairwise(REST_V):
        if level <= high:
            return low_v + (high_v - low_v) * (level - low) / (high - low)
    return REST_V[-1][1]


class Laptop:
    """The mocked battery and charger."""

    def __init__(self, devices: str) -> None:
        self.testbed = UMockdev.Testbed.new()
        self.testbed.add_from_file(devices)
        self.energy_wh = 31.04
        self.power_w = 0.0
        self.at_s = time.monotonic()
        self.put(BATTERY, energy_full=f"{FULL_WH * 1e6:.0f}", cycle_count="2")
        self.show("Discharging", -DRAWN_W, plugged=False)

    def put(self, path: str, **attributes: str) -> None:
        for name, text in attributes.items():
            self.testbed.set_attribute(path, name, text)

    def show(self, status: str, power_w: float = 0.0, *, plugged: bool) -> None:
        """Let what flowed until now count, and show what flows from now on: power_w into the battery."""
        now_s = time.monotonic()
        self.energy_wh = min(FULL_WH, self.energy_wh + self.power_w * (now_s - self.at_s) / 3600)
        self.power_w, self.at_s = power_w, now_s
        level = self.energy_wh / FULL_WH
        volts = CELLS * (rest_v(level) + CELL_OHM * power_w / (CELLS * NOMINAL_V))
        self.put(ADAPTER, online="1" if plugged else "0")
        self.put(
            BATTERY,
            status=status,
            power_now=f"{abs(power_w) * 1e6:.0f}",
            voltage_now=f"{volts * 1e6:.0f}",
            energy_now=f"{self.energy_wh * 1e6:.0f}",
            capacity=f"{100 * level:.0f}",
        )


def seen(journal: Path) -> set[str]:
    """Return what stands in the journal: steps, checks that began, checks that were found."""
    words = set()
    for text in journal.read_text(encoding="utf-8").splitlines():
        event = json.loads(text)["event"]
        if event["type"] == "stepped":
            words.add(f"step {event['step']}")
        elif event["type"] in ("watch-began", "found"):
            words.add(f"{event['type']} {event['check']}")
    return words


def main(devices: str, journal: str, *command: str) -> int:
    """Work at the laptop until the command ends; return its exit code."""
    laptop = Laptop(devices)
    run = subprocess.Popen(command, stdin=subprocess.DEVNULL)
    asked = watched = 0
    passed = False
    while run.poll() is None:
        words = seen(Path(journal))
        asked += "watch-began runs-on-battery" in words
        watched += "watch-began charge-to-full" in words
        if "found runs-on-battery" in words:
            laptop.show("Full", plugged=True)
        elif asked > OUT_AFTER:
            laptop.show("Discharging", -DRAWN_W, plugged=False)
        elif watched > WATCHED_FOR:
            laptop.show("Full", plugged=True)
        elif "step go-on-charging" in words:
            if not passed:
                laptop.energy_wh, passed = ALL_BUT_FULL * FULL_WH, True
            laptop.show("Charging", TAPER_W, plugged=True)
        elif "step charge" in words:
            laptop.show("Charging", CHARGE_W, plugged=True)
        time.sleep(0.25)
    return run.returncode


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
