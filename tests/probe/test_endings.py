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
        "temperature_c": 25.0,
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
    assert len(said) == 7  # of each step 90 s are counted


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
    assert answer.text == "B: Charging: 30 %."


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
    answer = probe("pack-present").step(sample(0, pack(), reasons=empty))
    assert isinstance(answer, Finding)
    assert answer.text == "Seen: A. B: no pack in its place, or it makes no contact."


@pytest.mark.parametrize(("full_wh", "doubted"), [(60.0, False), (60.1, True), (1.0, False), (0.99, True)])
def test_a_claim_far_from_the_label_is_doubted(full_wh: float, *, doubted: bool) -> None:
    one = make_probe("claimed-capacity", {}, Context(label_wh=50.0))
    answer = one.step(sample(0, pack(full_charge_wh=full_wh, design_wh=full_wh - 0.01)))
    assert isinstance(answer, Finding)
    assert (only(answer).reason is not None) is doubted
    assert ("In doubt" in answer.text) is doubted


def test_two_packs_are_told_by_name() -> None:
    answer = probe("claimed-capacity").step(sample(0, pack(), pack(name="B", full_charge_wh=45.0)))
    assert isinstance(answer, Finding)
    assert answer.text.count("reports that it holds") == 2
    assert "A reports that it holds 49.0 Wh" in answer.text
    assert "B reports that it holds 45.0 Wh" in answer.text
