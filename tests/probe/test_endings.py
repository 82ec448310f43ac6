"""How an automatic check ends at a real bench: sleep, restarts, bad contacts, packs that blink, stuck gauges.

All times are the ones that the checks state themselves (common practice, no source).
"""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from verify.machine import NO_BATTERY, Adapter, Pack, PackState, Sample
from verify.machine.model import CHARGING_OFF
from verify.probe import Context, Finding, Probe, Want, Working, make_probe
from verify.testing.drive import settled
from verify.values import Instant, Reading

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
HOUR = 3600.0
GONE = {"batteries": NO_BATTERY}


def pack(**fields: Any) -> Pack:
    sound: dict[str, Any] = {
        "name": "A",
        "state": PackState.CHARGING,
        "state_of_charge": 0.5,
        "full_charge_wh": 49.0,
        "design_wh": 50.0,
        "power_w": 25.0,
        "voltage_v": 11.8,
        "design_voltage_v": 11.4,
        "current_a": 2.1,
        "temperature_c": None,
    }
    return Pack(**(sound | fields))


STALLED: Mapping[str, Any] = {"state": PackState.HOLDING, "power_w": 0.0, "current_a": 0.0}
BLIND: Mapping[str, Any] = {"power_w": None, "current_a": None}
FULL: Mapping[str, Any] = {**STALLED, "state": PackState.FULL, "state_of_charge": 1.0}
DRAINED: Mapping[str, Any] = {"state": PackState.DISCHARGING, "power_w": -8.0, "current_a": -0.7}


def sample(
    seconds: float, *packs: Pack, charger: bool | None = True, boot: str | None = "one", **more: Any
) -> Sample:
    at = Instant(wall=START + timedelta(seconds=seconds), elapsed_s=seconds, boot_id=boot)
    return Sample(at=at, packs=packs, adapters=(Adapter(name="charger", online=charger),), **more)


def probe(name: str) -> Probe:
    return make_probe(name, {}, Context())


def feed(one: Probe, samples: Iterator[Sample]) -> tuple[Finding, list[Working]]:
    said: list[Working] = []
    for given in samples:
        answer = one.step(given)
        if isinstance(answer, Finding):
            return answer, said
        said.append(answer)
    pytest.fail("The check has not ended.")


def only(finding: Finding) -> Reading:
    (reading,) = finding.readings
    return reading


def every(step_s: float, count: int, *, start_s: float = 0.0, **fields: Any) -> Iterator[Sample]:
    return (sample(start_s + step_s * i, pack(**fields)) for i in range(count))


# Charging to full: a level of 100 % is not full.


def test_100_per_cent_without_a_rate_is_never_good() -> None:
    finding, said = feed(probe("charge-to-full"), every(10, 500, state_of_charge=1.0, **BLIND))
    assert only(finding).value == 100
    assert "Whether current still flows cannot be read" in (only(finding).reason or "")
    # Half an hour, as a whole per cent may take that long.
    assert len(said) == 180


def test_whole_per_cents_that_rise_slowly_without_a_rate_have_not_stopped() -> None:
    one = probe("charge-to-full")
    for i in range(360):
        level = 0.97 + 0.01 * (i // 150)
        assert isinstance(one.step(sample(10.0 * i, pack(state_of_charge=level, **BLIND))), Working)


def test_full_in_doubt_is_not_full() -> None:
    doubted = {**FULL, **BLIND, "reasons": {"state": "It says full, and still 18 W flow."}}
    finding, said = feed(probe("charge-to-full"), every(10, 500, **doubted))
    assert len(said) == 180
    assert only(finding).reason


def test_full_without_a_level_tells_nothing() -> None:
    why = "energy_full is 121 Wh, 2.9 × the design of 42 Wh: that cannot be."
    odd = {**FULL, "state_of_charge": None, "reasons": {"state_of_charge": why}}
    finding, _ = feed(probe("charge-to-full"), every(10, 10, **odd))
    assert only(finding).value is None
    assert only(finding).reason == f"It says full, but not how full. {why}"


def test_a_pack_that_calls_itself_full_below_99_per_cent_is_told_so() -> None:
    finding, _ = feed(probe("charge-to-full"), every(10, 10, **{**FULL, "state_of_charge": 0.96}))
    assert only(finding).value == pytest.approx(96)
    assert finding.text.startswith("The battery says that it is full at 96 %.")


def test_a_level_of_100_that_takes_in_current_is_told_at_once_and_not_watched_for_ever() -> None:
    clamped = {"state_of_charge": 1.0, "current_a": 1.5, "power_w": 18.0}
    finding, said = feed(probe("charge-to-full"), every(10, 5000, **clamped))
    assert said[0].text == "It says 100 %, and still 18 W go in: not full yet."
    assert said[200].text.startswith("It has said 100 % for 33 min, and still 18 W go in.")
    assert len(said) == 3 * 360
    assert only(finding).value is None


def test_a_level_that_stands_still_while_current_flows_is_told_after_ten_minutes() -> None:
    one = probe("charge-to-full")
    said = [one.step(given) for given in every(10, 62)]
    texts = [working.text for working in said if isinstance(working, Working)]
    assert texts[59] == "Charging: 50 %."
    assert texts[60] == (
        "It has said 50 % for 10 min, and still 25 W go in. See that nothing gets hot or swells."
    )


# Charging to full: only watched time counts.


def test_an_hour_of_sleep_is_no_stall() -> None:
    def samples() -> Iterator[Sample]:
        yield from every(10, 30)
        # Rates stand at nothing for a while after waking.
        yield from every(10, 6, start_s=300 + HOUR, **STALLED)
        yield from every(10, 6, start_s=360 + HOUR)
        yield from every(10, 1, start_s=420 + HOUR, **FULL)

    finding, _ = feed(probe("charge-to-full"), samples())
    assert only(finding).value == 100
    assert finding.aside[0].value is None


def test_a_night_between_two_sessions_does_not_end_the_watch() -> None:
    one = probe("charge-to-full")
    for given in every(10, 30):
        assert isinstance(one.step(given), Working)
    for given in every(10, 30, start_s=12 * HOUR):
        assert isinstance(one.step(given), Working)


def test_two_restarts_do_not_make_a_stall() -> None:
    one = probe("charge-to-full")
    for boot in ("one", "two", "three"):
        assert isinstance(one.step(sample(50, pack(**STALLED), boot=boot)), Working)


def test_a_slow_reader_ends_too() -> None:
    finding, said = feed(probe("charge-to-full"), every(600, 50, **STALLED))
    assert only(finding).value == 50
    assert len(said) == 20  # of each step, which nobody watched, 30 s are counted


@pytest.mark.parametrize("boots", [("one", "two"), (None, None)], ids=["restart", "no-boot-told"])
def test_a_clock_that_runs_backwards_ends_all_the_same(boots: tuple[str | None, str | None]) -> None:
    stepping = (sample(1e6 - i, pack(**STALLED), boot=boots[i % 2]) for i in range(500))
    finding, _ = feed(probe("charge-to-full"), stepping)
    assert only(finding).value == 50


def test_a_clock_that_stands_still_is_no_error() -> None:
    one = probe("charge-to-full")
    for _ in range(20):
        low = pack(state_of_charge=0.995, current_a=0.1, power_w=1.2)
        assert isinstance(one.step(sample(5, low)), Working)


# Charging to full: settings.


def test_a_pack_far_below_its_limit_is_not_said_to_be_held_at_it() -> None:
    finding, _ = feed(probe("charge-to-full"), every(10, 100, **STALLED, charge_limit=0.8))
    assert only(finding).value is None
    assert finding.text.startswith("It does not charge at 50 %, below the charge limit of 80 %.")


def test_charging_that_a_setting_switched_off_is_not_the_packs_fault() -> None:
    off = {**STALLED, "reasons": {"state": f"{CHARGING_OFF} (inhibit-charge)."}}
    for name in ("charge-to-full", "charge-power"):
        finding, _ = feed(probe(name), every(10, 100, **off))
        assert only(finding).value is None
        assert finding.text.startswith(CHARGING_OFF)


# Charging to full: packs and chargers that come and go.


def test_one_missed_sample_a_minute_is_not_a_pack_that_is_gone() -> None:
    one = probe("charge-to-full")
    assert isinstance(one.step(sample(0, pack())), Working)
    assert isinstance(one.step(sample(60, reasons=GONE)), Working)
    assert isinstance(one.step(sample(120, pack())), Working)


def test_a_pack_missed_in_one_sample_after_a_sleep_is_waited_for() -> None:
    one = probe("charge-to-full")
    assert isinstance(one.step(sample(0, pack())), Working)
    assert isinstance(one.step(sample(HOUR, reasons=GONE)), Working)
    assert isinstance(one.step(sample(HOUR + 10, pack())), Working)


def test_a_second_pack_that_goes_for_good_is_not_judged_by_its_last_word() -> None:
    def samples() -> Iterator[Sample]:
        for i in range(5):
            yield sample(10.0 * i, pack(), pack(name="B", **FULL))
        for i in range(5, 40):
            yield sample(10.0 * i, pack())
        yield sample(400, pack(**FULL))

    finding, _ = feed(probe("charge-to-full"), samples())
    first, second = finding.readings
    assert first.value == 100
    assert second.value is None
    assert "B is not seen any more" in (second.reason or "")
    assert "A: The battery is full." in finding.text


def test_a_second_pack_that_comes_late_is_watched_from_then_on() -> None:
    one = probe("charge-to-full")
    for given in every(10, 300):
        one.step(given)
    answer = one.step(sample(3000, pack(**FULL), pack(name="B", state_of_charge=0.3)))
    assert isinstance(answer, Working)
    assert answer.text.startswith("B: Charging: 30 %.")


def test_the_next_pack_has_ten_minutes_to_take_its_turn() -> None:
    waiting = pack(name="B", **STALLED)
    one = probe("charge-to-full")
    for i in range(200):
        assert isinstance(one.step(sample(10.0 * i, pack(state_of_charge=0.5 + i / 500), waiting)), Working)
    for i in range(59):
        assert isinstance(one.step(sample(2000 + 10.0 * i, pack(**FULL), waiting)), Working)


def test_a_charger_that_drops_out_often_is_told() -> None:
    one = probe("charge-to-full")
    texts: list[str] = []
    for i in range(60):
        answer = one.step(sample(10.0 * i, pack(), charger=i % 10 != 9))
        assert isinstance(answer, Working)
        texts.append(answer.text)
    assert not any("went away" in text for text in texts[:49])
    assert "The charger went away 5 times: look at its plug, lead and port." in texts[49]
    assert "The charger went away 5 times" in texts[50]


# Power into the pack.


def test_a_charger_that_flaps_ends_the_watch_and_is_told() -> None:
    flapping = (sample(10.0 * i, pack(), charger=i % 10 != 9) for i in range(500))
    finding, said = feed(probe("charge-power"), flapping)
    assert len(said) == 49
    assert only(finding).value is None
    assert finding.text == "The charger went away 5 times. Look at its plug, lead and port."


def test_sleep_in_the_watch_begins_it_anew() -> None:
    def samples() -> Iterator[Sample]:
        yield from every(10, 5)
        yield from every(10, 6, start_s=HOUR, power_w=0.0)
        yield from every(10, 7, start_s=HOUR + 60)

    finding, said = feed(probe("charge-power"), samples())
    assert len(said) == 5 + 12
    assert only(finding).value == pytest.approx(25 / 49)


def test_a_machine_that_falls_asleep_again_and_again_ends_the_watch() -> None:
    finding, said = feed(probe("charge-power"), every(600, 50))
    assert len(said) == 5
    assert "broken off too often" in finding.text


def test_a_pack_that_blinks_does_not_end_the_watch_and_one_that_is_gone_does() -> None:
    blinking = (
        sample(10.0 * i, reasons=GONE) if i in (2, 7) else sample(10.0 * i, pack()) for i in range(20)
    )
    finding, _ = feed(probe("charge-power"), blinking)
    assert only(finding).value == pytest.approx(25 / 49)
    one = probe("charge-power")
    assert isinstance(one.step(sample(0, pack())), Working)
    for i in range(1, 4):
        assert isinstance(one.step(sample(10.0 * i, reasons=GONE)), Working)
    assert isinstance(one.step(sample(40, reasons=GONE)), Finding)


@pytest.mark.parametrize(("unread", "known"), [(3, True), (4, False)])
def test_some_samples_without_a_value_are_passed_over_and_half_of_them_are_not(
    unread: int, *, known: bool
) -> None:
    # From 60 s to 120 s there are seven samples.
    samples = (sample(10.0 * i, pack(**(BLIND if 6 <= i < 6 + unread else {}))) for i in range(13))
    finding, _ = feed(probe("charge-power"), samples)
    assert (only(finding).value is not None) is known


# Charger seen.


def test_a_night_between_question_and_charger_is_no_missing_charger() -> None:
    one = probe("charger-seen")
    assert isinstance(one.step(sample(0, charger=False)), Working)
    assert isinstance(one.step(sample(12 * HOUR, charger=False)), Working)
    answer = one.step(sample(12 * HOUR + 10))
    assert isinstance(answer, Finding)
    assert only(answer).value == 1


# Unplugging.


def test_a_charger_that_went_while_nobody_watched_is_asked_for_again() -> None:
    def samples() -> Iterator[Sample]:
        yield sample(0, pack())
        yield sample(HOUR, pack(**DRAINED), charger=False)
        yield sample(HOUR + 10, pack())
        yield sample(HOUR + 20, pack(**DRAINED), charger=False)

    finding, said = feed(probe("runs-on-battery"), samples())
    assert [working.want for working in said] == [Want.CHARGER_OUT, Want.CHARGER_IN, Want.CHARGER_OUT]
    assert "Nobody watched" in said[1].text
    assert only(finding).value == 10


def test_a_machine_that_sleeps_whenever_the_charger_goes_ends_without_a_reading() -> None:
    def samples() -> Iterator[Sample]:
        for i in range(20):
            yield sample(i * HOUR, pack(**({} if i % 2 == 0 else DRAINED)), charger=i % 2 == 0)

    finding, said = feed(probe("runs-on-battery"), samples())
    assert len(said) == 5
    assert only(finding).value is None


def test_an_input_that_vanishes_with_its_plug_counts_as_out() -> None:
    def samples() -> Iterator[Sample]:
        yield sample(0, pack())
        yield sample(10, pack(**DRAINED), charger=None)

    finding, _ = feed(probe("runs-on-battery"), samples())
    assert only(finding).value == 10


def test_an_input_that_cannot_be_read_any_more_is_no_battery_that_fails() -> None:
    samples = (sample(10.0 * i, pack(), charger=True if i < 2 else None) for i in range(50))
    finding, _ = feed(probe("runs-on-battery"), samples)
    assert only(finding).value is None


def test_discharging_in_doubt_is_neither_good_nor_bad() -> None:
    doubted = {**DRAINED, "reasons": {"state": "Its battery may not be a real one."}}
    samples = (sample(10.0 * i, pack(**(doubted if i >= 2 else {})), charger=i < 2) for i in range(50))
    finding, _ = feed(probe("runs-on-battery"), samples)
    assert (only(finding).value, only(finding).reason) == (None, "Its battery may not be a real one.")


# Pack present, claimed capacity.


def test_what_else_was_seen_of_batteries_stands_beside_the_count() -> None:
    empty = {"batteries.B": "B: no pack in its place, or it makes no contact."}
    answer = settled(probe("pack-present"), sample(0, pack(), reasons=empty))
    assert isinstance(answer, Finding)
    assert answer.text == "Seen: A. B: no pack in its place, or it makes no contact."


@pytest.mark.parametrize(("full_wh", "doubted"), [(60.0, False), (60.1, True), (1.0, False), (0.99, True)])
def test_a_claim_far_from_the_label_is_doubted(full_wh: float, *, doubted: bool) -> None:
    one = make_probe("claimed-capacity", {}, Context(label_wh=50.0))
    answer = settled(one, sample(0, pack(full_charge_wh=full_wh, design_wh=full_wh - 0.01)))
    assert isinstance(answer, Finding)
    assert (only(answer).reason is not None) is doubted
    assert ("In doubt" in answer.text) is doubted


def test_two_packs_are_told_by_name() -> None:
    answer = settled(probe("claimed-capacity"), sample(0, pack(), pack(name="B", full_charge_wh=45.0)))
    assert isinstance(answer, Finding)
    assert answer.text.count("reports that it holds") == 2
    assert "A reports that it holds 49.0 Wh" in answer.text
    assert "B reports that it holds 45.0 Wh" in answer.text


def test_one_pack_needs_no_name() -> None:
    answer = settled(probe("claimed-capacity"), sample(0, pack()))
    assert isinstance(answer, Finding)
    assert answer.text == "The battery reports that it holds 49.0 Wh; its design says 50.0 Wh: 98 %."


def test_a_claim_over_nothing_is_unknown() -> None:
    answer = settled(probe("claimed-capacity"), sample(0, pack(design_wh=None)))
    assert isinstance(answer, Finding)
    assert only(answer).reason == "The battery does not report its design capacity."


def test_a_pack_is_told_by_name_and_maker() -> None:
    answer = settled(probe("pack-present"), sample(0, pack(manufacturer="Fennel", model="L15-57")))
    assert isinstance(answer, Finding)
    assert answer.text == "Seen: A (Fennel L15-57)."


# Volts a cell.


def test_a_voltage_that_is_not_told_is_told_so() -> None:
    known, not_known = pack(), pack(name="B", voltage_v=None, reasons={"voltage_v": "The pack has no meter."})
    answer = settled(probe("pack-cell-voltage"), sample(0, known, not_known))
    assert isinstance(answer, Finding)
    assert answer.text == "A cell on average: A: 3.93 V; B: The pack has no meter."
    assert [reading.reason for reading in answer.readings] == [None, "The pack has no meter."]


@pytest.mark.parametrize("field", ["voltage_v", "design_voltage_v"])
def test_a_voltage_in_doubt_is_in_doubt_for_each_cell(field: str) -> None:
    answer = settled(probe("pack-cell-voltage"), sample(0, pack(reasons={field: "Made up."})))
    assert isinstance(answer, Finding)
    assert only(answer).value == pytest.approx(11.8 / 3)
    assert only(answer).reason == "Made up."


# Where no charger input can be read, the pack's own word tells.


@pytest.mark.parametrize(
    ("state", "doubted", "charger", "goes_on"),
    [
        (PackState.CHARGING, False, None, True),
        (PackState.FULL, False, None, True),
        (PackState.CHARGING, True, None, False),
        (PackState.DISCHARGING, False, None, False),
        (PackState.HOLDING, False, None, False),
        (PackState.CHARGING, False, False, False),
    ],
)
def test_power_from_outside(state: PackState, *, doubted: bool, charger: bool | None, goes_on: bool) -> None:
    reasons = {"state": "In doubt."} if doubted else {}
    answer = probe("charge-power").step(sample(0, pack(state=state, reasons=reasons), charger=charger))
    assert isinstance(answer, Working)
    assert (answer.want is None) is goes_on


# What stands on the screen meanwhile.


def test_the_wait_for_the_battery_tells_how_long() -> None:
    one = probe("runs-on-battery")
    one.step(sample(0, pack()))
    answer = one.step(sample(30, pack(**STALLED), charger=False))
    assert isinstance(answer, Working)
    assert (answer.want, answer.seconds_left) == (None, 60.0)


def test_a_sleep_before_the_charger_was_ever_in_is_not_told() -> None:
    one = probe("runs-on-battery")
    one.step(sample(0, pack(**DRAINED), charger=False))
    answer = one.step(sample(HOUR, pack(**DRAINED), charger=False))
    assert isinstance(answer, Working)
    assert answer.text == "The charger has to be in first."


def test_charge_power_tells_what_is_left() -> None:
    one = probe("charge-power")
    one.step(sample(0, pack()))
    answer = one.step(sample(30, pack()))
    assert isinstance(answer, Working)
    assert (answer.fraction, answer.seconds_left) == (0.25, 90.0)


@pytest.mark.parametrize(
    ("power_w", "text"),
    [
        (-5.0, "The charger is in, and still the battery is drained: the charger gives less than is used."),
        (0.0, "The charger is in, and nothing goes into the battery."),
        (
            24.5,
            (
                "The battery takes 0.50 of its capacity an hour. 24.5 W, 0.48 C into the battery. "
                "Limited by the battery itself."
            ),
        ),
    ],
)
def test_charge_power_says_which_way_it_goes(power_w: float, text: str) -> None:
    finding, _ = feed(probe("charge-power"), every(10, 20, power_w=power_w))
    assert finding.text == text


def test_charge_power_of_a_pack_without_a_level_is_unknown() -> None:
    finding, _ = feed(probe("charge-power"), every(10, 20, state_of_charge=None))
    assert only(finding).reason == "The battery does not report its level."


def test_the_least_charged_of_two_packs_is_shown() -> None:
    for levels, shown in (((0.8, 0.3), "B: Charging: 30 %."), ((0.3, 0.8), "A: Charging: 30 %.")):
        first, second = levels
        answer = probe("charge-to-full").step(
            sample(0, pack(state_of_charge=first), pack(name="B", state_of_charge=second))
        )
        assert isinstance(answer, Working)
        assert answer.text.startswith(shown)


def test_the_hottest_of_two_packs_counts() -> None:
    for temperatures in ((25.0, 61.0), (61.0, 25.0)):
        first, second = temperatures
        answer = probe("charge-to-full").step(
            sample(0, pack(temperature_c=first), pack(name="B", temperature_c=second))
        )
        assert isinstance(answer, Finding)
        assert "61 °C" in (answer.stop or "")


def test_a_level_that_is_not_told_at_first_is_watched_all_the_same() -> None:
    one = probe("charge-to-full")
    first = one.step(sample(0, pack(state_of_charge=None)))
    assert isinstance(first, Working)
    assert first.text == "Charging; the level is not reported."
    second = one.step(sample(10, pack()))
    assert isinstance(second, Working)
    assert second.text.startswith("Charging: 50 %.")


def test_a_stall_at_an_unknown_level_is_told_and_not_good() -> None:
    finding, _ = feed(probe("charge-to-full"), every(10, 100, **STALLED, state_of_charge=None))
    assert only(finding).value is None
    assert finding.text == "Charging stopped at an unknown level, and no limit is visible. 0.0 Wh went in."


def test_99_per_cent_that_takes_in_current_is_told() -> None:
    answer = probe("charge-to-full").step(sample(0, pack(state_of_charge=0.99)))
    assert isinstance(answer, Working)
    assert answer.text == "It says 99 %, and still 25 W go in: not full yet."


def test_time_without_a_charger_is_no_stall() -> None:
    one = probe("charge-to-full")
    for i in range(80):
        assert isinstance(one.step(sample(10.0 * i, pack(**STALLED), charger=False)), Working)
    for i in range(80, 135):
        assert isinstance(one.step(sample(10.0 * i, pack(**STALLED))), Working)


def test_a_second_pack_that_blinks_is_not_gone() -> None:
    one = probe("charge-to-full")
    for i in range(100):
        one.step(sample(10.0 * i, pack(), pack(name="B")))
    for i in range(100, 105):
        one.step(sample(10.0 * i, pack(**FULL)))
    answer = one.step(sample(1050, pack(**FULL)))
    assert isinstance(answer, Finding)
    assert "B is not seen any more. Switch off before you touch its plug." in answer.text
    one = probe("charge-to-full")
    one.step(sample(0, pack(), pack(name="B")))
    assert isinstance(one.step(sample(50, pack(**FULL))), Working)


def test_a_second_pack_that_does_not_charge_ends_ten_minutes_after_the_first_is_full() -> None:
    def samples() -> Iterator[Sample]:
        for i in range(500):
            first = pack(state_of_charge=0.5 + i / 500) if i < 100 else pack(**FULL)
            yield sample(10.0 * i, first, pack(name="B", **STALLED))

    finding, said = feed(probe("charge-to-full"), samples())
    assert len(said) == 160
    assert [reading.value for reading in finding.readings] == [100, 50]
    assert "B: It holds at 50 %, and no limit is visible" in finding.text


def test_a_charge_that_never_comes_to_its_end_is_not_watched_for_ever() -> None:
    slow = (sample(60.0 * i, pack(state_of_charge=0.3 + i / 1500)) for i in range(700))
    finding, said = feed(probe("charge-to-full"), slow)
    assert len(said) == 600
    assert finding.text == "Not full after 10 h of watching."
    assert only(finding).value is None


def test_a_level_of_100_at_which_nothing_flows_is_good_even_where_samples_are_far_apart() -> None:
    finding, _ = feed(probe("charge-to-full"), every(60, 50, **{**STALLED, "state_of_charge": 1.0}))
    assert (only(finding).value, only(finding).reason) == (100, None)


def test_the_packs_own_word_is_enough_where_no_rate_can_be_read() -> None:
    finding, said = feed(probe("charge-to-full"), every(10, 5, **{**FULL, **BLIND}))
    assert said == []
    assert (only(finding).value, only(finding).reason) == (100, None)


def test_a_rate_is_told_by_power_where_no_design_capacity_is() -> None:
    low: dict[str, Any] = {"design_wh": None, "state_of_charge": 0.995, "power_w": 1.2, "current_a": 0.1}
    finding, said = feed(probe("charge-to-full"), every(10, 50, **low))
    assert len(said) == 8
    assert only(finding).value == pytest.approx(99.5)


def test_one_of_two_packs_without_a_level_does_not_break_the_screen() -> None:
    answer = probe("charge-to-full").step(sample(0, pack(), pack(name="B", state_of_charge=None)))
    assert isinstance(answer, Working)
    assert answer.text == "Charging; the level is not reported."


def test_the_median_of_an_even_number_lies_between_its_middle_two() -> None:
    one = make_probe("charge-power", {"settle": "10 s", "watch": "10 s"}, Context())
    powers = iter((0.0, 9.8, 19.6))
    finding, _ = feed(one, (sample(10.0 * i, pack(power_w=power)) for i, power in enumerate(powers)))
    assert only(finding).value == pytest.approx((9.8 + 19.6) / 2 / 49)


@pytest.mark.parametrize(
    ("field", "label_wh", "doubted"),
    [
        ("full_charge_wh", None, True),
        ("full_charge_wh", 50.0, True),
        ("design_wh", None, True),
        ("design_wh", 50.0, False),
    ],
)
def test_a_claim_is_doubted_for_what_it_stands_on(
    field: str, label_wh: float | None, *, doubted: bool
) -> None:
    one = make_probe("claimed-capacity", {}, Context(label_wh=label_wh))
    answer = settled(one, sample(0, pack(reasons={field: "Made up."})))
    assert isinstance(answer, Finding)
    assert only(answer).reason == ("Made up." if doubted else None)


# What is said where something cannot be read; how sure what is read is.


@pytest.mark.parametrize("name", ["charger-seen", "runs-on-battery"])
def test_why_no_charger_input_can_be_read_is_handed_on(name: str) -> None:
    why = {"adapters": "The system shows no power supplies."}
    finding, _ = feed(
        probe(name), (sample(10.0 * i, pack(**STALLED), charger=None, reasons=why) for i in range(20))
    )
    assert only(finding).reason == "The system shows no power supplies."


def test_why_no_temperature_can_be_read_is_handed_on() -> None:
    finding, _ = feed(probe("heat-margin"), iter([sample(0, reasons={"temperatures": "No sensor."})]))
    assert only(finding).reason == "No sensor."


@pytest.mark.parametrize("packs", [(), (pack(**STALLED),)], ids=["gone", "idle"])
def test_a_machine_that_the_battery_does_not_carry_is_told_why(packs: tuple[Pack, ...]) -> None:
    def samples() -> Iterator[Sample]:
        yield sample(0, pack())
        yield from (sample(10.0 * i, *packs, charger=False) for i in range(1, 50))

    finding, _ = feed(probe("runs-on-battery"), samples())
    assert only(finding).value == 90
    assert ("no battery is seen" if not packs else "it reports no discharging") in finding.text


@pytest.mark.parametrize(
    ("name", "uncertainty"),
    [("pack-present", 0), ("charger-seen", 0), ("pack-cell-voltage", 0.02 / 3**0.5)],
)
def test_how_sure_a_reading_is(name: str, uncertainty: float) -> None:
    finding, _ = feed(probe(name), every(10, 2))
    assert only(finding).standard_uncertainty == pytest.approx(uncertainty)
