"""What proving costs beyond what it cannot do without: the interpreter, the signature library, a SHA-256.

Run it by hand: python tests/benchmarks/bench_prove.py [REPORT]. A typical report, signed by two known keys,
is proven by `handback prove` in a process of its own; beside it, in turns in the same run, an interpreter
that imports the signature library, and sha256sum of the same file. Then 1,000 reports in one call, each its
own file, against one by one. The limits are on processor time, the median of the turns, so that other work on
the computer does not decide; wall clock is printed beside it.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path

from verify.record.canonical import record_from
from verify.record.key_store import HOME_VARIABLE, KeyStore
from verify.record.page import MARKER, record_in
from verify.record.sign import sign_page
from verify.report.pictures import pictures_in
from verify.report.render import render
from verify.testing.sample_signatures import SIGNED_AT, sample_key

TURNS = 15
MANY = 1000
LIMIT_ALONE = 3.0
LIMIT_TOGETHER = 10.0
TYPICAL = Path(__file__).parents[2] / "reports" / "samples" / "TW-1042.html"
LIBRARY = (
    "from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey; "
    "from joserfc import jws; from joserfc.jwk import OKPKey"
)
PROVE = (sys.executable, "-c", "from verify.cli import main; main()", "prove")


def typical_page(source: Path) -> bytes:
    """Return the page of a report as this version makes it, unsigned."""
    page = source.read_bytes().partition(MARKER)[0]
    record = record_from(record_in(page))
    return render(record, pictures_in(page, record))


def signed(page: bytes, number: int) -> bytes:
    """Return the page signed by both sample keys; no two numbers give the same file."""
    for key in (sample_key("technician"), sample_key("reviewer")):
        page = sign_page(page, key=key, at=SIGNED_AT + timedelta(seconds=number))
    return page


def took(command: tuple[str, ...], environment: Mapping[str, str]) -> tuple[float, float]:
    """Run it to its end, which must be good, and return wall and processor time, in s."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    subprocess.run(command, env=environment, check=True, stdout=subprocess.DEVNULL)
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> int:
    """Measure, print, and return 1 where a limit is passed."""
    page = typical_page(Path(sys.argv[1]) if len(sys.argv) > 1 else TYPICAL)
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        environment = {**os.environ, HOME_VARIABLE: str(root / "home")}
        # As an installed command runs: compiled forms are kept, of modules and of templates.
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        for role in ("technician", "reviewer"):
            KeyStore(root / "home").trust(sample_key(role).card, at=SIGNED_AT)
        files = [root / f"{number}.html" for number in range(MANY)]
        for number, file in enumerate(files):
            file.write_bytes(signed(page, number))
        commands = {
            "handback prove, one report": (*PROVE, str(files[0])),
            "interpreter with the library": (sys.executable, "-c", LIBRARY),
            "sha256sum": ("sha256sum", str(files[0])),
        }
        for command in commands.values():
            took(command, environment)  # what is read and compiled only once
        turns = [[took(command, environment) for command in commands.values()] for _ in range(TURNS)]
        medians = [
            [statistics.median(turn[column][kind] for turn in turns) for kind in (0, 1)]
            for column in range(len(commands))
        ]
        for what, (wall, processor) in zip(commands, medians, strict=True):
            print(f"{what:32} {1e3 * processor:7.1f} ms ({1e3 * wall:.1f} ms by the clock)")
        (alone_wall, alone), (start_wall, start), (hashed_wall, hashed) = medians
        ratio = alone / (start + hashed)
        print(
            f"{'one report, in units of the two':32} {ratio:7.2f} (limit {LIMIT_ALONE:g}; "
            f"{alone_wall / (start_wall + hashed_wall):.2f} by the clock)"
        )
        wall, together = took((*PROVE, *map(str, files)), environment)
        faster = alone * MANY / together
        print(
            f"{f'{MANY} reports in one call, each':32} {1e3 * together / MANY:7.1f} ms "
            f"({1e3 * wall / MANY:.1f} ms by the clock)"
        )
        print(
            f"{'faster each than one by one':32} {faster:7.1f} x (limit {LIMIT_TOGETHER:g}; "
            f"{alone_wall * MANY / wall:.1f} x by the clock)"
        )
    return 0 if ratio <= LIMIT_ALONE and faster >= LIMIT_TOGETHER else 1


if __name__ == "__main__":
    sys.exit(main())
