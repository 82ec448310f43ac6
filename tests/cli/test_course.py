"""A ticket from arrival to the end, through the commands, on two computers that are read through given trees.

The trees stand in for the machines: no laptop can be repaired here. Everything that reads them is real.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from verify.run import load_record
from verify.testing.sysfs_tree import SysfsTree
from verify.values import Outcome, Verdict

HANDBACK = [sys.executable, "-c", "from verify.cli import main; main()"]
ARRIVAL = """\
format: answers/1
answers: {first-look: no}
arrival:
  found_as: runs
  accessories: [charger, sleeve]
  pictures: []
  tried:
    picture and lid: works
    keys and touchpad: does not work
    sound and camera: not tried
    wireless network: works
    battery and charger: works
"""
OPEN = """\
format: answers/1
answers:
  pack-flat: good
  pack-plug-home: good
  lead-plugs: {answer: not good, note: antenna plug loose}
  flat-cables: good
  lead-ways: good
  nothing-loose: good
"""


def handback(cwd: Path, *arguments: str, stdin: str = "", code: int | None = 0) -> str:
    said = subprocess.run(
        [*HANDBACK, *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        input=stdin,
        timeout=120,
    )
    assert "Traceback" not in said.stderr
    assert code is None or said.returncode == code, said.stderr + said.stdout
    return said.stdout + said.stderr


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    laptop = SysfsTree(tmp_path / "laptop")
    laptop.laptop()
    laptop.device("net", "wlan0", way="pci0000:00/0000:00:1c.0", address="00:00:5e:00:53:01")
    laptop.device("block", "nvme0n1", way="pci0000:00/0000:00:1d.0", device__serial="LK-0001")
    bench = SysfsTree(tmp_path / "bench")
    bench.laptop()
    bench.firmware(product_name="Bench 2")
    (tmp_path / "arrival.yaml").write_text(ARRIVAL, encoding="utf-8")
    (tmp_path / "open.yaml").write_text(OPEN, encoding="utf-8")
    return tmp_path


def arrived(shop: Path) -> None:
    said = handback(
        shop,
        "arrive",
        "TW-7",
        "--model",
        "Larkspur 15",
        "--complaint",
        "No network since it was elsewhere.",
        "--answers",
        "arrival.yaml",
        "--sysfs",
        "laptop",
        "--on-machine",
    )
    assert "is taken in" in said
    assert "handback start TW-7" in said


def test_a_machine_is_taken_in_and_its_work_said_then(shop: Path) -> None:
    arrived(shop)
    record = load_record(shop / "reports", "TW-7")
    assert record.outcome is Outcome.HELD
    assert record.arrival is not None
    assert record.arrival.accessories == ("charger", "sleeve")
    assert record.arrival.tried["keys and touchpad"] == "does not work"
    assert record.arrival.readings
    assert "say what is repaired" in handback(shop, "status", "TW-7", code=1).lower()
    said = handback(shop, "start", "TW-7", "--work", "battery=reproduction", "--label", "battery=57 Wh")
    assert "of hands" in said
    assert "of waiting" in said
    assert load_record(shop / "reports", "TW-7").ticket.work[0].kind == "battery"
    assert "at work already" in handback(shop, "arrive", "TW-7", code=2)


def test_the_folder_goes_between_bench_and_machine_and_each_is_known(shop: Path) -> None:
    arrived(shop)
    handback(shop, "start", "TW-7", "--work", "base-cover")
    stick = shop / "stick ümlaut"
    (shop / "reports").rename(stick)
    # On the bench: nothing is read, and nobody has to say where it stands, as the model differs.
    handback(shop, "run", f"{stick}/TW-7", "--answers", "open.yaml", "--sysfs", "bench", code=1)
    record = load_record(stick, "TW-7")
    done = {result.check: result.verdict for result in record.results}
    assert done["flat-cables"] is Verdict.CONFORMS
    assert done["lead-plugs"] is Verdict.DOES_NOT_CONFORM
    assert done["heat-margin"] is Verdict.NOT_DONE
    assert record.machine["model"] == "Larkspur 15"


def test_a_script_on_an_unknown_computer_has_to_say_where_it_stands(shop: Path) -> None:
    handback(shop, "start", "TW-8", "--work", "feet")
    said = handback(shop, "run", "TW-8", "--answers", "arrival.yaml", "--sysfs", "laptop", code=2)
    assert "--on-machine" in said


def test_rework_names_what_is_asked_again(shop: Path) -> None:
    handback(shop, "start", "TW-9", "--work", "base-cover")
    handback(
        shop, "run", "TW-9", "--answers", "open.yaml", "--sysfs", "laptop", "--on-machine", code=1, stdin=""
    )
    (shop / "first.yaml").write_text("format: answers/1\nanswers: {first-look: no}\n", encoding="utf-8")
    handback(shop, "run", "TW-9", "--answers", "first.yaml", "--sysfs", "laptop", "--on-machine", code=1)
    handback(shop, "run", "TW-9", "--answers", "open.yaml", "--sysfs", "laptop", "--on-machine", code=1)
    said = handback(shop, "rework", "TW-9", "--opened", "base", "--why", "plug was off")
    assert "again: Look at each antenna, speaker" in said
    assert "Press every key" not in said
    assert load_record(shop / "reports", "TW-9").reopenings[0].opened == ("base",)
    said = handback(shop, "rework", "TW-9", "--opened", "lid", "--why", "looked")
    assert "Nothing that was answered hangs on it" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("rework", "TW-9", "--opened", "roof", "--why", "x"), "roof"),
        (("rework", "TW-9", "--opened", "base"), "--why"),
        (("rework", "NONE", "--opened", "base", "--why", "x"), "not open yet"),
        (("decline", "NONE", "--why", "x", "--risks-told", "x", "--owner-signed", "x"), "not open yet"),
        (("decline", "TW-9", "--why", " ", "--risks-told", "x", "--owner-signed", "x"), "Say why"),
        (("start", "TW-9", "--work", "batery"), "batery"),
    ],
)
def test_wrong_use_is_one_plain_line(shop: Path, arguments: tuple[str, ...], says: str) -> None:
    handback(shop, "start", "TW-9", "--work", "feet")
    before = (shop / "reports/TW-9/journal.jsonl").read_bytes()
    assert says in handback(shop, *arguments, code=2)
    assert (shop / "reports/TW-9/journal.jsonl").read_bytes() == before


def test_a_declined_repair_is_returned_unrepaired(shop: Path) -> None:
    handback(shop, "start", "TW-10", "--work", "feet")
    # Nobody has looked yet whether it can go back without a hazard.
    declined = ("decline", "TW-10", "--why", "x", "--risks-told", "x", "--owner-signed", "x")
    assert "bulging" in handback(shop, *declined, code=2)
    handback(shop, "run", "TW-10", "--elsewhere", stdin="nq", code=1)
    said = handback(
        shop,
        "decline",
        "TW-10",
        "--why",
        "Too dear.",
        "--risks-told",
        "None known; at the counter.",
        "--owner-signed",
        "on the paper ticket",
        code=1,
    )
    assert "returned unrepaired" in said
    assert "handback sign TW-10" in said
    status = json.loads(handback(shop, "status", "TW-10", "--json", code=1))
    assert status[0]["outcome"] == "returned unrepaired"


def test_a_declined_repair_with_a_hazard_is_refused(shop: Path) -> None:
    handback(shop, "start", "TW-11", "--work", "feet")
    handback(shop, "run", "TW-11", "--elsewhere", stdin="yq", code=1)
    said = handback(
        shop, "decline", "TW-11", "--why", "x", "--risks-told", "x", "--owner-signed", "x", code=2
    )
    assert "hazard" in said


def test_arriving_again_with_something_else_is_refused_and_not_passed_over(shop: Path) -> None:
    arrived(shop)
    before = (shop / "reports/TW-7/journal.jsonl").read_bytes()
    assert '"No network' in handback(shop, "arrive", "TW-7", "--complaint", "Broken hinge.", code=2)
    assert "signer" in handback(shop, "arrive", "TW-7", "--signer", "reviewer", code=2)
    assert (shop / "reports/TW-7/journal.jsonl").read_bytes() == before


def test_what_was_not_taken_on_arrival_is_said_when_the_work_is(shop: Path) -> None:
    handback(shop, "arrive", "TW-7", "--complaint", "x", "--elsewhere", stdin="nq", code=1)
    said = handback(shop, "start", "TW-7", "--work", "feet")
    assert "Not taken on arrival, and not asked any more: found as, pictures," in said


def test_a_run_is_found_by_any_way_to_its_folder_and_under_its_name_only(shop: Path) -> None:
    handback(shop, "start", "TW-9", "--work", "feet")
    stick = shop / "stick ä"
    (shop / "reports").rename(stick)
    for way, cwd in (("./TW-9", stick), (".", stick / "TW-9"), ("../stick ä/TW-9", stick)):
        assert "TW-9" in handback(cwd, "status", way, code=1)
    (stick / "TW-9").rename(stick / "TW-9 (copy)")
    assert "TW-9 (folder TW-9 (copy))" in handback(shop, "status", "--reports", str(stick))
    assert "its name is no ticket" in handback(shop, "run", f"{stick}/TW-9 (copy)", code=2)


def test_a_repair_that_goes_on_after_all_is_said(shop: Path) -> None:
    handback(shop, "start", "TW-9", "--work", "feet")
    handback(shop, "run", "TW-9", "--elsewhere", stdin="nq", code=1)
    handback(shop, "decline", "TW-9", "--why", "x", "--risks-told", "x", "--owner-signed", "x", code=1)
    assert "repaired after all" in handback(shop, "rework", "TW-9", "--opened", "lid", "--why", "Yes.")


def test_going_back_with_work_that_nobody_knows_leaves_the_run_as_it_was(shop: Path) -> None:
    handback(shop, "start", "TW-9", "--work", "feet")
    before = (shop / "reports/TW-9/journal.jsonl").read_bytes()
    handback(shop, "rework", "TW-9", "--opened", "lid", "--why", "x", "--work", "roof", code=2)
    assert (shop / "reports/TW-9/journal.jsonl").read_bytes() == before
