"""What a journal event costs beyond the bare write, and how long a long run takes to be taken up again.

Run it by hand: python tests/benchmarks/bench_journal.py. Processor time per event, of the journal's line and
of the whole command (line, fold, what is due), each against os.write + fsync of the same bytes on the same
drive in the same run; fsync calls are counted. Then a watch of 4 h is resumed, which is longer than a charge,
and the longest one: it gives up after 10 h.
"""

import os
import statistics
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

import msgspec

from verify.ask.simulated import SimulatedBench, Truthful
from verify.checklist.shipped import shipped_checklists, shipped_dir
from verify.checklist.specimen_files import load_specimens
from verify.machine import Pack
from verify.record.model import Part, Ticket, Work
from verify.record.trace_lines import LineWriter
from verify.run import Owner, RunFolder, begin
from verify.run.events import Noticed
from verify.run.fold import fold_lines
from verify.run.journal import Journal
from verify.values import Instant, SystemClock

EVENTS = 400
LIMIT_US = 50.0
LIMIT_RESUME_S = 1.0
LONG_S, LONGEST_S = 4 * 3600, 10 * 3600 - 60
STEP_S = 5
"""So often a gauge tells something new: 2 to 30 s [common practice, no source]."""


def bare(path: Path, texts: list[bytes]) -> list[float]:
    """Return the processor time of each bare write, in s."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT)
    spent = []
    for text in texts:
        start = time.process_time()
        os.write(descriptor, text)
        os.fsync(descriptor)
        spent.append(time.process_time() - start)
    os.close(descriptor)
    return spent


def journalled(folder: RunFolder) -> tuple[list[float], list[float], list[bytes], int]:
    """Return the processor time of each line and of its fold, in s, the lines, and the number of fsyncs."""
    journal = Journal(folder.journal_path)
    from verify.run.beginning import composition_of

    composition = composition_of(journal.lines)
    folding = fold_lines(journal.lines, composition)
    clock = SystemClock()
    synced = 0
    real = os.fsync

    def counting(descriptor: int) -> None:
        nonlocal synced
        synced += 1
        real(descriptor)

    os.fsync = counting  # type: ignore[assignment] # only descriptors are given
    written, folded = [], []
    for number in range(EVENTS):
        event = Noticed(what=f"A scratch beside the left hinge, number {number}.")
        start = time.process_time()
        line = journal.append(event, clock.now())
        middle = time.process_time()
        folding.take(line)
        folding.state()
        folded.append(time.process_time() - middle)
        written.append(middle - start)
    os.fsync = real
    texts = folder.journal_path.read_bytes().splitlines(keepends=True)[-EVENTS:]
    return written, folded, texts, synced


def resumed_s(root: Path, length_s: int) -> float:
    """Return how long it takes to take up a run whose watch has gone on for so long, in s."""
    bench = SimulatedBench(faults={"charge-stops-at": "60 %"})
    sound = load_specimens(shipped_dir() / "battery.specimens.yaml")
    with RunFolder(root / f"TW-{length_s}") as folder:
        work = (Work(kind="battery", part=Part(source="reproduction", label={"energy": "57.0 Wh"})),)
        begin(
            folder,
            ticket=Ticket(id=folder.path.name, work=work),
            checklists=shipped_checklists(),
            clock=bench.clock,
        )
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        truth = Truthful(sound.facts, sound.sees)
        while owner.strip is None or owner.strip[0].id != "charge-to-full":
            play_one(owner, truth, bench)
        owner.close()
        trace = max(folder.path.glob("traces/*charge-to-full.jsonl"))
        sample = bench.machine.sample()
        lines = LineWriter()
        with trace.open("ab") as file:
            for second in range(length_s):
                at = later(sample.at, second)
                packs = tuple(trickled(pack, second) for pack in sample.packs)
                file.write(lines.line(msgspec.structs.replace(sample, at=at, packs=packs))[0] + b"\n")
        start = time.perf_counter()
        again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        took_s = time.perf_counter() - start
        assert again.strip is not None, "the watch has ended: nothing of it was taken up"
        again.close()
    return took_s


def later(at: Instant, second: int) -> Instant:
    """Return the instant so many seconds later, awake."""
    return Instant(
        wall=at.wall + timedelta(seconds=second),
        elapsed_s=at.elapsed_s + second,
        boot_id=at.boot_id,
        awake_s=None if at.awake_s is None else at.awake_s + second,
    )


def trickled(pack: Pack, second: int) -> Pack:
    """Return the pack in a charge that takes longer: what stood still would end the watch."""
    step = second // STEP_S
    level = 0.10 + 0.80 * step * STEP_S / LONGEST_S
    full_wh = pack.full_charge_wh or 57.0
    power_w = 0.80 * full_wh / 10 + 0.01 * (step % 3)
    voltage_v = 11.0 + 1.2 * level
    return msgspec.structs.replace(
        pack,
        state_of_charge=round(level, 4),
        remaining_wh=round(level * full_wh, 2),
        power_w=power_w,
        current_a=power_w / voltage_v,
        voltage_v=voltage_v,
        temperature_c=27.0 + step % 3,
    )


def play_one(owner: Owner, truth: Truthful, bench: SimulatedBench) -> None:
    """Do the next thing that is due."""
    from verify.run import plan

    due = owner.due()
    match due:
        case plan.Ask():
            check = next(check for check in due.checks if check.id in due.pending)
            answer = truth.answer(check)
            assert answer is not None
            owner.answer(check.id, answer)
        case plan.Do():
            bench.did(due.step)
            owner.take_step(due.step.id)
        case _:
            sample = bench.sampler.next(0)
            if sample is not None:
                owner.take_sample(sample)


def main() -> int:
    """Measure, print, and return 1 where a limit is passed."""
    with tempfile.TemporaryDirectory(dir=".") as name:
        root = Path(name)
        with RunFolder(root / "TW-1") as folder:
            begin(folder, ticket=Ticket(id="TW-1"), checklists=shipped_checklists(), clock=SystemClock())
            written, folded, texts, synced = journalled(folder)
        plain = bare(root / "plain", texts)
        base, line, fold = (1e6 * statistics.median(one) for one in (plain, written, folded))
        print(f"bare write and fsync          {base:7.1f} µs of processor time, median of {EVENTS}")
        print(
            f"journal line above it         {line - base:7.1f} µs (limit {LIMIT_US:g}), {line / base:.2f} x"
        )
        print(
            f"its fold                      {fold:7.1f} µs; together {line + fold - base:.1f} µs above bare"
        )
        print(f"fsync calls an event          {synced / EVENTS:7.2f}")
        took_s = resumed_s(root, LONG_S)
        print(f"a watch of 4 h taken up in    {took_s:7.2f} s (limit {LIMIT_RESUME_S:g} s)")
        print(f"a watch of 10 h taken up in   {resumed_s(root, LONGEST_S):7.2f} s")
    # A line that gets a new place on the medium costs a second one, for the place itself.
    good = line + fold - base < LIMIT_US and synced < 1.25 * EVENTS and took_s < LIMIT_RESUME_S
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
