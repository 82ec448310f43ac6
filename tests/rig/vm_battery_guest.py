"""Inside the virtual machine: work through the run of each battery, with hands that know what to do.

usage: python -m tests.rig.vm_battery_guest STICK. Which ones stands on the kernel's command line: rig_cases.

Telling goes byte by byte to a debug port, at once. BEGAN name boot, ENDED name due: a battery's run, and what
was due when nothing more could be answered. PROBED name code: `handback probe --json` ended so; what it said
lies on the disk beside the runs. FAILED name why: it came to a fault.
"""

import contextlib
import io
import os
import sys
import time
import traceback
from pathlib import Path

from tests.rig.vm_battery_cases import CASES, LABEL_WH, MEDDLE_AT, Case, Meddling
from verify.ask.script import play
from verify.checklist import Check, Step
from verify.checklist.answers import Answer, Hazard
from verify.checklist.loader import parse_checklist
from verify.cli import main as handback
from verify.machine import Machine, Sample, open_machine
from verify.probe import Want
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, plan, ticket_folder
from verify.run.events import Arrived
from verify.run.sampling import ThreadSampler
from verify.values import SystemClock

EVERY_S = 20.0
_AWAY_S = 300.0
_PORTS = os.open("/dev/port", os.O_RDWR)
_LATCH, _TELL = 0xE0, 0xE9
_ZONE = Path("/sys/class/thermal/thermal_zone0/temp")
_IN, _OUT, _OFF, _DIES = 1, 2, 4, 8


def tell(*words: object) -> None:
    """Tell the host a line."""
    for byte in (" ".join(map(str, words)) + "\n").encode():
        os.pwrite(_PORTS, bytes([byte]), _TELL)


class BenchHands:
    """Somebody at the bench: sets a pack up, handles charger and pack."""

    def __init__(self, case: Case) -> None:
        """Set the machine up as the case says."""
        self.case = case
        self._does = _IN
        self._meddles = case.meddling
        self._since_s: float | None = None
        self._before: float | None = None
        # The figures of PACK in the firmware's table; what it holds now last, as the others bound it.
        for what, much in (
            (1, case.holds_mah),
            (2, case.design_mah),
            (3, case.claims_mah),
            (5, int(case.milliamps)),
            (6, int(case.leaps)),
            (8, round(100 * case.drawn_w)),
            (9, case.cycles),
            (4, round(case.starts_at * case.holds_mah)),
        ):
            os.pwrite(_PORTS, much.to_bytes(2, "little"), _LATCH + 2)
            os.pwrite(_PORTS, bytes([what]), _LATCH + 1)
            self._look()
            assert os.pread(_PORTS, 1, _LATCH + 1) == b"\0", "the firmware did not take it"
        self._do(_IN * case.charger_in | _OUT * (not case.fitted) | _OFF * case.charging_off)
        time.sleep(3)  # what the kernel's driver keeps of a pack is a second old at most

    def _do(self, does: int) -> None:
        self._does = does | _DIES * self.case.dies
        os.pwrite(_PORTS, bytes([self._does]), _LATCH)
        self._look()

    def _look(self) -> None:
        """Have the firmware look at the latch."""
        _ZONE.read_text(encoding="ascii")

    def did(self, step: Step) -> None:
        """Nothing: no step of the checklist is one for hands."""

    def give(self, want: Want) -> None:
        """Do what a running check needs of the charger, unless it is out on purpose."""
        if want is Want.CHARGER_IN and self._since_s is None:
            self._do(self._does | _IN)
        elif want is Want.CHARGER_OUT:
            self._do(self._does & ~_IN)

    def takes_s(self, check: Check) -> float:
        """Return 0: a script answers at once."""
        del check
        return 0.0

    def meddle(self, sample: Sample) -> None:
        """Do once what the case says as the level has come so far; undo it after a while."""
        if self._since_s is not None:
            away_s = sample.at.elapsed_s - self._since_s
            if self._meddles is Meddling.PULLED and away_s >= _AWAY_S:
                self._undo(self._does | _IN)
            elif self._meddles is Meddling.LOOSE and not sample.packs:
                self._undo(self._does & ~_OUT)
            return
        level = sample.packs[0].state_of_charge if sample.packs else None
        before, self._before = self._before, level
        if level is None or before is None or not before < MEDDLE_AT <= level:
            return
        match self._meddles:
            case Meddling.NOTHING:
                return
            case Meddling.PULLED:
                self._do(self._does & ~_IN)
            case Meddling.LOOSE | Meddling.TAKEN:
                self._do(self._does | _OUT)
        self._since_s = sample.at.elapsed_s

    def _undo(self, does: int) -> None:
        self._since_s, self._meddles = None, Meddling.NOTHING
        self._do(does)

    def put_back(self) -> None:
        """Put the pack back."""
        self._undo(self._does & ~_OUT)
        time.sleep(3)


class WatchedSampler(ThreadSampler):
    """Shows each sample to the hands. Waits for one without waking up: that would cost the emulator much."""

    def __init__(self, machine: Machine, hands: BenchHands) -> None:
        super().__init__(machine, every_s=EVERY_S)
        self._hands = hands

    def next(self, timeout_s: float) -> Sample | None:
        """Return the next sample."""
        sample = super().next(2 * EVERY_S if timeout_s else 0)
        if sample is not None:
            self._hands.meddle(sample)
        return sample


class Answers:
    """Nothing bulges or smells; the tool finds out the rest."""

    def answer(self, check: Check) -> Answer | None:
        """Return the answer to the first question."""
        return Hazard(present=False) if check.id == "first-look" else None

    def arrival(self, topic: str) -> Arrived | None:
        """Return None: nothing is taken in."""
        del topic
        return None


def probe(stick: Path, case: Case) -> None:
    """Keep what `handback probe --json` says, and how it ended."""
    kept = io.BytesIO()
    said = io.TextIOWrapper(kept, encoding="utf-8")
    code: object = 0
    with contextlib.redirect_stdout(said):
        try:
            handback(["probe", "--json"])
        except SystemExit as ended:
            code = ended.code or 0
    said.flush()
    (stick / f"{case.name}.json").write_bytes(kept.getvalue())
    tell("PROBED", case.name, code)


def work(stick: Path, case: Case) -> None:
    """Begin the run of a battery, or go on with it, until nothing more can be answered."""
    path = ticket_folder(stick, case.ticket)
    again = RunFolder(path).journal_path.exists()
    hands = BenchHands(case.started_again if again else case)
    tell("BEGAN", case.name, SystemClock().now().boot_id)
    if not again:
        probe(stick, case)
    machine = open_machine()
    with RunFolder(path) as folder:
        if not again:
            part = Part(source="reproduction", label={"energy": f"{LABEL_WH} Wh"})
            ticket = Ticket(id=case.ticket, model="Larkspur 13", work=(Work(kind="battery", part=part),))
            checklist = parse_checklist(case.checklist, name="battery-bench.yaml")
            begin(folder, ticket=ticket, checklists=(checklist,), clock=SystemClock())
        owner = Owner(folder, machine=machine, scripted=True, on_machine=True)
        sampler = WatchedSampler(machine, hands)
        due = play(owner, Answers(), sampler, hands=hands)
        if case.meddling is Meddling.TAKEN and isinstance(due, plan.Held):
            hands.put_back()
            owner.ask_again(due.blocked[0].check.id)
            due = play(owner, Answers(), sampler, hands=hands)
        sampler.close()
        owner.close()
    tell("ENDED", case.name, type(due).__name__)


def main(stick: Path) -> None:
    """Work through the cases that this boot is for."""
    line = Path("/proc/cmdline").read_text(encoding="ascii")
    names = dict(word.split("=", 1) for word in line.split() if "=" in word)["rig_cases"].split(",")
    for name in names:
        case = next(case for case in CASES if case.name == name)
        try:
            work(stick, case)
        except Exception:  # noqa: BLE001 - the next battery has nothing to do with it
            tell("FAILED", case.name, traceback.format_exc().replace("\n", " | "))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
