"""The errors that are assumed of a battery's sensors: a shop sets its own, and the report says so."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from verify.checklist.compose import compose
from verify.checklist.overrides import find_limit_mistakes
from verify.checklist.shipped import shipped_checklists
from verify.probe import Context, make_probe
from verify.probe.assumed_options import assumed_of
from verify.record.model import Ticket, Work
from verify.report.render import render
from verify.run import RunFolder, begin
from verify.run.beginning import composition_of
from verify.run.conclude import load_record
from verify.run.journal import Journal
from verify.values import VirtualClock

HEAD = "format: shop-limits/1\nlimits:\n"
GAIN = """\
  charge-to-full:
    options: {gain: 2 %, least: 85 %}
    source: our own meter beside 30 packs
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "ours.yaml").write_text(HEAD + GAIN, encoding="utf-8")
    return folder


def test_what_the_shop_sets_is_in_force_and_the_rest_stays(shop: Path) -> None:
    checks = {check.id: check for check in compose(shipped_checklists(shop), ["battery"]).checks}
    charge = checks["charge-to-full"]
    assert (charge.options["gain"], charge.options["least"], charge.options["level"]) == (
        "2 %",
        "85 %",
        "1 %",
    )
    assert charge.shop_options == {"gain": "2 %", "least": "85 %"}
    assert charge.options_source == "our own meter beside 30 packs"
    # The limit was not touched.
    assert charge.shipped_limit is None
    assert charge.limit is not None
    assert assumed_of(charge.options).gain == pytest.approx(0.02)
    make_probe("charge-to-full", charge.options, Context())
    assert [check.id for check in checks.values() if check.shop_options] == ["charge-to-full"]


def test_a_run_goes_on_with_them_and_the_report_says_so(shop: Path, tmp_path: Path) -> None:
    clock = VirtualClock(start=datetime(2026, 3, 10, 9, 0, tzinfo=UTC))
    with RunFolder(tmp_path / "TW-1") as folder:
        ticket = Ticket(id="TW-1", work=(Work(kind="battery"),))
        begin(folder, ticket=ticket, checklists=shipped_checklists(shop), clock=clock)
        (shop / "ours.yaml").unlink()
        lines = Journal(folder.journal_path).lines
    charge = next(check for check in composition_of(lines).checks if check.id == "charge-to-full")
    assert charge.options["gain"] == "2 %"
    record = load_record(tmp_path, "TW-1")
    result = next(each for each in record.results if each.check == "charge-to-full")
    assert result.shop_options == {"gain": "2 %", "least": "85 %"}
    page = render(record).decode()
    assert "Set by the shop:" in page
    assert "<bdi>gain</bdi> <bdi>2 %</bdi>" in page
    assert "our own meter beside 30 packs" in page


@pytest.mark.parametrize(
    ("limits", "what", "next_step"),
    [
        (GAIN.replace("gain", "gian"), '"gian" is not a key', '"gain"'),
        (GAIN.replace("2 %", "2 V"), "is no ratio", "Write"),
        (GAIN.replace("2 %", "-2 %"), "is below 0", "Shipped"),
        (GAIN.replace("2 %", "much"), "not a number", "Write it like"),
        (GAIN.replace("    source: our own meter beside 30 packs\n", ""), 'no "source"', "source"),
        (GAIN.replace("charge-to-full", "cover-flush"), "has no limit", "Checks with one"),
        (GAIN.replace("charge-to-full", "pack-present"), "is not a key", ""),
    ],
    ids=[
        "misspelt",
        "another unit",
        "below 0",
        "no number",
        "no source",
        "a look",
        "a check without options",
    ],
)
def test_a_mistake_is_told_with_a_way_out(limits: str, what: str, next_step: str) -> None:
    told = [
        str(error)
        for error in find_limit_mistakes(HEAD + limits, name="ours.yaml", checklists=shipped_checklists())
    ]
    assert any(what in one and next_step in one for one in told), told


def test_what_is_set_as_shipped_changes_nothing(tmp_path: Path) -> None:
    same = GAIN.replace("gain: 2 %, least: 85 %", "gain: 3 %")
    (tmp_path / "ours.yaml").write_text(HEAD + same, encoding="utf-8")
    before = {each.id: each.text for each in shipped_checklists()}
    assert {each.id: each.text for each in shipped_checklists(tmp_path)} == before


def test_limit_and_options_can_be_set_together(tmp_path: Path) -> None:
    both = GAIN.replace(
        "    source:", "    at_least: 98 %\n    good: Charging ends at 98 % or more.\n    source:"
    )
    (tmp_path / "ours.yaml").write_text(HEAD + both, encoding="utf-8")
    checks = {check.id: check for check in compose(shipped_checklists(tmp_path), ["battery"]).checks}
    charge = checks["charge-to-full"]
    assert charge.limit is not None
    assert (str(charge.limit.lower), charge.options["gain"]) == ("98 %", "2 %")
    assert charge.shipped_limit is not None
