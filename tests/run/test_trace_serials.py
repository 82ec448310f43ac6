"""What a trace holds goes with the report: no serial of a battery stands in it."""

import json
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from verify.machine.simulated import SimulatedMachine
from verify.run.trace import Trace
from verify.values import VirtualClock


def test_no_serial_of_a_battery_stands_in_a_trace(tmp_path: Path) -> None:
    machine = SimulatedMachine(clock=VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC)))
    sample = machine.sample()
    (pack,) = sample.packs
    assert pack.serial
    raw = {"serial_number": pack.serial, "POWER_SUPPLY_SERIAL_NUMBER": pack.serial, "energy_now": "31040000"}
    sample = msgspec.structs.replace(sample, packs=(msgspec.structs.replace(pack, raw=raw),))
    path = tmp_path / "traces" / "00001-charge-to-full.jsonl"
    trace = Trace(path)
    trace.write(sample)
    trace.seal()
    text = path.read_text(encoding="utf-8")
    assert pack.serial not in text
    # And nothing else is missing.
    written = json.loads(text)
    told = json.loads(msgspec.json.encode(sample))
    told["packs"][0]["serial"] = None
    told["packs"][0]["raw"] = {"energy_now": "31040000"}
    assert written == told
