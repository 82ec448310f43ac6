"""Work through batteries in the virtual machine: some in one boot, each by itself, on one state disk."""

import subprocess
import threading
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec

from tests.rig.power_disk import Kind, copy_out, make_disk
from tests.rig.vm import Parts, emulator

DIED = 3
"""What the emulator ends with where the firmware cuts the power: twice what it writes to the port, plus 1."""

_FIRST_START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
_PATIENCE_S = 600.0


class Boot(msgspec.Struct, frozen=True, kw_only=True):
    """One start of the machine: what it told, line by line, the emulator's code, what the guest printed."""

    told: tuple[tuple[str, ...], ...]
    code: int
    console: str

    def said(self, what: str, case: str) -> tuple[str, ...] | None:
        """Return what was told of a case after this word, the last time; None where nothing was."""
        return next((line[2:] for line in reversed(self.told) if line[:2] == (what, case)), None)


class Bench(msgspec.Struct, frozen=True, kw_only=True):
    """All starts on one disk, and what lies on it at the end, copied to a folder of the host."""

    boots: tuple[Boot, ...]
    reports: Path


def work(parts: Parts, folder: Path, cases: Sequence[str]) -> Bench:
    """Work through these cases in an empty folder; start the machine once more where a battery died."""
    disk = folder / "disk.img"
    make_disk(disk, Kind.EXT4)
    boots = [_boot(parts, folder, disk, cases, number=0)]
    if boots[0].code == DIED:
        boots.append(_boot(parts, folder, disk, cases, number=1))
    copy_out(disk, Kind.EXT4, folder / "reports")
    disk.unlink()
    return Bench(boots=tuple(boots), reports=folder / "reports")


def _boot(parts: Parts, folder: Path, disk: Path, cases: Sequence[str], *, number: int) -> Boot:
    console = folder / f"console-{number}.txt"
    command = [
        *emulator(
            parts,
            words=f"rig_disk={Kind.EXT4} rig_cases={','.join(cases)}",
            clock=_FIRST_START + timedelta(hours=12 * number),
            console=console,
        ),
        *("-device", "isa-debug-exit,iobase=0xf4,iosize=0x04"),
        # Guest time would run away while the emulator waits for a real drive.
        *("-drive", f"if=virtio,format=raw,file={disk},cache.no-flush=on"),
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        watchdog = threading.Timer(_PATIENCE_S, process.kill)
        watchdog.start()
        try:
            told, said = process.communicate()
        finally:
            watchdog.cancel()
            process.kill()
    assert process.returncode in (0, DIED), (
        f"The emulator ended with {process.returncode}: {said.decode(errors='replace')}{told.decode()}"
    )
    return Boot(
        told=tuple(tuple(line.split()) for line in told.decode().splitlines()),
        code=process.returncode,
        console=console.read_text(encoding="utf-8", errors="replace"),
    )
