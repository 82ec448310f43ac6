"""The sheet to fill by hand: what it asks must be answerable with a pen."""

import re

from verify.checklist import Kind
from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.report.blank import blank_page, blank_text, boxes
from verify.report.listing import heading

COOLING = compose(shipped_checklists(), ["cooling"])
LIQUID = compose(shipped_checklists(), ["liquid"])


def test_what_the_tool_reads_is_not_asked_to_be_seen() -> None:
    assert {boxes(check)[-1] for check in COOLING.checks if check.kind is Kind.PROBE} == {"Cannot tell"}
    assert {boxes(check)[-1] for check in COOLING.checks if check.kind is Kind.LOOK} == {"Cannot see"}


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
