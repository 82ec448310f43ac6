"""A job in the virtual machine, from its first start to its end, with power cuts in between."""

import random
import subprocess
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec

from tests.rig.power_disk import Kind, copy_disk, copy_out, lose_unflushed, make_disk
from tests.rig.vm import Parts, Start, command

_FIRST_START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
_HELD_MWH, _FULL_MWH = 22_600, 56_400  # the charge takes half an hour
_CHARGE_COUNTS = 20.0  # lines of the journal that the whole charge stands for when cuts are spread
_PATIENCE_S = 150.0
_BETWEEN_LINES_S = 0.06  # about what a sample, or three answers, take in the emulator
_EARLY_S = 2.0  # from the disk mounted to the first answer


class Cut(msgspec.Struct, frozen=True, kw_only=True):
    """When the power goes: so long after so much progress was told, or after the disk was mounted.

    loses: the drive had a cache, and loses what it was not told to keep.
    """

    after: float | None
    seconds: float
    loses: bool


class Boot(msgspec.Struct, frozen=True, kw_only=True):
    """One start of the machine and what came of it.

    had: hash of each journal line that stood there. acked: hash by line number of those written since.
    progress: how far it came, in all. code: the emulator's, −9 where it was cut. lost: writes that the drive
    lost, of how many that it had not been told to keep.
    """

    boot_id: str | None
    had: tuple[str, ...]
    acked: dict[int, str]
    progress: float
    code: int
    ended: tuple[str, ...]
    held_mwh: int
    charger_in: bool
    console: str
    lost: tuple[int, int] | None = None


class Job(msgspec.Struct, frozen=True, kw_only=True):
    """All starts of a job; what lies on its disk at the end, copied to a folder of the host."""

    boots: tuple[Boot, ...]
    reports: Path


class _Progress:
    """How far a job is, from what the guest tells: lines of the journal, and the share of the charge."""

    def __init__(self) -> None:
        self._lines: set[str] = set()
        self._charged = 0.0

    @property
    def made(self) -> float:
        """The progress so far, over all starts."""
        return len(self._lines) + _CHARGE_COUNTS * self._charged

    def take(self, word: list[str]) -> None:
        """Take in a line. Each session's own line is no progress."""
        if word[0] in ("HAVE", "ACK") and word[3] != "Opened":
            self._lines.add(word[1])
        elif word[0] == "SAMPLE" and word[1:]:
            charged = (int(word[1]) - _HELD_MWH) / (_FULL_MWH - _HELD_MWH)
            self._charged = max(self._charged, charged)


def draw_cuts(count: int, whole: float, chance: random.Random) -> list[Cut]:
    """Draw moments that spread over a whole job. whole: the progress of an uninterrupted one."""
    cuts = []
    for number in range(count):
        early = number > 0 and chance.random() < 0.2
        cuts.append(
            Cut(
                after=None if early else (number + chance.random()) * whole / count,
                seconds=chance.uniform(0, _EARLY_S if early else _BETWEEN_LINES_S),
                loses=chance.random() < 0.5,
            )
        )
    return cuts


def work(parts: Parts, folder: Path, kind: Kind, cuts: list[Cut], chance: random.Random) -> Job:
    """Work through a job on a new disk, with these cuts, and then to its end."""
    disk = folder / "disk.img"
    make_disk(disk, kind)
    boots: list[Boot] = []
    progress = _Progress()
    for cut in (*cuts, None):
        boot = _start(parts, folder, kind, boots, cut, progress, alone=not cuts)
        if boot.code == -9 and cut is not None and cut.loses:
            lost = lose_unflushed(disk, folder / "before.img", folder / "writes.log", chance)
            boot = msgspec.structs.replace(boot, lost=lost)
        boots.append(boot)
    copy_out(disk, kind, folder / "reports")
    return Job(boots=tuple(boots), reports=folder / "reports")


def _start(
    parts: Parts,
    folder: Path,
    kind: Kind,
    boots: list[Boot],
    cut: Cut | None,
    progress: _Progress,
    *,
    alone: bool,
) -> Boot:
    disk, log, console = folder / "disk.img", folder / "writes.log", folder / "console.txt"
    copy_disk(disk, folder / "before.img")
    log.write_bytes(b"")
    held_mwh, charger_in = (boots[-1].held_mwh, boots[-1].charger_in) if boots else (_HELD_MWH, False)
    start = Start(
        held_mwh=held_mwh,
        charger_in=charger_in,
        clock=_FIRST_START + timedelta(hours=2 * len(boots)),
        alone=alone,
    )
    emulator = command(parts, start, disk=disk, kind=kind.value, log=log, console=console)
    words, code = _listen(emulator, cut, progress)
    return Boot(
        boot_id=next((word[1] for word in words if word[0] == "UP"), None),
        had=tuple(word[2] for word in words if word[0] == "HAVE"),
        acked={int(word[1]): word[2] for word in words if word[0] == "ACK"},
        progress=progress.made,
        code=code,
        ended=tuple(" ".join(word) for word in words if word[0] in ("DUE", "ENDED")),
        held_mwh=next(
            (int(word[1]) for word in reversed(words) if word[0] == "SAMPLE" and word[1:]), held_mwh
        ),
        # Whoever starts it again puts the charger back in.
        charger_in=charger_in or ["PLUG", "1"] in words,
        console=console.read_text(encoding="utf-8", errors="replace"),
    )


def _listen(emulator: list[str], cut: Cut | None, progress: _Progress) -> tuple[list[list[str]], int]:
    """Start the emulator, hear it out, and kill it when its time has come; return its words and its code."""
    words: list[list[str]] = []
    armed = cut is None
    with subprocess.Popen(emulator, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        watchdog = threading.Timer(_PATIENCE_S, process.terminate)
        watchdog.start()
        assert process.stdout is not None
        assert process.stderr is not None
        for line in process.stdout:
            if not line.endswith(b"\n"):
                break  # cut off in the middle of telling
            word = line.decode().split()
            words.append(word)
            progress.take(word)
            if cut is None or armed or word[0] in ("HAVE", "PLUG"):
                continue
            if word[0] == "UP" if cut.after is None else progress.made >= cut.after:
                armed = True
                threading.Timer(cut.seconds, process.kill).start()
        code = process.wait()
        watchdog.cancel()
        said = process.stderr.read().decode(errors="replace")
    assert code in (0, -9), f"The emulator ended with {code}: {said}"
    return words, code
