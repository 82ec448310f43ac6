"""Where one signs: on the bench computer; on the repaired machine only by choice, and then it is said.

The trees stand in for the machines: no laptop can be repaired here. Everything that reads them is real.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from verify.testing.sysfs_tree import SysfsTree

HANDBACK = [sys.executable, "-c", "from verify.cli import main; main()"]
SAID_SO = "First signed on the repaired machine itself, not on the bench computer."


def handback(shop: Path, *arguments: str, code: int) -> str:
    said = subprocess.run(
        [*HANDBACK, *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=shop,
        env={**os.environ, "HANDBACK_HOME": str(shop / "home")},
        timeout=120,
    )
    assert "Traceback" not in said.stderr
    assert said.returncode == code, said.stderr + said.stdout
    return said.stdout + said.stderr


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A ticket on which somebody worked on the repaired machine itself; and a bench computer."""
    laptop, bench, bare = (SysfsTree(tmp_path / name) for name in ("laptop", "bench", "bare"))
    laptop.laptop()
    laptop.device("net", "wlan0", way="pci0000:00/0000:00:1c.0", address="00:00:5e:00:53:01")
    bench.laptop()
    bench.firmware(product_name="Bench 2")
    bare.adapter()  # a computer that tells nothing of itself
    (tmp_path / "first.yaml").write_text("format: answers/1\nanswers: {first-look: no}\n", encoding="utf-8")
    handback(tmp_path, "key", "new", "First", "--role", "technician", "--no-passphrase", code=0)
    handback(tmp_path, "start", "TW-7", "--work", "feet", code=0)
    run = ("run", "TW-7", "--answers", "first.yaml", "--sysfs", "laptop", "--on-machine")
    handback(tmp_path, *run, code=1)
    return tmp_path


def _signed(shop: Path) -> bool:
    return b"<!--handback-signature " in (shop / "reports/TW-7/report.html").read_bytes()


def test_on_the_repaired_machine_it_is_refused_and_says_where_to_go(shop: Path) -> None:
    said = handback(shop, "sign", "TW-7", "--yes", "--sysfs", "laptop", code=2)
    assert "This computer is the repaired machine itself, so nothing was signed." in said
    assert "handback sign TW-7 --on-machine" in said
    assert not _signed(shop)


def test_by_choice_it_is_signed_there_and_the_proof_says_so(shop: Path) -> None:
    said = handback(shop, "sign", "TW-7", "--yes", "--sysfs", "laptop", "--on-machine", code=0)
    assert said.index("on the repaired machine itself") < said.index("Signed: ")
    assert SAID_SO in handback(shop, "prove", "reports/TW-7/report.html", code=0)
    row = json.loads(handback(shop, "prove", "reports/TW-7/report.html", "--json", code=0))[0]
    assert row["proof"]["signers"][0]["on_machine"] is True


def test_on_the_bench_computer_nothing_is_asked_and_nothing_said(shop: Path) -> None:
    said = handback(shop, "sign", "TW-7", "--yes", "--sysfs", "bench", code=0)
    assert "repaired machine itself" not in said
    said = handback(shop, "prove", "reports/TW-7/report.html", code=0)
    assert "repaired machine itself" not in said


def test_where_it_cannot_be_told_the_signer_is_warned(shop: Path) -> None:
    said = handback(shop, "sign", "TW-7", "--yes", "--sysfs", "bare", code=0)
    assert "Place    not known; if this is the repaired machine itself" in said
    assert _signed(shop)
