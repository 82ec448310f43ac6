"""The inventory of the arrival: taken once, only on the machine, kept, compared, and shown without marks."""

import json
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist.answers import Hazard
from verify.checklist.loader import parse_checklist
from verify.machine import Inventory, ItemKind, Sample
from verify.machine.inventory import hashed_mark
from verify.machine.simulated import LARKSPUR_15
from verify.record.arrival import FoundAs
from verify.record.canonical import record_bytes
from verify.record.model import Ticket, Work
from verify.report.render import render
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.events import Arrived, Line
from verify.testing.good_answers import GoodAnswers
from verify.testing.traces import samples_in
from verify.values import Verdict

_LIST = """
format: checklist/1
id: before-and-after
revision: 1
title: Before and after
steps:
  - {id: look-in, name: look at the machine, stage: arrived, leads_to: closed}
  - {id: hand-back, name: hand it back, stage: closed}
checks:
  - id: first-look
    kind: hazard
    ask: Is anything bulging, hot, wet, smoking or smelling?
    good: Nothing of the kind.
    place: machine
    stage: arrived
    minutes: 0.5
    before: [look-in]
    stop: yes
    caution: If so, stop. Unplug it and keep clear of what burns.
  - id: same-parts
    kind: probe
    probe: hardware-as-arrived
    ask: Leave it on. The tool compares its parts.
    good: Nothing is missing.
    place: machine
    stage: closed
    minutes: 0.5
    work: [lid]
    before: [hand-back]
    limit: {at_most: 0 pieces, rule: count, source: "common practice, no source"}
"""

CHECKLISTS = (parse_checklist(_LIST, name="before-and-after.yaml"),)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


def arriving(folder: RunFolder, bench: SimulatedBench, *, on_machine: bool = True) -> Owner:
    begin(folder, ticket=Ticket(id="TW-1042"), checklists=CHECKLISTS, clock=bench.clock, arriving=True)
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=on_machine)


def taken_by(owner: Owner) -> Inventory | None:
    return owner.state.arrival.inventory


def repaired(folder: RunFolder, bench: SimulatedBench, faults: dict[str, str]) -> Owner:
    owner = arriving(folder, bench)
    assert isinstance(play(owner, GoodAnswers(), bench.sampler, hands=bench), plan.SayWork)
    bench.machine.befall(faults)
    owner.add_work([Work(kind="lid")], CHECKLISTS)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    return owner


def test_it_is_taken_with_the_short_readings_and_kept(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench)
    owner.answer("first-look", Hazard(present=False))
    assert taken_by(owner) is None
    owner.arrive(Arrived(found_as=FoundAs.RUNS))
    taken = taken_by(owner)
    assert taken == bench.machine.inventory(salt="TW-1042")
    owner.close()
    again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    assert taken_by(again) == taken


def test_nothing_is_taken_on_another_computer(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench, on_machine=False)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert taken_by(owner) is None


def test_a_wrong_word_on_how_it_came_in_takes_the_inventory_back(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    begin(folder, ticket=Ticket(id="TW-1042"), checklists=CHECKLISTS, clock=bench.clock, arriving=True)
    owner = Owner(folder, machine=bench.machine, scripted=True)
    owner.answer("first-look", Hazard(present=False))
    owner.stand(on_machine=True)
    owner.arrive(Arrived(found_as=FoundAs.RUNS))
    assert taken_by(owner) is not None
    while owner.on_machine is not None:
        assert owner.undo()
    assert taken_by(owner) is None


@pytest.mark.parametrize(
    ("faults", "verdict"),
    [({}, Verdict.CONFORMS), ({"module-missing": "camera"}, Verdict.DOES_NOT_CONFORM)],
    ids=["sound", "camera-lead-off"],
)
def test_what_went_missing_in_the_repair_is_found(
    folder: RunFolder, faults: dict[str, str], verdict: Verdict
) -> None:
    owner = repaired(folder, SimulatedBench(faults={}), faults)
    assert owner.state.verdict("same-parts") is verdict
    samples = samples_in(folder.trace_path(owner.state.found[0].trace).read_bytes())
    assert samples[-1].inventory is not None
    assert samples[0].inventory is None
    record = load_record(folder.path.parent, "TW-1042")
    assert record.arrival is not None
    shown = record.arrival.inventory
    assert shown is not None
    assert shown.items
    assert all(item.mark is None for item in shown.items)
    camera = next(result for result in record.results if result.check == "same-parts")
    assert ("camera" in camera.attempts[-1].note) is bool(faults)


_SECRETS = (LARKSPUR_15.drive, LARKSPUR_15.network, LARKSPUR_15.pack.serial)


def test_no_serial_stands_in_journal_record_or_page(folder: RunFolder) -> None:
    owner = repaired(folder, SimulatedBench(faults={}), {"module-missing": "camera"})
    owner.close()
    journal = folder.journal_path.read_text(encoding="utf-8")
    assert journal.count('"inventory":{') == 2  # on arrival, and when the parts were compared
    record = load_record(folder.path.parent, "TW-1042")
    for text in (journal, record_bytes(record).decode(), render(record).decode()):
        for secret in (*_SECRETS, LARKSPUR_15.serial):
            assert secret not in text
        assert hashed_mark("", LARKSPUR_15.drive) not in text
    # The hash is of use within the ticket alone, and does not leave the journal.
    mark = hashed_mark("TW-1042", LARKSPUR_15.drive)
    assert mark in journal
    assert mark not in record_bytes(record).decode()


@pytest.mark.parametrize("serial", ["", LARKSPUR_15.serial], ids=["not-agreed", "agreed"])
def test_the_machines_serial_is_told_where_the_owner_agreed(tmp_path: Path, serial: str) -> None:
    bench = SimulatedBench(faults={})
    with RunFolder(tmp_path / "TW-1042") as folder:
        ticket = Ticket(id="TW-1042", serial=serial, work=(Work(kind="lid"),))
        begin(folder, ticket=ticket, checklists=CHECKLISTS, clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        play(owner, GoodAnswers(), bench.sampler, hands=bench)
        owner.close()
    record = load_record(tmp_path, "TW-1042")
    assert record.machine["model"] == LARKSPUR_15.model
    assert ("serial" in record.machine) is bool(serial)
    assert (LARKSPUR_15.serial in render(record).decode()) is bool(serial)


def test_the_record_holds_what_the_machine_had_when_it_was_last_read(folder: RunFolder) -> None:
    owner = repaired(folder, SimulatedBench(faults={}), {"module-missing": "camera"})
    owner.close()
    record = load_record(folder.path.parent, "TW-1042")
    assert record.arrival is not None
    assert record.arrival.inventory is not None
    assert record.inventory is not None
    seen = [{item.kind for item in each.items} for each in (record.arrival.inventory, record.inventory)]
    assert seen[0] - seen[1] == {ItemKind.CAMERA}
    # Made again from the journal alone, it is the same.
    assert record_bytes(load_record(folder.path.parent, "TW-1042")) == record_bytes(record)


def test_lines_written_before_there_was_an_inventory_are_still_read() -> None:
    old = (
        b'{"n":3,"before":"' + b"0" * 64 + b'","at":{"wall":"2026-03-02T09:00:00Z","elapsed_s":1.0},'
        b'"event":{"type":"arrived","readings":[],"readings_note":"none"}}'
    )
    line = msgspec.json.decode(old, type=Line)
    assert isinstance(line.event, Arrived)
    assert line.event.inventory is None
    assert msgspec.json.encode(line) == old
    sample = (
        b'{"at":{"wall":"2026-03-02T09:00:00Z","elapsed_s":1.0},"packs":[],"adapters":[],"temperatures":[]}'
    )
    assert msgspec.json.decode(sample, type=Sample).inventory is None
    assert "inventory" not in json.loads(msgspec.json.encode(msgspec.json.decode(sample, type=Sample)))
