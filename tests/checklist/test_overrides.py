"""A shop's own limits: read, refused, in force, marked, and the same again from the journal."""

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from verify.checklist.compose import compose
from verify.checklist.loader import parse_checklist
from verify.checklist.overrides import find_limit_mistakes
from verify.checklist.shipped import shipped_checklists
from verify.checklist.specimen_files import load_specimens
from verify.checklist.specimens import uncaught
from verify.record.model import Ticket, Work
from verify.report.render import render
from verify.run import RunFolder, begin
from verify.run.beginning import checklists_of, composition_of
from verify.run.conclude import load_record
from verify.run.journal import Journal
from verify.testing.specimen_run import differences, run_specimen
from verify.values import Outcome, Quantity, Unit, VirtualClock
from verify.values.errors import ChecklistError

SHIPPED = shipped_checklists()
HEAD = "format: shop-limits/1\nlimits:\n"
GAPS = """\
  seam-gaps:
    at_most: 0.20 mm
    source: our own "series" of 40 machines
    good: 0.20 mm leaf does not enter anywhere.
"""
SOURCE = '    source: our own "series" of 40 machines\n'
SPECIMENS = """\
format: specimens/1
checklist: ours
builds_on: [battery]
specimens:
  - {name: sound, work: [battery], label: 57.0 Wh, expect: fit}
  - name: a gap that the shipped limit lets through
    work: [battery]
    label: 57.0 Wh
    faults: [gap between two leaves]
    expect: held
    caught_by: [seam-gaps]
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "ours.yaml").write_text(HEAD + GAPS, encoding="utf-8")
    return folder


def told(limits: str) -> list[str]:
    return [str(error) for error in find_limit_mistakes(HEAD + limits, name="ours.yaml", checklists=SHIPPED)]


def test_the_shop_s_limit_is_in_force_and_the_shipped_one_stands_beside_it(shop: Path) -> None:
    checks = {check.id: check for check in compose(shipped_checklists(shop), ["battery"]).checks}
    gaps = checks["seam-gaps"]
    assert gaps.limit is not None
    assert gaps.shipped_limit is not None
    assert gaps.limit.upper == Quantity(value=0.2, unit=Unit.MILLIMETRE)
    assert gaps.shipped_limit.upper == Quantity(value=0.3, unit=Unit.MILLIMETRE)
    assert gaps.limit.rule is gaps.shipped_limit.rule
    assert gaps.limit.source == 'our own "series" of 40 machines'
    assert gaps.good == "0.20 mm leaf does not enter anywhere."
    assert [check.id for check in checks.values() if check.shipped_limit is not None] == ["seam-gaps"]


def test_the_shipped_text_stays_whole_above_the_shop_s_limits(shop: Path) -> None:
    before = {each.id: each for each in SHIPPED}
    for each in shipped_checklists(shop):
        changed = each.text != before[each.id].text
        assert changed == (each.id == "battery")
        assert each.text.startswith(before[each.id].text)


def test_a_run_goes_on_with_its_limits_after_the_shop_has_changed_them(shop: Path, tmp_path: Path) -> None:
    clock = VirtualClock(start=datetime(2026, 3, 10, 9, 0, tzinfo=UTC))
    with RunFolder(tmp_path / "TW-1") as folder:
        ticket = Ticket(id="TW-1", work=(Work(kind="battery"),))
        begin(folder, ticket=ticket, checklists=shipped_checklists(shop), clock=clock)
        (shop / "ours.yaml").unlink()
        lines = Journal(folder.journal_path).lines
    gaps = next(check for check in composition_of(lines).checks if check.id == "seam-gaps")
    assert gaps.limit is not None
    assert gaps.shipped_limit is not None
    assert (str(gaps.limit.upper), str(gaps.shipped_limit.upper)) == ("0.2 mm", "0.3 mm")
    used = next(each for each in checklists_of(lines) if each.id == "battery")
    assert 'seam-gaps: {at_most: "0.20 mm", source: "our own \\"series\\" of 40 machines"' in used.text


@pytest.mark.parametrize(
    ("limits", "line", "what", "next_step"),
    [
        (GAPS.replace("seam-gaps", "seam-gasp"), 3, 'No shipped check is named "seam-gasp"', '"seam-gaps"?'),
        (GAPS.replace("seam-gaps", "cover-flush"), 3, '"cover-flush" has no limit', "seam-gaps"),
        (GAPS.replace("0.20 mm\n", "0.20 V\n"), 4, "judged in mm, not in V", "Correct the unit"),
        (GAPS.replace("0.20 mm\n", "0.20 inch\n"), 4, '"inch" is not a known unit', "mm"),
        (GAPS.replace("at_most", "at_least"), 4, 'has also "at_most: 0.3 mm"', "this bound too"),
        (GAPS.replace("at_most", "at_mots"), 4, '"at_mots" is not a key', '"at_most"?'),
        (GAPS + "    rule: inform\n", 7, '"rule" is not a key of a shop limit', "Known: "),
        (GAPS.replace(SOURCE, ""), 4, "needs its source", "no source"),
        (GAPS.replace("    good: 0.20 mm leaf does not enter anywhere.\n", ""), 4, 'no "good"', "good: "),
        (GAPS + GAPS, 7, '"seam-gaps" stands here a second time (first in line 3)', "Keep one"),
        ("  seam-gaps: 0.20 mm\n", 3, "must have keys of its own", "at_most"),
        (
            "  pack-cell-voltage: {at_most: 4.2 V, source: ours, good: Up to 4.2 V a cell.}\n",
            3, 'has also "at_least: 3 V"', "this bound too",
        ),
        (
            "  pack-cell-voltage: {at_least: 4 V, at_most: 3 V, source: ours, good: None.}\n",
            3, "lower bound 4 V is above the upper bound 3 V", "Correct the bounds",
        ),
        (
            "  charger-seen: {at_least: 0 pieces, source: ours, good: Any.}\n",
            3, "holds for every count", "how many there must be",
        ),
    ],
    ids=[
        "no such check", "check without a limit", "unit of something else", "unknown unit", "bound left out",
        "misspelt key", "decision rule", "no source", "no sentence", "twice", "no table", "half a range",
        "range upside down", "a check that cannot fail",
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_line_and_a_way_out(
    limits: str, line: int, what: str, next_step: str
) -> None:
    found = told(limits)
    assert any(one.startswith(f"ours.yaml:{line}: ") and what in one and next_step in one for one in found), (
        found
    )


@pytest.mark.parametrize(
    "text", ["", "format: shop-limits/1\n", "format: shop-limits/1\nlimits: {}\n", "[]\n"]
)
def test_a_file_that_sets_nothing_is_a_mistake(text: str) -> None:
    assert find_limit_mistakes(text, name="ours.yaml", checklists=SHIPPED)


@pytest.mark.parametrize(
    ("bounds", "refused"),
    [
        ("at_least: 2.5 V, at_most: 4.45 V", True),
        ("at_least: 3.0 V, at_most: 4.5 V", True),
        ("at_least: 3.1 V, at_most: 4.4 V", False),
    ],
    ids=["lower", "higher", "stricter"],
)
def test_what_nobody_may_accept_can_only_be_made_stricter(bounds: str, *, refused: bool) -> None:
    probe = "    probe: pack-cell-voltage\n"
    shipped = next(each for each in SHIPPED if probe in each.text)
    never = parse_checklist(shipped.text.replace(probe, f"{probe}    concession: never\n"), name="never.yaml")
    limits = f"{HEAD}  pack-cell-voltage: {{{bounds}, source: ours, good: As we want it.}}\n"
    found = find_limit_mistakes(limits, name="ours.yaml", checklists=[never])
    assert [("can only be made stricter" in str(error)) for error in found] == [True] * refused


def test_the_shipped_limit_written_again_changes_nothing(shop: Path) -> None:
    (shop / "ours.yaml").write_text(HEAD + GAPS.replace("0.20 mm\n", "0.30 mm\n"), encoding="utf-8")
    assert [each.text for each in shipped_checklists(shop)] == [each.text for each in SHIPPED]


def test_two_files_that_set_one_limit_are_refused(shop: Path) -> None:
    (shop / "theirs.yaml").write_text(HEAD + GAPS, encoding="utf-8")
    with pytest.raises(ChecklistError, match=r"theirs\.yaml:3: .*has a limit in ours\.yaml already"):
        shipped_checklists(shop)


def test_specimens_prove_the_shop_s_limit_and_fail_without_it(shop: Path, tmp_path: Path) -> None:
    path = shop / "ours.specimens.yaml"
    path.write_text(SPECIMENS, encoding="utf-8")
    file = load_specimens(path)
    assert file.to_prove == ("seam-gaps",)
    assert uncaught(file) == ()
    sound, gap = file.specimens
    assert differences(sound, run_specimen(file, sound, tmp_path / "a")) == ()
    assert differences(gap, run_specimen(file, gap, tmp_path / "b")) == ()
    (shop / "ours.yaml").write_text(HEAD + GAPS.replace("0.20 mm\n", "0.30 mm\n"), encoding="utf-8")
    file = load_specimens(path)
    came = run_specimen(file, file.specimens[1], tmp_path / "c")
    assert came.outcome is Outcome.FIT
    assert any("seam-gaps" in one for one in differences(file.specimens[1], came))


def test_record_and_page_say_that_it_is_a_shop_limit(shop: Path, tmp_path: Path) -> None:
    (shop / "ours.specimens.yaml").write_text(SPECIMENS, encoding="utf-8")
    file = load_specimens(shop / "ours.specimens.yaml")
    run_specimen(file, file.specimens[1], tmp_path)
    record = load_record(tmp_path, "SPECIMEN")
    result = next(each for each in record.results if each.check == "seam-gaps")
    assert result.limit is not None
    assert result.shipped_limit is not None
    assert (str(result.limit.upper), str(result.shipped_limit.upper)) == ("0.2 mm", "0.3 mm")
    assert [each.check for each in record.results if each.shipped_limit is not None] == ["seam-gaps"]
    page = " ".join(re.sub(r"<[^>]+>", " ", render(record).decode()).replace("\u00a0", " ").split())
    assert page.count("Shop limit; shipped: at most 0.3 mm") == 1
    assert page.count("with limits of the shop") == 1
