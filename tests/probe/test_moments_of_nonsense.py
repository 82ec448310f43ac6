"""What firmware tells for a moment, or all the time, of a pack or a fan that is sound."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

import msgspec
import pytest

from verify.machine import Adapter, Cpu, Fan, Inventory, Item, ItemKind, Pack, PackState, Sample, Temperature
from verify.machine.series import Moment, flow_disagrees
from verify.probe import Context, Finding, Probe, Working
from verify.probe.registry import make_probe
from verify.values import Instant, Reading

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
NO_PACK = "No battery is visible."


def pack(**fields: object) -> Pack:
    sound = Pack(
        name="A",
        state=PackState.CHARGING,
        state_of_charge=0.5,
        remaining_wh=25.0,
        full_charge_wh=50.0,
        design_wh=51.0,
        power_w=25.0,
        voltage_v=11.8,
        design_voltage_v=11.4,
        current_a=2.12,
    )
    return msgspec.structs.replace(sound, **fields)


def at(seconds: float) -> Instant:
    return Instant(wall=START, elapsed_s=seconds, boot_id="one")


def sample(seconds: float, *packs: Pack) -> Sample:
    return Sample(at=at(seconds), packs=packs, adapters=(Adapter(name="charger", online=True),))


def feed(one: Probe, samples: Iterator[Sample]) -> tuple[Finding, int]:
    for count, each in enumerate(samples, start=1):
        said = one.step(each)
        if isinstance(said, Finding):
            return said, count
    pytest.fail("The check has not ended.")


def probe(name: str) -> Probe:
    return make_probe(name, {}, Context(label_wh=50.0))


def only(finding: Finding) -> Reading:
    (reading,) = finding.readings
    return reading


def charging(step_s: float, levels: Sequence[float], **fields: object) -> Iterator[Sample]:
    """A charge that goes through these levels, then says full."""
    for i, level in enumerate(levels):
        told = {"state_of_charge": level, "remaining_wh": 50 * level, **fields}
        yield sample(step_s * i, pack(**told))
    for i in range(len(levels), len(levels) + 400):
        full = {"state_of_charge": 1.0, "remaining_wh": 50.0, "power_w": 0.0, "current_a": 0.0}
        yield sample(step_s * i, pack(state=PackState.FULL, **full))


RISING = [0.6 + i / 400 for i in range(160)]


# One look.


@pytest.mark.parametrize("name", ["pack-present", "pack-cell-voltage", "claimed-capacity", "runs-on-battery"])
def test_a_pack_that_is_gone_for_a_look_is_looked_at_again(name: str) -> None:
    one = probe(name)
    gone = msgspec.structs.replace(sample(0), reasons={"batteries": NO_PACK})
    assert isinstance(one.step(gone), Working)
    said = one.step(sample(10, pack()))
    assert isinstance(said, Working) if name == "runs-on-battery" else only(said).value  # type: ignore[arg-type] # a finding


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("pack-cell-voltage", {"voltage_v": None, "reasons": {"voltage_v": "65.535 V cannot be."}}),
        ("claimed-capacity", {"full_charge_wh": None, "reasons": {"full_charge_wh": "484 Wh cannot be."}}),
        ("claimed-capacity", {"full_charge_wh": 51.0}),
    ],
    ids=["a voltage that cannot be", "a capacity that cannot be", "a capacity like the design"],
)
def test_a_single_wrong_reading_is_not_what_counts(name: str, wrong: dict[str, object]) -> None:
    one = probe(name)
    assert isinstance(one.step(sample(0, pack(**wrong))), Working)
    said = one.step(sample(10, pack()))
    assert isinstance(said, Finding)
    assert (only(said).value is not None, only(said).reason) == (True, None)


def test_what_stays_wrong_ends_after_twenty_seconds() -> None:
    one = probe("pack-cell-voltage")
    wrong = pack(voltage_v=None, reasons={"voltage_v": "It cannot be."})
    finding, count = feed(one, (sample(10.0 * i, wrong) for i in range(100)))
    assert (only(finding).reason, count) == ("It cannot be.", 3)


# The power.


@pytest.mark.parametrize("told_w", [None, 1.0, 3.0], ids=["unknown", "far too small", "too small"])
def test_the_slope_counts_where_the_reported_power_does_not(told_w: float | None) -> None:
    # 25 W go in: half of the capacity an hour.
    reasons = {} if told_w is not None else {"power_w": "The firmware gives no value."}
    samples = charging(
        10,
        [0.5 + 25 / 50 * 10 * i / 3600 for i in range(60)],
        power_w=told_w,
        current_a=None,
        reasons=reasons,
    )
    finding, _ = feed(probe("charge-power"), samples)
    assert only(finding).value == pytest.approx(0.5, rel=1e-6)
    assert "slope" in only(finding).source
    assert "unknown, or wrong" in finding.text


def test_a_reported_power_that_agrees_counts_itself() -> None:
    samples = charging(10, [0.5 + 20 / 50 * 10 * i / 3600 for i in range(60)])
    finding, _ = feed(probe("charge-power"), samples)
    assert only(finding).value == 0.5
    assert "slope" not in only(finding).source


def test_a_coarse_gauge_has_no_slope() -> None:
    finding, _ = feed(probe("charge-power"), charging(10, [0.5] * 60))
    assert only(finding).value == 0.5


def test_a_pack_that_holds_all_the_time_says_nothing_of_its_power() -> None:
    finding, _ = feed(
        probe("charge-power"), charging(10, [0.5] * 60, state=PackState.HOLDING, power_w=0.0, current_a=0.0)
    )
    assert only(finding).value is None
    assert "holds" in (only(finding).reason or "")


def test_a_pack_that_holds_now_and_then_is_judged() -> None:
    def samples() -> Iterator[Sample]:
        for i in range(60):
            flows = i % 3 == 0
            state = PackState.CHARGING if flows else PackState.HOLDING
            yield sample(10.0 * i, pack(state=state, power_w=5.0 if flows else 0.0))

    finding, _ = feed(probe("charge-power"), samples())
    assert only(finding).value == 0


@pytest.mark.parametrize(
    ("powers", "energies", "disagrees"),
    [
        ([20.0] * 31, [25 + 20 * i / 360 for i in range(31)], False),
        ([8.0] * 31, [25 + 20 * i / 360 for i in range(31)], True),
        ([0.0] * 6 + [20.0] * 25, [25 + 20 * i / 360 for i in range(31)], False),
        ([0.0] * 20 + [20.0] * 11, [25.0] * 20 + [25 + 20 * i / 360 for i in range(11)], False),
        ([8.0] * 31, [25.0] * 31, None),
        ([1.0] * 31, [25 + i / 360 for i in range(31)], None),
        ([20.0] * 20, [25 + 20 * i / 360 for i in range(20)], None),
    ],
    ids=["true", "never follows", "lags a minute", "begins late", "stands still", "tiny", "too short"],
)
def test_the_power_summed_up_against_the_energy(
    powers: list[float], energies: list[float], *, disagrees: bool | None
) -> None:
    moments = [
        Moment(elapsed_s=10.0 * i, pack=pack(power_w=power_w, remaining_wh=remaining_wh))
        for i, (power_w, remaining_wh) in enumerate(zip(powers, energies, strict=True))
    ]
    assert flow_disagrees(moments) is disagrees


def test_a_power_that_never_follows_does_not_keep_a_full_pack_from_being_full() -> None:
    def samples() -> Iterator[Sample]:
        for each in charging(10, RISING, power_w=4.0, current_a=None):
            (now,) = each.packs
            if now.state is PackState.FULL:
                reasons = {"state": "It says full, and still 4 W flow."}
                now = msgspec.structs.replace(now, power_w=4.0, current_a=None, reasons=reasons)
            yield msgspec.structs.replace(each, packs=(now,))

    finding, _ = feed(probe("charge-to-full"), samples())
    assert (only(finding).value, only(finding).reason) == (100, None)


# The level.


def test_a_single_wrong_level_at_full_is_not_the_charges() -> None:
    def samples() -> Iterator[Sample]:
        for i, each in enumerate(charging(10, RISING)):
            (now,) = each.packs
            wrong = msgspec.structs.replace(now, state_of_charge=0.956) if i == len(RISING) else now
            yield msgspec.structs.replace(each, packs=(wrong,))

    finding, _ = feed(probe("charge-to-full"), samples())
    assert (only(finding).value, only(finding).reason) == (100, None)


def test_a_level_that_stays_too_low_at_full_counts() -> None:
    full = pack(state=PackState.FULL, state_of_charge=0.956, power_w=0.0, current_a=0.0)
    finding, count = feed(probe("charge-to-full"), (sample(10.0 * i, full) for i in range(100)))
    assert only(finding).value == pytest.approx(95.6)
    assert (only(finding).reason, count) == (None, 5)


def test_a_level_that_stood_still_while_current_flowed_is_not_believed() -> None:
    finding, _ = feed(probe("charge-to-full"), charging_then_stopped([0.22] * 200))
    assert only(finding).value == pytest.approx(22)
    assert "does not count" in (only(finding).reason or "")


def charging_then_stopped(levels: Sequence[float]) -> Iterator[Sample]:
    for i, level in enumerate(levels):
        yield sample(10.0 * i, pack(state_of_charge=level, remaining_wh=50 * level))
    for i in range(len(levels), len(levels) + 100):
        still = pack(state=PackState.FULL, state_of_charge=levels[-1], power_w=0.0, current_a=0.0)
        yield sample(10.0 * i, still)


def test_a_level_of_100_that_stands_while_the_taper_flows_is_believed() -> None:
    finding, _ = feed(
        probe("charge-to-full"), charging(10, [*RISING, *[1.0] * 120], power_w=4.0, current_a=0.34)
    )
    assert (only(finding).value, only(finding).reason) == (100, None)


def test_a_level_that_leaps_is_not_believed_even_at_full() -> None:
    leaping = [(0.61, 0.13, 0.77)[i % 3] for i in range(60)]
    finding, _ = feed(probe("charge-to-full"), charging(10, leaping))
    assert "leapt" in (only(finding).reason or "")
    assert "charge again" in finding.text


def test_a_gauge_that_learns_once_is_believed() -> None:
    finding, _ = feed(probe("charge-to-full"), charging(10, [0.6] * 10 + [0.8] * 10 + [0.95] * 10))
    assert only(finding).reason is None


@pytest.mark.parametrize(
    ("state", "level", "reasons", "words"),
    [
        (PackState.HOLDING, 0.8, {}, "set in the firmware"),
        (PackState.FULL, 0.8, {}, "set in the firmware"),
        (PackState.HOLDING, 0.96, {}, "on its battery"),
        (
            PackState.HOLDING,
            0.97,
            {"state": "It says charging, but almost nothing flows."},
            "end of the charge",
        ),
        (PackState.UNKNOWN, 0.6, {"state": "The pack says “?”."}, "says “?”"),
        (PackState.HOLDING, 0.2, {}, None),
        (PackState.HOLDING, 0.6, {"state": "It says charging, but almost nothing flows."}, None),
        (PackState.DISCHARGING, 0.6, {}, None),
    ],
)
def test_where_a_charge_stops_and_what_that_may_mean(
    state: PackState, level: float, reasons: dict[str, str], words: str | None
) -> None:
    stopped = pack(state=state, state_of_charge=level, power_w=0.0, current_a=0.0, reasons=reasons)
    finding, _ = feed(probe("charge-to-full"), (sample(10.0 * i, stopped) for i in range(400)))
    assert only(finding).value == pytest.approx(100 * level)
    assert (words is None) is (only(finding).reason is None)
    assert (words or "") in (only(finding).reason or "")


# Fans.


def fans(loaded: Sequence[Sequence[int | None]], *, celsius: float = 70.0) -> Finding:
    """Run the check on a machine with two fans that show these speeds, look by look."""
    names = ("one", "two")
    arrival = Inventory(
        at=at(0),
        items=tuple(Item(kind=ItemKind.FAN, identity=f"ec {name}", seen_in="monitors") for name in names),
    )
    one = make_probe(
        "fans-as-arrived", {"load": "60 s"}, Context(work=("cooling",), arrival_inventory=arrival)
    )

    def samples() -> Iterator[Sample]:
        for i in range(200):
            speeds = loaded[min(i, len(loaded) - 1)]
            yield Sample(
                at=at(float(i)),
                temperatures=(Temperature(chip="coretemp", label="p", celsius=celsius, critical=100.0),),
                fans=tuple(
                    Fan(chip="ec", label=name, rpm=rpm) for name, rpm in zip(names, speeds, strict=True)
                ),
                cpu=Cpu(load=1.0),
            )

    return feed(one, samples())[0]


@pytest.mark.parametrize(
    ("loaded", "celsius", "count", "doubted"),
    [
        ([(2000, 2100)], 70.0, 0, False),
        ([(2000, 0)], 70.0, 1, False),
        ([(2000, None)], 70.0, 1, True),
        ([(0, 0)], 70.0, 2, True),
        ([(0, 0)], 96.0, 2, False),
        ([(None, 0)], 70.0, 2, True),
        ([(2000, 0), (2000, None)], 70.0, 1, False),
    ],
    ids=[
        "both turn",
        "one stands beside one that turns",
        "one cannot be read",
        "nothing turns and it stays cool",
        "nothing turns and it gets hot",
        "nothing is told and it stays cool",
        "one stood before it could not be read",
    ],
)
def test_a_fan_that_cannot_be_read_is_no_fan_that_stands(
    loaded: Sequence[Sequence[int | None]], celsius: float, count: int, *, doubted: bool
) -> None:
    reading = only(fans(loaded, celsius=celsius))
    assert reading.value == count
    assert (reading.reason is not None) is doubted
    if doubted:
        assert "listen" in (reading.reason or "")
