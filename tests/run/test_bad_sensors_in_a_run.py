"""Sensors that vanish, lie, stand still or fail to read in mid-run; clocks that jump; a machine that sleeps.

None may make "conforms" out of what was not read, and none may end or hang the run.
"""

import random
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist import Kind
from verify.checklist.shipped import shipped_checklists
from verify.machine import Sample
from verify.machine.linux import LinuxMachine
from verify.machine.simulated import SimulatedMachine
from verify.record.model import Part, Record, Result, Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.events import Found, Missed
from verify.run.fold import fold
from verify.run.live import Live
from verify.run.reading import read_run
from verify.run.sampling import Pace, ThreadSampler, VirtualSampler
from verify.testing.good_answers import GoodAnswers
from verify.testing.sysfs_tree import ENERGY_PACK, SysfsTree
from verify.values import Clock, Outcome, SystemClock, Verdict
from verify.values.errors import MachineError

TICKET = "TW-1042"


class Bench(SimulatedBench):
    def __init__(self, faults: dict[str, str] | None = None, *, level: float = 0.9) -> None:
        super().__init__(faults={})
        self.machine = SimulatedMachine(clock=self.clock, faults=faults or {}, level=level)
        self.sampler = VirtualSampler(self.machine, self.clock, every_s=10.0)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / TICKET) as held:
        yield held


def begun(folder: RunFolder, clock: Clock, *kinds: str) -> None:
    part = Part(source="reproduction", label={"energy": "57.0 Wh"})
    work = tuple(Work(kind=kind, part=part if kind == "battery" else None) for kind in kinds)
    begin(folder, ticket=Ticket(id=TICKET, work=work), checklists=shipped_checklists(), clock=clock)


def opened(folder: RunFolder, bench: SimulatedBench, *kinds: str) -> Owner:
    begun(folder, bench.clock, *(kinds or ("battery", "feet")))
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=True)


def automatic(record: Record) -> list[Result]:
    return [result for result in record.results if result.kind == Kind.PROBE.value]


def no_good_without_a_value(record: Record) -> None:
    """What conforms was read: each attempt has readings, and what is judged has a value."""
    for result in automatic(record):
        for attempt in result.attempts:
            if attempt.verdict is Verdict.CONFORMS:
                assert attempt.readings, result.check
                assert attempt.readings[0].value is not None, result.check


# What the simulated machine's sensors can do.


@pytest.mark.parametrize(
    "after_s", [1, 400, 800, 1000, 1200, 1600, 2400, 3200, 4000], ids=lambda after_s: f"after {after_s} s"
)
def test_sensors_that_vanish_at_any_time_make_nothing_good(after_s: int, folder: RunFolder) -> None:
    bench = Bench({"sensors-vanish-after": f"{after_s} s"})
    owner = opened(folder, bench)
    due = play(owner, GoodAnswers(), bench.sampler, hands=bench)
    owner.close()
    record = load_record(folder.path.parent, TICKET)
    no_good_without_a_value(record)
    gone_at = datetime(2026, 3, 2, 9, tzinfo=UTC) + timedelta(seconds=after_s)
    for result in automatic(record):
        if result.check != "charger-seen":
            # The charger's input is seen all along; nothing else is.
            for attempt in result.attempts:
                # What was found before, and waited for the charger only, ends with the look that misses them.
                assert (
                    attempt.verdict is not Verdict.CONFORMS or datetime.fromisoformat(attempt.at) <= gone_at
                )
    # It comes to where somebody has to decide; only what was all read before then can be fit.
    if isinstance(due, plan.Complete):
        assert record.outcome is Outcome.FIT
        assert all(datetime.fromisoformat(each.attempts[-1].at) < gone_at for each in automatic(record))
    else:
        assert isinstance(due, plan.Held)
        assert record.outcome is Outcome.HELD


def test_readings_that_stand_still_prove_no_charge(folder: RunFolder) -> None:
    bench = Bench({"frozen-sensors": ""})
    owner = opened(folder, bench)
    due = play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert isinstance(due, plan.Held)
    record = load_record(folder.path.parent, TICKET)
    verdicts = {result.check: result.verdict for result in record.results}
    assert verdicts["charge-to-full"] is not Verdict.CONFORMS
    assert verdicts["runs-on-battery"] is not Verdict.CONFORMS
    assert record.outcome is Outcome.HELD
    owner.close()


def test_sensors_that_come_back_can_be_asked_again(folder: RunFolder) -> None:
    bench = Bench({"sensors-vanish-after": "1 s"})
    owner = opened(folder, bench)
    answers = GoodAnswers()
    due = play(owner, answers, bench.sampler, hands=bench)
    assert isinstance(due, plan.Held)
    bench.machine.mend("sensors-vanish-after")
    while isinstance(due, plan.Held):
        for block in due.blocked:
            owner.ask_again(block.check.id)
        due = play(owner, answers, bench.sampler, hands=bench)
    assert isinstance(due, plan.Complete)
    record = load_record(folder.path.parent, TICKET)
    assert record.outcome is Outcome.FIT
    assert record.first_pass_outcome is Outcome.HELD
    owner.close()


# A real tree, changed under a thread that reads it.

LIES = {
    "energy_now": ("-5", "999999999999", "nan", "", "31\x00040000", "0"),
    "energy_full": ("0", "-1", "1", "99999999999999999999999"),
    "voltage_now": ("0", "-11650000", "70000000", "volts"),
    "power_now": ("-2147483648", "4294967295", "x"),
    "capacity": ("-1", "255", "101", "abc"),
    "status": ("", "Burning", "\xff\xfe", "Charging" * 500),
    "type": ("", "Mains", "Bat"),
}


def test_a_tree_that_changes_under_the_sampler_neither_ends_the_run_nor_makes_it_good(
    tmp_path: Path, folder: RunFolder
) -> None:
    tree = SysfsTree(tmp_path / "sys")
    tree.laptop()
    machine = LinuxMachine(sysfs=tree.root, clock=SystemClock())
    begun(folder, machine.clock, "battery")
    owner = Owner(folder, machine=machine, scripted=True, on_machine=True)
    live = Live(owner, ThreadSampler(machine, every_s=0.02))
    draw = random.Random(7)
    answers = GoodAnswers()
    try:
        until = time.monotonic() + 4.0
        while time.monotonic() < until:
            shake(tree, draw)
            due = live.shown.due
            if isinstance(due, plan.Ask):
                check = next(check for check in due.checks if check.id in due.pending)
                live.do(lambda owner, check=check: owner.answer(check.id, answers.answer(check)))  # type: ignore[misc] # bound now
            elif isinstance(due, plan.Do):
                live.do(lambda owner, step=due.step.id: owner.take_step(step))  # type: ignore[misc] # bound now
            elif isinstance(due, plan.Held):
                live.do(lambda owner, again=due.blocked[0].check.id: owner.ask_again(again))  # type: ignore[misc] # bound now
        found = live.do(lambda owner: [line.event for line in owner.lines if isinstance(line.event, Found)])
        assert found, "the checks were fed and ended"
        assert not any("The check itself failed" in one.text for one in found)
        assert live.shown.due is not None
    finally:
        live.close()
    no_good_without_a_value(load_record(folder.path.parent, TICKET))
    run = read_run(folder.path)
    assert run is not None
    assert owner.state == fold(run.lines, run.composition)


def shake(tree: SysfsTree, draw: random.Random) -> None:
    """Do something to the tree that a loose plug, a bad driver or a hand does."""
    match draw.randrange(7):
        case 0:
            tree.remove_supply("BAT0")
        case 1:
            tree.remove_supply("AC")
        case 2:
            attribute = draw.choice(sorted(LIES))
            lies = {**ENERGY_PACK, attribute: draw.choice(LIES[attribute])}
            tree.supply("BAT0", {key: text.replace("\x00", "") for key, text in lies.items()})
        case 3:
            unreadable = tuple(draw.sample(sorted(ENERGY_PACK), 3))
            tree.battery(unreadable=unreadable, uevent=draw.random() < 0.5)
        case 4:
            tree.write("class/hwmon/hwmon0/temp1_input", draw.choice(["", "x", "-273151", "999999999"]))
        case 5:
            tree.battery(status=draw.choice(["Charging", "Full", "Not charging", "Unknown"]))
        case _:
            tree.laptop()


class Failing(SimulatedMachine):
    """A machine that cannot be read any more after so many samples."""

    left = 5

    def sample(self) -> Sample:
        self.left -= 1
        if self.left < 0:
            raise OSError(5, "Input/output error")
        return super().sample()


def watched(live: Live, *, within_s: float) -> None:
    """Look at the run again and again, until it cannot be shown any more."""
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        _ = live.shown
        time.sleep(0.01)


def test_a_machine_that_cannot_be_read_any_more_ends_the_session_and_loses_nothing(folder: RunFolder) -> None:
    bench = Bench()
    owner = opened(folder, bench, "battery")
    play(owner, GoodAnswers({"sound": None}), bench.sampler, hands=bench)
    owner.close()
    failing = Failing(clock=bench.clock, level=0.9)
    failing.plug_in()
    live = Live(
        Owner(folder, machine=failing, scripted=True, on_machine=True), ThreadSampler(failing, every_s=0.01)
    )
    with pytest.raises(MachineError, match="Input/output error") as caught:
        watched(live, within_s=30)
    assert "kept" in caught.value.next_step
    with pytest.raises(MachineError):
        live.do(lambda owner: owner.notice("More."))
    live.close()
    again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    assert isinstance(play(again, GoodAnswers(), bench.sampler, hands=bench), plan.Complete)
    again.close()


# Clocks and sleep.


def until_watching(owner: Owner, bench: SimulatedBench, check_id: str, *, but: str) -> None:
    """Play up to where the check is watched; `but` is left open, and a few samples are in."""
    play(owner, GoodAnswers({but: None}), bench.sampler, hands=bench)
    for _ in range(300):
        if owner.strip is not None and owner.strip[0].id == check_id:
            break
        feed(owner, bench)
    else:
        pytest.fail(f"{check_id} was never watched")
    feed(owner, bench)
    feed(owner, bench)


def feed(owner: Owner, bench: SimulatedBench) -> None:
    bench.sampler.pace(Pace.FAST if owner.loads else Pace.USUAL)
    sample = bench.sampler.next(0)
    assert sample is not None
    owner.take_sample(sample)
    if owner.strip is not None and (want := owner.strip[1].want) is not None:
        bench.give(want)


def found_by(record: Record) -> list[tuple[str, Verdict, str, list[float | None]]]:
    return [
        (result.check, result.verdict, result.because, [reading.value for reading in attempt.readings])
        for result in record.results
        for attempt in result.attempts
    ]


JUMPS = [
    timedelta(hours=1),
    timedelta(hours=-1),
    timedelta(days=3650),
    timedelta(days=-3650),
    timedelta(days=-20000),
]


@pytest.mark.parametrize("jump", JUMPS, ids=lambda jump: f"{jump.days} days {jump.seconds} s")
def test_a_wall_clock_that_jumps_in_mid_watch_changes_nothing_but_the_times(
    jump: timedelta, tmp_path: Path
) -> None:
    records = []
    for name, by in (("still", timedelta()), ("jumped", jump)):
        bench = Bench()
        with RunFolder(tmp_path / name / TICKET) as held:
            owner = opened(held, bench)
            until_watching(owner, bench, "charge-to-full", but="sound")
            bench.clock.set_wall(bench.clock.now().wall + by)
            feed(owner, bench)
            due = play(owner, GoodAnswers({"no-new-mark": None}), bench.sampler, hands=bench)
            # And back, while the feet's tape sets.
            bench.clock.set_wall(bench.clock.now().wall - by)
            due = play(owner, GoodAnswers(), bench.sampler, hands=bench)
            assert isinstance(due, plan.Complete)
            owner.close()
        records.append(load_record(tmp_path / name, TICKET))
    still, jumped = records
    assert found_by(jumped) == found_by(still)
    assert jumped.gaps == still.gaps == ()
    seconds = int(jump.total_seconds())
    assert "jumped" not in still.clock_note
    assert f"It jumped by {seconds:+d} s" in jumped.clock_note
    assert f"It jumped by {-seconds:+d} s" in jumped.clock_note


@pytest.mark.parametrize("lid_closed", [False, True], ids=["by itself", "the lid was closed"])
def test_sleep_in_the_middle_of_a_watch_is_a_gap_that_is_said(*, lid_closed: bool, folder: RunFolder) -> None:
    bench = Bench(level=0.5)
    owner = opened(folder, bench)
    until_watching(owner, bench, "charge-to-full", but="sound")
    before = len(owner.lines)
    if lid_closed:
        bench.machine.close_lid()
        feed(owner, bench)
    bench.clock.sleep_through(1800)
    bench.machine.open_lid()
    feed(owner, bench)
    missed = [line.event for line in owner.lines[before:]]
    assert missed == [Missed(check="charge-to-full", seconds=1810.0, asleep_s=1800.0, lid_closed=lid_closed)]
    assert owner.state.verdict("charge-to-full") is Verdict.NOT_DONE
    due = play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert isinstance(due, plan.Complete)
    owner.close()
    gaps = load_record(folder.path.parent, TICKET).gaps
    assert [(gap.check, gap.seconds, gap.asleep_s, gap.lid_closed) for gap in gaps] == [
        ("charge-to-full", 1810.0, 1800.0, lid_closed)
    ]


def test_time_asleep_is_no_time_that_somebody_had_for_the_charger(folder: RunFolder) -> None:
    """Asked for hands, the check gives up after two minutes that were watched, not after an hour of sleep."""
    bench = Bench({"charger-dead": ""})
    owner = opened(folder, bench)
    until_watching(owner, bench, "charger-seen", but="sound")
    bench.clock.sleep_through(3600)
    feed(owner, bench)
    assert owner.strip is not None
    assert owner.strip[0].id == "charger-seen"
    assert owner.state.verdict("charger-seen") is Verdict.NOT_DONE
    fed = 0
    while owner.state.verdict("charger-seen") is Verdict.NOT_DONE:
        feed(owner, bench)
        fed += 1
    # A sample each 10 s; some were watched before.
    assert 2 <= fed <= 11
    assert owner.state.verdict("charger-seen") is Verdict.DOES_NOT_CONFORM
    owner.close()


def test_sleep_and_a_jump_at_once_are_told_apart(folder: RunFolder) -> None:
    bench = Bench(level=0.5)
    owner = opened(folder, bench)
    until_watching(owner, bench, "charge-to-full", but="sound")
    bench.clock.sleep_through(600)
    bench.clock.set_wall(bench.clock.now().wall - timedelta(days=365))
    feed(owner, bench)
    owner.close()
    record = load_record(folder.path.parent, TICKET)
    assert [(gap.seconds, gap.asleep_s) for gap in record.gaps] == [(610.0, 600.0)]
    assert "It jumped by -31536000 s" in record.clock_note
