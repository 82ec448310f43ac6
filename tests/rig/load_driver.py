"""A program that loads the machine as a run does: one thread samples, the main thread renews the lease.

Arguments: a tree laid out like /sys, or "own" for this computer; the longest time of the load in s. Prints
the children's process ids, one line a renewal, and at the end why the load ended; then stays until its input
closes. Where the tree holds a file "hang", every read of a temperature hangs for ever.
"""

import queue
import sys
import threading
from pathlib import Path

from verify.machine import Machine, Sample, open_machine
from verify.machine.linux import LinuxMachine
from verify.machine.load import ProcessLoad
from verify.machine.sysfs import fetch_bytes
from verify.values import SystemClock

EVERY_S = 0.5


def say(*words: object) -> None:
    sys.stdout.write(f"{' '.join(map(str, words))}\n")
    sys.stdout.flush()


def main() -> None:
    root, longest_s = sys.argv[1], float(sys.argv[2])

    def fetch(path: str) -> bytes:
        if path.endswith("_input") and (Path(root) / "hang").exists():
            threading.Event().wait()
        return fetch_bytes(path)

    machine: Machine = open_machine()
    if root != "own":
        machine = LinuxMachine(sysfs=Path(root), clock=SystemClock(), fetch=fetch)
    samples: queue.SimpleQueue[Sample] = queue.SimpleQueue()

    def read() -> None:
        while True:
            samples.put(machine.sample())
            threading.Event().wait(EVERY_S)

    threading.Thread(target=read, daemon=True).start()
    load = machine.start_load(longest_s=longest_s)
    assert isinstance(load, ProcessLoad)
    say("children", *load.children)
    while load.running:
        try:
            sample = samples.get(timeout=0.1)
        except queue.Empty:
            continue
        if load.renew(sample):
            say("renewed")
    say("ended", load.why_ended)
    sys.stdin.read()


if __name__ == "__main__":
    main()
