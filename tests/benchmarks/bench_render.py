"""What the page of a run of a day costs: one look a second, 86,400 samples of eight channels, 20 pictures.

usage: python tests/benchmarks/bench_render.py

Promised: rendered in under 2 s and 150 MiB; under 1.2 MiB beside the pictures; open in Chromium in under
500 ms. The trace is written as a run writes it, and lies in a folder as a run's does; the page is made in a
process of its own. Beside it stands the same page without the trace, as the baseline, and, without a limit,
three days.
The channels: level, power, voltage and temperature of the battery, two temperatures, two fans. They move as
real ones do: the times by some ms, the current by the noise of what a machine draws in steps of 1 mA, the
volts in steps of 1 mV, the warmth in whole degrees, the fans by some revolutions. What comes with them moves
too: the energy left, the processor's load and clock.
"""

import io
import json
import random
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
from PIL import Image

from verify.machine import Adapter, Cpu, Fan, Pack, PackState, Sample, Temperature
from verify.record.arrival import Arrival, Picture
from verify.record.canonical import record_bytes, record_from, sha256_hex
from verify.record.model import Attempt, Trace
from verify.record.trace_lines import HEAD, LineWriter
from verify.report.packed import read_packed
from verify.report.pictures import read_pictures
from verify.report.render import render
from verify.testing.rigs import require_program
from verify.testing.sample_record import fit_record
from verify.values import Instant, Verdict

_DAY = 86_400
_LIMIT_S, _LIMIT_MIB, _LIMIT_PAGE_MIB, _LIMIT_OPEN_MS = 2.0, 150.0, 1.2, 500.0
_NAME = "00001-charge-to-full.jsonl"
_PICTURES, _OPENED = 20, 5
_FULL_WH, _DESIGN_V = 57.0, 11.4


class _Laptop:
    """A laptop on a slow charge that lasts as long as it is watched."""

    def __init__(self, length_s: int) -> None:
        self._draw = random.Random(1)
        self._length_s = length_s
        self._elapsed_s = 1000.0
        self._fans = [2400.0, 2300.0]
        self._die_c, self._board_c, self._pack_c = 52.0, 41.0, 28.0
        self._busy = 0.08

    def sample(self, second: int) -> Sample:
        """Return what is read the next time, about a second later."""
        draw = self._draw
        # The reader waits a second between two reads, and a read takes some ms.
        self._elapsed_s += 1.0 + max(0.004, draw.gauss(0.008, 0.0015))
        share = second / self._length_s
        self._busy += 0.1 * (0.08 - self._busy) + draw.gauss(0, 0.01)
        busy = min(1.0, max(0.01, self._busy + draw.gauss(0, 0.01)))
        self._die_c += 0.05 * (48 + 60 * busy - self._die_c) + draw.gauss(0, 0.25)
        self._board_c += 0.002 * (self._die_c - 10 - self._board_c) + draw.gauss(0, 0.01)
        self._pack_c += draw.gauss(0, 0.004) + 0.001 * (30 - self._pack_c)
        for fan in range(2):
            self._fans[fan] += 0.05 * (2350 + 5 * (self._die_c - 50) - self._fans[fan]) + draw.gauss(0, 6)
        level = 0.1 + 0.9 * share
        current_a = round(_FULL_WH * 0.9 / _DESIGN_V / (self._length_s / 3600) + draw.gauss(0.4, 0.006), 3)
        voltage_v = round(10.5 + 2 * share + 0.05 * current_a + draw.gauss(0, 0.0007), 3)
        left_wh = round(_FULL_WH * level, 2)
        return Sample(
            at=Instant(
                wall=datetime(2026, 3, 10, tzinfo=UTC) + timedelta(seconds=self._elapsed_s * 1.000005),
                elapsed_s=self._elapsed_s,
                boot_id="5c0f7f0e-2a55-4e4c-9d5e-0c9f1f6a2b11",
                awake_s=self._elapsed_s - 0.25,
            ),
            packs=(
                Pack(
                    name="BAT0",
                    state=PackState.CHARGING,
                    state_of_charge=left_wh / _FULL_WH,
                    remaining_wh=left_wh,
                    full_charge_wh=_FULL_WH,
                    design_wh=_FULL_WH,
                    design_voltage_v=_DESIGN_V,
                    power_w=current_a * voltage_v,
                    current_a=current_a,
                    voltage_v=voltage_v,
                    temperature_c=round(self._pack_c, 1),
                    reasons={"charge_limit": "No charge limit is visible."},
                    estimated=("power_w",),
                    raw={
                        "status": "Charging",
                        "capacity": str(int(100 * level)),
                        "energy_now": str(round(1e6 * left_wh)),
                        "current_now": str(round(1e6 * current_a)),
                        "voltage_now": str(round(1e6 * voltage_v)),
                        "type": "Battery",
                    },
                ),
            ),
            adapters=(Adapter(name="AC", online=True),),
            temperatures=(
                Temperature(
                    chip="coretemp",
                    label="package",
                    celsius=float(round(self._die_c)),
                    high=95.0,
                    critical=105.0,
                ),
                Temperature(chip="acpitz", label="board", celsius=float(round(self._board_c))),
            ),
            fans=tuple(
                Fan(chip="board", label=label, rpm=round(rpm))
                for label, rpm in zip(("fan", "second fan"), self._fans, strict=True)
            ),
            cpu=Cpu(
                logical_cores=8,
                load=busy,
                frequency_mhz=draw.choice((800.0, 1200.0, 1700.0)) + draw.gauss(0, 3),
                frequency_max_mhz=3600.0,
            ),
        )


def picture(number: int) -> bytes:
    """Return a photograph's worth of a JPEG picture: some 150 kB, no two alike."""
    draw = random.Random(number)
    grain = Image.frombytes("RGB", (1200, 900), draw.randbytes(3 * 1200 * 900))
    light = Image.linear_gradient("L").resize((1200, 900)).convert("RGB")
    file = io.BytesIO()
    Image.blend(light, grain, 0.14).save(file, "JPEG", quality=75)
    return file.getvalue()


def make(folder: Path, length_s: int) -> int:
    """Write the trace, the pictures and the record of them into a folder; return the pictures' bytes."""
    (folder / "pictures").mkdir(parents=True)
    laptop, place = _Laptop(length_s), folder / "traces" / _NAME
    place.parent.mkdir()
    lines = LineWriter()
    with place.open("wb") as file:  # as a run writes it, but for putting it on the disk again and again
        file.write(HEAD)
        for second in range(length_s):
            file.write(lines.line(laptop.sample(second))[0] + b"\n")
    sealed = Trace(
        name=_NAME, check="charge-to-full", sha256=sha256_hex(place.read_bytes()), samples=length_s
    )
    pictures = []
    for number in range(1, _PICTURES + 1):
        data = picture(number)
        jpeg = f"pictures/{number:02d}.jpg"
        (folder / jpeg).write_bytes(data)
        pictures.append(Picture(file=jpeg, shows="The base", sha256=sha256_hex(data)))
    record = fit_record()
    result = msgspec.structs.replace(
        record.results[0],
        check="charge-to-full",
        attempts=(Attempt(at="2026-03-11T00:00:00Z", verdict=Verdict.CONFORMS, because="Good."),),
    )
    record = msgspec.structs.replace(
        record,
        arrival=Arrival(at="2026-03-10T00:00:00Z", pictures=tuple(pictures)),
        results=(result, *record.results[1:]),
        traces=(sealed,),
    )
    (folder / "record.json").write_bytes(record_bytes(record))
    return sum((folder / one.file).stat().st_size for one in pictures)


def child(folder: Path, *, with_trace: bool) -> None:
    """Render once, in this process, and print seconds, peak memory in MiB, and the page's size in MiB."""
    record = record_from((folder / "record.json").read_bytes())
    begun = time.perf_counter()
    pictures = read_pictures(folder, record)
    page = render(record, pictures, read_packed(folder, record) if with_trace else {})
    seconds = time.perf_counter() - begun
    if (b"<desc>From 10 to 100" in page) != with_trace or page.count(b"data:image/jpeg") < _PICTURES:
        sys.exit("The page does not show what it should.")
    (folder / f"{'with' if with_trace else 'without'}.html").write_bytes(page)
    texts = sum(4 * -(-len(data) // 3) for data in pictures.values())
    print(json.dumps([seconds, peak_mib(), (len(page) - texts) / 2**20]))


def peak_mib() -> float:
    """Return the most memory that this program held, in MiB; getrusage would tell its parent's as well."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    sys.exit("This system does not tell how much memory a program held.")


def measured(folder: Path, which: str) -> tuple[float, float, float]:
    """Return what `child` printed: the least of three times each."""
    runs = []
    for _ in range(3):
        line = subprocess.run(
            [sys.executable, __file__, which, str(folder)], check=True, capture_output=True, text=True
        ).stdout
        runs.append(json.loads(line))
    seconds, peak, page_mib = (min(one) for one in zip(*runs, strict=True))
    return seconds, peak, page_mib


def opened_ms(*pages: Path) -> list[float]:
    """Return for each page how long Chromium took until it was loaded, in ms: the median of five times.

    The pages by turns, each in a window of its own; the first round warms the browser up and is not counted.
    """
    from playwright.sync_api import sync_playwright

    took: list[list[float]] = [[] for _ in pages]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=require_program("chromium"), args=["--no-sandbox"])
        for turn in range(_OPENED + 1):
            for page, times in zip(pages, took, strict=True):
                tab = browser.new_page()
                tab.goto(page.as_uri(), wait_until="load")
                told = tab.evaluate(
                    "() => { const e = performance.getEntriesByType('navigation')[0];"
                    " return e.loadEventEnd - e.startTime; }"
                )
                if turn:
                    times.append(float(told))
                tab.close()
        browser.close()
    return [statistics.median(times) for times in took]


def report(folder: Path, length_s: int) -> bool:
    """Measure a run of this length, print it, and tell whether it is within the limits of a day."""
    pictures = make(folder, length_s)
    text_mib = (folder / "traces" / _NAME).stat().st_size / 2**20
    print(f"{length_s} samples, {text_mib:.1f} MiB of text; {_PICTURES} pictures, {pictures / 2**20:.1f} MiB")
    rows = {which: measured(folder, which) for which in ("without", "with")}
    took_ms = opened_ms(*(folder / f"{which}.html" for which in rows))
    for (which, (seconds, peak, page_mib)), open_ms in zip(rows.items(), took_ms, strict=True):
        print(
            f"  {which + ' the trace:':19} {seconds:.2f} s, {peak:.0f} MiB at the peak, "
            f"{page_mib:.2f} MiB beside the pictures, open in {open_ms:.0f} ms"
        )
    seconds, peak, page_mib = rows["with"]
    return (
        seconds < _LIMIT_S
        and peak < _LIMIT_MIB
        and page_mib < _LIMIT_PAGE_MIB
        and took_ms[1] < _LIMIT_OPEN_MS
    )


def main() -> int:
    """Print what both lengths cost; return 1 if a limit is not met by the day."""
    if len(sys.argv) == 3:
        child(Path(sys.argv[2]), with_trace=sys.argv[1] == "with")
        return 0
    print(
        f"limits of a day: {_LIMIT_S:g} s, {_LIMIT_MIB:g} MiB, {_LIMIT_PAGE_MIB:g} MiB, {_LIMIT_OPEN_MS:g} ms"
    )
    with tempfile.TemporaryDirectory() as name:
        kept = report(Path(name) / "day", _DAY)
        report(Path(name) / "three days", 3 * _DAY)
    print("kept" if kept else "NOT KEPT")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
