"""The sheet to fill by hand: what it asks must be answerable with a pen."""

import re

from verify.checklist import Kind
from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.checklist.shop import ShopFile
from verify.report.blank import blank_page, blank_text, boxes
from verify.report.listing import heading
from verify.testing.sample_shop import sample_logo

COOLING = compose(shipped_checklists(), ["cooling"])
LIQUID = compose(shipped_checklists(), ["liquid"])


def test_what_the_tool_reads_is_not_asked_to_be_seen() -> None:
    assert {boxes(check)[-1] for check in COOLING.checks if check.kind is Kind.PROBE} == {"Cannot tell"}
    assert {boxes(check)[-1] for check in COOLING.checks if check.kind is Kind.LOOK} == {"Cannot see"}
    (photo,) = (check for check in COOLING.checks if check.kind is Kind.PHOTO)
    assert boxes(photo)[-1] == "No picture"
    assert "Without a picture, that does not hold." in " ".join(blank_text(COOLING).split())


def test_paper_has_no_screens_and_the_listing_has() -> None:
    assert "screens" not in blank_text(COOLING)
    assert "screens" not in re.sub(r"<style>.*?</style>", "", blank_page(COOLING), flags=re.DOTALL)
    assert "on 11 screens" in heading(COOLING)[1]


def test_a_day_is_not_told_in_minutes() -> None:
    text = blank_text(LIQUID)
    assert re.search(r"\b24 h\b", text)
    assert not re.search(r"\b\d{4} min\b", text)


def test_every_hazard_line_is_on_the_paper() -> None:
    printed = " ".join(blank_text(LIQUID).split())
    cautions = [check.caution for check in LIQUID.checks if check.caution]
    cautions += [step.caution for step in LIQUID.steps if step.caution]
    assert len(cautions) >= 10
    assert not [caution for caution in cautions if " ".join(caution.split()) not in printed]


_SHOP = ShopFile(
    name="Tidewater <Repairs>", address=("14 Ropewalk Lane", "Saltmarsh Quay"), telephone="+1 202 555 0142"
)


def test_a_shop_s_sheet_has_its_masthead_and_another_has_none() -> None:
    page = blank_page(COOLING, shop=_SHOP, logo=sample_logo())
    assert page.count('<img class="logo shown" src="data:image/png;base64,') == 1
    assert "Tidewater &lt;Repairs&gt;" in page
    assert "+1 202 555 0142" in page
    assert '<header class="masthead">' not in blank_page(COOLING)
    assert "<img" not in blank_page(COOLING, shop=_SHOP)


def test_a_shop_s_sheet_of_plain_text_begins_with_its_name() -> None:
    text = blank_text(COOLING, shop=_SHOP)
    assert text.startswith("Tidewater <Repairs>\n14 Ropewalk Lane, Saltmarsh Quay\n+1 202 555 0142\n\nSHEET")
    assert max(map(len, text.splitlines())) <= 80
