"""The hands at a mocked laptop: follows a run's journal and does what it asks. Run by a Python with gi.

usage: bench_driver.py DEVICES JOURNAL COMMAND...

Starts the command, and until it ends: plugs the charger in after the step "charge", lets the charge rise,
lets it be full once the charge is watched, pulls the charger when the machine is to run on its battery.
"""

import json
import subprocess
import sys
import time
from pathlib import Path

import gi

gi.require_version("UMockdev", "1.0")
from gi.repository import UMockdev  # noqa: E402 - the version must be required first

BATTERY = "/sys/devices/pci0000:00/PNP0C0A:00/power_supply/BAT0"
ADAPTER = "/sys/devices/pci0000:00/ACPI0003:00/power_supply/AC"
FULL_WH = 56.4


class Laptop:
    """The mocked battery and charger."""

    def __init__(self, devices: str) -> None:
        self.testbed = UMockdev.Testbed.new()
        self.testbed.add_from_file(devices)
        self.energy_wh = 31.04
        self.put(BATTERY, energy_full=f"{FULL_WH * 1e6:.0f}", cycle_count="2")
        self.show("Discharging", power_w=9.1, plugged=False)

    def put(self, path: str, **attributes: str) -> None:
        for name, text in attributes.items():
            self.testbed.set_attribute(path, name, text)

    def show(self, status: str, *, power_w: float, plugged: bool) -> None:
        self.put(ADAPTER, online="1" if plugged else "0")
        level = self.energy_wh / FULL_WH
        self.put(
            BATTERY,
            status=status,
            power_now=f"{power_w * 1e6:.0f}",
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
    asked = 0
    while run.poll() is None:
        words = seen(Path(journal))
        asked += "watch-began runs-on-battery" in words
        # A second of patience: the check wants to see the charger in before it is pulled.
        if asked > 6:
            laptop.energy_wh -= 0.01
            laptop.show("Discharging", power_w=9.1, plugged=False)
        elif "watch-began charge-to-full" in words and laptop.energy_wh >= FULL_WH:
            laptop.show("Full", power_w=0, plugged=True)
        elif "watch-began charge-to-full" in words:
            laptop.energy_wh = min(FULL_WH, laptop.energy_wh + 2.5)
            laptop.show("Charging", power_w=28.4, plugged=True)
        elif "step charge" in words:
            laptop.energy_wh += 0.01
            laptop.show("Charging", power_w=28.4, plugged=True)
        time.sleep(0.25)
    return run.returncode


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
