"""The shipped checklists: what they must be for a technician, and what their specimens prove."""

import re
from pathlib import Path

import pytest

from verify.checklist import Check, Checklist, Kind, Step
from verify.checklist.answers import Answer, Counted, Entered, Hazard, Look, Measured, Photo, Seen
from verify.checklist.compose import compose, hands_minutes, waiting_minutes
from verify.checklist.model import HAND_BACK
from verify.checklist.proofread import proofread
from verify.checklist.screens import screens
from verify.checklist.shipped import (
    SPECIMENS_SUFFIX,
    checklist_files,
    shipped_checklists,
    shipped_dir,
)
from verify.checklist.specimen_files import load_specimens
from verify.checklist.specimens import Specimen, SpecimenFile, answer_for, facts_of, machine_faults, uncaught
from verify.checklist.work import known_work
from verify.judge import Rule
from verify.machine.simulated.faults import ParsedFaults
from verify.probe import probe_units
from verify.values import Outcome, Unit
from verify.values.errors import FileFormatError, WrongUseError

CHECKLISTS = checklist_files(shipped_dir())
SPECIMENS = tuple(path.with_name(path.stem + SPECIMENS_SUFFIX) for path in CHECKLISTS)
MISTAKES = {path.name: proofread([path], known_probes=probe_units()) for path in SPECIMENS if path.is_file()}
# A mistake in one file, or in one that it builds on, is told by its own test; the others run all the same.
FILES = {path.name: load_specimens(path) for path in SPECIMENS if MISTAKES.get(path.name) == []}
SHIPPED = shipped_checklists()
WORKS = known_work(SHIPPED)
ALL_CHECKS = [check for checklist in SHIPPED for check in checklist.checks]
ALL_STEPS = [step for checklist in SHIPPED for step in checklist.steps]

# The tables of holds, stops, notes and limits below tell these lists to the last check; the general rules
# hold for every list.
TOLD = ("every-repair", "base-opened", "full-charge", "battery", "touchpad", "feet", "cooling")
TOLD_CHECKS = [check for checklist in SHIPPED if checklist.id in TOLD for check in checklist.checks]
TOLD_IDS = {check.id for check in TOLD_CHECKS}


def test_the_lists_that_the_tables_below_tell_are_there() -> None:
    assert {path.stem for path in CHECKLISTS} >= set(TOLD)


@pytest.mark.parametrize("check", ALL_CHECKS, ids=lambda check: check.id)
def test_a_check_has_a_name_for_the_owner_that_asks_nothing_of_him(check: Check) -> None:
    assert check.about
    assert not check.about.endswith(".")
    imperatives = {one.ask.split()[0] for one in ALL_CHECKS if one.kind is not Kind.HAZARD} - {"The", "Each"}
    assert check.about.split()[0] not in imperatives
    jargon = re.search(
        r"\b(probe|gauge|firmware|connector|sensor|Wh|mV|RAM|SSD|critical|tool)\b", check.about
    )
    assert jargon is None
    # It is read behind "good" and behind "not good" alike: "not good: No new mark" would say the contrary.
    assert re.match(r"(?:No|Nothing|Only|Everything|It|As)\b", check.about) is None
    clause = re.split(r"\b(?:where|when|while|for|that)\b", check.about)[0]
    stated = re.search(r"\b(?:is|are|sits?|lies|holds?|stays?|keeps|works|turns|clean|dry)\b", clause)
    assert stated is None or check.about.split()[0] in ("Whether", "How", "What", "Where", "Which")


def test_shipped_checklists_have_no_mistake() -> None:
    assert proofread(CHECKLISTS, known_probes=probe_units()) == []


@pytest.mark.parametrize("path", SPECIMENS, ids=lambda path: path.name)
def test_a_checklist_has_its_specimens(path: Path) -> None:
    assert path.is_file()


@pytest.mark.parametrize("name", MISTAKES)
def test_a_shipped_specimen_file_has_no_mistake(name: str) -> None:
    assert MISTAKES[name] == []


# ---------------------------------------------------------------- time is money


# Arrival is one more: a fan job takes 12 screens in all, a battery job 18 [common practice, no source].
MOST_SCREENS = {"battery": 17, "cooling": 11, "base-cover": 12, "touchpad": 14, "feet": 9}
MOST_OF_OTHER_WORK = 20


def test_a_repair_that_opens_nothing_takes_seven_screens() -> None:
    assert len(screens(compose(SHIPPED, []))) <= 7


@pytest.mark.parametrize("work", WORKS)
def test_a_run_fits_its_number_of_screens(work: str) -> None:
    assert len(screens(compose(SHIPPED, [work]))) <= MOST_SCREENS.get(work, MOST_OF_OTHER_WORK)


def test_a_fan_job_takes_the_hands_for_some_20_minutes_and_50_in_all() -> None:
    # Common practice, no source. Five of the minutes are a wait beside the machine while its fan calms down.
    composition = compose(SHIPPED, ["cooling"])
    assert hands_minutes(composition) <= 22
    assert hands_minutes(composition) + waiting_minutes(composition) <= 50


def test_a_battery_in_doubt_takes_some_160_minutes_and_is_drained_before_its_full_charge() -> None:
    composition = compose(SHIPPED, ["doubtful-battery"])
    assert 150 <= hands_minutes(composition) + waiting_minutes(composition) <= 175
    ids = [check.id for check in composition.checks]
    assert ids.index("rest-level") < ids.index("holds-under-load") < ids.index("drain")
    assert ids.index("drain") < ids.index("charge-to-full") < ids.index("meter-wh")
    assert {check.id for check in compose(SHIPPED, ["battery"]).checks} < set(ids)


def test_a_battery_job_takes_the_hands_for_at_most_25_minutes() -> None:
    # Common practice, no source: some 25 minutes of hands, two hours and a quarter in all.
    composition = compose(SHIPPED, ["battery"])
    assert hands_minutes(composition) <= 25
    assert hands_minutes(composition) + waiting_minutes(composition) <= 135


# ---------------------------------------------------------------- sentences


@pytest.mark.parametrize("check", ALL_CHECKS, ids=lambda check: check.id)
def test_a_sentence_can_be_read_at_the_bench(check: Check) -> None:
    assert len(check.ask.split()) <= 20
    assert len(check.good.split()) <= 12
    sentences = [text for text in re.split(r"(?<=[.?!]) ", check.ask) if text]
    assert len(sentences) <= 3, "at most three sentences"
    assert check.ask[-1] in ".?"
    text = f"{check.ask} {check.good} {check.caution} {check.why}".lower()
    for word in ("ensure", "properly", "safe", "certified", "guaranteed"):
        assert not re.search(rf"\b{word}", text), word
    if check.kind is not Kind.WAIT:
        assert check.good.endswith(".")


@pytest.mark.parametrize("step", ALL_STEPS, ids=lambda step: step.id)
def test_a_step_reads_after_not_yet(step: Step) -> None:
    assert step.name[0].islower()
    assert step.name[-1].isalpha()


@pytest.mark.parametrize("check", [check for check in ALL_CHECKS if check.limit], ids=lambda each: each.id)
def test_a_limit_says_where_it_comes_from(check: Check) -> None:
    assert check.limit is not None
    source = check.limit.source
    published = re.search(r"\b(ISO|IEC|DIN|EN|SAE|RFC|Linux) ?", source)
    assert published or "common practice, no source" in source or "from memory" in source


@pytest.mark.parametrize(
    "check",
    [
        check
        for check in ALL_CHECKS
        if check.limit is None
        and (check.kind is Kind.WAIT or re.search(r"\d ?(%|K|V|mm|points|Wh|s|dB|C)\b", check.good))
    ],
    ids=lambda check: check.id,
)
def test_a_number_that_somebody_judges_by_says_where_it_comes_from(check: Check) -> None:
    assert re.search(r"common practice, no source|from memory", check.why or "")


@pytest.mark.parametrize("word", ["lithium", "charger", "edges", "hot", "alcohol"])
def test_what_can_hurt_has_its_caution(word: str) -> None:
    cautions = [check.caution or "" for check in ALL_CHECKS] + [step.caution or "" for step in ALL_STEPS]
    assert any(word in caution.lower() for caution in cautions)


# ---------------------------------------------------------------- order traps


def position(ids: list[str], *names: str) -> list[int]:
    return [ids.index(name) for name in names]


@pytest.mark.parametrize("work", [["battery"], ["battery", "keyboard-deck", "feet"]], ids=" ".join)
def test_label_volts_and_bay_come_before_the_battery_is_plugged_in(work: list[str]) -> None:
    composition = compose(SHIPPED, work)
    guards = {check.id for check in composition.guards("connect-pack")}
    assert guards >= {"pack-flat", "pack-label", "pack-volts", "bay-clean"}


def test_the_feet_wait_for_the_full_charge_the_seams_and_the_screws() -> None:
    composition = compose(SHIPPED, ["battery", "feet"])
    guards = {check.id for check in composition.guards("fit-feet")}
    assert guards >= {"charge-to-full", "seam-gaps", "touchpad-level", "all-accounted", "bottom-screws"}
    assert "runs-on-battery" in guards


def test_seams_are_read_after_the_charge_and_the_plug_is_not_pulled_in_it() -> None:
    composition = compose(SHIPPED, ["battery"])
    ids = [check.id for check in composition.checks]
    charge, seams, unplug = position(ids, "charge-to-full", "seam-gaps", "runs-on-battery")
    assert charge < seams
    assert charge < unplug
    stage = {check.id: check.stage for check in composition.checks}
    assert stage["seam-gaps"] == stage["touchpad-level"] == "charged"


def test_the_cover_lies_flush_before_a_screw_goes_in() -> None:
    composition = compose(SHIPPED, ["base-cover"])
    assert [check.id for check in composition.guards("screw-base")] == ["cover-lining", "cover-flush"]


OPENS_THE_BASE = next(checklist.for_work for checklist in SHIPPED if checklist.id == "base-opened")


@pytest.mark.parametrize("work", [*OPENS_THE_BASE, "lid"])
def test_the_first_look_inside_says_that_the_charger_is_out(work: str) -> None:
    first = next(check for check in compose(SHIPPED, [work]).checks if check.stage == "open")
    assert re.search(r"charger out|pull the charger", f"{first.ask} {first.caution}", re.IGNORECASE)


@pytest.mark.parametrize(
    "work", [[one] for one in OPENS_THE_BASE] + [["battery", "lid", "main-board"]], ids=" ".join
)
def test_nothing_wants_the_battery_unplugged_once_its_plug_was_found_home(work: list[str]) -> None:
    checks = compose(SHIPPED, work).checks
    home = [check.id for check in checks].index("pack-plug-home")
    assert not [check.id for check in checks[home:] if "battery unplugged" in (check.caution or "").lower()]


@pytest.mark.parametrize("work", OPENS_THE_BASE)
def test_a_damaged_battery_holds_the_charge_in_every_job_that_opens_the_base(work: str) -> None:
    composition = compose(SHIPPED, [work])
    assert "pack-flat" in {check.id for check in composition.guards("charge")}
    assert "pack-flat" in {check.id for check in composition.guards("close-base")}


@pytest.mark.parametrize("work", WORKS)
def test_a_full_charge_is_watched_only_where_the_work_asks_for_it(work: str) -> None:
    watched = "charge-to-full" in {check.id for check in compose(SHIPPED, [work]).checks}
    assert watched == (work in {"battery", "doubtful-battery", "charging-port", "main-board", "liquid"})


@pytest.mark.parametrize("checklist", SHIPPED, ids=lambda checklist: checklist.id)
def test_what_holds_the_end_holds_the_feet(checklist: Checklist) -> None:
    """Where feet are fitted "finish" is no step any more: a check that names it alone would not hold them."""
    forgotten = [
        check.id for check in checklist.checks if "finish" in check.before and "fit-feet" not in check.before
    ]
    assert not forgotten, 'write "before: [..., fit-feet, finish]"'


def test_what_lies_below_the_heat_sink_is_looked_at_first_and_the_battery_goes_in_last() -> None:
    composition = compose(SHIPPED, ["battery", "cooling"])
    assert {check.id for check in composition.guards("seat-sink")} == {
        *("pack-flat", "fins-clear", "pads-paste")
    }
    ids = [check.id for check in composition.checks]
    assert ids.index("pads-paste") < ids.index("sink-screws") < ids.index("pack-plug-home")
    steps = [step.id for step in composition.steps]
    assert steps.index("seat-sink") < steps.index("connect-pack") < steps.index("close-base")


@pytest.mark.parametrize(
    "check", [check for check in TOLD_CHECKS if "load" in check.options], ids=lambda check: check.id
)
def test_a_base_without_feet_stands_on_blocks_while_it_is_heated(check: Check) -> None:
    assert "blocks" in check.ask
    assert "fit-feet" in check.before


def test_nothing_is_knocked_over_a_battery_that_has_lifted_the_touchpad() -> None:
    ids = [check.id for check in compose(SHIPPED, ["battery", "touchpad"]).checks]
    level, knock = position(ids, "touchpad-level", "palm-knock")
    assert level < knock


def test_the_machine_is_sent_to_sleep_only_after_the_watched_charge() -> None:
    composition = compose(SHIPPED, ["battery", "touchpad"])
    ids = [check.id for check in composition.checks]
    watched, asleep = position(ids, "charge-to-full", "touchpad-wakes")
    assert watched < asleep
    assert next(check.stage for check in composition.checks if check.id == "touchpad-wakes") == "charged"


def test_something_can_be_looked_at_while_the_battery_charges() -> None:
    composition = compose(SHIPPED, ["battery"])
    watched = next(each for each in composition.segments if "charge-to-full" in {c.id for c in each.checks})
    assert sum(check.kind is Kind.LOOK for check in watched.checks) >= 5


def test_what_lies_behind_the_base_is_voided_by_opening_it_and_the_capacity_is_not() -> None:
    voided = {check.id: check.voided_by for check in ALL_CHECKS}
    for check_id in ("lead-plugs", "lead-ways", "all-accounted", "cover-flush", "fan-sound", "feet-hold"):
        assert "base" in voided[check_id], check_id
    for check_id in ("claimed-capacity", "charge-to-full"):
        assert voided[check_id] == ("pack-unplugged",), check_id


# What each step waits for in a large job. To take one out is a decision, not a slip of the keys.
HOLDS = {
    "open-up": "first-look",
    "connect-pack": "pack-flat pack-label pack-volts bay-clean label-sum pack-twin pack-weight",
    "close-base": "first-look pack-flat pack-plug-home pack-fixed lead-plugs flat-cables lead-ways "
    "nothing-loose open-picture all-accounted",
    "screw-base": "cover-lining cover-flush",
    "charge": "pack-flat pack-present pack-cell-voltage rest-level bottom-screws deck-smooth air-openings "
    "seam-even",
    "go-on-charging": "holds-under-load cell-resistance",
    "end-charge": "charge-to-full",
    "fit-feet": "all-accounted bottom-screws deck-smooth air-openings seam-even charger-seen charge-power "
    "heat-margin clock-held charge-to-full started-clean network sound fan-sound brisk-on-charger "
    "touchpad-click holds-under-load "
    "parts-as-arrived radio-as-arrived memory-as-arrived sensors-as-arrived clock-kept touchpad-lines "
    "claimed-capacity cell-resistance cells-in-step measured-capacity gauge-told-truth "
    "seam-gaps charge-limit-back touchpad-level palm-knock runs-on-battery "
    "foot-places",
    "push-feet": "feet-wait no-new-mark wiped-clean nothing-kept stands-still",
}
# Checks that say nothing before the step was taken.
AFTER = {
    "connect-pack": "pack-plug-home pack-fixed",
    "charge": "charger-seen charge-power heat-margin clock-held charge-to-full started-clean network sound "
    "fan-sound brisk-on-charger touchpad-click touchpad-lines parts-as-arrived radio-as-arrived "
    "memory-as-arrived sensors-as-arrived clock-kept holds-under-load cell-resistance",
    "fit-feet": "feet-wait",
    "push-feet": "feet-placed feet-hold feet-clean",
}
LARGE = compose(SHIPPED, ["battery", "keyboard-deck", "feet"])
# A fan job beside it: no step without words of its own ends a stage there, so "finish" has a hold.
FAN_HOLDS = {
    "seat-sink": "pack-flat fins-clear pads-paste",
    "close-base": "first-look pack-flat pack-plug-home lead-plugs flat-cables lead-ways nothing-loose "
    "open-picture all-accounted sink-screws",
    "finish": "all-accounted bottom-screws deck-smooth air-openings seam-even charger-seen heat-margin "
    "long-heat started-clean network sound fan-sound fan-press fan-air fan-calms runs-on-battery "
    "parts-as-arrived radio-as-arrived memory-as-arrived sensors-as-arrived clock-kept fans-as-arrived "
    "clock-held long-clock fan-answers heat-as-arrived",
}
FAN = compose(SHIPPED, ["cooling"])


@pytest.mark.parametrize("step", HOLDS)
def test_no_step_loses_a_check_that_it_waits_for(step: str) -> None:
    assert {check.id for check in LARGE.guards(step)} & TOLD_IDS == set(HOLDS[step].split())


@pytest.mark.parametrize("step", FAN_HOLDS)
def test_no_step_of_a_fan_job_loses_a_check_that_it_waits_for(step: str) -> None:
    assert {check.id for check in FAN.guards(step)} & TOLD_IDS == set(FAN_HOLDS[step].split())


def test_every_step_but_the_last_has_its_holds_told_here() -> None:
    told = {step.id for checklist in SHIPPED if checklist.id in TOLD for step in checklist.steps}
    assert [step.id for step in LARGE.steps if step.id in told - {HAND_BACK}] == list(HOLDS)


@pytest.mark.parametrize("step", AFTER)
def test_no_check_is_asked_before_the_step_that_it_looks_at(step: str) -> None:
    asked_after = {check.id for check in LARGE.checks if check.after == step}
    assert asked_after & TOLD_IDS == set(AFTER[step].split())


def test_a_swollen_battery_stops_the_work_wherever_it_shows() -> None:
    stops = {check.id for check in TOLD_CHECKS if check.stop}
    assert stops == {"first-look", "pack-flat", "touchpad-level"}


def test_only_what_a_sound_machine_may_not_tell_is_a_note() -> None:
    notes = {check.id for check in TOLD_CHECKS if check.note_only}
    assert notes == {
        *("charge-power", "heat-margin", "long-heat", "claimed-capacity", "pack-weight"),
        # Where no base clock, no fan speed or no temperature is told.
        *("clock-held", "long-clock", "fan-answers", "heat-as-arrived"),
        # No camera at hand.
        "open-picture",
        # Nearly empty, a load tells nothing.
        *("holds-under-load", "cell-resistance"),
        # Volts in the middle of the range tell little, and a start that is not proven decides nothing.
        *("rest-level", "cells-in-step", "measured-capacity", "gauge-told-truth"),
        # Where nothing was taken on arrival they are only told.
        *(
            "parts-as-arrived",
            "radio-as-arrived",
            "memory-as-arrived",
            "sensors-as-arrived",
            "clock-kept",
            "fans-as-arrived",
        ),
    }


@pytest.mark.parametrize(
    ("check_id", "lower", "upper", "rule"),
    [
        # Common practice, no source, but where the checklist names one.
        ("all-accounted", "0 pieces", "0 pieces", Rule.COUNT),
        ("pack-present", "1 pieces", None, Rule.COUNT),
        ("pack-cell-voltage", "3 V", "4.45 V", Rule.SIMPLE),
        ("charger-seen", "1 pieces", None, Rule.COUNT),
        ("charge-power", "0.2 C", None, Rule.SIMPLE),
        ("cell-resistance", None, "100 mohm", Rule.GUARDED),
        ("cells-in-step", "4.1 V", None, Rule.SIMPLE),
        ("drain", "90 %", None, Rule.GUARDED),
        ("gauge-told-truth", None, "0 pieces", Rule.COUNT),
        ("measured-capacity", "90 %", None, Rule.GUARDED),
        ("rest-level", None, "6 %", Rule.SIMPLE),
        ("heat-margin", "1 K", None, Rule.SIMPLE),
        ("long-heat", "1 K", None, Rule.SIMPLE),
        ("clock-held", "97 %", None, Rule.SIMPLE),
        ("long-clock", "97 %", None, Rule.SIMPLE),
        ("fan-answers", None, "0 pieces", Rule.COUNT),
        ("heat-as-arrived", None, "10 K", Rule.SIMPLE),
        ("charge-to-full", "99 %", None, Rule.SIMPLE),
        ("runs-on-battery", None, "60 s", Rule.SIMPLE),
        ("holds-under-load", None, "0 pieces", Rule.COUNT),
        ("charger-steady", None, "0 pieces", Rule.COUNT),
        ("claimed-capacity", "90 %", None, Rule.GUARDED),
        ("seam-gaps", None, "0.3 mm", Rule.GUARDED),
    ],
)
def test_a_limit_is_moved_on_purpose_only(
    check_id: str, lower: str | None, upper: str | None, rule: Rule
) -> None:
    limit = next(check.limit for check in ALL_CHECKS if check.id == check_id)
    assert limit is not None
    bounds = tuple(None if bound is None else str(bound) for bound in (limit.lower, limit.upper))
    assert (*bounds, limit.rule) == (lower, upper, rule)


@pytest.mark.parametrize("check", [check for check in ALL_CHECKS if check.limit], ids=lambda each: each.id)
def test_the_words_beside_a_limit_say_the_same_number(check: Check) -> None:
    assert check.limit is not None
    said = [float(number) for number in re.findall(r"\d+(?:\.\d+)?", check.good)]
    for bound in (check.limit.lower, check.limit.upper):
        if bound is not None and bound.unit is not Unit.COUNT:
            assert bound.value in said


# ---------------------------------------------------------------- a shop's own folder


def test_a_shop_checklist_is_added_and_takes_the_place_of_a_shipped_one(tmp_path: Path) -> None:
    text = (shipped_dir() / "battery.yaml").read_text(encoding="utf-8")
    (tmp_path / "battery.yaml").write_text(text.replace("revision: 1", "revision: 77"), encoding="utf-8")
    fan = text.replace("id: battery\n", "id: fan\n").replace("[battery]", "[fan]")
    (tmp_path / "fan.yaml").write_text(fan, encoding="utf-8")
    (tmp_path / "fan.specimens.yaml").write_text("left out", encoding="utf-8")
    found = {checklist.id: checklist.revision for checklist in shipped_checklists(tmp_path)}
    shipped = {checklist.id: checklist.revision for checklist in SHIPPED}
    assert found == shipped | {"battery": 77, "fan": 1}


def test_a_shop_folder_that_is_none_is_wrong_use(tmp_path: Path) -> None:
    with pytest.raises(WrongUseError, match="is not a folder"):
        shipped_checklists(tmp_path / "nowhere")


def test_a_tool_without_its_checklists_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from verify.checklist import shipped

    monkeypatch.setattr(shipped, "__file__", str(tmp_path / "verify" / "checklist" / "shipped.py"))
    with pytest.raises(FileFormatError, match="shipped checklists are missing"):
        shipped_dir()


# ---------------------------------------------------------------- specimens

EACH = [
    pytest.param(file, specimen, id=f"{name.partition('.')[0]}: {specimen.name}")
    for name, file in FILES.items()
    for specimen in file.specimens
]


def is_bad(check: Check, answer: Answer) -> bool:
    """Say whether an answer speaks against the machine, by the words of the check alone."""
    match answer:
        case Look(seen=seen) | Photo(seen=seen):
            return seen is not Seen.GOOD
        case Hazard(present=present):
            return present is not False
        case Counted(tallies=tallies):
            return any(tally.missing != 0 for tally in tallies.values())
        case Entered():
            return False  # recorded only: an automatic check reads it
        case Measured(spans=spans):
            assert check.limit is not None
            assert check.limit.upper is not None
            most_mm = check.limit.upper.to(Unit.MILLIMETRE).value
            return any(span.stops_mm is None or span.stops_mm > most_mm for span in spans.values())


@pytest.mark.parametrize("file", FILES.values(), ids=FILES)
def test_every_check_catches_a_fault_that_it_is_for(file: SpecimenFile) -> None:
    assert uncaught(file) == ()


@pytest.mark.parametrize(("file", "specimen"), EACH)
def test_a_truthful_technician_finds_what_is_wrong_and_nothing_else_on_the_way(
    file: SpecimenFile, specimen: Specimen
) -> None:
    composition = compose(file.checklists, specimen.work, whole=False)
    assert set(specimen.caught_by) <= {check.id for check in composition.checks}
    facts = facts_of(file, specimen)
    manual = [check for check in composition.checks if check.kind not in {Kind.PROBE, Kind.WAIT}]
    bad = {check.id for check in manual if is_bad(check, answer_for(check, facts, file.sees))}
    caught = set(specimen.caught_by) & {check.id for check in manual}
    assert caught <= bad
    # What else speaks against it is asked only after a hold that the caught ones keep shut.
    segment_of = {
        check.id: index for index, segment in enumerate(composition.segments) for check in segment.checks
    }
    steps = [step.id for step in composition.steps]
    shut = min(
        (steps.index(step_id) for check in manual if check.id in caught for step_id in check.before),
        default=len(steps),
    )
    assert all(segment_of[check_id] > shut for check_id in bad - caught)


@pytest.mark.parametrize(("file", "specimen"), EACH)
def test_a_held_specimen_has_a_fault_and_names_who_catches_it(file: SpecimenFile, specimen: Specimen) -> None:
    ParsedFaults(
        machine_faults(file, specimen)
    )  # raises for a fault that the simulated machine does not know
    if specimen.expect is Outcome.HELD:
        assert specimen.faults
        assert specimen.caught_by


@pytest.mark.parametrize("file", FILES.values(), ids=FILES)
def test_every_described_fault_is_used(file: SpecimenFile) -> None:
    used = {name for each in FILES.values() for specimen in each.specimens for name in specimen.faults}
    assert set(file.faults) <= used


def test_a_fan_jobs_sink_is_screwed_down_before_the_battery_plug_is_found_home() -> None:
    ids = [check.id for check in compose(SHIPPED, ["cooling"]).checks]
    assert ids.index("sink-screws") < ids.index("pack-plug-home")


@pytest.mark.parametrize("work", known_work(SHIPPED))
def test_what_is_read_before_the_step_that_starts_the_machine_says_to_start_it(work: str) -> None:
    composition = compose(SHIPPED, [work])
    steps = [step.id for step in composition.steps]
    early = composition.segments[: steps.index("charge") + 1]
    first = next((check for each in early for check in each.checks if check.kind is Kind.PROBE), None)
    assert first is None or "Start the machine" in first.ask
