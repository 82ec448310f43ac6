"""What four hours of watching at one sample a second cost: processor time a second, and memory.

usage: python tests/benchmarks/bench_watch.py

Promised: under 2 ms of processor time a second, flat in memory. Every part is real but the clock, which is
moved on: a laptop's tree is read by the Linux back end, the owner feeds the watch and writes its trace, what
is shown is made, and the strip is written. Beside it stands the plain reading alone, as the baseline.
"""

import sys
import tempfile
import time
import tracemalloc
from datetime import UTC, datetime
from pathlib import Path

from verify.ask.view import strip_line
from verify.checklist import Kind
from verify.checklist.shipped import shipped_checklists
from verify.machine.linux import LinuxMachine
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, begin, plan
from verify.testing.good_answers import GoodAnswers
from verify.testing.sysfs_tree import ENERGY_PACK, SysfsTree
from verify.values import VirtualClock

HOURS = 4
LIMIT_MS = 2.0
LIMIT_GROWTH_KB = 256.0


def charging(tree: SysfsTree, second: int) -> None:
    """Let the pack go on charging, slowly enough to last."""
    energy_uwh = 31_040_000 + int(second * 1e6 * 4 / 3600)
    tree.battery(
        status="Charging",
        energy_now=str(energy_uwh),
        capacity=str(int(100 * energy_uwh / int(ENERGY_PACK["energy_full"]))),
    )


def watching(folder: RunFolder, machine: LinuxMachine, clock: VirtualClock) -> Owner:
    """Return a run that only watches the charge."""
    begin(
        folder,
        ticket=Ticket(id="TW-1", work=(Work(kind="battery"),)),
        checklists=shipped_checklists(),
        clock=clock,
    )
    owner = Owner(folder, machine=machine, scripted=True, on_machine=True)
    answers = GoodAnswers()
    while owner.strip is None or owner.strip[0].id != "charge-to-full":
        due = owner.due()
        if isinstance(due, plan.Ask):
            check = next(check for check in due.checks if check.id == due.pending[0])
            answer = answers.answer(check)
            assert answer is not None
            assert check.kind is not Kind.PROBE
            owner.answer(check.id, answer)
        elif isinstance(due, plan.Do):
            owner.take_step(due.step.id)
        else:
            clock.wait(1)
            owner.take_sample(machine.sample())
    return owner


def main() -> int:
    """Measure, print, and return 1 where a limit is passed."""
    with tempfile.TemporaryDirectory(dir=".") as name:
        tree = SysfsTree(Path(name) / "sys")
        tree.laptop()
        charging(tree, 0)
        clock = VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC))
        machine = LinuxMachine(sysfs=tree.root, clock=clock)
        with RunFolder(Path(name) / "TW-1") as folder:
            owner = watching(folder, machine, clock)
            spent_s = plain_s = 0.0
            for second in range(HOURS * 3600):
                if second % 60 == 0:
                    charging(tree, second)
                clock.wait(1)
                begun = time.process_time()
                sample = machine.sample()
                middle = time.process_time()
                owner.take_sample(sample)
                strip_line(owner.shown())
                spent_s += time.process_time() - begun
                plain_s += middle - begun
            assert owner.strip is not None, "the watch has ended too early to be measured"
            owner.close()
            memory = growth_kb(folder, machine, clock, tree)
    watched = HOURS * 3600
    print(f"a second of watching: {1e3 * spent_s / watched:.2f} ms of processor time (limit {LIMIT_MS:g} ms)")
    print(f"  the reading alone:  {1e3 * plain_s / watched:.2f} ms; all of it {spent_s / plain_s:.2f} x that")
    print(f"memory grown in an hour of it: {memory:.0f} kB (limit {LIMIT_GROWTH_KB:g} kB)")
    return 0 if 1e3 * spent_s / watched < LIMIT_MS and memory < LIMIT_GROWTH_KB else 1


def growth_kb(folder: RunFolder, machine: LinuxMachine, clock: VirtualClock, tree: SysfsTree) -> float:
    """Return how much Python memory an hour of watching adds, in kB; the run is taken up again for it."""
    owner = Owner(folder, machine=machine, scripted=True, on_machine=True)
    tracemalloc.start()
    before = 0.0
    for second in range(3600 + 300):
        if second % 60 == 0:
            charging(tree, HOURS * 3600 + second)
        clock.wait(1)
        owner.take_sample(machine.sample())
        strip_line(owner.shown())
        if second == 300:
            before = tracemalloc.get_traced_memory()[0] / 1024
    after = tracemalloc.get_traced_memory()[0] / 1024
    tracemalloc.stop()
    assert owner.strip is not None
    owner.close()
    return after - before


if __name__ == "__main__":
    sys.exit(main())
