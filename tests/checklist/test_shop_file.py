"""A shop's own file: what it says, what it refuses with line and help, and its limits in force."""

from pathlib import Path

import pytest

from verify.checklist.compose import compose
from verify.checklist.loader import parse_checklist
from verify.checklist.proofread import proofread
from verify.checklist.shipped import checklist_files, limit_files, shipped_checklists
from verify.checklist.shop import find_shop_mistakes, load_shop
from verify.checklist.specimen_files import load_specimens
from verify.checklist.specimens import uncaught
from verify.values.errors import ChecklistError

SHIPPED = shipped_checklists()
WHOLE = """\
format: shop/1
name: Tidewater Repairs
address:
  - 14 Ropewalk Lane
  - Saltmarsh Quay
telephone: +1 202 555 0142
mail: bench@tidewater-repairs.example
web: tidewater-repairs.example
logo: mark.png
warranty:
  days: 90
  says: For parts and work.
terms:
  - Parts are kept for 30 days.
  - Data are left alone.
limits:
  seam-gaps:
    at_most: 0.20 mm
    source: our own series of 40 machines
    good: 0.20 mm leaf does not enter anywhere.
"""
HEAD = "format: shop/1\nname: Tidewater Repairs\n"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "mark.png").write_bytes(b"whatever lies there is looked at when it is taken over")
    path = tmp_path / "shop.yaml"
    path.write_text(WHOLE, encoding="utf-8")
    return path


def told(text: str, path: Path) -> list[str]:
    return [str(error) for error in find_shop_mistakes(text, path=path, checklists=SHIPPED)]


def test_all_that_it_says_is_read(shop: Path) -> None:
    found = load_shop(shop)
    assert found.name == "Tidewater Repairs"
    assert found.address == ("14 Ropewalk Lane", "Saltmarsh Quay")
    assert (found.telephone, found.mail) == ("+1 202 555 0142", "bench@tidewater-repairs.example")
    assert found.web == "tidewater-repairs.example"
    assert found.logo == shop.with_name("mark.png")
    assert (found.warranty_days, found.warranty) == (90, "For parts and work.")
    assert found.terms == ("Parts are kept for 30 days.", "Data are left alone.")


def test_a_name_is_enough_and_the_rest_stays_unknown(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(HEAD, encoding="utf-8")
    found = load_shop(path)
    assert (found.telephone, found.address, found.logo, found.warranty_days) == ("", (), None, None)


def test_one_sentence_is_a_warranty_and_one_text_an_address(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(f"{HEAD}warranty: Ninety days.\naddress: 14 Ropewalk Lane\n", encoding="utf-8")
    found = load_shop(path)
    assert (found.warranty, found.warranty_days) == ("Ninety days.", None)
    assert found.address == ("14 Ropewalk Lane",)


def test_what_would_be_taken_for_a_number_or_a_yes_stays_as_it_was_written(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text("format: shop/1\nname: 007\ntelephone: 0202 555 01\nweb: no\n", encoding="utf-8")
    found = load_shop(path)
    assert (found.name, found.telephone, found.web) == ("007", "0202 555 01", "no")


_WRONG = {
    "unknown key": (f"{HEAD}telefone: 1\n", 3, 'Did you mean "telephone"?'),
    "no name": ("format: shop/1\nmail: a@b.example\n", 1, 'This shop file has no "name".'),
    "newer format": ("format: shop/2\nname: x\n", 1, "Use a newer tool for this file."),
    "key twice": (f"{HEAD}name: Other\n", 3, '"name" stands here a second time'),
    "name too long": (f"format: shop/1\nname: {'n' * 81}\n", 2, '"name" has 81 characters; at most 80'),
    "no telephone": (f"{HEAD}telephone: ask for Ada\n", 3, "is no telephone number."),
    "telephone of dashes": (f"{HEAD}telephone: '--- ---'\n", 3, "is no telephone number."),
    "no mail": (f"{HEAD}mail: bench at tidewater\n", 3, "is no mail address."),
    "too many lines": (f"{HEAD}address: [a, b, c, d, e, f, g]\n", 3, '"address" has 7 entries; at most 6'),
    "address with keys": (f"{HEAD}address:\n  street: x\n", 4, "must be one text, or a list of texts."),
    "empty line": (f"{HEAD}terms:\n  - one\n  -\n", 5, "must be one text, or a list of texts."),
    "term too long": (f"{HEAD}terms: [{'t' * 601}]\n", 3, "at most 600 are shown."),
    "warranty key": (f"{HEAD}warranty: {{day: 90}}\n", 3, 'Did you mean "days"?'),
    "warranty of no days": (f"{HEAD}warranty: {{days: 0}}\n", 3, "must be a whole number from 1 on"),
    "warranty for ever": (f"{HEAD}warranty: {{days: 9999}}\n", 3, "at most 3650"),
    "warranty empty": (f"{HEAD}warranty: {{}}\n", 3, '"warranty" says nothing.'),
    "logo misspelt": (f"{HEAD}logo: marc.png\n", 3, 'Did you mean "mark.png"?'),
    "logo elsewhere": (f"{HEAD}logo: ../mark.png\n", 3, "Put the picture beside this file."),
    "logo elsewhere, another way": (f"{HEAD}logo: 'c:\\mark.png'\n", 3, "Put the picture beside this file."),
    "unknown check": (f"{HEAD}limits:\n  seam-gap: {{}}\n", 4, 'Did you mean "seam-gaps"?'),
    "no limits": (f"{HEAD}limits: {{}}\n", 3, "No limit stands here."),
    "control character": (f'{HEAD}web: "\\e[2J"\n', 3, "cannot be printed"),
}


@pytest.mark.parametrize("case", _WRONG)
def test_each_mistake_has_its_line_and_says_what_to_do(case: str, shop: Path) -> None:
    text, line, says = _WRONG[case]
    first = told(text, shop)[0]
    assert first.startswith(f"{shop}:{line}: ")
    assert says in first
    shop.write_text(text, encoding="utf-8")
    with pytest.raises(ChecklistError):
        shipped_checklists(shop=shop)


def test_lint_reads_it_as_what_it_is(shop: Path) -> None:
    assert proofread([shop]) == []
    shop.write_text(
        WHOLE.replace("telephone", "telefone").replace("0.20 mm\n", "0.20 kg\n"), encoding="utf-8"
    )
    assert len(proofread([shop])) == 2


def test_its_limits_are_in_force_and_stand_in_the_text_that_the_journal_keeps(shop: Path) -> None:
    lists = shipped_checklists(shop=shop)
    checks = {check.id: check for check in compose(lists, ["battery"]).checks}
    limit, shipped = checks["seam-gaps"].limit, checks["seam-gaps"].shipped_limit
    assert limit is not None
    assert shipped is not None
    assert (str(limit.upper), str(shipped.upper)) == ("0.2 mm", "0.3 mm")
    battery = next(each for each in lists if each.id == "battery")
    again = parse_checklist(battery.text, name="battery.yaml")
    assert {check.id: check.limit for check in again.checks}["seam-gaps"] == limit


def test_it_is_no_checklist_and_counts_once_where_it_lies_in_the_shop_s_folder(shop: Path) -> None:
    assert checklist_files(shop.parent) == ()
    assert limit_files(shop.parent) == (shop,)
    both = shipped_checklists(shop.parent, shop=shop)
    assert [each.text for each in both] == [each.text for each in shipped_checklists(shop=shop)]


def test_two_files_that_limit_one_check_are_refused(shop: Path) -> None:
    own = shop.with_name("own")
    own.mkdir()
    (own / "limits.yaml").write_text(
        "format: shop-limits/1\n" + WHOLE[WHOLE.index("limits:") :], encoding="utf-8"
    )
    with pytest.raises(ChecklistError, match=r'"seam-gaps" has a limit in limits\.yaml already'):
        shipped_checklists(own, shop=shop)


def test_specimens_prove_its_limits(shop: Path) -> None:
    specimens = shop.with_name("shop.specimens.yaml")
    head = "format: specimens/1\nchecklist: shop\nbuilds_on: [battery]\nspecimens:\n"
    specimens.write_text(
        f"{head}  - {{name: sound, work: [battery], label: 57.0 Wh, expect: fit}}\n", encoding="utf-8"
    )
    assert uncaught(load_specimens(specimens)) == ("seam-gaps",)
