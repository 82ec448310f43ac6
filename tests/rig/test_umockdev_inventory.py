"""The inventory of mocked laptops before and after a repair, from /sys: by the reader, and in whole runs.

/proc is not mocked: the radio's level under a lead that is off is given as a file of its own.
"""

import html
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest
import yaml

from verify.checklist.shipped import shipped_checklists, shipped_dir
from verify.machine import Inventory, ItemKind, Sample
from verify.machine.inventory.compare import Differences, compare
from verify.probe import Context, Finding, make_probe
from verify.probe.model import Working
from verify.record.arrival import FUNCTIONS
from verify.record.canonical import record_bytes
from verify.record.model import Record
from verify.run import load_record
from verify.testing.rigs import require_program
from verify.testing.sysfs_tree import edid
from verify.values import Outcome, Verdict

pytestmark = pytest.mark.rig

_LAPTOP = (
    (Path(__file__).parent / "laptop.umockdev")
    .read_text(encoding="utf-8")
    .replace("serial_number=4711", "serial_number=PK-47110-Y")
)
_READ = (
    "import msgspec, sys\n"
    "from pathlib import Path\n"
    "from verify.machine.linux import SYSFS_ROOT, LinuxMachine\n"
    "from verify.values import SystemClock\n"
    "machine = LinuxMachine(sysfs=SYSFS_ROOT, clock=SystemClock(), proc=Path(sys.argv[1]))\n"
    "print(msgspec.json.encode(machine.inventory(salt='TW-1042')).decode())\n"
)


# Long enough that no hash or time in a journal holds them by chance.
SERIAL, PACK_SERIAL, ADDRESS = "D-51502-X", "PK-47110-Y", "00:00:5e:00:53:15"


def device(path: str, subsystem: str, **attributes: str) -> str:
    """Describe one device; two underscores stand for a slash."""
    lines = [f"P: /devices/{path}", f"E: SUBSYSTEM={subsystem}"]
    lines += [f"A: {name.replace('__', '/')}={text}\\n" for name, text in attributes.items()]
    return "\n".join((*lines, ""))


def pci(address: str, ids: str, code: str, **more: str) -> str:
    names = ("vendor", "device", "subsystem_vendor", "subsystem_device")
    told = {name: f"0x{number}" for name, number in zip(names, ids.split(":"), strict=True)}
    return device(f"pci0000:00/{address}", "pci", **told, **{"class": f"0x{code}"}, **more)


def laptop(
    *,
    bus: int = 1,
    port: int = 5,
    card: str | None = "ff01:0a01:ff01:0001",
    camera: bool = True,
    short_range: bool = True,
    touchpad: bool = True,
    drive: str = "Fennel D5",
    switched_off: str = "0",
    extra: str = "",
) -> str:
    """Describe a laptop. bus, port: where its parts sit, which is not to matter."""
    usb = f"pci0000:00/0000:00:14.0/usb{bus}"
    parts = [_LAPTOP, pci("0000:00:02.0", "ff01:0901:ff01:0005", "030000")]
    if card is not None:
        parts.append(pci(f"0000:0{bus}:00.0", card, "028000"))
        parts.append(
            device(
                f"pci0000:00/0000:0{bus}:00.0/net/wlp{bus}s0",
                "net",
                wireless__status="0000",
                address=ADDRESS,
            )
        )
    parts.append(pci("0000:00:1f.0", "ff01:0d01:ff01:0003", "010802"))
    parts.append(
        device(
            f"pci0000:00/0000:00:1f.0/nvme/nvme{bus}/nvme{bus}n1",
            "block",
            size="1000215216",
            device__model=drive,
            device__serial=SERIAL,
        )
    )
    if touchpad:
        capabilities = {"capabilities__abs": "20000000000001", "capabilities__key": "20 0 0 0 0 0"}
        ids = {"id__bustype": "0018", "id__vendor": "ff01", "id__product": "0701"}
        parts.append(
            device(f"platform/i2c/input/input{bus}", "input", name="Fennel Pad", **ids, **capabilities)
        )
    if camera:
        name = f"{bus}-{port}"
        parts.append(
            device(
                f"{usb}/{name}", "usb", idVendor="ff01", idProduct="0c01", bDeviceClass="ef", product="Cam"
            )
        )
        parts.append(device(f"{usb}/{name}/{name}:1.0", "usb", bInterfaceClass="0e"))
    if short_range:
        name = f"{bus}-{port + 1}"
        parts.append(device(f"{usb}/{name}", "usb", idVendor="ff01", idProduct="0b01", bDeviceClass="e0"))
        parts.append(device(f"{usb}/{name}/{name}:1.0", "usb", bInterfaceClass="e0"))
    parts.append(
        device(f"platform/radio/rfkill/rfkill{bus}", "rfkill", type="bluetooth", soft=switched_off, hard="0")
    )
    parts.append(
        f"P: /devices/pci0000:00/0000:00:02.0/drm/card{bus}/card{bus}-eDP-1\nE: SUBSYSTEM=drm\n"
        f"A: status=connected\\n\nH: edid={edid().hex().upper()}\n"
    )
    parts.append(extra)
    return "\n".join(parts)


def wireless(dbm: int) -> str:
    return f"head\nhead\n wlp1s0: 0000   60.  {dbm}.  -256        0\n"


def read(folder: Path, description: str, *, dbm: int = -44) -> Inventory:
    folder.mkdir(parents=True)
    (folder / "laptop.umockdev").write_text(description, encoding="utf-8")
    (folder / "net").mkdir()
    (folder / "net/wireless").write_text(wireless(dbm))
    runner = require_program("umockdev-run")
    finished = subprocess.run(
        [runner, "-d", str(folder / "laptop.umockdev"), "--", sys.executable, "-c", _READ, str(folder)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert finished.returncode == 0, finished.stderr
    return msgspec.json.decode(finished.stdout, type=Inventory)


@pytest.fixture
def before(tmp_path: Path) -> Inventory:
    return read(tmp_path / "before", laptop())


def found(name: str, before: Inventory, now: Inventory, *, work: tuple[str, ...] = ()) -> Finding:
    one = make_probe(name, {}, Context(arrival_inventory=before, work=work))
    for _ in range(10):
        said = one.step(Sample(at=now.at, inventory=now))
        if isinstance(said, Finding):
            return said
        assert isinstance(said, Working)
    pytest.fail("The check has not ended.")


def test_a_mocked_laptop_tells_its_parts(before: Inventory) -> None:
    kinds = {item.kind for item in before.items}
    assert kinds >= {
        *(ItemKind.WIRELESS, ItemKind.CAMERA, ItemKind.SHORT_RANGE, ItemKind.GRAPHICS, ItemKind.STORAGE),
        *(ItemKind.PANEL, ItemKind.FAN, ItemKind.BATTERY, ItemKind.CHARGER_INPUT),
    }
    assert [(panel.width_px, panel.height_px) for panel in before.panels] == [(1920, 1080)]
    (camera,) = before.of(ItemKind.CAMERA)
    assert (camera.name, camera.volatile) == ("Cam", False)
    assert "00:00:5e" not in json.dumps(msgspec.to_builtins(before))


def test_a_reordered_bus_is_no_finding(tmp_path: Path, before: Inventory) -> None:
    now = read(tmp_path / "now", laptop(bus=3, port=7))
    assert compare(before, now) == Differences()
    assert found("hardware-as-arrived", before, now).readings[0].value == 0


def test_an_antenna_lead_off_is_found(tmp_path: Path, before: Inventory) -> None:
    now = read(tmp_path / "now", laptop(), dbm=-71)
    assert compare(before, now) == Differences()
    finding = found("radio-level", before, now, work=("battery",))
    assert finding.readings[0].value == 27.0
    assert "lead is off" in finding.text


@pytest.mark.parametrize(
    ("description", "kind"),
    [(laptop(camera=False), ItemKind.CAMERA), (laptop(card=None), ItemKind.WIRELESS)],
    ids=["camera", "wireless"],
)
def test_a_module_that_is_gone_is_found_once(
    tmp_path: Path, before: Inventory, description: str, kind: ItemKind
) -> None:
    now = read(tmp_path / "now", description)
    assert [item.kind for item in compare(before, now).missing] == [kind]
    assert found("hardware-as-arrived", before, now).readings[0].value == 1


def test_a_new_part_is_a_finding_but_where_it_is_the_work(tmp_path: Path, before: Inventory) -> None:
    now = read(tmp_path / "now", laptop(card="ff02:0a09:ff02:0001"))
    assert len(compare(before, now).exchanged) == 1
    assert found("hardware-as-arrived", before, now, work=("battery",)).readings[0].value == 1
    renewed = found("hardware-as-arrived", before, now, work=("wireless",))
    assert (renewed.readings[0].value, "Renewed" in renewed.text) == (0, True)


def test_a_stick_plugged_in_is_no_finding(tmp_path: Path, before: Inventory) -> None:
    usb = "pci0000:00/0000:00:14.0/usb1/1-2"
    stick = device(usb, "usb", idVendor="ff03", idProduct="0001", bDeviceClass="00", removable="removable")
    stick += "\n" + device(f"{usb}/1-2:1.0", "usb", bInterfaceClass="08")
    now = read(tmp_path / "now", laptop(extra=stick))
    assert any(item.volatile for item in now.items)
    assert compare(before, now) == Differences()
    assert compare(now, before).missing == ()


def test_a_radio_blocked_explains_what_it_hides(tmp_path: Path, before: Inventory) -> None:
    now = read(tmp_path / "now", laptop(short_range=False, switched_off="1"))
    differences = compare(before, now)
    assert [item.kind for item in differences.explained] == [ItemKind.SHORT_RANGE]
    assert differences.missing == ()
    reading = found("hardware-as-arrived", before, now).readings[0]
    assert reading.value == 0
    assert "Switch the radio on" in (reading.reason or "")


# The whole command: taken in, repaired, run, signed.

_SHIPPED = shipped_checklists()
_CHECKS = ("first-look", "parts-as-arrived", "radio-as-arrived", "complaint-gone", "sensors-as-arrived")
_TICKET = "TW-1042"


def own_checklists(folder: Path) -> Path:
    """The shipped checks of the inventory as they stand, without the charges, loads and waits around them."""
    folder.mkdir()
    told, opened = (
        yaml.safe_load((shipped_dir() / f"{name}.yaml").read_text(encoding="utf-8"))
        for name in ("every-repair", "base-opened")
    )
    told["steps"] = [
        {"id": "look-in", "name": "look in", "stage": "arrived", "leads_to": "closed"},
        {"id": "hand-back", "name": "hand it back", "stage": "closed"},
    ]
    told["checks"] = [
        {
            **{name: value for name, value in check.items() if name != "after"},
            "stage": "arrived" if check["id"] == "first-look" else "closed",
            "before": ["look-in" if check["id"] == "first-look" else "hand-back"],
        }
        for check in (*told["checks"], *opened["checks"])
        if check["id"] in _CHECKS
    ]
    assert [check["id"] for check in told["checks"]] == list(_CHECKS)
    (folder / "every-repair.yaml").write_text(yaml.safe_dump(told, sort_keys=False), encoding="utf-8")
    for each in _SHIPPED:
        if each.id != "every-repair":
            looked = {
                "id": f"{each.id}-done", "kind": "look", "ask": "Look at what was done.",
                "good": "It is done.", "place": "machine", "stage": "closed", "minutes": 0.1,
                "before": ["hand-back"],
            }  # fmt: skip
            told = {
                "format": "checklist/1", "id": each.id, "revision": 1, "title": each.title,
                "for_work": list(each.for_work), "checks": [looked],
            }  # fmt: skip
            (folder / f"{each.id}.yaml").write_text(yaml.safe_dump(told, sort_keys=False), encoding="utf-8")
    return folder


def handback(cwd: Path, description: str | None, *arguments: str, dbm: int = -44, good: int = 0) -> str:
    """Run the command in a process of its own, on the mocked laptop where one is described."""
    command = [sys.executable, str(Path(__file__).with_name("parts_driver.py")), str(cwd), *arguments]
    (cwd / "wireless").write_text(wireless(dbm))
    if description is not None:
        (cwd / "laptop.umockdev").write_text(description, encoding="utf-8")
        command = [require_program("umockdev-run"), "-d", str(cwd / "laptop.umockdev"), "--", *command]
    finished = subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        timeout=120,
        env={**os.environ, "HANDBACK_HOME": str(cwd / "home"), "HANDBACK_PASSPHRASE": ""},
    )
    assert finished.returncode == good, finished.stdout + finished.stderr
    assert "Traceback" not in finished.stderr
    return finished.stdout


def repaired(cwd: Path, work: str, now: str, *, dbm: int = -44, outcome: Outcome) -> tuple[Record, str]:
    """Take the laptop in, repair it, run it and sign; return the record and the page as it is read."""
    own = str(own_checklists(cwd / "own"))
    answers = {
        "format": "answers/1",
        "answers": {
            "first-look": "no",
            "complaint-gone": "good",
            **{f"{each.id}-done": "good" for each in _SHIPPED if work in each.for_work},
        },
        "arrival": {
            "found_as": "runs",
            "complaint": "It does not charge.",
            "pictures": [],
            "accessories": ["charger"],
            "tried": dict.fromkeys(FUNCTIONS, "works"),
        },
    }
    (cwd / "answers.yaml").write_text(yaml.safe_dump(answers), encoding="utf-8")
    here = ("--answers", "answers.yaml", "--on-machine", "--every", "0.2")
    handback(cwd, laptop(), "arrive", _TICKET, "--own", own, *here)
    handback(cwd, None, "start", _TICKET, "--work", work, "--own", own)
    ready = outcome is Outcome.FIT
    handback(cwd, now, "run", _TICKET, *here, dbm=dbm, good=0 if ready else 1)
    handback(cwd, None, "key", "new", "Demo Technician", "--role", "technician", "--no-passphrase")
    handback(cwd, None, "sign", _TICKET, "--yes")
    record = load_record(cwd / "reports", _TICKET)
    assert record.outcome is outcome
    (page,) = (cwd / "reports" / _TICKET).glob("*.html")
    journal = (cwd / "reports" / _TICKET / "journal.jsonl").read_text(encoding="utf-8")
    for text in (page.read_text(encoding="utf-8"), record_bytes(record).decode(), journal):
        for secret in (SERIAL, PACK_SERIAL, ADDRESS, "wlp1s0", "wlp3s0", "answers.yaml"):
            assert secret not in text, secret
    shown = page.read_text(encoding="utf-8")
    shown = shown[shown.index("Parts: on arrival and now") :]
    shown = html.unescape(re.sub(r"<[^>]+>", " ", shown[: shown.index("</section>")]))
    return record, " ".join(shown.split())


def verdict(record: Record, check: str) -> Verdict:
    return next(result.verdict for result in record.results if result.check == check)


HELD, FIT = Outcome.HELD, Outcome.FIT
GOOD, BAD, OPEN = Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED


@pytest.mark.parametrize(
    ("work", "now", "dbm", "outcome", "parts", "radio", "words"),
    [
        pytest.param(
            "battery", laptop(), -46, FIT, GOOD, GOOD, ("The other", "parts there there"), id="sound"
        ),
        pytest.param(
            "battery", laptop(), -71, HELD, GOOD, BAD,
            ("−44 dBm −71 dBm", "Press both antenna plugs home", "Disturbed perhaps by: battery."),
            id="a lead off",
        ),
        pytest.param(
            "battery", laptop(card=None), -44, HELD, BAD, OPEN,
            ("wireless network", "there not seen", "Seat the wireless card again", "perhaps by: battery."),
            id="card gone",
        ),
        pytest.param(
            "lid", laptop(camera=False), -44, HELD, BAD, GOOD,
            ("camera “Cam”", "there not seen", "camera lead behind the bezel", "perhaps by: lid."),
            id="camera gone",
        ),
        pytest.param(
            "battery",
            laptop().replace("temp1_input=41000", "temp1_input=-128000"), -44, HELD, GOOD, GOOD,
            ("The other", "parts there there"),
            id="a sensor silent",
        ),
        pytest.param(
            "battery", laptop(touchpad=False), -44, HELD, BAD, GOOD,
            ("touchpad “Fennel Pad”", "touchpad's ribbon and its latch", "perhaps by: battery."),
            id="touchpad gone",
        ),
        pytest.param(
            "feet", laptop(camera=False), -44, FIT, OPEN, GOOD,
            ("camera “Cam”", "there not seen", "No work of this ticket should have touched it."),
            id="camera gone where nothing was opened",
        ),
        pytest.param(
            "storage", laptop(drive="Fennel D7"), -44, FIT, GOOD, GOOD,
            ("“Fennel D5” “Fennel D7”", "this work is for it"),
            id="a new drive for work on storage",
        ),
        pytest.param(
            "battery", laptop(drive="Fennel D7"), -44, HELD, BAD, GOOD,
            ("“Fennel D5” “Fennel D7”", "Seat the drive again", "perhaps by: battery."),
            id="another drive on a battery job",
        ),
        pytest.param(
            "battery", laptop(short_range=False, switched_off="1"), -44, FIT, OPEN, GOOD,
            ("short-range radio", "there switched off", "that explains it"),
            id="a radio blocked",
        ),
        pytest.param(
            "battery",
            re.sub(r"hwmon([0-9])", r"hwmon1\1", laptop(bus=3, port=7)), -44, FIT, GOOD, GOOD,
            ("The other", "parts there there"),
            id="a reordered bus",
        ),
    ],
)  # fmt: skip
def test_from_arrival_to_the_signed_page(
    tmp_path: Path,
    work: str,
    now: str,
    dbm: int,
    outcome: Outcome,
    parts: Verdict,
    radio: Verdict,
    words: tuple[str, ...],
) -> None:
    record, shown = repaired(tmp_path, work, now, dbm=dbm, outcome=outcome)
    silent = "=-128000" in now
    assert verdict(record, "sensors-as-arrived") is (BAD if silent else GOOD)
    assert (verdict(record, "parts-as-arrived"), verdict(record, "radio-as-arrived")) == (parts, radio)
    for said in words:
        assert said.lower() in shown.lower()
    if parts is GOOD and work != "storage":
        assert "not seen" not in shown
