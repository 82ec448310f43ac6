"""Real power cuts: a virtual machine with a real kernel, killed at random moments, started again.

Half of the cuts also take from the drive what it had not been told to keep. What a cut may cost is the line
that was being written; nothing that was acknowledged, and nothing twice.
"""

import hashlib
import math
import os
import random
import re
import shutil
from collections import Counter
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import msgspec
import pytest
import yaml

from tests.rig.power_disk import Kind, faults_after_each_write
from tests.rig.power_job import Job, draw_cuts, work
from tests.rig.vm import Guest, build
from tests.rig.vm_kernel import unpack_kernel
from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.record.model import Record
from verify.run import RunFolder, load_record
from verify.run.events import Answered, Found, Stepped, WatchBegan
from verify.run.reading import read_run
from verify.testing.good_answers import good_script
from verify.testing.rigs import require_program
from verify.testing.traces import samples_in

pytestmark = pytest.mark.rig

_TICKET = "TW-7"
_CUTS = 20
_PROGRAMS = (
    *("qemu-system-x86_64", "iasl", "busybox", "ldd", "dpkg"),
    *("mkfs.ext4", "debugfs", "mkfs.vfat", "fsck.vfat", "mcopy"),
)


class Jobs(msgspec.Struct, frozen=True, kw_only=True):
    """A job without a cut and one with them, on each file system.

    seed: what the moments came from. folder: of the job without a cut on FAT.
    """

    whole: Mapping[Kind, Job]
    cut: Mapping[Kind, Job]
    seed: int
    folder: Path


def answers() -> bytes:
    """Everything good, but for what the machine tells. Only what the job asks: the emulator reads no more."""
    given = good_script(compose(shipped_checklists(), ["battery"]).checks)
    return yaml.safe_dump({"format": "answers/1", "answers": given}).encode()


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config) -> Jobs:
    for program in _PROGRAMS:
        require_program(program)
    folder = tmp_path_factory.mktemp("power")
    kernel = folder / "kernel-package"
    unpack_kernel(pytestconfig.cache.mkdir("kernel"), kernel)
    (folder / "machine").mkdir()
    guest = Guest(laptop="vm_laptop.asl", scripts=("vm_guest.py",), files={"answers.yaml": answers()})
    parts = build(folder / "machine", kernel, guest)
    shutil.rmtree(kernel)
    seed = int(os.environ.get("HANDBACK_RIG_SEED") or random.SystemRandom().randrange(1_000_000))

    def job(kind: Kind, cuts: int, progress: float) -> Job:
        own = folder / f"{kind.value}-{cuts}"
        own.mkdir()
        chance = random.Random(f"{seed} {kind.value}")
        return work(parts, own, kind, draw_cuts(cuts, progress, chance), chance)

    def on_each(cuts: int, progress: float) -> dict[Kind, Job]:
        with ThreadPoolExecutor(len(Kind)) as pool:
            running = {kind: pool.submit(job, kind, cuts, progress) for kind in Kind}
            return {kind: result.result() for kind, result in running.items()}

    whole = on_each(0, 0)
    cut = on_each(_CUTS, whole[Kind.EXT4].boots[0].progress)
    return Jobs(whole=whole, cut=cut, seed=seed, folder=folder / f"{Kind.FAT.value}-0")


def without_numbers(text: str) -> str:
    return re.sub(r"\d+([.]\d+)?", "#", text)


# What is handed on of a charge and hangs on how much of it was seen. A cut is a time that nobody saw, so that
# there is one phase more on either side of it. What tells constant power from constant current takes minutes
# in one piece: a piece that is too short keeps the plain name. A later start can be better known, or, where
# the clock does not tell how long it was off, be all that is left. And with less seen, what it holds and
# whether that is decided may be open. Which packs there are, what was judged and why may not differ.
_BY_WHAT_WAS_SEEN = re.compile(
    r": (phase of the charge|event of the charge|level at the (start|end) of the count|charge between|energy|"
    r"whether it holds enough)"
)


def of_any_charge(readings: list[Any]) -> list[tuple[Any, str]]:
    """What was read, without what hangs on how much of a charge was seen."""
    return [
        # With less seen a true claim may not be proven any more; but nothing makes it a boast.
        (reading["unit"], re.sub("truthful|undecided", "no boast", without_numbers(reading["source"])))
        for reading in readings
        if not _BY_WHAT_WAS_SEEN.search(reading["source"])
    ]


def without_measure(note: str) -> str:
    """The note without what was counted of the capacity: the charge stood elsewhere when the power went."""
    note = re.sub(r" [\d.]+ Wh went in[.]", "", note)
    note = re.sub(r" By counting it holds [\d.]+ to [\d.]+ Wh: too wide to tell[.]", "", note)
    return re.sub(r" It holds (at least )?[\d.]+ Wh( by counting \([^)]*\))?[.]", "", note)


def comparable(record: Record) -> Any:
    """The record without times, sessions and gaps; of measured values only what they are."""
    told = msgspec.to_builtins(record)
    for field in ("began", "ended", "clock_note", "journal_head", "journal_count", "traces", "gaps"):
        told.pop(field, None)
    for result in told["results"]:
        result.pop("probability", None)
        for attempt in result["attempts"]:
            del attempt["at"]
            if result["check"] == "measured-capacity":
                # With most of a charge not seen it says what it cannot tell, in place of what it measured.
                attempt["note"] = attempt["because"] = ""
            if result["kind"] == "probe":
                attempt["note"] = without_numbers(without_measure(attempt["note"]))
                attempt["readings"] = of_any_charge(attempt["readings"])
                attempt["because"] = without_numbers(attempt["because"])
        if result["kind"] == "probe":
            because = "" if result["check"] == "measured-capacity" else result["because"]
            result["because"] = without_numbers(because)
    for step in told["steps"]:
        step["at"] = step["at"] is not None
    if told["inventory"]:
        # What a kernel keeps for itself, and where its clock stands, differs from start to start.
        for field in ("at", "memory_bytes", "clock_ahead_s"):
            del told["inventory"][field]
    return told


def values(record: Record) -> dict[str, list[float]]:
    """What the automatic checks judged: the first reading of each attempt, not a number where unknown."""
    found: dict[str, list[float]] = {}
    for result in record.results:
        if result.kind == "probe":
            read = [attempt.readings[0].value for attempt in result.attempts]
            found[result.check] = [math.nan if value is None else value for value in read]
    return found


@pytest.mark.parametrize("kind", Kind)
def test_every_cut_was_one_and_the_next_start_was_another_boot(kind: Kind, jobs: Jobs) -> None:
    boots = jobs.cut[kind].boots
    assert [boot.code for boot in boots] == [-9] * _CUTS + [0], f"seed {jobs.seed}"
    known = [boot.boot_id for boot in boots if boot.boot_id is not None]
    assert len(set(known)) == len(known)
    # The cuts spread: some in every part of the job, some before anything was written.
    assert len({len(boot.had) for boot in boots}) > _CUTS // 4, f"seed {jobs.seed}"


@pytest.mark.parametrize("kind", Kind)
def test_what_was_acknowledged_before_a_cut_stands_in_the_journal_after_it(kind: Kind, jobs: Jobs) -> None:
    acknowledged: dict[int, str] = {}
    for number, boot in enumerate(jobs.cut[kind].boots):
        if boot.boot_id is not None:
            had = dict(enumerate(boot.had))
            lost = {n for n, digest in acknowledged.items() if had.get(n) != digest}
            assert not lost, f"seed {jobs.seed}, start {number}: lines {sorted(lost)} are gone or altered"
            acknowledged |= had
        acknowledged |= boot.acked
    journal = RunFolder(jobs.cut[kind].reports / _TICKET).journal_path.read_bytes()
    lines = [hashlib.sha256(line).hexdigest() for line in journal.splitlines(keepends=True)]
    assert lines == [acknowledged[n] for n in sorted(acknowledged)]


@pytest.mark.parametrize("kind", Kind)
def test_no_start_shows_a_traceback_or_a_disk_that_cannot_be_used(kind: Kind, jobs: Jobs) -> None:
    for number, boot in enumerate((*jobs.whole[kind].boots, *jobs.cut[kind].boots)):
        told = f"seed {jobs.seed}, start {number}: {boot.console}"
        assert "Traceback" not in boot.console, told
        assert "cannot be mounted" not in boot.console, told
        assert not re.search(r"(EXT4|FAT)-fs error", boot.console, re.IGNORECASE), told


@pytest.mark.parametrize("kind", Kind)
def test_nothing_is_done_twice_and_every_line_tells_the_boot_it_was_written_in(
    kind: Kind, jobs: Jobs
) -> None:
    job = jobs.cut[kind]
    run = read_run(job.reports / _TICKET)
    assert run is not None
    done = Counter(
        (type(event).__name__, event.step if isinstance(event, Stepped) else event.check)
        for event in (line.event for line in run.lines)
        if isinstance(event, Answered | Found | Stepped | WatchBegan)
    )
    assert len(done) > 40
    assert set(done.values()) == {1}, f"seed {jobs.seed}"
    for boot in job.boots:
        assert {run.lines[n].at.boot_id for n in boot.acked} <= {boot.boot_id}


@pytest.mark.parametrize("kind", Kind)
def test_sealed_traces_are_as_they_were_sealed(kind: Kind, jobs: Jobs) -> None:
    folder = jobs.cut[kind].reports / _TICKET
    record = load_record(folder.parent, _TICKET)
    assert len(record.traces) >= 7
    for trace in record.traces:
        data = RunFolder(folder).trace_path(trace.name).read_bytes()
        assert (hashlib.sha256(data).hexdigest(), len(samples_in(data))) == (trace.sha256, trace.samples)


@pytest.mark.parametrize("kind", Kind)
def test_the_record_is_the_one_of_a_job_without_a_cut(kind: Kind, jobs: Jobs) -> None:
    whole = load_record(jobs.whole[kind].reports, _TICKET)
    cut = load_record(jobs.cut[kind].reports, _TICKET)
    assert comparable(cut) == comparable(whole), f"seed {jobs.seed}"
    for check, expected in values(whole).items():
        if check == "measured-capacity" and all(map(math.isnan, values(cut)[check])):
            continue  # unknown where most of the charge was not seen; never another figure
        assert values(cut)[check] == pytest.approx(expected, rel=0.05, nan_ok=True), (
            f"seed {jobs.seed}, {check}"
        )
    assert jobs.cut[kind].boots[-1].ended == jobs.whole[kind].boots[-1].ended
    assert (jobs.cut[kind].reports / _TICKET / "report.html").read_bytes().endswith(b"</html>\n")


def test_no_write_of_a_whole_job_leaves_a_stick_with_a_file_that_cannot_be_read(
    jobs: Jobs, tmp_path: Path
) -> None:
    # The kernel's own write-back is off in this job: between a write and its sync it may bring out a length
    # before its places, and no program can keep it from that. The jobs with cuts leave it on.
    log = jobs.folder / "writes.log"
    faults = faults_after_each_write(jobs.folder / "before.img", log, tmp_path / "scratch.img")
    # A folder that is just made holds nothing yet.
    files = {n: found for n, paths in faults.items() if (found := [path for path in paths if "." in path])}
    assert not files
