"""The unmodified command on a mocked laptop: the whole of /sys is replaced, nothing of ours is."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from verify.machine import Pack, PackState
from verify.machine.series import Moment, slope_w
from verify.testing.rigs import require_program, require_python_with

pytestmark = pytest.mark.rig

_HERE = Path(__file__).parent
_LAPTOP = _HERE / "laptop.umockdev"
_HANDBACK = Path(sys.executable).with_name("handback")
_BATTERY = "/sys/devices/pci0000:00/PNP0C0A:00/power_supply/BAT0"
_ADAPTER = "/sys/devices/pci0000:00/ACPI0003:00/power_supply/AC"

# Runs the whole command once for each line that it is sent.
_COMMAND_EACH_TIME = (
    "import json, subprocess, sys\n"
    "for _ in sys.stdin:\n"
    f"    done = subprocess.run([{str(_HANDBACK)!r}, 'probe', '--json'], capture_output=True, check=True)\n"
    "    print(json.dumps(json.loads(done.stdout)), flush=True)\n"
)
# Keeps one machine open, as a watch does, and takes a sample for each line that it is sent.
_ONE_MACHINE = (
    "import json, sys\n"
    "from verify.machine import open_machine\n"
    "from verify.machine.tell import describe\n"
    "machine = open_machine()\n"
    "for _ in sys.stdin:\n"
    "    print(json.dumps(describe(machine.identity(), machine.sample())), flush=True)\n"
)


def probe(*arguments: str) -> subprocess.CompletedProcess[str]:
    runner = require_program("umockdev-run")
    command = [runner, "-d", str(_LAPTOP), "--", str(_HANDBACK), "probe", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


def play(tmp_path: Path, steps: list[dict[str, dict[str, str]]], script: str) -> list[dict[str, Any]]:
    """Change the mocked laptop step by step; return what the script told after each."""
    wrapper = require_program("umockdev-wrapper")
    python = require_python_with("gi")
    (tmp_path / "steps.json").write_text(json.dumps(steps), encoding="utf-8")
    finished = subprocess.run(
        [
            *(wrapper, python, str(_HERE / "charge_driver.py"), str(_LAPTOP), str(tmp_path / "steps.json")),
            *(sys.executable, "-c", script),
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )
    assert finished.returncode == 0, finished.stderr
    return [json.loads(line) for line in finished.stdout.splitlines()]


def charging(energy_wh: float) -> dict[str, dict[str, str]]:
    return {_BATTERY: {"energy_now": f"{energy_wh * 1e6:.0f}"}}


def test_the_mocked_laptop_is_told_in_json() -> None:
    finished = probe("--json")
    assert (finished.returncode, finished.stderr) == (0, "")
    told = json.loads(finished.stdout)
    (battery,) = told["batteries"]
    assert battery["state"] == "charging"
    assert battery["power_w"] == 28.4
    assert battery["health"] == pytest.approx(49.87 / 57.0, abs=1e-4)
    # The firmware table names a laptop, whatever this test itself runs in.
    assert not {"health", "full_charge_wh", "design_wh", "state_of_charge"} & set(battery["reasons"])
    assert told["adapters"] == [{"name": "AC", "online": True}]
    assert [(sensor["chip"], sensor["celsius"]) for sensor in told["temperatures"]] == [
        ("coretemp", 47),
        ("acpitz", 41),
    ]
    assert told["fans"] == [{"chip": "ecfan", "label": "fan", "rpm": 2310}]
    assert told["machine"]["model"] == "Larkspur 15"


def test_the_mocked_laptop_is_shown_to_a_person() -> None:
    finished = probe()
    assert (finished.returncode, finished.stderr) == (0, "")
    assert "28.4 W into the pack" in finished.stdout


@pytest.mark.parametrize(
    "script", [_COMMAND_EACH_TIME, _ONE_MACHINE], ids=["a-command-each-time", "one-watch"]
)
def test_rising_charge_is_seen(tmp_path: Path, script: str) -> None:
    energies = [31.04, 31.51, 31.99, 32.46]
    told = play(tmp_path, [charging(energy) for energy in energies], script)
    seen = [sample["batteries"][0]["remaining_wh"] for sample in told]
    assert seen == energies
    levels = [sample["batteries"][0]["state_of_charge"] for sample in told]
    assert levels == sorted(levels)
    assert len(set(levels)) == 4
    moments = [
        Moment(elapsed_s=60.0 * step, pack=Pack(name="BAT0", remaining_wh=energy))
        for step, energy in enumerate(seen)
    ]
    # 0.47 Wh a minute, which is what 28.4 W give.
    assert slope_w(moments) == pytest.approx(28.4, rel=0.01)


def test_the_charger_pulled_and_a_fan_stopped_are_seen(tmp_path: Path) -> None:
    before, after = play(
        tmp_path,
        [
            charging(31.04),
            {
                _ADAPTER: {"online": "0"},
                _BATTERY: {"status": "Discharging", "power_now": "9100000"},
                "/sys/devices/platform/ecfan/hwmon/hwmon2": {"fan1_input": "0"},
            },
        ],
        _ONE_MACHINE,
    )
    assert before["batteries"][0]["state"] == str(PackState.CHARGING)
    assert after["batteries"][0]["state"] == str(PackState.DISCHARGING)
    assert after["batteries"][0]["power_w"] == -9.1
    assert after["adapters"] == [{"name": "AC", "online": False}]
    assert after["fans"][0]["rpm"] == 0
    assert "listen" in after["reasons"]["fans.ecfan.fan"]
