"""Run in a mount space of its own (`unshare -rm`): a disk that is full, read-only, or pulled out. As JSON.

Usage: full_disk_driver.py HOW FOLDER, with HOW one of: full, read-only, pulled.
"""

import functools
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist.loader import parse_checklist
from verify.checklist.shipped import shipped_checklists
from verify.machine.simulated import SimulatedMachine
from verify.record.model import Part, Ticket, Work
from verify.report import issue_report
from verify.run import Owner, RunFolder, begin, beginning, load_record, plan
from verify.run.sampling import VirtualSampler
from verify.testing.good_answers import GoodAnswers
from verify.values.errors import HandbackError

TICKET = "TW-1042"
PAGE = 4096


def mount(*arguments: str) -> None:
    subprocess.run(["mount", *arguments], check=True)


class Bench(SimulatedBench):
    """A machine whose pack is nearly full: the charge is short."""

    def __init__(self) -> None:
        super().__init__(faults={})
        self.machine = SimulatedMachine(clock=self.clock, level=0.96)
        self.sampler = VirtualSampler(self.machine, self.clock, every_s=30.0)


def go_on(folder: Path, bench: Bench, answers: GoodAnswers) -> plan.Due:
    """Do what the command line does in one session: open, play, write the report."""
    with RunFolder(folder) as held:
        if not held.begun:
            part = Part(source="reproduction", label={"energy": "57.0 Wh"})
            work = (Work(kind="battery", part=part), Work(kind="feet"))
            begin(
                held, ticket=Ticket(id=TICKET, work=work), checklists=shipped_checklists(), clock=bench.clock
            )
        owner = Owner(held, machine=bench.machine, scripted=True, on_machine=True)
        try:
            due = play(owner, answers, bench.sampler, hands=bench)
        finally:
            owner.close()
        issue_report(held.path, load_record(held.path.parent, TICKET))
    return due


def told(error: HandbackError) -> dict[str, Any]:
    return {"kind": type(error).__name__, "what": error.what, "next": error.next_step}


def full(disk: Path) -> list[dict[str, Any]]:
    """Play with so many pages free, more with each round, until there is room enough; then with room."""
    rounds: list[dict[str, Any]] = []
    pages, said = 0, None
    while not rounds or said is not None:
        # The page itself takes many pages: not each of them is a place of its own.
        pages += 7 if said is not None and said["kind"] == "FileWriteError" else 1
        mount("-t", "tmpfs", "-o", f"size={pages * PAGE}", "disk", str(disk))
        folder, bench, answers = disk / TICKET, Bench(), GoodAnswers()
        said = None
        try:
            due = go_on(folder, bench, answers)
        except HandbackError as error:
            said = told(error)
        journal = folder / "journal.jsonl"
        kept = journal.read_bytes() if journal.exists() else b""
        asked = len(answers.asked)
        mount("-o", f"remount,size={1000 * PAGE}", str(disk))
        due = go_on(folder, bench, answers)
        rounds.append(
            {
                "pages": pages,
                "said": said,
                "whole": kept == b"" or kept.endswith(b"\n"),
                "kept": journal.read_bytes().startswith(kept),
                "lines": kept.count(b"\n"),
                "due": type(due).__name__,
                "asked before": asked,
                "asked twice": len(answers.asked) - len(set(answers.asked)),
                "outcome": load_record(disk, TICKET).outcome.value,
                "left": sorted(path.name for path in folder.iterdir()),
            }
        )
        subprocess.run(["umount", str(disk)], check=True)
    return rounds


def taken(disk: Path, how: str) -> dict[str, Any]:
    """Take the disk away from under a run that goes on, give it back, and go on."""
    place = disk / "stick"
    folder, bench = place / TICKET, Bench()
    kept_in = disk / "kept"
    kept_in.mkdir()
    place.mkdir()
    mount("--bind", str(kept_in), str(place))
    answers = GoodAnswers({"bay-clean": None})
    said = []
    with RunFolder(folder) as held:
        part = Part(source="reproduction", label={"energy": "57.0 Wh"})
        work = (Work(kind="battery", part=part),)
        begin(held, ticket=Ticket(id=TICKET, work=work), checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(held, machine=bench.machine, scripted=True, on_machine=True)
        play(owner, answers, bench.sampler, hands=bench)
        before = held.journal_path.read_bytes()
        if how == "read-only":
            # A second mount on the same folder: writers of the first cannot keep it from being read-only.
            mount("--bind", str(place), str(place))
            mount("-o", "remount,bind,ro", str(place))
        else:
            subprocess.run(["umount", "-l", str(place)], check=True)
        answers.but.clear()
        for _ in range(2):
            try:
                play(owner, answers, bench.sampler, hands=bench)
            except HandbackError as error:
                said.append(told(error))
        owner.close()
    try:
        with RunFolder(folder) as held:
            Owner(held, machine=bench.machine, scripted=True, on_machine=True)
    except HandbackError as error:
        said.append(told(error))
    if how == "read-only":
        subprocess.run(["umount", str(place)], check=True)
    else:
        left = [str(path.relative_to(place)) for path in place.rglob("*")]
        mount("--bind", str(kept_in), str(place))
        assert left in ([], [TICKET, f"{TICKET}/lock"]), left
    after = (folder / "journal.jsonl").read_bytes()
    due = go_on(folder, bench, answers)
    return {
        "said": said,
        "same": before == after,
        "due": type(due).__name__,
        "asked": answers.asked,
        "outcome": load_record(place, TICKET).outcome.value,
    }


def main() -> None:
    how, folder = sys.argv[1], Path(sys.argv[2])
    # The same text gives the same checklist: read it once.
    setattr(beginning, "parse_checklist", functools.cache(parse_checklist))  # noqa: B010 - the module's own name
    json.dump(full(folder) if how == "full" else taken(folder, how), sys.stdout)


if __name__ == "__main__":
    main()
