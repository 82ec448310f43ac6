"""A whole job in a real terminal on a simulated bench whose hours pass in seconds: for the terminal's rig.

usage: terminal_driver.py FOLDER

Takes the machine in, says that its battery is renewed, then asks to the end. Nobody is at the bench but the
simulated hands: they do the steps that are taken, and what a running check asks for, a moment after the
screen has asked.
"""

import sys
import time
from pathlib import Path

from rich.console import Console

from verify.ask.simulated import SimulatedBench
from verify.ask.terminal import Terminal
from verify.checklist.shipped import shipped_checklists
from verify.machine import Sample
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, live, plan
from verify.run.sampling import VirtualSampler

_STEP_S = 0.01  # of real time between two samples, that is ten seconds at the bench
_PATIENCE = 10  # samples before the hands do what the screen asks for
_SEEN_S = 0.1  # of real time for each of them: long enough for the screen to be seen


class BenchHands(VirtualSampler):
    """The bench's sampler, with hands that follow the run. It is asked in the owner's own thread."""

    def __init__(self, bench: SimulatedBench) -> None:
        super().__init__(bench.machine, bench.clock, every_s=10)
        self._bench = bench
        self._wanted = 0
        self._done: set[str] = set()
        self.owner: Owner | None = None

    def next(self, timeout_s: float) -> Sample | None:
        """Do what is asked for, then return the sample one step later."""
        if self.owner is not None:
            for step in self.owner.composition.steps:
                if step.id in self.owner.state.steps and step.id not in self._done:
                    self._done.add(step.id)
                    self._bench.did(step)
            want = None if self.owner.strip is None else self.owner.strip[1].want
            self._wanted = 0 if want is None else self._wanted + 1
            if want is not None:
                time.sleep(_SEEN_S)
                if self._wanted > _PATIENCE:
                    self._bench.give(want)
        return super().next(timeout_s)


def main(path: str) -> None:
    """Ask until somebody leaves."""
    live._PACE_S = _STEP_S  # time passes quickly here
    console = Console(file=sys.stdout, highlight=False)
    bench = SimulatedBench(faults={})
    with RunFolder(Path(path)) as folder:
        if not folder.journal_path.exists():
            ticket = Ticket(id="TW-1042", model="Larkspur 15")
            begin(folder, ticket=ticket, checklists=shipped_checklists(), clock=bench.clock, arriving=True)
        sampler = BenchHands(bench)
        owner = Owner(folder, machine=bench.machine, scripted=False)
        sampler.owner = owner
        running = live.Live(owner, sampler)
        try:
            taking_in = Terminal(
                running,
                console,
                folder=folder.path,
                leave_when=lambda due: isinstance(due, plan.SayWork),
            )
            if isinstance(taking_in.run(), plan.SayWork):
                part = Part(source="reproduction", label={"energy": "57.0 Wh"})
                work = Work(kind="battery", part=part)
                running.do(lambda owner: owner.add_work([work], shipped_checklists()))
                Terminal(running, console, folder=folder.path).run()
        finally:
            running.close()
    sys.stdout.write("The terminal was left.\n")


if __name__ == "__main__":
    main(sys.argv[1])
