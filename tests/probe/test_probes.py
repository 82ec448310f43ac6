"""Every automatic check: the rules that all keep, sound machines, and the fault that each is for."""

import re
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

import msgspec
import pytest

from verify.judge import Limit, Rule, judge
from verify.machine import NO_BATTERY, Adapter, Pack, PackState, Sample, Temperature
from verify.machine.simulated import LARKSPUR_13, SimulatedDesign, SimulatedMachine
from verify.machine.simulated import LARKSPUR_15 as FIFTEEN
from verify.measure import rectangular
from verify.probe import PROBES, Context, Finding, Probe, Want, Working, make_probe, probe_names
from verify.run.arrival import short_readings
from verify.testing.drive import drive, settled
from verify.values import Instant, Quantity, Reading, Unit, Verdict, VirtualClock
from verify.values.errors import InvalidValueError, WrongUseError

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
ALL = sorted(PROBES)
# They ask for a sample a second; what comes later says that nobody watched.
OFTEN = ("charger-steady", "drain")


READS_EARLIER = ("cell-resistance", "gauge-told-truth", "measured-capacity")


def machine(
    faults: Mapping[str, str] | None = None, *, level: float = 0.35, description: SimulatedDesign = FIFTEEN
) -> SimulatedMachine:
    clock = VirtualClock(start=START)
    return SimulatedMachine(clock=clock, faults=faults or {}, level=level, description=description)


# Taken before the machine was switched off for the repair.
ON_ARRIVAL = msgspec.structs.replace(
    machine().inventory(salt="TW-1042"), at=Instant(wall=START, elapsed_s=0.0, boot_id="on arrival")
)
READ_ON_ARRIVAL = short_readings(machine().sample())


@cache
def earlier() -> Mapping[str, tuple[Reading, ...]]:
    """What a sound machine's load, drain and charge hand on to the checks that read it."""
    bench = machine()
    told: dict[str, tuple[Reading, ...]] = {}
    for name, every_s in (("holds-under-load", 1.0), ("drain", 1.0), ("charge-to-full", 10.0)):
        options = {"load": "60 s"} if name == "holds-under-load" else {}
        one = make_probe(name, options, Context(earlier=dict(told)))
        finding = drive(one, bench, every_s=every_s)
        told[name] = (*finding.readings, *finding.aside)
    return told


def probe(
    name: str,
    options: Mapping[str, str] | None = None,
    *,
    label_wh: float | None = None,
    after: Mapping[str, tuple[Reading, ...]] | None = None,
) -> Probe:
    context = Context(
        earlier=after or {},
        label_wh=label_wh,
        arrival_inventory=ON_ARRIVAL,
        arrival_readings=READ_ON_ARRIVAL,
        said_at=START,
    )
    return make_probe(name, options or {}, context)


LOADING = {"clock-held", "fan-answers", "heat-as-arrived"}
"""Without an earlier check of the heat they load the processor: a lease holds for 3 s."""


def found(
    name: str,
    faults: Mapping[str, str] | None = None,
    *,
    level: float = 0.35,
    label_wh: float | None = None,
    every_s: float | None = None,
) -> Finding:
    every_s = every_s or (1.0 if name in OFTEN or name in LOADING else 10.0)
    after = earlier() if name in READS_EARLIER else None
    level = 1.0 if name == "cells-in-step" else level
    return drive(probe(name, label_wh=label_wh, after=after), machine(faults, level=level), every_s=every_s)


def only(finding: Finding) -> Reading:
    (reading,) = finding.readings
    return reading


def at(seconds: float, *, boot: str = "one") -> Instant:
    return Instant(wall=START + timedelta(seconds=seconds), elapsed_s=seconds, boot_id=boot)


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


def sample(
    seconds: float, *packs: Pack, charger: bool | None = True, boot: str = "one", **more: Any
) -> Sample:
    adapters = () if charger is None else (Adapter(name="charger", online=charger),)
    return Sample(at=at(seconds, boot=boot), packs=packs, adapters=adapters, **more)


def feed(one: Probe, samples: Iterator[Sample]) -> tuple[Finding, list[Working]]:
    said: list[Working] = []
    for given in samples:
        answer = one.step(given)
        if isinstance(answer, Finding):
            return answer, said
        said.append(answer)
    pytest.fail("The check has not ended.")


def limit(lower: str | None = None, upper: str | None = None, rule: Rule = Rule.SIMPLE) -> Limit:
    def quantity(text: str | None) -> Quantity | None:
        if text is None:
            return None
        number, unit = text.split(" ")
        return Quantity(value=float(number), unit=Unit(unit))

    return Limit(lower=quantity(lower), upper=quantity(upper), rule=rule, source="common practice, no source")


# Limits as a checklist would set them.
LIMITS = {
    "cell-resistance": limit(upper="100 mohm", rule=Rule.GUARDED),
    "cells-in-step": limit(lower="4.10 V"),
    "charge-lost": limit(upper="4 %", rule=Rule.GUARDED),
    "charge-power": limit(lower="0.2 C"),
    "charge-to-full": limit(lower="99 %"),
    "charger-seen": limit(lower="1 pieces", rule=Rule.COUNT),
    "charger-steady": limit(upper="0 pieces", rule=Rule.COUNT),
    "claimed-capacity": limit(lower="90 %", rule=Rule.GUARDED),
    "clock-held": limit(lower="97 %"),
    "clock-kept": limit(upper="120 s"),
    "drain": limit(lower="90 %", rule=Rule.GUARDED),
    "fan-answers": limit(upper="0 pieces", rule=Rule.COUNT),
    "fans-as-arrived": limit(upper="0 pieces", rule=Rule.COUNT),
    "gauge-told-truth": limit(upper="0 pieces", rule=Rule.COUNT),
    "hardware-as-arrived": limit(upper="0 pieces", rule=Rule.COUNT),
    "heat-as-arrived": limit(upper="10 K"),
    "heat-margin": limit(lower="5 K"),
    "holds-under-load": limit(upper="0 pieces", rule=Rule.COUNT),
    "lid-switch": limit(lower="3 pieces", rule=Rule.COUNT),
    "measured-capacity": limit(lower="90 %", rule=Rule.GUARDED),
    "memory-channels": limit(upper="0 pieces", rule=Rule.COUNT),
    "memory-size": limit(lower="97 %"),
    "pack-cell-voltage": limit(lower="3.0 V", upper="4.45 V"),
    "pack-present": limit(lower="1 pieces", rule=Rule.COUNT),
    "panel-as-arrived": limit(upper="0 pieces", rule=Rule.COUNT),
    "radio-level": limit(upper="10 dB"),
    "rest-level": limit(upper="6 %"),
    "runs-on-battery": limit(upper="60 s"),
    "sensors-as-arrived": limit(upper="0 pieces", rule=Rule.COUNT),
    "storage-link": limit(upper="0 pieces", rule=Rule.COUNT),
}


OF_INVENTORY = {
    *("clock-kept", "fans-as-arrived", "hardware-as-arrived", "memory-channels", "memory-size"),
    *("panel-as-arrived", "radio-level", "sensors-as-arrived", "storage-link"),
}

OF_HEAT = LOADING | {"heat-margin"}


def verdict(name: str, finding: Finding) -> Verdict:
    return judge(only(finding), LIMITS[name]).verdict


# The rules that all keep.


def test_names_are_those_of_the_registry() -> None:
    assert probe_names() == frozenset(ALL) == frozenset(LIMITS)


@pytest.mark.parametrize("name", ALL)
def test_docstring_tells_unit_source_and_caution(name: str) -> None:
    text = PROBES[name].__doc__ or ""
    for word in ("Unit: ", "Source: ", "Caution: "):
        assert word in text, f"{name} says no {word}"


@pytest.mark.parametrize("name", ALL)
def test_unit_of_the_docstring_is_that_of_the_reading(name: str) -> None:
    told = re.search(r"Unit: (\S+?)[.,]? ", (PROBES[name].__doc__ or "").replace("\n", " "))
    assert told is not None
    assert only(found(name)).unit.value == told.group(1).rstrip(".,")


@pytest.mark.parametrize("name", ALL)
def test_sound_machine_is_good(name: str) -> None:
    finding = found(name)
    assert finding.stop is None
    assert finding.text.endswith(".")
    assert verdict(name, finding) is Verdict.CONFORMS


# With samples 60 s apart a limit of 60 s to discharging cannot be shown.
@pytest.mark.parametrize(
    ("name", "every_s"),
    [
        (name, s)
        for name in ALL
        for s in (1.0, 30.0, 60.0)
        if (name, s) != ("runs-on-battery", 60.0)
        and not (name in OFTEN and s > 1)
        and not (name in LOADING and s > 1)
    ],
)
def test_sound_machine_is_good_however_often_it_is_read(name: str, every_s: float) -> None:
    assert verdict(name, found(name, every_s=every_s)) is Verdict.CONFORMS


@pytest.mark.parametrize("name", ALL)
def test_option_that_does_not_exist_is_refused(name: str) -> None:
    with pytest.raises(WrongUseError, match='no option "speed"'):
        probe(name, {"speed": "1 s"})


def test_check_that_does_not_exist_is_answered_with_those_that_do() -> None:
    with pytest.raises(WrongUseError) as caught:
        probe("charge-to-ful")
    assert all(name in caught.value.next_step for name in ALL)


@pytest.mark.parametrize(
    "name",
    sorted(
        set(ALL) - {"charger-seen", "charger-steady", "lid-switch", "pack-present"} - OF_HEAT - OF_INVENTORY
    ),
)
def test_no_battery_is_said_soon_and_never_good(name: str) -> None:
    answer = settled(probe(name), sample(0, reasons={"batteries": NO_BATTERY}))
    assert isinstance(answer, Finding)
    assert (only(answer).value, only(answer).reason) == (None, NO_BATTERY)
    assert verdict(name, answer) is Verdict.UNDECIDED


def blind(name: str) -> Iterator[Sample]:
    """A machine of which every single value is unknown, forever."""
    for i in range(5000):
        yield Sample(
            at=at(10.0 * i),
            packs=(Pack(name="A"),),
            adapters=(Adapter(name="charger", online=None),),
            temperatures=(Temperature(chip="coretemp", label=name, celsius=None, reason="unreadable"),),
        )


@pytest.mark.parametrize("name", sorted(set(ALL) - {"pack-present"}))
def test_a_machine_that_tells_nothing_is_never_good_and_always_ends(name: str) -> None:
    finding, _ = feed(probe(name), blind(name))
    assert verdict(name, finding) is Verdict.UNDECIDED
    assert only(finding).reason


def doubted_forever() -> Iterator[Sample]:
    fields = [
        field for field in Pack.__struct_fields__ if field not in ("name", "reasons", "raw", "estimated")
    ]
    for i in range(5000):
        yield sample(
            10.0 * i,
            pack(reasons=dict.fromkeys(fields, "An emulated battery."), state_of_charge=0.5),
            charger=i % 20 < 18,
        )


@pytest.mark.parametrize(
    "name",
    [
        *("charge-power", "charge-to-full", "claimed-capacity", "holds-under-load", "pack-cell-voltage"),
        "runs-on-battery",
    ],
)
def test_a_pack_in_doubt_is_never_good(name: str) -> None:
    finding, _ = feed(probe(name), doubted_forever())
    assert verdict(name, finding) is not Verdict.CONFORMS


# The fault that each is for.


@pytest.mark.parametrize(
    ("name", "fault", "parameter", "expected"),
    [
        ("pack-present", "pack-missing", "", Verdict.DOES_NOT_CONFORM),
        ("pack-cell-voltage", "cell-voltage", "2.6 V", Verdict.DOES_NOT_CONFORM),
        ("charger-seen", "charger-dead", "", Verdict.DOES_NOT_CONFORM),
        ("charge-power", "weak-charger", "8 W", Verdict.DOES_NOT_CONFORM),
        ("charge-power", "weak-charger", "20 W", Verdict.DOES_NOT_CONFORM),
        ("charge-power", "cell-voltage", "2.6 V", Verdict.UNDECIDED),
        ("charge-power", "charger-dead", "", Verdict.UNDECIDED),
        ("charger-steady", "loose-port", "1 pieces", Verdict.DOES_NOT_CONFORM),
        ("charger-steady", "charger-dead", "", Verdict.UNDECIDED),
        ("holds-under-load", "cell-voltage", "2.6 V", Verdict.UNDECIDED),
        ("holds-under-load", "pack-missing", "", Verdict.UNDECIDED),
        ("runs-on-battery", "dead-on-unplug", "", Verdict.DOES_NOT_CONFORM),
        ("runs-on-battery", "charger-dead", "", Verdict.UNDECIDED),
        ("charge-to-full", "charge-stops-at", "80 %", Verdict.UNDECIDED),
        ("charge-to-full", "charge-limit", "80 %", Verdict.UNDECIDED),
        ("charge-to-full", "weak-charger", "8 W", Verdict.DOES_NOT_CONFORM),
        ("charge-to-full", "charger-dead", "", Verdict.UNDECIDED),
        ("charge-to-full", "pack-hot", "61 °C", Verdict.UNDECIDED),
        ("charge-to-full", "temperature-still", "", Verdict.UNDECIDED),
        ("charge-to-full", "pack-cold", "-3 °C", Verdict.UNDECIDED),
        ("charge-to-full", "pack-warm", "47 °C", Verdict.UNDECIDED),
        ("charge-to-full", "no-full-word", "", Verdict.CONFORMS),
        ("drain", "gauge-boasts", "71 Wh", Verdict.DOES_NOT_CONFORM),
        ("drain", "gauge-since-full", "71 Wh", Verdict.DOES_NOT_CONFORM),
        ("drain", "pack-holds", "31 Wh", Verdict.DOES_NOT_CONFORM),
        ("drain", "dies-at", "30 %", Verdict.DOES_NOT_CONFORM),
        ("drain", "cells-tired", "250 mohm", Verdict.DOES_NOT_CONFORM),
        ("drain", "pack-hot", "61 °C", Verdict.CONFORMS),
        ("rest-level", "level-off", "45 %", Verdict.DOES_NOT_CONFORM),
        ("rest-level", "design-absurd", "20 Wh", Verdict.UNDECIDED),
        ("claimed-capacity", "gauge-not-learned", "", Verdict.UNDECIDED),
        ("charge-lost", "drains-when-off", "0.2 W", Verdict.DOES_NOT_CONFORM),
        ("charge-lost", "pack-missing", "", Verdict.UNDECIDED),
        ("sensors-as-arrived", "sensor-lost", "", Verdict.DOES_NOT_CONFORM),
        ("sensors-as-arrived", "no-sensors", "", Verdict.UNDECIDED),
        ("heat-margin", "sensor-hot", "104 °C", Verdict.DOES_NOT_CONFORM),
        ("heat-margin", "no-sensors", "", Verdict.UNDECIDED),
        ("clock-held", "clock-held", "1200 MHz", Verdict.DOES_NOT_CONFORM),
        ("clock-held", "no-sensors", "", Verdict.UNDECIDED),
        ("fan-answers", "fan-stuck", "", Verdict.DOES_NOT_CONFORM),
        ("fan-answers", "fan-always-full", "", Verdict.DOES_NOT_CONFORM),
        ("fan-answers", "second-fan-dead", "", Verdict.DOES_NOT_CONFORM),
        ("fan-answers", "no-sensors", "", Verdict.UNDECIDED),
        ("heat-as-arrived", "sensor-hot", "88 °C", Verdict.DOES_NOT_CONFORM),
        ("heat-as-arrived", "no-sensors", "", Verdict.UNDECIDED),
        ("lid-switch", "lid-switch-dead", "", Verdict.DOES_NOT_CONFORM),
        ("fans-as-arrived", "second-fan-dead", "", Verdict.UNDECIDED),
        ("hardware-as-arrived", "module-missing", "camera", Verdict.DOES_NOT_CONFORM),
        ("hardware-as-arrived", "module-missing", "touchpad", Verdict.DOES_NOT_CONFORM),
        ("hardware-as-arrived", "module-missing", "wireless", Verdict.DOES_NOT_CONFORM),
        ("hardware-as-arrived", "pack-missing", "", Verdict.DOES_NOT_CONFORM),
        ("hardware-as-arrived", "panel-other", "", Verdict.DOES_NOT_CONFORM),
        ("memory-channels", "memory-half", "", Verdict.DOES_NOT_CONFORM),
        ("memory-channels", "one-channel", "", Verdict.DOES_NOT_CONFORM),
        ("memory-size", "memory-half", "", Verdict.DOES_NOT_CONFORM),
        ("panel-as-arrived", "panel-other", "", Verdict.DOES_NOT_CONFORM),
        ("radio-level", "antenna-lead-off", "", Verdict.DOES_NOT_CONFORM),
        ("radio-level", "module-missing", "wireless", Verdict.UNDECIDED),
        ("radio-level", "radio-off", "", Verdict.UNDECIDED),
        ("storage-link", "storage-link-narrow", "", Verdict.DOES_NOT_CONFORM),
    ],
)
def test_fault_is_caught(name: str, fault: str, parameter: str, expected: Verdict) -> None:
    assert verdict(name, found(name, {fault: parameter})) is expected


@pytest.mark.parametrize("name", ["pack-cell-voltage", "charge-power", "charge-to-full", "pack-present"])
def test_no_sensors_does_not_disturb_what_needs_none(name: str) -> None:
    assert verdict(name, found(name, {"no-sensors": ""})) is Verdict.CONFORMS


# Pack.


def test_no_battery_is_a_count_only_where_the_system_could_be_asked() -> None:
    asked = settled(probe("pack-present"), sample(0, reasons={"batteries": NO_BATTERY}))
    assert isinstance(asked, Finding)
    assert only(asked).value == 0
    not_asked = settled(
        probe("pack-present"), sample(0, reasons={"batteries": "Not readable on this system."})
    )
    assert isinstance(not_asked, Finding)
    assert only(not_asked).value is None


def test_each_pack_is_judged_for_itself() -> None:
    answer = settled(
        probe("pack-cell-voltage"),
        sample(0, pack(name="A"), pack(name="B", voltage_v=7.0, design_voltage_v=11.1)),
    )
    assert isinstance(answer, Finding)
    values = [reading.value for reading in answer.readings]
    assert values == [pytest.approx(11.8 / 3), pytest.approx(7.0 / 3)]


@pytest.mark.parametrize("design_v", [None, 12.6], ids=["unknown", "no-whole-number"])
def test_cells_that_cannot_be_counted_are_not_guessed(design_v: float | None) -> None:
    answer = settled(probe("pack-cell-voltage"), sample(0, pack(design_voltage_v=design_v)))
    assert isinstance(answer, Finding)
    assert only(answer).value is None


# Charger.


def test_charger_is_asked_for_and_then_seen() -> None:
    one = probe("charger-seen")
    first = one.step(sample(0, charger=False))
    assert isinstance(first, Working)
    assert first.want is Want.CHARGER_IN
    second = one.step(sample(10, charger=True))
    assert isinstance(second, Finding)
    assert only(second).value == 1


def test_charge_power_is_the_median_after_settling() -> None:
    # 90 W for the first minute, one wild sample, else 24.5 W into 49 Wh: 0.5 C.
    def samples() -> Iterator[Sample]:
        for i in range(13):
            power_w = 90.0 if i < 6 else 140.0 if i == 9 else 24.5
            yield sample(10.0 * i, pack(power_w=power_w))

    finding, _ = feed(probe("charge-power"), samples())
    assert only(finding).value == pytest.approx(0.5)
    assert only(finding).standard_uncertainty == pytest.approx(rectangular(0.03 * 0.5))


def test_charge_power_starts_again_when_the_charger_is_pulled() -> None:
    def samples() -> Iterator[Sample]:
        for i in range(100):
            yield sample(10.0 * i, pack(), charger=i != 10)

    finding, said = feed(probe("charge-power"), samples())
    assert len(said) == 11 + 12
    assert said[10].want is Want.CHARGER_IN
    assert only(finding).value == pytest.approx(25 / 49)


def test_charge_power_of_two_packs_that_take_turns() -> None:
    packs = (pack(name="A", power_w=49.0), pack(name="B", power_w=0.0, state=PackState.HOLDING))
    finding, _ = feed(probe("charge-power"), (sample(10.0 * i, *packs) for i in range(20)))
    assert only(finding).value == pytest.approx(0.5)


@pytest.mark.parametrize("level", [0.05, 0.09, 0.81, 1.0])
def test_charge_power_near_empty_or_full_tells_nothing(level: float) -> None:
    finding, _ = feed(
        probe("charge-power"), (sample(10.0 * i, pack(state_of_charge=level)) for i in range(20))
    )
    assert only(finding).value is None
    assert "between 10 and 80 %" in finding.text


def test_charge_power_held_by_a_limit_says_so() -> None:
    held = pack(state=PackState.HOLDING, charge_limit=0.6, state_of_charge=0.6, power_w=0.0)
    finding, _ = feed(probe("charge-power"), (sample(10.0 * i, held) for i in range(20)))
    assert only(finding).value is None
    assert "held at 60 %" in finding.text


@pytest.mark.parametrize("text", ["0 s", "-5 s"])
def test_charge_power_options_must_be_times_above_nothing(text: str) -> None:
    with pytest.raises(WrongUseError):
        probe("charge-power", {"watch": text})


def test_charge_power_option_in_another_unit_is_refused() -> None:
    with pytest.raises(InvalidValueError):
        probe("charge-power", {"watch": "5 mm"})


def test_charge_power_options_are_taken() -> None:
    one = probe("charge-power", {"watch": "10 min", "settle": "10 s"})
    finding, said = feed(one, (sample(10.0 * i, pack()) for i in range(200)))
    assert len(said) == 61
    assert only(finding).value is not None


# Unplugging.


def test_time_on_battery_is_never_too_short() -> None:
    def samples() -> Iterator[Sample]:
        yield sample(0, pack(), charger=True)
        yield sample(7, pack(), charger=False)
        yield sample(12, pack(state=PackState.DISCHARGING, power_w=-8.0), charger=False)

    finding, said = feed(probe("runs-on-battery"), samples())
    assert said[0].want is Want.CHARGER_OUT
    assert only(finding).value == 12
    # Two steps, of 7 s and of 5 s, each a rectangle.
    assert only(finding).standard_uncertainty == pytest.approx(((7**2 + 5**2) / 12) ** 0.5)


def test_a_charger_that_is_out_is_put_in_first() -> None:
    answer = probe("runs-on-battery").step(sample(0, pack(state=PackState.DISCHARGING), charger=False))
    assert isinstance(answer, Working)
    assert answer.want is Want.CHARGER_IN


def test_a_pack_that_never_discharges_ends_after_its_time() -> None:
    def samples() -> Iterator[Sample]:
        for i in range(100):
            yield sample(10.0 * i, pack(state=PackState.UNKNOWN, power_w=0.0), charger=i < 3)

    finding, _ = feed(probe("runs-on-battery"), samples())
    assert only(finding).value == 90
    assert "does not run on the battery" in finding.text


def test_a_restart_in_between_cannot_be_timed() -> None:
    def samples() -> Iterator[Sample]:
        yield sample(500, pack(), charger=True)
        yield sample(3, pack(state=PackState.DISCHARGING), charger=False, boot="two")

    finding, _ = feed(probe("runs-on-battery"), samples())
    assert only(finding).value is None


def test_a_charger_left_in_ends_without_a_reading() -> None:
    finding, said = feed(probe("runs-on-battery"), (sample(10.0 * i, pack()) for i in range(500)))
    assert {one.want for one in said} == {Want.CHARGER_OUT}
    assert only(finding).value is None


# Charging to full.


def charge_samples(count: int, **fields: Any) -> Iterator[Sample]:
    return (sample(10.0 * i, pack(**fields)) for i in range(count))


def test_progress_rises_and_the_estimate_comes_true() -> None:
    one, bench = probe("charge-to-full"), machine()
    bench.plug_in()
    said: list[tuple[float, Working]] = []
    while isinstance(answer := one.step(bench.sample()), Working):
        said.append((bench.clock.now().elapsed_s, answer))
        bench.clock.wait(10)
    took_s = bench.clock.now().elapsed_s
    fractions = [working.fraction for _, working in said if working.fraction is not None]
    assert fractions == sorted(fractions)
    assert fractions[0] < 0.01
    assert fractions[-1] > 0.97
    bands = [(took_s - passed_s, working.seconds_band) for passed_s, working in said]
    told = [(left_s, band) for left_s, band in bands if band is not None]
    assert len(told) > 0.9 * len(said)
    # A band, not a line: what it truly took lies within it most of the time, and never far outside.
    held = sum(low - 60 <= left_s <= high + 60 for left_s, (low, high) in told)
    assert held >= 0.85 * len(told)
    assert all(low - 300 <= left_s <= high + 300 for left_s, (low, high) in told)
    # What it can decide, and how sure, is said before.
    assert said[0][1].text.startswith(
        "Charging: 35 %. A decision on the capacity: near the end of this charge"
    )


def test_energy_that_went_in_stands_beside() -> None:
    finding = found("charge-to-full", {"pack-holds": "31 Wh"})
    aside = finding.aside[0]
    assert aside.unit is Unit.WATT_HOUR
    # 65 % of 31 Wh and what charging loses; of 57 Wh it would be above 37 Wh.
    assert aside.value == pytest.approx(21.3, abs=1.0)
    assert "from 35 % on" in aside.source
    assert f"{aside.value:.1f} Wh went in" in finding.text


def test_taper_without_the_packs_word_is_full() -> None:
    finding, said = feed(
        probe("charge-to-full"), charge_samples(100, state_of_charge=0.995, current_a=0.1, power_w=1.2)
    )
    assert len(said) == 8
    assert only(finding).value == pytest.approx(99.5)


@pytest.mark.parametrize("broken", ["charger", "gap"])
def test_charger_pulled_or_gap_starts_the_windows_again(broken: str) -> None:
    def samples() -> Iterator[Sample]:
        seconds = 0.0
        for i in range(100):
            seconds += 45.0 if broken == "gap" and i == 6 else 10.0
            charger = not (broken == "charger" and i == 6)
            yield sample(seconds, pack(state_of_charge=0.995, current_a=0.1, power_w=1.2), charger=charger)

    finding, said = feed(probe("charge-to-full"), samples())
    assert only(finding).value == pytest.approx(99.5)
    # Six before, then nine anew; the pulled charger takes one more.
    assert len(said) == (6 + 1 + 8 if broken == "charger" else 6 + 8)
    assert [one.want for one in said].count(Want.CHARGER_IN) == (1 if broken == "charger" else 0)
    assert (finding.aside[0].value is None) == (broken == "gap")


def test_full_at_a_visible_limit_is_not_full() -> None:
    finding, said = feed(
        probe("charge-to-full"),
        charge_samples(
            200, state=PackState.FULL, state_of_charge=0.8, charge_limit=0.8, current_a=0.0, power_w=0.0
        ),
    )
    assert only(finding).value is None
    assert "Lift the limit" in (only(finding).reason or "")
    assert "Lift the limit" in said[0].text
    assert 59 <= len(said) <= 61


def test_a_stall_ends_after_ten_minutes_with_the_level() -> None:
    finding, said = feed(
        probe("charge-to-full"), charge_samples(200, state_of_charge=0.63, current_a=0.0, power_w=0.0)
    )
    assert only(finding).value == pytest.approx(63)
    assert "no limit is visible" in finding.text
    assert len(said) == 60


def test_100_percent_that_goes_on_charging_is_watched_on() -> None:
    one = probe("charge-to-full")
    for given in charge_samples(300, state_of_charge=1.0, current_a=1.5, power_w=18.0):
        assert isinstance(one.step(given), Working)


def test_a_gauge_that_stands_still_is_not_watched_for_ever() -> None:
    finding, _ = feed(probe("charge-to-full"), charge_samples(5000, state_of_charge=0.5))
    assert only(finding).value is None
    assert "has not risen for 3 h" in finding.text
    assert "Pull the charger out" in finding.text


@pytest.mark.parametrize(
    ("temperature_c", "expected"),
    [
        pytest.param(44.9, "Charging", id="warm"),
        pytest.param(45.0, "pause", id="pause"),
        pytest.param(59.9, "pause", id="hot"),
        pytest.param(60.0, "stop", id="stop"),
    ],
)
def test_pack_temperature(temperature_c: float, expected: str) -> None:
    # Edges of a published charging guideline for portable lithium packs: normal to 45 °C, none above 60 °C.
    answer = probe("charge-to-full").step(sample(0, pack(temperature_c=temperature_c)))
    if expected == "stop":
        assert isinstance(answer, Finding)
        assert answer.stop is not None
        assert "Pull the charger out" in answer.stop
        assert only(answer).value is None
    else:
        assert isinstance(answer, Working)
        assert expected in answer.text


def test_a_temperature_in_doubt_stops_nothing() -> None:
    doubted = pack(temperature_c=127.0, reasons={"temperature_c": "Not connected."})
    assert isinstance(probe("charge-to-full").step(sample(0, doubted)), Working)


def test_hot_pack_during_the_charge_is_a_hazard() -> None:
    for name in ("charge-to-full", "charge-power"):
        finding, _ = feed(probe(name), charge_samples(1, temperature_c=61.0))
        assert finding.stop is not None


def test_two_packs_are_both_charged() -> None:
    def samples() -> Iterator[Sample]:
        full: dict[str, Any] = {
            "state": PackState.FULL,
            "state_of_charge": 1.0,
            "power_w": 0.0,
            "current_a": 0.0,
        }
        idle: dict[str, Any] = {"state": PackState.HOLDING, "power_w": 0.0, "current_a": 0.0}
        for i in range(400):
            first = pack(name="A", state_of_charge=0.5 + i / 400) if i < 200 else pack(name="A", **full)
            if i < 200:
                second = pack(name="B", **idle)
            elif i < 300:
                second = pack(name="B", state_of_charge=0.5 + (i - 200) / 200)
            else:
                second = pack(name="B", **full)
            yield sample(10.0 * i, first, second)

    finding, said = feed(probe("charge-to-full"), samples())
    assert [reading.value for reading in finding.readings] == [100, 100]
    assert len(said) == 300
    assert [one.source for one in finding.aside if "net energy that went in" in one.source] == [
        f"battery gauge {name}, its own current sensor: net energy that went in, from 50 % on"
        for name in "AB"
    ]


def test_full_is_forgotten_when_the_charger_is_pulled_before_the_other_pack_is_full() -> None:
    one = probe("charge-to-full")
    full = pack(name="A", state=PackState.FULL, state_of_charge=1.0, power_w=0.0, current_a=0.0)
    assert isinstance(one.step(sample(0, full, pack(name="B"))), Working)
    drained = pack(name="A", state=PackState.DISCHARGING, state_of_charge=0.97, current_a=-0.5)
    assert isinstance(one.step(sample(10, drained, pack(name="B"), charger=False)), Working)
    again = pack(name="A", state_of_charge=0.97)
    other = pack(name="B", state=PackState.FULL, state_of_charge=1.0, power_w=0.0, current_a=0.0)
    assert isinstance(one.step(sample(20, again, other)), Working)


def test_the_packs_word_at_a_high_visible_limit_is_not_full() -> None:
    finding, _ = feed(
        probe("charge-to-full"),
        charge_samples(
            200, state=PackState.FULL, state_of_charge=0.96, charge_limit=0.96, current_a=0.0, power_w=0.0
        ),
    )
    assert only(finding).value is None


def test_a_restart_during_the_charge_starts_the_windows_again() -> None:
    # The second boot's clock happens to go on where the first one stood.
    def samples() -> Iterator[Sample]:
        for i in range(100):
            low = pack(state_of_charge=0.995, current_a=0.1, power_w=1.2)
            yield sample(10.0 * i, low, boot="one" if i < 6 else "two")

    finding, said = feed(probe("charge-to-full"), samples())
    assert len(said) == 6 + 8
    assert finding.aside[0].value is None


def test_a_pack_that_blinks_is_waited_for_and_one_that_is_gone_is_not() -> None:
    one = probe("charge-to-full")
    assert isinstance(one.step(sample(0, pack())), Working)
    gone = {"batteries": NO_BATTERY}
    assert isinstance(one.step(sample(10, reasons=gone)), Working)
    assert isinstance(one.step(sample(20, pack())), Working)
    assert isinstance(one.step(sample(30, reasons=gone)), Working)
    end = one.step(sample(90, reasons=gone))
    assert isinstance(end, Finding)
    assert only(end).value is None


# Capacity.


@pytest.mark.parametrize(
    ("full_wh", "expected", "p"),
    [
        (46.80, Verdict.CONFORMS, 0.9868),
        (45.75, Verdict.UNDECIDED, 0.8280),
        (44.50, Verdict.UNDECIDED, 0.2583),
        (31.00, Verdict.DOES_NOT_CONFORM, 0.0),
    ],
)
def test_claimed_capacity_near_its_limit(full_wh: float, expected: Verdict, p: float) -> None:
    # Arithmetic of JCGM 100 and 106 with a gauge of ±3 %, rectangular, against 50.00 Wh and at least 90 %.
    answer = settled(probe("claimed-capacity"), sample(0, pack(full_charge_wh=full_wh)))
    assert isinstance(answer, Finding)
    got = judge(only(answer), LIMITS["claimed-capacity"])
    assert got.verdict is expected
    assert got.probability == pytest.approx(p, abs=5e-5)


def test_the_label_counts_more_than_what_the_pack_says_of_its_design() -> None:
    answer = settled(probe("claimed-capacity", label_wh=57.0), sample(0, pack(full_charge_wh=49.0)))
    assert isinstance(answer, Finding)
    assert only(answer).value == pytest.approx(100 * 49 / 57)
    assert "its label says 57.0 Wh" in answer.text


@pytest.mark.parametrize("cycles", [None, 0, 3])
def test_a_gauge_that_says_its_design_has_not_learned(cycles: int | None) -> None:
    answer = settled(
        probe("claimed-capacity", label_wh=50.0), sample(0, pack(full_charge_wh=50.0, cycle_count=cycles))
    )
    assert isinstance(answer, Finding)
    assert only(answer).value is None
    assert "has not learned" in answer.text


def test_one_label_and_two_packs_cannot_be_told_apart() -> None:
    answer = settled(probe("claimed-capacity", label_wh=57.0), sample(0, pack(name="A"), pack(name="B")))
    assert isinstance(answer, Finding)
    assert only(answer).value is None


@pytest.mark.parametrize("full_wh", [121.27, 0.5], ids=["two-and-a-half-times", "next-to-nothing"])
def test_capacity_that_cannot_be_is_doubted(full_wh: float) -> None:
    answer = settled(probe("claimed-capacity"), sample(0, pack(full_charge_wh=full_wh)))
    assert isinstance(answer, Finding)
    assert verdict("claimed-capacity", answer) is Verdict.UNDECIDED


@pytest.mark.parametrize(
    ("estimated", "label_wh", "wider"),
    [
        pytest.param((), None, False, id="energy-as-read"),
        pytest.param(("full_charge_wh",), None, True, id="full-converted"),
        pytest.param(("full_charge_wh", "design_wh"), None, False, id="both-converted-it-cancels"),
        pytest.param(("full_charge_wh", "design_wh"), 50.0, True, id="both-converted-against-a-label"),
    ],
)
def test_converted_capacity_is_less_sure(
    estimated: tuple[str, ...], label_wh: float | None, *, wider: bool
) -> None:
    converted = pack(estimated=estimated, reasons=dict.fromkeys(estimated, "By the design voltage."))
    answer = settled(probe("claimed-capacity", label_wh=label_wh), sample(0, converted))
    assert isinstance(answer, Finding)
    reading = only(answer)
    assert reading.reason is None
    assert reading.standard_uncertainty is not None
    assert reading.standard_uncertainty / 98.0 == pytest.approx(
        ((0.03**2 + (0.05**2 if wider else 0)) / 3) ** 0.5
    )


def test_a_pack_far_below_its_label_is_found_after_its_charge() -> None:
    bench = machine({"pack-holds": "31 Wh"}, description=LARKSPUR_13)
    before = drive(probe("claimed-capacity", label_wh=50.0), bench)
    assert verdict("claimed-capacity", before) is Verdict.UNDECIDED
    drive(probe("charge-to-full"), bench)
    after = drive(probe("claimed-capacity", label_wh=50.0), bench)
    assert only(after).value == pytest.approx(62.0, abs=1.0)
    assert verdict("claimed-capacity", after) is Verdict.DOES_NOT_CONFORM


# Heat.


def heat(*sensors: Temperature) -> Reading:
    answer = probe("heat-margin").step(Sample(at=at(0), temperatures=sensors))
    assert isinstance(answer, Finding)
    return only(answer)


def sensor(celsius: float | None, critical: float | None = 100.0, *, chip: str = "coretemp") -> Temperature:
    return Temperature(chip=chip, label="x", celsius=celsius, critical=critical)


@pytest.mark.parametrize(
    ("sensors", "margin_k"),
    [
        pytest.param([sensor(60.0), sensor(71.0)], 29.0, id="hottest-counts"),
        pytest.param([sensor(60.0), sensor(90.0, chip="acpitz")], 40.0, id="firmware-zone-does-not"),
        pytest.param([sensor(60.0), sensor(127.0)], 40.0, id="unconnected-does-not"),
        pytest.param([sensor(60.0), sensor(70.0, None)], 40.0, id="no-critical-is-passed-over"),
        pytest.param([sensor(104.0)], -4.0, id="beyond-critical"),
        pytest.param([sensor(60.0, None)], None, id="no-critical-at-all"),
        pytest.param([sensor(60.0, 0.0)], None, id="critical-of-nothing"),
        pytest.param([sensor(None)], None, id="unknown"),
        pytest.param([sensor(-273.15)], None, id="asleep"),
        pytest.param([], None, id="none"),
    ],
)
def test_heat_margin(sensors: list[Temperature], margin_k: float | None) -> None:
    assert heat(*sensors).value == margin_k


def test_sensor_that_the_machine_doubts_is_not_trusted() -> None:
    assert heat(msgspec.structs.replace(sensor(60.0), reason="Stuck.")).value is None


# The driver of these tests.


def test_drive_refuses_to_wait_for_ever() -> None:
    with pytest.raises(WrongUseError, match="has not ended"):
        drive(probe("charge-to-full"), machine(), until_s=600)
