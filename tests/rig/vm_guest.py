"""Inside the virtual machine: work on the run on the state disk, and tell the host what is done.

usage: vm_guest.py STICK

Telling goes byte by byte to a debug port, at once: what the host has heard before a cut was acknowledged.
HAVE n hash kind: a line that stood in the journal at this start. ACK n hash kind: one whose `append` came
back. UP boot: the disk is mounted and read.
SAMPLE mWh, PLUG 0|1: what the pack holds, where the charger is.
"""

import hashlib
import os
import sys
from pathlib import Path

from verify.ask.script import AnswerFile, play
from verify.checklist import Check, Step
from verify.checklist.shipped import shipped_checklists
from verify.machine import Sample, open_machine
from verify.probe import Want
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, plan, ticket_folder
from verify.run.events import Event, Line
from verify.run.journal import Journal
from verify.run.sampling import ThreadSampler
from verify.values import Instant, SystemClock

TICKET = "TW-7"
EVERY_S = 20.0
_PORTS = os.open("/dev/port", os.O_RDWR)
_TELL, _PLUG, _HELD = 0xE9, 0xE0, 0xE2


def tell(*words: object) -> None:
    """Tell the host a line."""
    for byte in (" ".join(map(str, words)) + "\n").encode():
        os.pwrite(_PORTS, bytes([byte]), _TELL)


def plug(*, into: bool) -> None:
    """Put the charger in or pull it out."""
    os.pwrite(_PORTS, bytes([into]), _PLUG)
    tell("PLUG", int(into))


class BenchHands:
    """Somebody at the bench who handles the charger."""

    def did(self, step: Step) -> None:
        """Plug the charger in where the step says so."""
        if step.id == "charge":
            plug(into=True)

    def give(self, want: Want) -> None:
        """Do what a running check needs of the charger."""
        if want in (Want.CHARGER_IN, Want.CHARGER_OUT):
            plug(into=want is Want.CHARGER_IN)

    def takes_s(self, check: Check) -> float:
        """Return 0: a script answers at once."""
        del check
        return 0.0


class ToldSampler(ThreadSampler):
    """Tells each sample. Waits for one without waking up in between: that would cost the emulator much."""

    def next(self, timeout_s: float) -> Sample | None:
        """Return the next sample."""
        sample = super().next(2 * EVERY_S if timeout_s else 0)
        if sample is not None:
            tell("SAMPLE", *(round(1000 * (pack.remaining_wh or 0)) for pack in sample.packs))
        return sample


def tell_appended() -> None:
    """Tell every line of a journal once it is on the disk."""
    append = Journal.append

    def told(self: Journal, event: Event, at: Instant) -> Line:
        start = self._size
        line = append(self, event, at)
        with self._path.open("rb") as file:
            file.seek(start)
            tell("ACK", line.n, hashlib.sha256(file.read()).hexdigest(), type(event).__name__)
        return line

    Journal.append = told  # type: ignore[method-assign] # the only place that knows when a line is on disk


def main(stick: str) -> None:
    """Go on with the run, or begin it, and work until nothing is due."""
    held = Path("/proc/cmdline").read_text(encoding="ascii")
    words = dict(word.split("=", 1) for word in held.split() if word.startswith("rig_"))
    os.pwrite(_PORTS, int(words["rig_held"]).to_bytes(2, "little"), _HELD)
    plug(into=words["rig_charger"] == "1")
    path = ticket_folder(Path(stick), TICKET)
    journal = RunFolder(path).journal_path
    if journal.exists():
        for n, text in enumerate(journal.read_bytes().split(b"\n")[:-1]):
            session = b'"event":{"type":"opened"' in text
            tell("HAVE", n, hashlib.sha256(text + b"\n").hexdigest(), "Opened" if session else "other")
    tell("UP", SystemClock().now().boot_id)
    tell_appended()
    machine = open_machine()
    with RunFolder(path) as folder:
        if not journal.exists() or not journal.read_bytes():
            part = Part(source="reproduction", label={"energy": "57.0 Wh"})
            ticket = Ticket(id=TICKET, model="Larkspur 13", work=(Work(kind="battery", part=part),))
            begin(folder, ticket=ticket, checklists=shipped_checklists(None), clock=SystemClock())
        owner = Owner(folder, machine=machine, scripted=True, on_machine=True)
        tell("OWNER")
        sampler = ToldSampler(machine, every_s=EVERY_S)
        due = play(owner, AnswerFile(Path("/rig/answers.yaml")), sampler, hands=BenchHands())
        sampler.close()
        owner.close()
    tell("DUE", type(due).__name__)
    if isinstance(due, plan.Complete):
        from verify.cli import main as handback

        try:
            handback(["run", TICKET, "--answers", "/rig/answers.yaml", "--on-machine", "--reports", stick])
        except SystemExit as ended:
            tell("ENDED", ended.code)


if __name__ == "__main__":
    main(sys.argv[1])
