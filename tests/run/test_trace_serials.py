"""What a trace holds goes with the report: no serial of a battery stands in it."""

from datetime import UTC, datetime
from pathlib import Path

import msgspec

from verify.machine.simulated import SimulatedMachine
from verify.run.trace import Trace
from verify.testing.traces import samples_in
from verify.values import VirtualClock


def test_no_serial_of_a_battery_stands_in_a_trace(tmp_path: Path) -> None:
    machine = SimulatedMachine(clock=VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC)))
    sample = machine.sample()
    (pack,) = sample.packs
    assert pack.serial
    raw = {"serial_number": pack.serial, "POWER_SUPPLY_SERIAL_NUMBER": pack.serial, "voltage_max": "12600000"}
    sample = msgspec.structs.replace(sample, packs=(msgspec.structs.replace(pack, raw=raw),))
    path = tmp_path / "traces" / "00001-charge-to-full.jsonl"
    trace = Trace(path)
    kept = trace.write(sample)
    trace.seal()
    assert pack.serial not in path.read_text(encoding="utf-8")
    # And nothing else is missing.
    assert samples_in(path.read_bytes()) == [kept]
    assert kept.packs[0].serial is None
    assert kept.packs[0].raw == {"voltage_max": "12600000"}
    assert (kept.packs[0].name, kept.packs[0].model, kept.packs[0].cycle_count) == (
        pack.name,
        pack.model,
        pack.cycle_count,
    )
