"""Answers follow from facts; a specimen file that contradicts itself is refused with its line."""

from pathlib import Path

import pytest

from verify.checklist import Check, Kind
from verify.checklist.answers import Counted, Hazard, Look, Measured, Photo, Seen, Span, Tally
from verify.checklist.specimen_files import find_specimen_mistakes, load_specimens
from verify.checklist.specimens import (
    LEAVES_MM,
    SeesGap,
    SeesHazard,
    SeesLook,
    SeesPhoto,
    SeesTally,
    SpecimenFile,
    answer_for,
    facts_of,
    machine_faults,
    span_of,
    uncaught,
)
from verify.values import Outcome
from verify.values.errors import SpecimenError, WrongUseError

CHECKLIST = """\
format: checklist/1
id: made
revision: 1
title: Made
steps:
  - {id: hand-back, name: hand back, stage: arrived}
checks:
  - {id: smell, kind: hazard, ask: Smell it., good: None., place: all, stage: arrived, minutes: 1}
  - {id: plug, kind: look, ask: Look., good: Home., place: in, stage: arrived, minutes: 1, work: [battery]}
  - {id: screws, kind: count, ask: Count., good: All., place: in, stage: arrived, minutes: 1, counts: [short]}
  - id: gap
    kind: measure
    ask: Measure.
    good: Small.
    place: seam
    stage: arrived
    minutes: 1
    stations: [left, right]
    limit: {at_most: 0.30 mm, rule: guarded, source: "common practice, no source"}
"""

SPECIMENS = """\
format: specimens/1
checklist: made
facts:
  air: clear
  plug of the battery: home
  short screws out: 4
  short screws back: 4
  seam: 0.10 mm
sees:
  smell: {present_when: {air: smoke}}
  plug: {good_when: {plug of the battery: home}}
  screws: {tally: {short: {out: short screws out, back: short screws back}}}
  gap: {gap: seam}
faults:
  smoking:
    facts: {air: smoke}
  holds little:
    facts: {seam: 0.40 mm}
    machine: {pack-holds: 31 Wh}
specimens:
  - name: sound
    expect: fit
  - name: smoking
    work: [battery]
    label: 50 Wh
    faults: [smoking, holds little]
    expect: held
    caught_by: [smell, gap]
"""


SHOP_CHECKLIST = """\
format: checklist/1
id: fan
revision: 1
title: Fan
for_work: [fan]
checks:
  - {id: fan-screws, kind: look, ask: Look., good: All in., place: in, stage: open, minutes: 1}
"""
SHOP_SPECIMENS = """\
format: specimens/1
checklist: fan
builds_on: [every-repair]
facts: {fan screws: all in}
sees: {fan-screws: {good_when: {fan screws: all in}}}
specimens:
  - {name: sound, work: [fan], expect: fit}
"""


def test_a_shop_s_own_specimens_stand_on_the_shipped_ones(tmp_path: Path) -> None:
    (tmp_path / "fan.yaml").write_text(SHOP_CHECKLIST, encoding="utf-8")
    (tmp_path / "fan.specimens.yaml").write_text(SHOP_SPECIMENS, encoding="utf-8")
    file = load_specimens(tmp_path / "fan.specimens.yaml")
    assert [checklist.id for checklist in file.checklists] == ["every-repair", "fan"]
    assert file.facts["battery shape"] == "flat"


def test_a_shop_s_own_specimens_do_not_stand_on_what_the_shop_has_replaced(tmp_path: Path) -> None:
    (tmp_path / "fan.yaml").write_text(SHOP_CHECKLIST, encoding="utf-8")
    (tmp_path / "fan.specimens.yaml").write_text(SHOP_SPECIMENS, encoding="utf-8")
    (tmp_path / "every-repair.yaml").write_text(CHECKLIST, encoding="utf-8")
    (mistake,) = find_specimen_mistakes(tmp_path / "fan.specimens.yaml")
    assert "no file every-repair.specimens.yaml here" in mistake.what


@pytest.fixture
def written(tmp_path: Path) -> Path:
    (tmp_path / "made.yaml").write_text(CHECKLIST, encoding="utf-8")
    path = tmp_path / "made.specimens.yaml"
    path.write_text(SPECIMENS, encoding="utf-8")
    return path


def check(kind: Kind, **more: object) -> Check:
    fixed = {"id": "it", "kind": kind, "ask": "?", "good": "Good.", "place": "here", "stage": "open"}
    return Check(**fixed, minutes=1, **more)  # type: ignore[arg-type] # a table of fields, for short tests


# ---------------------------------------------------------------- answers from facts


def test_a_look_is_good_only_where_all_facts_are() -> None:
    sight = SeesLook(good_when={"plug": "home", "bar": "closed"}, cannot_see_when={"foil": "glued"})
    it, table = check(Kind.LOOK), {"it": sight}
    sound = {"plug": "home", "bar": "closed", "foil": "off"}
    assert answer_for(it, sound, table) == Look(seen=Seen.GOOD)
    assert answer_for(it, {**sound, "bar": "open"}, table) == Look(seen=Seen.NOT_GOOD, note="bar: open")
    hidden = answer_for(it, {**sound, "foil": "glued"}, table)
    assert hidden == Look(seen=Seen.CANNOT_SEE, note="foil: glued")


def test_a_photo_is_not_taken_without_a_camera_and_else_as_good_as_its_facts() -> None:
    sight = SeesPhoto(
        good_when={"frame": "all of it"},
        cannot_see_when={"light": "dark"},
        no_picture_when={"camera": "none"},
    )
    it, table = check(Kind.PHOTO), {"it": sight}
    sound = {"frame": "all of it", "light": "bright", "camera": "at hand"}
    assert answer_for(it, sound, table) == Photo(seen=Seen.GOOD)
    for fact, value, seen in (
        ("frame", "cut off", Seen.NOT_GOOD),
        ("light", "dark", Seen.CANNOT_SEE),
        ("camera", "none", None),
    ):
        answer = answer_for(it, {**sound, fact: value}, table)
        assert answer == Photo(seen=seen, note=f"{fact}: {value}")


def test_a_hazard_is_present_where_any_of_its_facts_is() -> None:
    it, table = check(Kind.HAZARD), {"it": SeesHazard(present_when={"shape": "swollen", "air": "smoke"})}
    assert answer_for(it, {"shape": "flat", "air": "clear"}, table) == Hazard(present=False)
    assert answer_for(it, {"shape": "flat", "air": "smoke"}, table) == Hazard(present=True)


def test_a_count_is_tallied_from_facts() -> None:
    sight = SeesTally(tally={"short": {"out": "taken", "new": "fresh", "back": "in", "scrapped": "bin"}})
    answer = answer_for(
        check(Kind.COUNT), {"taken": "12", "fresh": "1", "in": "11", "bin": "1"}, {"it": sight}
    )
    assert answer == Counted(tallies={"short": Tally(out=12, new=1, back=11, scrapped=1)})
    assert isinstance(answer, Counted)
    assert answer.tallies["short"].missing == 1


def test_a_fact_that_should_be_a_count_and_is_not_is_told() -> None:
    sight = SeesTally(tally={"short": {"out": "taken", "back": "taken"}})
    with pytest.raises(SpecimenError, match='must be a count, not "many"'):
        answer_for(check(Kind.COUNT), {"taken": "many"}, {"it": sight})


def test_a_gap_is_read_at_each_station_with_the_leaves() -> None:
    it = check(Kind.MEASURE, stations=("left", "right"))
    sight = SeesGap(gap="seam", gap_at={"right": "bump"})
    answer = answer_for(it, {"seam": "0.22 mm", "bump": "0.41 mm"}, {"it": sight})
    assert answer == Measured(
        spans={"left": Span(enters_mm=0.20, stops_mm=0.25), "right": Span(enters_mm=0.40, stops_mm=0.45)}
    )
    with pytest.raises(SpecimenError, match='fact "seam" must be a length'):
        answer_for(it, {"seam": "wide", "bump": "0.41 mm"}, {"it": sight})


@pytest.mark.parametrize(
    ("gap_mm", "enters_mm", "stops_mm"),
    [
        (0.0, 0.0, 0.05),
        (0.049, 0.0, 0.05),
        (0.05, 0.05, 0.10),
        (0.30, 0.30, 0.35),
        (1.0, 1.0, None),
        (9, 1, None),
    ],
)
def test_the_thickest_leaf_that_enters_gives_the_gap(
    gap_mm: float, enters_mm: float, stops_mm: float | None
) -> None:
    assert span_of(gap_mm, LEAVES_MM) == Span(enters_mm=enters_mm, stops_mm=stops_mm)


def test_the_usual_leaf_set_goes_from_five_hundredths_to_one_millimetre() -> None:
    # DIN 2275 (from memory): 20 leaves, 0.05 to 1.00 mm.
    assert LEAVES_MM[0] == 0.05
    assert LEAVES_MM[-1] == 1.0
    assert len(LEAVES_MM) == 20


@pytest.mark.parametrize("kind", [Kind.PROBE, Kind.WAIT, Kind.COUNT, Kind.PHOTO], ids=str)
def test_what_the_table_does_not_say_is_never_made_up(kind: Kind) -> None:
    with pytest.raises(SpecimenError, match=r'does not say what is seen at the .* "it"'):
        answer_for(check(kind), {"a": "b"}, {"it": SeesLook(good_when={"a": "b"})})
    with pytest.raises(SpecimenError, match="does not say what is seen"):
        answer_for(check(kind), {}, {})


# ---------------------------------------------------------------- files


def loaded(path: Path) -> SpecimenFile:
    assert [str(error) for error in find_specimen_mistakes(path)] == []
    return load_specimens(path)


def test_faults_change_facts_and_the_machine(written: Path) -> None:
    file = loaded(written)
    sound, smoking = file.specimens
    assert facts_of(file, sound) == file.facts
    assert facts_of(file, smoking) == {**file.facts, "air": "smoke", "seam": "0.40 mm"}
    assert (machine_faults(file, sound), machine_faults(file, smoking)) == ({}, {"pack-holds": "31 Wh"})
    assert (smoking.label_wh, smoking.expect, smoking.work) == (50.0, Outcome.HELD, ("battery",))


def test_a_check_that_catches_nothing_is_named(written: Path) -> None:
    assert uncaught(loaded(written)) == ("plug", "screws")


def test_a_file_that_builds_on_another_has_its_facts_and_tables(written: Path) -> None:
    more = CHECKLIST.replace("id: made\n", "id: more\n").replace("id: plug", "id: bay")
    (written.parent / "more.yaml").write_text(more, encoding="utf-8")
    path = written.with_name("more.specimens.yaml")
    path.write_text(
        "format: specimens/1\nchecklist: more\nbuilds_on: [made]\nfacts: {bay: clean}\n"
        "sees:\n  bay: {good_when: {bay: clean, plug of the battery: home}}\n"
        "specimens:\n  - {name: sound, expect: fit}\n  - {name: bad, expect: held, faults: [smoking]}\n",
        encoding="utf-8",
    )
    file = loaded(path)
    assert [each.id for each in file.checklists] == ["made", "more"]
    assert set(file.sees) == {"smell", "plug", "screws", "gap", "bay"}
    assert file.own == "more"


MISTAKES = [
    ("newer format", ("specimens/1", "specimens/2"), 1, "specimens/2", "newer"),
    ("name of another file", ("checklist: made", "checklist: other"), 2, "other.specimens.yaml", "Rename"),
    ("builds on nothing", ("facts:\n", "builds_on: [mad]\nfacts:\n"), 3, "no file mad.specimens", "Check"),
    ("builds on itself", ("facts:\n", "builds_on: [made]\nfacts:\n"), 3, "a circle", "Take one"),
    ("unknown key", ("facts:\n", "fcts:\n"), 3, '"fcts"', '"facts"'),
    ("check that is none", ("  plug: {good", "  plgu: {good"), 11, '"plgu"', '"plug"'),
    (
        "fact that is none",
        ("{plug of the battery: home}", "{plug of a battery: home}"),
        11,
        "no fact",
        "of the",
    ),
    (
        "sight of another kind",
        ("  smell: {present_when", "  smell: {good_when"),
        10,
        '"good_when"',
        "present_when",
    ),
    ("manual check not told", ("  gap: {gap: seam}\n", ""), 10, 'is seen at "gap"', "manual"),
    ("gap at no station", ("{gap: seam}", "{gap: seam, gap_at: {lft: seam}}"), 13, '"lft"', '"left"'),
    ("leaves without unit", ("{gap: seam}", "{gap: seam, leaves: [0.1]}"), 13, "with its unit", "mm"),
    ("tally without back", (", back: short screws back", ""), 12, 'no "back"', "back:"),
    ("kind not tallied", ("tally: {short:", "tally: {shrt:"), 12, '"short" has no tally', "Name the facts"),
    ("fault without change", ("    facts: {air: smoke}\n", ""), 15, "changes nothing", '"facts"'),
    (
        "fault that is no fault",
        ("facts: {air: smoke}", "facts: {air: clear}"),
        16,
        "how a sound machine is",
        "changes",
    ),
    ("unknown fault", ("faults: [smoking,", "faults: [smokin,"), 26, '"smokin"', '"smoking"'),
    ("unknown check", ("caught_by: [smell,", "caught_by: [smel,"), 28, '"smel"', '"smell"'),
    ("unknown work", ("work: [battery]", "work: [batery]"), 24, '"batery"', '"battery"'),
    ("unknown outcome", ("expect: held", "expect: hold"), 27, '"hold"', '"held"'),
    ("label in volts", ("label: 50 Wh", "label: 50 V"), 25, '"50 V" is no energy', "Wh"),
    (
        "caught without a fault",
        ("    faults: [smoking, holds little]\n", ""),
        27,
        "no fault to be caught",
        "faults",
    ),
    (
        "none is sound",
        ("  - name: sound\n    expect: fit\n", ""),
        21,
        "No specimen is sound",
        "without faults",
    ),
    ("same name", ("name: smoking\n    work", "name: sound\n    work"), 23, "second time", "Rename"),
]


@pytest.mark.parametrize(
    ("change", "line", "what", "next_step"),
    [each[1:] for each in MISTAKES],
    ids=[each[0] for each in MISTAKES],
)
def test_a_mistake_is_told_with_its_line_and_a_way_out(
    written: Path, change: tuple[str, str], line: int, what: str, next_step: str
) -> None:
    assert change[0] in SPECIMENS
    written.write_text(SPECIMENS.replace(*change), encoding="utf-8")
    found = find_specimen_mistakes(written)
    here = [error for error in found if what in error.what]
    assert here, [str(error) for error in found]
    assert here[0].where == f"{written}:{line}"
    assert next_step in here[0].next_step
    with pytest.raises(SpecimenError, match=r"made\.specimens\.yaml:\d+: "):
        load_specimens(written)


def test_a_specimen_file_without_its_checklist_is_wrong_use(written: Path) -> None:
    written.with_name("made.yaml").unlink()
    with pytest.raises(WrongUseError, match=r"made\.yaml cannot be read"):
        load_specimens(written)
