"""Whether what worked before still does: sound machines, their faults, and what is no fault."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from verify.checklist.shipped import shipped_checklists
from verify.checklist.work import known_work
from verify.judge import Limit, Rule, judge
from verify.machine import Fan, Inventory, Item, ItemKind, Link, MemoryModule, RadioBlock, RadioLevel, Sample
from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15, SimulatedMachine
from verify.probe import Context, Finding, Probe, Working, make_probe
from verify.probe.inventory_work import ANTENNA, KINDS_OF_WORK, TIES, blamed, disturbed_by, expected, touched
from verify.testing.drive import drive
from verify.values import Instant, Quantity, Reading, Unit, Verdict, VirtualClock
from verify.values.errors import WrongUseError

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
NONE_MISSING = Limit(
    upper=Quantity(value=0, unit=Unit.COUNT), rule=Rule.COUNT, source="common practice, no source"
)
ON_ARRIVAL = Instant(wall=START, elapsed_s=0.0, boot_id="on arrival")


def machine(**faults: str) -> SimulatedMachine:
    named = {name.replace("_", "-"): text for name, text in faults.items()}
    return SimulatedMachine(clock=VirtualClock(start=START), faults=named)


def arrival(**faults: str) -> Inventory:
    taken = machine(**faults).inventory(salt="TW-1042")
    return msgspec.structs.replace(taken, at=ON_ARRIVAL)


def probe(
    name: str,
    options: Mapping[str, str] | None = None,
    *,
    before: Inventory | None,
    work: tuple[str, ...] = (),
    said_at: datetime | None = None,
    said_on_arrival: datetime | None = None,
) -> Probe:
    context = Context(arrival_inventory=before, work=work, said_at=said_at, said_on_arrival=said_on_arrival)
    return make_probe(name, options or {}, context)


def only(finding: Finding) -> Reading:
    (reading,) = finding.readings
    return reading


def step(one: Probe, now: Inventory) -> Finding:
    """Give the check this inventory until it ends."""
    for second in range(200):
        at = Instant(wall=START, elapsed_s=float(second), boot_id="now")
        said = one.step(Sample(at=at, inventory=msgspec.structs.replace(now, at=at)))
        if isinstance(said, Finding):
            return said
        assert isinstance(said, Working)
        assert said.inventory
    pytest.fail("The check has not ended.")


def missing(now: Inventory, *kinds: ItemKind) -> Inventory:
    return msgspec.structs.replace(now, items=tuple(item for item in now.items if item.kind not in kinds))


# All parts.


@pytest.mark.parametrize("part", ["wireless", "camera", "touchpad"])
def test_a_part_that_is_gone_is_counted_once_named_and_tied_to_the_work(part: str) -> None:
    work = {"wireless": "battery", "camera": "lid", "touchpad": "battery"}[part]
    one = probe("hardware-as-arrived", before=arrival(), work=(work,))
    finding = drive(one, machine(module_missing=part))
    assert only(finding).value == 1
    assert part in finding.text
    assert f"Disturbed perhaps by: {work}." in finding.text


def test_a_loss_that_no_work_can_have_caused_is_told_and_is_no_reason_to_hold() -> None:
    one = probe("hardware-as-arrived", before=arrival(), work=("feet",))
    finding = drive(one, machine(module_missing="camera"))
    assert judge(only(finding), NONE_MISSING).verdict is Verdict.UNDECIDED
    assert "Missing: camera" in finding.text
    assert "No work of this ticket" in finding.text


def test_what_the_work_took_counts_beside_what_it_did_not_touch() -> None:
    now = missing(arrival(), ItemKind.CAMERA, ItemKind.GRAPHICS)
    finding = step(probe("hardware-as-arrived", before=arrival(), work=("lid",)), now)
    assert (only(finding).value, only(finding).reason) == (1, None)
    assert "Missing: graphics" in finding.text


def test_nobody_said_what_was_done_then_every_loss_counts() -> None:
    one = probe("hardware-as-arrived", before=arrival())
    assert only(drive(one, machine(module_missing="camera"))).reason is None


def test_without_an_arrival_it_says_what_is_there_and_decides_nothing() -> None:
    finding = drive(probe("hardware-as-arrived", before=None), machine())
    assert judge(only(finding), NONE_MISSING).verdict is Verdict.UNDECIDED
    assert "1 camera" in finding.text
    assert "2 fan" in finding.text


def test_a_part_that_was_never_there_is_not_missed() -> None:
    one = probe("hardware-as-arrived", before=arrival(module_missing="camera"))
    finding = drive(one, machine())
    assert only(finding).value == 0
    assert "New: camera" in finding.text


@pytest.mark.parametrize(
    ("kind", "work", "count"),
    [
        (ItemKind.BATTERY, "battery", 0),
        (ItemKind.BATTERY, "storage", 1),
        (ItemKind.STORAGE, "storage", 0),
        (ItemKind.STORAGE, "battery", 1),
    ],
)
def test_another_serial_counts_where_the_work_is_another(kind: ItemKind, work: str, count: int) -> None:
    now = arrival()
    items = tuple(
        msgspec.structs.replace(item, mark="another") if item.kind is kind and item.mark else item
        for item in now.items
    )
    one = probe("hardware-as-arrived", before=arrival(), work=(work,))
    assert only(step(one, msgspec.structs.replace(now, items=items))).value == count


@pytest.mark.parametrize(("work", "count"), [("wireless", 0), ("main-board", 0), ("battery", 1)])
def test_another_make_counts_where_the_work_is_another(work: str, count: int) -> None:
    now = missing(arrival(), ItemKind.WIRELESS)
    other = Item(kind=ItemKind.WIRELESS, identity="ff02:0a09:ff02:0001", seen_in="pci")
    one = probe("hardware-as-arrived", before=arrival(), work=(work,))
    assert only(step(one, msgspec.structs.replace(now, items=(*now.items, other)))).value == count


@pytest.mark.parametrize(("work", "count"), [("software-only", 0), ("battery", 1)])
def test_a_fan_that_other_software_names_anew_is_not_missed(work: str, count: int) -> None:
    then, now = (
        Inventory(at=ON_ARRIVAL, items=(Item(kind=ItemKind.FAN, identity=name, seen_in="monitors"),))
        for name in ("board fan", "ec fan1")
    )
    one = probe("hardware-as-arrived", before=then, work=(work,))
    assert only(step(one, now)).value == count


@pytest.mark.parametrize("kind", list(ItemKind))
def test_work_that_renews_a_part_never_excuses_that_it_is_missing(kind: ItemKind) -> None:
    before = Inventory(at=ON_ARRIVAL, items=(Item(kind=kind, identity="x", seen_in="pci"),))
    for work in (*TIES[kind].changed_by, *TIES[kind].disturbed_by):
        options = {"only": kind}
        one = probe("hardware-as-arrived", options, before=before, work=(work,))
        assert only(step(one, Inventory(at=ON_ARRIVAL))).value == 1, work


def test_a_radio_that_is_off_leaves_it_open_and_says_what_to_do() -> None:
    part = Item(kind=ItemKind.SHORT_RANGE, identity="ff01:0b01", seen_in="usb")
    before = Inventory(at=ON_ARRIVAL, items=(part,))
    now = Inventory(at=ON_ARRIVAL, blocks=(RadioBlock(type="bluetooth", soft=False, hard=True),))
    finding = step(probe("hardware-as-arrived", before=before), now)
    assert judge(only(finding), NONE_MISSING).verdict is Verdict.UNDECIDED
    assert "Switch the radio on" in finding.text


def test_what_cannot_be_listed_now_is_not_good_and_not_missing() -> None:
    now = msgspec.structs.replace(missing(arrival(), ItemKind.CAMERA), reasons={"usb": "Not readable."})
    finding = step(probe("hardware-as-arrived", before=arrival()), now)
    assert judge(only(finding), NONE_MISSING).verdict is Verdict.UNDECIDED


def test_it_can_be_asked_for_some_kinds_alone() -> None:
    options = {"only": "camera, touchpad"}
    fine = drive(probe("hardware-as-arrived", options, before=arrival()), machine(module_missing="wireless"))
    gone = drive(probe("hardware-as-arrived", options, before=arrival()), machine(module_missing="camera"))
    assert (only(fine).value, only(gone).value) == (0, 1)
    with pytest.raises(WrongUseError, match="kinds of parts"):
        probe("hardware-as-arrived", {"only": "camra"}, before=None)


def test_the_table_ties_every_kind_to_some_work_and_says_where_to_look() -> None:
    assert set(TIES) == set(ItemKind)
    for kind, tie in TIES.items():
        assert tie.disturbed_by
        assert tie.look.endswith(".")
        assert disturbed_by(tie, tie.disturbed_by[:1]).endswith(f"{tie.disturbed_by[0]}.")
        assert not expected(kind, ("feet", "base-cover"))


def test_the_table_knows_each_kind_of_work_that_the_shipped_lists_have() -> None:
    assert frozenset(known_work(shipped_checklists())) == KINDS_OF_WORK
    named = {work for tie in (*TIES.values(), ANTENNA) for work in (*tie.changed_by, *tie.disturbed_by)}
    assert named <= KINDS_OF_WORK


def test_work_that_opens_the_base_is_that_of_the_list_for_it() -> None:
    opened = next(each for each in shipped_checklists() if each.id == "base-opened").for_work
    camera = TIES[ItemKind.CAMERA]
    assert {work for work in KINDS_OF_WORK if touched(camera, (work,))} == {*opened, "lid", "software-only"}


@pytest.mark.parametrize(
    ("kind", "work", "named"),
    [
        (ItemKind.CAMERA, ("battery", "lid"), ("lid",)),
        (ItemKind.CAMERA, ("battery", "feet"), ("battery",)),
        (ItemKind.CAMERA, ("feet",), ()),
        (ItemKind.CAMERA, ("re-gilding",), ("re-gilding",)),
        (ItemKind.SECURITY_CHIP, ("battery",), ()),
        (ItemKind.SOUND, ("software-only",), ("software-only",)),
    ],
)
def test_the_work_that_reaches_a_part_is_blamed_before_work_that_only_could(
    kind: ItemKind, work: tuple[str, ...], named: tuple[str, ...]
) -> None:
    assert blamed(TIES[kind], work) == named


# Fans.


def test_a_second_fan_that_stands_under_load_is_found() -> None:
    one = probe("fans-as-arrived", {"load": "120 s"}, before=arrival(), work=("cooling",))
    finding = drive(one, machine(second_fan_dead=""), every_s=1.0)
    assert judge(only(finding), NONE_MISSING).verdict is Verdict.DOES_NOT_CONFORM
    assert "Never: board second fan." in finding.text
    assert "Disturbed perhaps by: cooling." in finding.text


def test_all_fans_that_turn_end_it_at_once() -> None:
    one = probe("fans-as-arrived", {"load": "120 s"}, before=arrival())
    board = machine()
    finding = drive(one, board, every_s=1.0)
    assert judge(only(finding), NONE_MISSING).verdict is Verdict.CONFORMS
    assert board.clock.now().elapsed_s < 120


def test_a_fan_that_stands_on_a_cool_machine_decides_nothing() -> None:
    finding = drive(probe("fans-as-arrived", before=arrival()), machine(second_fan_dead=""))
    assert only(finding).value == 1
    assert judge(only(finding), NONE_MISSING).verdict is Verdict.UNDECIDED


@pytest.mark.parametrize(("told", "verdict"), [("2", Verdict.CONFORMS), ("1", Verdict.CONFORMS)])
def test_told_how_many_fans_there_are_no_arrival_is_needed(told: str, verdict: Verdict) -> None:
    finding = drive(probe("fans-as-arrived", {"fans": told}, before=None), machine())
    assert judge(only(finding), NONE_MISSING).verdict is verdict


def test_a_fan_that_is_told_and_never_shown_is_missed() -> None:
    board = SimulatedMachine(clock=VirtualClock(start=START), description=LARKSPUR_13)
    one = probe("fans-as-arrived", {"fans": "2", "load": "60 s"}, before=None)
    assert only(drive(one, board, every_s=1.0)).value == 1


def fans(*speeds: tuple[str, int]) -> Sample:
    return Sample(
        at=Instant(wall=START, elapsed_s=0.0),
        fans=tuple(Fan(chip=name.split(" ")[0], label=name.split(" ")[1], rpm=rpm) for name, rpm in speeds),
    )


@pytest.mark.parametrize(
    ("seen", "standing"),
    [
        (fans(("board fan", 2000), ("board second", 2100)), 0),
        (fans(("ec fan1", 2000), ("ec fan2", 2100)), 0),
    ],
    ids=["as-named-then", "named-anew"],
)
def test_fans_named_anew_are_not_missed(seen: Sample, standing: int) -> None:
    items = tuple(
        Item(kind=ItemKind.FAN, identity=name, seen_in="monitors")
        for name in ("board fan", "board second", "amdgpu fan1")
    )
    finding = probe("fans-as-arrived", before=Inventory(at=ON_ARRIVAL, items=items)).step(seen)
    assert isinstance(finding, Finding)
    assert only(finding).value == standing


# Radio.


def test_a_lead_that_is_off_is_found_by_the_loss_at_the_same_place() -> None:
    finding = drive(probe("radio-level", before=arrival(), work=("battery",)), machine(antenna_lead_off=""))
    assert only(finding).value == 27.0
    assert [reading.value for reading in finding.aside] == [-71.0, -44.0]
    assert "lead is off" in finding.text


@pytest.mark.parametrize(
    ("work", "verdict"),
    [
        (("battery",), Verdict.DOES_NOT_CONFORM),
        (("lid",), Verdict.DOES_NOT_CONFORM),
        ((), Verdict.DOES_NOT_CONFORM),
        (("feet",), Verdict.UNDECIDED),
    ],
)
def test_a_weaker_radio_holds_where_the_work_reaches_an_antenna(
    work: tuple[str, ...], verdict: Verdict
) -> None:
    # 10 dB: common practice, no source.
    limit = Limit(
        upper=Quantity(value=10, unit=Unit.DECIBEL), rule=Rule.SIMPLE, source="common practice, no source"
    )
    finding = drive(probe("radio-level", before=arrival(), work=work), machine(antenna_lead_off=""))
    assert judge(only(finding), limit).verdict is verdict
    assert "antenna plugs home" in finding.text


def test_the_median_of_the_looks_counts_and_not_the_best() -> None:
    levels = iter([-40.0, -71.0, -70.0, -72.0, -30.0])
    one = probe("radio-level", before=arrival())
    said: Working | Finding | None = None
    for second in range(5):
        radio = RadioLevel(kind=ItemKind.WIRELESS, dbm=next(levels))
        at = Instant(wall=START, elapsed_s=float(second))
        said = one.step(Sample(at=at, inventory=Inventory(at=at, radios=(radio,))))
    assert isinstance(said, Finding)
    assert only(said).value == 26.0


def test_a_network_that_is_joined_late_is_still_read_and_one_never_joined_ends() -> None:
    at = Instant(wall=START, elapsed_s=0.0)
    silent = Inventory(at=at, radios=(RadioLevel(kind=ItemKind.WIRELESS, dbm=None, reason="Not joined."),))
    one = probe("radio-level", {"reads": "1"}, before=arrival())
    waiting = one.step(Sample(at=at, inventory=silent))
    assert isinstance(waiting, Working)
    assert waiting.text == "Not joined."
    said = one.step(Sample(at=at, inventory=arrival()))
    assert isinstance(said, Finding)
    assert only(step(probe("radio-level", before=arrival()), silent)).reason == "Not joined."


@pytest.mark.parametrize("before", [None, arrival(radio_off="")], ids=["no-arrival", "off-on-arrival"])
def test_a_level_without_one_to_compare_decides_nothing_and_is_kept(before: Inventory | None) -> None:
    finding = drive(probe("radio-level", before=before), machine())
    assert only(finding).value is None
    assert finding.aside[0].value == -44.0


# Memory, panel, link, clock.


def test_half_the_memory_is_found_against_the_arrival_and_against_what_is_told() -> None:
    for options, work in (({}, ()), ({"size": "16 GiB"}, ("memory",))):
        finding = drive(probe("memory-size", options, before=arrival(), work=work), machine(memory_half=""))
        assert only(finding).value == pytest.approx(50.0)
        assert "press it home" in finding.text
    channels = drive(probe("memory-channels", {"channels": "2"}, before=None), machine(memory_half=""))
    assert only(channels).value == 1


def fitted(*slots: str, gib: int = 8) -> Inventory:
    """Return the inventory with modules in these slots; a slot's channel is its letter."""
    modules = tuple(MemoryModule(slot=slot, size_bytes=gib << 30) for slot in slots)
    return msgspec.structs.replace(arrival(), modules=modules, channels=len({slot[0] for slot in slots}))


@pytest.mark.parametrize(
    ("before", "now", "work", "expected"),
    [
        pytest.param(fitted("A1", "B1"), fitted("A1", "B1"), "memory", Verdict.CONFORMS, id="both"),
        pytest.param(fitted("A1", "B1"), fitted("A1"), "memory", Verdict.DOES_NOT_CONFORM, id="one-not-seen"),
        pytest.param(
            fitted("A1", "B1"), fitted("A1", "A2"), "memory", Verdict.DOES_NOT_CONFORM, id="in-one-channel"
        ),
        pytest.param(
            fitted("A1", "B1"), fitted("A1", gib=16), "memory", Verdict.UNDECIDED, id="one-of-the-same-size"
        ),
        pytest.param(
            fitted("A1", "B1"), fitted("A1", gib=16), "battery", Verdict.DOES_NOT_CONFORM, id="no-memory-work"
        ),
        pytest.param(fitted("A1"), fitted("A1"), "memory", Verdict.CONFORMS, id="soldered-in-one-channel"),
        pytest.param(fitted("A1"), fitted("A1", "B1"), "memory", Verdict.CONFORMS, id="one-more"),
    ],
)
def test_memory_channels_against_the_arrival(
    before: Inventory, now: Inventory, work: str, expected: Verdict
) -> None:
    finding = step(probe("memory-channels", {"cold_start": "yes"}, before=before, work=(work,)), now)
    assert judge(only(finding), NONE_MISSING).verdict is expected


def test_memory_work_without_a_told_size_decides_nothing() -> None:
    finding = drive(probe("memory-size", before=arrival(), work=("memory",)), machine())
    assert only(finding).value is None
    assert "give the check its size" in finding.text


def test_a_cold_start_that_never_was_leaves_it_open() -> None:
    warm = msgspec.structs.replace(arrival(), at=machine().clock.now())
    for name in ("memory-size", "memory-channels"):
        finding = drive(probe(name, {"cold_start": "yes"}, before=warm), machine())
        assert "Not started anew" in (only(finding).reason or "")


@pytest.mark.parametrize(("work", "count"), [((), 3), (("lid",), 2)])
def test_another_panel_counts_what_the_work_does_not_excuse(work: tuple[str, ...], count: int) -> None:
    finding = drive(probe("panel-as-arrived", before=arrival(), work=work), machine(panel_other=""))
    assert only(finding).value == count
    assert "1366 × 768 pixels, not 1920 × 1080" in finding.text


def test_a_panel_of_another_make_that_shows_the_same_is_what_lid_work_is_for() -> None:
    panel = msgspec.structs.replace(arrival().panels[0], maker="ABC", product=7)
    now = msgspec.structs.replace(arrival(), panels=(panel,))
    assert only(step(probe("panel-as-arrived", before=arrival(), work=("lid",)), now)).value == 0
    assert only(step(probe("panel-as-arrived", before=arrival(), work=("battery",)), now)).value == 1


def test_a_panel_that_is_gone_counts_and_one_that_tells_nothing_does_not() -> None:
    gone = msgspec.structs.replace(missing(arrival(), ItemKind.PANEL), panels=())
    silent = msgspec.structs.replace(arrival(), panels=(), reasons={"panels": "It gives no description."})
    assert only(step(probe("panel-as-arrived", before=arrival()), gone)).value == 1
    assert only(step(probe("panel-as-arrived", before=arrival()), silent)).value is None


def link(width: int, speed: float = 8.0, *, most: int | None = 4, identity: str = "a") -> Link:
    return Link(
        kind=ItemKind.STORAGE, identity=identity, width=width, speed=speed, most_width=most, most_speed=16.0
    )


@pytest.mark.parametrize(
    ("before", "now", "low"),
    [
        ((link(4),), (link(4),), 0),
        ((link(4),), (link(1),), 1),
        ((link(4),), (link(4, 2.5),), 1),
        ((link(2),), (link(4),), 0),
        ((link(2),), (link(2),), 0),
        ((link(4),), (link(4, 16.0, identity="new"),), 0),
        ((link(4),), (link(2, 16.0, identity="new"),), 1),
        ((link(4), link(4)), (link(4), link(1)), 1),
        (None, (link(1, 16.0),), 1),
    ],
    ids=[
        "same",
        "narrow",
        "slow",
        "wider",
        "narrow-by-design",
        "new",
        "new-and-narrow",
        "one-of-two",
        "no-arrival",
    ],
)
def test_a_drives_line(before: tuple[Link, ...] | None, now: tuple[Link, ...], low: int) -> None:
    then = None if before is None else Inventory(at=ON_ARRIVAL, links=before)
    assert only(step(probe("storage-link", before=then), Inventory(at=ON_ARRIVAL, links=now))).value == low


TWO_MINUTES = Limit(
    upper=Quantity(value=120, unit=Unit.SECOND), rule=Rule.SIMPLE, source="common practice, no source"
)
YEARS_S = 900 * 86400.0


@pytest.mark.parametrize(
    ("behind_s", "expected"),
    [
        pytest.param(-3600.0, Verdict.CONFORMS, id="ahead"),
        pytest.param(40.0, Verdict.CONFORMS, id="set-by-the-network"),
        pytest.param(120.0, Verdict.CONFORMS, id="at-the-limit"),
        pytest.param(121.0, Verdict.UNDECIDED, id="past-it"),
        pytest.param(5 * 3600.0, Verdict.UNDECIDED, id="a-zone"),
        pytest.param(14 * 3600.0 + 60, Verdict.UNDECIDED, id="the-widest-zone"),
        pytest.param(15 * 3600.0, Verdict.DOES_NOT_CONFORM, id="no-zone"),
        pytest.param(YEARS_S, Verdict.DOES_NOT_CONFORM, id="years"),
    ],
)
def test_a_clock_behind_a_time_that_the_run_has_seen(behind_s: float, expected: Verdict) -> None:
    said_at = START + timedelta(seconds=behind_s)
    finding = step(probe("clock-kept", before=arrival(), said_at=said_at), arrival())
    assert only(finding).value == max(0.0, behind_s)
    assert judge(only(finding), TWO_MINUTES).verdict is expected


@pytest.mark.parametrize(
    ("then_s", "now_s", "expected"),
    [
        pytest.param(0.0, -YEARS_S, Verdict.DOES_NOT_CONFORM, id="lost-and-the-system-set-by-the-network"),
        pytest.param(0.0, -11 * 3600.0, Verdict.CONFORMS, id="kept-in-local-time"),
        pytest.param(0.0, YEARS_S, Verdict.CONFORMS, id="ahead"),
        pytest.param(-YEARS_S, -YEARS_S, Verdict.UNDECIDED, id="as-on-arrival"),
        pytest.param(None, -YEARS_S, Verdict.DOES_NOT_CONFORM, id="not-told-on-arrival"),
        pytest.param(None, None, Verdict.UNDECIDED, id="never-told"),
    ],
)
def test_the_clock_that_runs_without_the_system(
    then_s: float | None, now_s: float | None, expected: Verdict
) -> None:
    before, now = (msgspec.structs.replace(arrival(), clock_ahead_s=ahead) for ahead in (then_s, now_s))
    finding = step(probe("clock-kept", before=before, said_at=START), now)
    assert judge(only(finding), TWO_MINUTES).verdict is expected


def test_a_clock_that_was_dead_on_arrival_is_told_and_not_held_against_the_work() -> None:
    right = START + timedelta(seconds=YEARS_S)
    one = probe("clock-kept", before=arrival(), said_at=right, said_on_arrival=right)
    finding = step(one, arrival())
    assert judge(only(finding), TWO_MINUTES).verdict is Verdict.UNDECIDED
    assert "on arrival already" in finding.text


def test_a_clock_that_was_far_ahead_on_arrival_and_is_right_now_is_no_loss() -> None:
    taken = arrival()
    ahead = START + timedelta(seconds=YEARS_S)
    before = msgspec.structs.replace(taken, at=msgspec.structs.replace(taken.at, wall=ahead))
    finding = step(probe("clock-kept", before=before, said_at=ahead, said_on_arrival=START), arrival())
    assert judge(only(finding), TWO_MINUTES).verdict is Verdict.UNDECIDED
    assert "On arrival it was ahead" in finding.text


def test_where_no_boot_is_told_a_clock_is_never_said_to_have_been_kept() -> None:
    at = Instant(wall=START, elapsed_s=0.0, boot_id="session-1")
    now = msgspec.structs.replace(arrival(), at=msgspec.structs.replace(at, boot_id="session-2"))
    before = msgspec.structs.replace(arrival(), at=at)
    for behind_s, value in ((0.0, None), (YEARS_S, YEARS_S)):
        one = probe("clock-kept", before=before, said_at=START + timedelta(seconds=behind_s))
        said = one.step(Sample(at=now.at, inventory=now))
        assert isinstance(said, Finding)
        assert only(said).value == value


def test_a_clock_that_was_never_without_power_shows_nothing() -> None:
    same = msgspec.structs.replace(arrival(), at=Instant(wall=START, elapsed_s=0.0, boot_id="now"))
    assert only(step(probe("clock-kept", before=same), arrival())).value is None


# Rules that all keep.


@pytest.mark.parametrize(
    "name",
    [
        "clock-kept",
        "hardware-as-arrived",
        "memory-channels",
        "memory-size",
        "panel-as-arrived",
        "radio-level",
    ],
)
def test_a_reader_that_never_gives_an_inventory_ends_it(name: str) -> None:
    one = probe(name, before=arrival())
    for second in range(10):
        said = one.step(Sample(at=Instant(wall=START, elapsed_s=float(second))))
        if isinstance(said, Finding):
            assert only(said).value is None
            return
    pytest.fail("The check has not ended.")


def test_the_simulated_machine_with_two_fans_is_the_larger_one() -> None:
    assert (LARKSPUR_15.fans, LARKSPUR_13.fans) == (2, 1)
