"""What the page of a run of a day costs: one look a second, 86,400 samples of eight channels.

usage: python tests/benchmarks/bench_render.py

Promised: under 2 s and 150 MiB, the trace's text included. It is rendered in a process of its own, with the
trace read from a file as a run's folder holds it; beside it the same page without the trace, as baseline.
The channels: level, power, voltage and temperature of the battery, two temperatures, two fans.
"""

import json
import math
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec

from verify.machine import Adapter, Cpu, Fan, Pack, PackState, Sample, Temperature
from verify.record.canonical import record_bytes, record_from, sha256_hex
from verify.record.model import Attempt, Record, Trace
from verify.report.packed import read_packed
from verify.report.render import render
from verify.testing.sample_record import fit_record
from verify.values import Instant, Verdict

_SAMPLES = 86_400
_LIMIT_S, _LIMIT_MIB = 2.0, 150.0
_NAME = "00001-charge-to-full.jsonl"


def sample(second: int) -> Sample:
    """Return what is read in one second of a slow charge."""
    share = second / _SAMPLES
    return Sample(
        at=Instant(
            wall=datetime(2026, 3, 10, tzinfo=UTC) + timedelta(seconds=second),
            elapsed_s=1000.0 + second,
            boot_id="5c0f7f0e-2a55-4e4c-9d5e-0c9f1f6a2b11",
            awake_s=1000.0 + second,
        ),
        packs=(
            Pack(
                name="BAT0",
                state=PackState.CHARGING,
                state_of_charge=round(0.1 + 0.9 * share, 4),
                power_w=round(20 + 15 * math.sin(second / 700), 3),
                voltage_v=round(10.5 + 2 * share, 3),
                temperature_c=round(25 + 5 * math.sin(second / 5000), 1),
                reasons={"charge_limit": "No charge limit is visible."},
                raw={"status": "Charging", "capacity": str(int(10 + 90 * share))},
            ),
        ),
        adapters=(Adapter(name="AC", online=True),),
        temperatures=(
            Temperature(
                chip="coretemp",
                label="package",
                celsius=float(round(55 + 20 * math.sin(second / 60))),
                high=95.0,
                critical=105.0,
            ),
            Temperature(chip="acpitz", label="board", celsius=40.0),
        ),
        fans=(
            Fan(chip="board", label="fan", rpm=2400 + second % 500),
            Fan(chip="board", label="second fan", rpm=2300 + second % 700),
        ),
        cpu=Cpu(logical_cores=8, load=0.1, frequency_mhz=1200.0, frequency_max_mhz=3600.0),
    )


def make(folder: Path) -> None:
    """Write the trace and the record of it into a folder."""
    place = folder / "traces" / _NAME
    place.parent.mkdir()
    with place.open("wb") as file:
        for second in range(_SAMPLES):
            file.write(msgspec.json.encode(sample(second)) + b"\n")
    record = fit_record()
    result = msgspec.structs.replace(
        record.results[0],
        check="charge-to-full",
        attempts=(Attempt(at="2026-03-11T00:00:00Z", verdict=Verdict.CONFORMS, because="Good."),),
    )
    trace = Trace(name=_NAME, check="charge-to-full", sha256=sha256_hex(place.read_bytes()), samples=_SAMPLES)
    record = msgspec.structs.replace(record, results=(result, *record.results[1:]), traces=(trace,))
    (folder / "record.json").write_bytes(record_bytes(record))


def child(folder: Path, *, with_trace: bool) -> None:
    """Render once, in this process, and print seconds, peak memory in MiB, and the page's size in KiB."""
    record: Record = record_from((folder / "record.json").read_bytes())
    begun = time.perf_counter()
    page = render(record, {}, read_packed(folder, record) if with_trace else {})
    seconds = time.perf_counter() - begun
    if (b"<desc>From 10 to 100" in page) != with_trace:
        sys.exit("The page does not show what it should.")
    print(json.dumps([seconds, peak_mib(), len(page) / 1024]))


def peak_mib() -> float:
    """Return the most memory that this program held, in MiB; getrusage would tell its parent's as well."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    sys.exit("This system does not tell how much memory a program held.")


def measured(folder: Path, which: str) -> tuple[float, float, float]:
    """Return what `child` printed."""
    line = subprocess.run(
        [sys.executable, __file__, which, str(folder)], check=True, capture_output=True, text=True
    ).stdout
    seconds, peak, page_kib = json.loads(line)
    return seconds, peak, page_kib


def main() -> int:
    """Print seconds, memory and size; return 1 if a limit is not met."""
    if len(sys.argv) == 3:
        child(Path(sys.argv[2]), with_trace=sys.argv[1] == "with")
        return 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make(folder)
        size_mib = (folder / "traces" / _NAME).stat().st_size / 2**20
        base_s, base_mib, base_kib = measured(folder, "without")
        runs = [measured(folder, "with") for _ in range(3)]
    seconds, peak, page_kib = min(runs)
    print(f"{_SAMPLES} samples, {size_mib:.0f} MiB of text; limits {_LIMIT_S} s, {_LIMIT_MIB:.0f} MiB")
    print(f"without the trace: {base_s:.2f} s, {base_mib:.0f} MiB at the peak, {base_kib:.0f} KiB page")
    print(f"with the trace:    {seconds:.2f} s, {peak:.0f} MiB at the peak, {page_kib:.0f} KiB page")
    return 0 if seconds <= _LIMIT_S and peak <= _LIMIT_MIB else 1


if __name__ == "__main__":
    sys.exit(main())
