"""`handback probe`: its JSON is what a program was promised, its view is what a person can read."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from verify.cli import main
from verify.cli.probe_view import show
from verify.machine import open_machine
from verify.testing.sysfs_tree import CHARGE_PACK, SysfsTree

_BATTERY_KEYS = [
    "name",
    "state",
    "state_of_charge",
    "remaining_wh",
    "full_charge_wh",
    "design_wh",
    "health",
    "power_w",
    "voltage_v",
    "current_a",
    "cycle_count",
    "temperature_c",
    "manufacturer",
    "model",
    "serial",
    "technology",
    "charge_limit",
    "reasons",
]


@pytest.fixture
def tree(tmp_path: Path) -> SysfsTree:
    return SysfsTree(tmp_path)


def run(*arguments: str, **environment: str) -> tuple[int, str, str]:
    """Run the command in a process of its own, as a technician would."""
    finished = subprocess.run(
        [sys.executable, "-c", "from verify.cli import main; main()", "probe", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, **environment},
    )
    return finished.returncode, finished.stdout, finished.stderr


def in_process(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[Any, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["probe", *arguments])
    captured = capsys.readouterr()
    return ended.value.code, captured.out, captured.err


def test_json_has_the_promised_keys_and_values(tree: SysfsTree) -> None:
    tree.laptop()
    code, out, err = run("--json", "--sysfs", str(tree.root))
    assert (code, err) == (0, "")
    told = json.loads(out)
    keys = ["machine", "batteries", "adapters", "temperatures", "fans", "cpu", "lid_open", "reasons"]
    assert list(told) == keys
    (battery,) = told["batteries"]
    assert list(battery) == _BATTERY_KEYS
    reasons = battery.pop("reasons")
    assert battery == {
        "name": "BAT0",
        "state": "charging",
        "state_of_charge": 0.6224,
        "remaining_wh": 31.04,
        "full_charge_wh": 49.87,
        "design_wh": 57.0,
        "health": 0.8749,
        "power_w": 28.4,
        "voltage_v": 12.1,
        "current_a": 2.347,
        "cycle_count": 120,
        "temperature_c": None,
        "manufacturer": "Fennel",
        "model": "LK-57",
        "serial": "4711",
        "technology": "Li-ion",
        "charge_limit": None,
    }
    assert sorted(reasons) == ["charge_limit", "current_a", "temperature_c"]
    assert told["adapters"] == [{"name": "AC", "online": True}]
    assert told["temperatures"][0] == {
        "chip": "coretemp",
        "label": "Package id 0",
        "celsius": 47,
        "high": 100,
        "critical": 100,
    }
    assert told["fans"] == [{"chip": "ecfan", "label": "fan", "rpm": 2310}]
    assert told["machine"]["model"] == "Larkspur 15"
    assert told["cpu"]["frequency_max_mhz"] == 4200


def test_every_null_has_its_reason(tree: SysfsTree, capsys: pytest.CaptureFixture[str]) -> None:
    tree.battery(base=CHARGE_PACK, without=("charge_full", "voltage_now"))
    _, out, _ = in_process(capsys, "--json", "--sysfs", str(tree.root))
    told = json.loads(out)
    for battery in told["batteries"]:
        for field, value in battery.items():
            assert value is not None or battery["reasons"][field], field
    for part in ("machine", "cpu"):
        for field, value in told[part].items():
            assert value is not None or told["reasons"][f"{part}.{field}"], field


@pytest.mark.parametrize("arguments", [(), ("--json",)], ids=["view", "json"])
def test_this_very_machine_is_read_without_a_complaint(arguments: tuple[str, ...]) -> None:
    code, out, err = run(*arguments)
    assert (code, err) == (0, "")
    if not any(pack for pack in open_machine().sample().packs):
        # Read with the line ends of the view taken out: it wraps at the width of the window.
        assert "No battery is visible to the system." in " ".join(out.split())
        assert "check its connector" in " ".join(out.split())


def test_nothing_that_can_be_established_ends_with_3(tree: SysfsTree) -> None:
    code, out, err = run("--json", "--sysfs", str(tree.root))
    assert (code, err) == (3, "")
    assert json.loads(out)["batteries"] == []


@pytest.mark.parametrize("missing", ["nowhere", "empty"])
def test_a_folder_that_is_no_sysfs_ends_with_2_and_one_line(
    tmp_path: Path, missing: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "empty").mkdir()
    code, out, err = in_process(capsys, "--sysfs", str(tmp_path / missing))
    assert (code, out) == (2, "")
    assert "class" in err
    assert "Traceback" not in err


def view(tree: SysfsTree, width: int = 80) -> str:
    machine = open_machine(sysfs=tree.root)
    target = io.StringIO()
    show(machine.identity(), machine.sample(), console=Console(file=target, width=width, highlight=False))
    return target.getvalue()


def test_the_view_names_state_level_health_and_direction(tree: SysfsTree) -> None:
    tree.laptop()
    seen = view(tree)
    for words in ("Larkspur 15", "charging", "62 %", "87 % of design: 49.9 Wh of 57.0 Wh"):
        assert words in seen
    assert "28.4 W into the pack" in seen
    for words in ("47 °C", "2310 rpm", "gives power"):
        assert words in seen
    assert "\x1b" not in seen


def test_the_view_of_a_doubted_health_says_so_and_why(tree: SysfsTree) -> None:
    tree.battery(energy_full="57000000", cycle_count="0")
    seen = " ".join(view(tree).split())
    assert "doubtful" in seen
    assert "may only repeat its label" in seen


@pytest.mark.parametrize("width", [30, 40, 80])
def test_the_view_fits_a_narrow_window_and_loses_no_word(tree: SysfsTree, width: int) -> None:
    tree.laptop()
    seen = view(tree, width)
    assert max(len(line) for line in seen.splitlines()) <= width
    assert "…" not in seen
    assert sorted("".join(seen.split())) == sorted("".join(view(tree, 200).split()))


def test_the_view_of_an_empty_bay_names_it(tree: SysfsTree) -> None:
    tree.supply("BAT0", {"type": "Battery", "present": "0"})
    seen = " ".join(view(tree).split())
    assert "No battery is visible" in seen
    assert "BAT0: no pack in its place" in seen


def view_row(tree: SysfsTree, name: str) -> str:
    (line,) = [line for line in view(tree, 100).splitlines() if line.strip().startswith(name)]
    return line.strip().removeprefix(name).strip()


def test_the_view_of_an_empty_bay_beside_a_pack_names_it(tree: SysfsTree) -> None:
    tree.battery()
    tree.supply("BAT1", {"type": "Battery", "present": "0"})
    assert "BAT1: no pack in its place" in " ".join(view(tree).split())


@pytest.mark.parametrize(
    ("now", "level"),
    [
        ("49870000", "100 %"),
        ("49860000", "99.98 %"),
        ("49600000", "99 %"),
        ("20000", "0.0401 %"),
        ("0", "0 %"),
    ],
)
def test_the_view_never_rounds_a_level_to_full_or_empty(tree: SysfsTree, now: str, level: str) -> None:
    tree.battery(energy_now=now)
    assert view_row(tree, "Level").split(" (")[0] == level


def test_the_view_of_an_unknown_value_does_not_call_it_doubtful(tree: SysfsTree) -> None:
    tree.battery(unreadable=("energy_now", "energy_full"))
    assert view_row(tree, "Remaining") == "unknown of unknown"


@pytest.mark.parametrize("name", ["State", "Level", "Capacity", "Power", "Voltage"])
def test_the_view_marks_every_doubted_value(tree: SysfsTree, name: str) -> None:
    tree.firmware(sys_vendor="Example", product_name="Virtual Machine", chassis_type="1")
    tree.battery(power_now="0", voltage_now="12000000")
    assert "doubtful" in view_row(tree, name)


def test_help_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = in_process(capsys, "--help")
    assert code == 0
    assert "Example: handback probe" in out


def test_json_loads_neither_the_view_nor_psutil(tree: SysfsTree) -> None:
    script = (
        "import sys\nfrom verify.cli import main\n"
        f"try:\n    main(['probe', '--json', '--sysfs', {str(tree.root)!r}])\n"
        "except SystemExit:\n    pass\n"
        "heavy = {'rich', 'psutil', 'jinja2', 'yaml', 'cryptography'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    finished = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert finished.stderr.strip() == "[]"


@pytest.mark.parametrize("arguments", [(), ("--json",)], ids=["view", "json"])
def test_an_output_that_knows_no_degree_sign_is_no_error(tree: SysfsTree, arguments: tuple[str, ...]) -> None:
    tree.laptop()
    code, out, err = run(*arguments, "--sysfs", str(tree.root), PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert (code, err) == (0, "")
    assert "BAT0" in out


def test_parts_are_told_where_they_are_asked_for_and_without_a_serial(
    tree: SysfsTree, capsys: pytest.CaptureFixture[str]
) -> None:
    tree.laptop()
    drive = "pci0000:00/0000:00:1d.0/nvme/nvme0"
    tree.device(
        "block",
        "nvme0n1",
        way=drive,
        size="1000215216",
        device__model="Fennel D5",
        device__serial="D-51502-X",
    )
    code, out, _ = in_process(capsys, "--json", "--parts", "--sysfs", str(tree.root))
    assert code == 0
    parts = json.loads(out)["inventory"]
    kinds = {item["kind"]: item["name"] for item in parts["items"] if item["built_in"]}
    assert kinds["storage"] == "Fennel D5"
    assert {"battery", "fan", "temperature sensor"} <= set(kinds)
    for field in ("memory_bytes", "memory_channels", "processors"):
        assert parts[field] is not None or parts["reasons"][field], field
    assert "D-51502" not in out
    code, view, _ = in_process(capsys, "--parts", "--sysfs", str(tree.root))
    assert code == 0
    assert "1: Fennel D5" in view
    assert "D-51502" not in view
    _, plain, _ = in_process(capsys, "--json", "--sysfs", str(tree.root))
    assert "inventory" not in json.loads(plain)
