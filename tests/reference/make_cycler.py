"""Make the cycler recordings anew: real cells from a registry package, in small files of one form.

The recordings lie in the source distribution of the package navani 0.1.22 (MIT licence; cycler/README.md),
which also reads them. It is never needed by the project; in an environment of its own:

    python -m venv ELSEWHERE && ELSEWHERE/bin/pip install navani==0.1.22
    pip download --no-deps --no-binary navani navani==0.1.22 && tar xzf navani-0.1.22.tar.gz
    ELSEWHERE/bin/python tests/reference/make_cycler.py navani-0.1.22/Example_data [FOLDER]

Nothing is calculated here: each column is one that the cycler wrote, rounded to the digits it has.
"""

import gzip
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

__all__ = ["main"]

_TAPERED = "test.ndax"
_CYCLES = "jdb11-1_c3_gcpl_5cycles_2V-3p8V_C-24_data_C09.mpr"
_FIRST, _LAST = 2, 3  # half cycles: a charge and a discharge, each some ten hours


def _write(path: Path, header: str, rows: Iterable[str]) -> None:
    text = "\n".join([header, *rows, ""])
    # No time stamp: the same recordings give the same bytes.
    path.write_bytes(gzip.compress(text.encode(), 9, mtime=0))


def _tapered(table: Any, path: Path) -> None:
    """Write a charge and a discharge, each at constant current, then constant voltage; a look every 30 s."""
    began = table["Timestamp"].iloc[0]
    rows = (
        f"{(row['Timestamp'] - began).total_seconds():.0f},{row['Step']},{row['Current(mA)']:.4f},"
        f"{row['Voltage']:.4f},"
        f"{row['Charge_Capacity(mAh)']:.6f},{row['Discharge_Capacity(mAh)']:.6f}"
        for _, row in table.iterrows()
    )
    _write(path, "time_s,step,current_ma,voltage_v,charged_mah,discharged_mah", rows)


def _cycles(table: Any, path: Path) -> None:
    """Write a charge and a discharge at constant current; a look every 10 s and at every 5 mV."""
    chosen = table[(table["half cycle"] >= _FIRST) & (table["half cycle"] <= _LAST)]
    rows = (
        f"{row['time/s']:.4f},{row['half cycle']:.0f},{row['P/W'] * 1e6:.4f},{row['Voltage']:.5f},"
        f"{row['Q charge/discharge/mA.h']:.6f}"
        for _, row in chosen.iterrows()
    )
    _write(path, "time_s,half_cycle,power_uw,voltage_v,half_cycle_mah", rows)


def main() -> None:
    """Read the two recordings in the folder given first; write beside this file, or into the second one."""
    from navani.echem import echem_file_loader

    source = Path(sys.argv[1])
    folder = Path(sys.argv[2]) if len(sys.argv) > 2 else Path(__file__).parent / "cycler"
    folder.mkdir(parents=True, exist_ok=True)
    _tapered(echem_file_loader(str(source / _TAPERED)), folder / "tapered.csv.gz")
    _cycles(echem_file_loader(str(source / _CYCLES)), folder / "cycles.csv.gz")


if __name__ == "__main__":
    main()
