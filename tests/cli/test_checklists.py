"""handback checklists: what there is, and what is asked for some work."""

import html
import json
import re
import shutil
from pathlib import Path

import pytest

from verify.checklist import Kind
from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists, shipped_dir
from verify.checklist.work import known_work
from verify.cli import main
from verify.report.words import HAZARD_ADVICE


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["checklists", *arguments])
    assert isinstance(ended.value.code, int)
    return ended.value.code


def test_the_list_names_each_checklist_and_its_work(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("list") == 0
    lines = capsys.readouterr().out.splitlines()
    assert any("every-repair" in line and "every repair" in line for line in lines)
    assert any(line.split()[:3] == ["battery", "1", "battery"] for line in lines)


def test_a_program_gets_the_list_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("list", "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["format"] == "checklist-list/1"
    told = {each["id"]: each["for_work"] for each in answer["checklists"]}
    assert told == {each.id: list(each.for_work) for each in shipped_checklists()}
    assert told["battery"] == ["battery"]


def test_what_is_shown_has_stages_holds_checks_minutes_and_cautions(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run("show", "battery", "feet") == 0
    lines = capsys.readouterr().out.splitlines()
    out = " ".join(" ".join(lines).split())
    assert "min of hands" in out
    stages = ("ON ARRIVAL", "OPEN", "CLOSED", "CHARGED", "FINISHED")
    assert [line for line in lines if line in stages] == list(stages)
    assert "Caution: Lithium battery." in out
    assert "Not yet: hand the machine back, until every number is good." in out
    composition = compose(shipped_checklists(), ["battery", "feet"])
    for number, check in enumerate(composition.checks, 1):
        assert any(
            re.match(rf" *{number}  {check.ask[:20]}.* {check.minutes:g} min$", line) for line in lines
        )
    for step in composition.steps:
        assert step.do is None or f"Then: {step.do}" in out


@pytest.mark.parametrize("work", [[each] for each in known_work(shipped_checklists())], ids=str)
def test_nothing_shown_is_wider_than_a_terminal(work: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in ([], ["--ids"], ["--blank"]):
        assert run("show", *work, *arguments) == 0
        assert max(len(line) for line in capsys.readouterr().out.splitlines()) <= 80


def test_a_hold_names_the_numbers_that_it_waits_for(capsys: pytest.CaptureFixture[str]) -> None:
    composition = compose(shipped_checklists(), ["battery"])
    ids = [check.id for check in composition.checks]
    guards = sorted(ids.index(check.id) + 1 for check in composition.guards("connect-pack"))
    assert run("show", "battery") == 0
    out = " ".join(capsys.readouterr().out.split())
    (told,) = re.findall(r"Not yet: connect the battery, until (.*?) (?:is|are) good\.", out)
    named: list[int] = []
    for part in re.split(r", | and ", told):
        first, _, last = part.partition(" to ")
        named += range(int(first), int(last or first) + 1)
    assert named == guards


def test_ids_are_said_where_a_shop_asks_for_them(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("show", "battery", "--ids") == 0
    assert "Id: seam-gaps" in capsys.readouterr().out


def test_a_shop_limit_is_marked_with_the_shipped_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "ours.yaml").write_text(
        "format: shop-limits/1\nlimits:\n"
        "  seam-gaps: {at_most: 0.2 mm, source: ours, good: No 0.2 mm leaf enters.}\n",
        encoding="utf-8",
    )
    assert run("show", "battery", "--own", str(tmp_path)) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "No 0.2 mm leaf enters." in out
    assert "Shop limit: at most 0.2 mm; shipped: at most 0.3 mm." in out


# The sheet to fill by hand.


def test_the_sheet_has_a_place_for_each_answer(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("show", "battery", "--blank") == 0
    out = capsys.readouterr().out
    checks = compose(shipped_checklists(), ["battery"]).checks
    manual = [check for check in checks if check.kind not in {Kind.HAZARD, Kind.WAIT}]
    read = [check for check in manual if check.kind is Kind.PROBE]
    photos = [check for check in manual if check.kind is Kind.PHOTO]
    assert out.count("[ ] Good   [ ] Not good   [ ] Cannot tell") == len(read)
    assert out.count("[ ] Good   [ ] Not good   [ ] Cannot see") == len(manual) - len(read)
    assert out.count("[ ] No   [ ] Yes   [ ] Cannot tell: counts as yes") == 1
    assert out.count("Note: ____") == len(checks) - len(photos)
    for line in ("Name, date: ____", "Signature: ____"):
        assert line in out
    for check in checks:
        rows = [line for line in out.splitlines() if "_____  _____" in line]
        for station in (*check.stations, *check.counts):
            assert any(line.lstrip().startswith(station) for line in rows), station


def test_the_hazard_advice_stands_above_the_first_check(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("show", "battery", "--blank") == 0
    out = " ".join(capsys.readouterr().out.split())
    for line in HAZARD_ADVICE:
        assert out.index(line) < out.index("[ ]")


def test_the_page_to_print_has_all_that_the_sheet_has(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "sheet.html"
    assert run("show", "battery", "feet", "--blank", "--html", str(path)) == 0
    assert str(path) in capsys.readouterr().out
    page = path.read_text(encoding="utf-8")
    text = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())
    composition = compose(shipped_checklists(), ["battery", "feet"])
    for check in composition.checks:
        for said in (check.ask, check.good, check.caution or "", *check.stations, *check.counts):
            assert " ".join(said.split()) in text
    for step in composition.steps:
        assert step.caution is None or step.caution in text
    assert all(line in text for line in HAZARD_ADVICE)
    assert "<script" not in page
    assert not re.search(r"(src|href)=", page.partition("</style>")[2])


def test_a_shop_s_own_words_cannot_become_part_of_the_page(tmp_path: Path) -> None:
    own = (
        "format: checklist/1\nid: mine\nrevision: 1\ntitle: Mine\nchecks:\n  - id: mine\n    kind: look\n"
        "    ask: Look <script>alert(1)</script> here.\n    good: All <b>well</b>.\n    place: <i>lid</i>\n"
        "    stage: finished\n    minutes: 1\n    caution: <u>Edge</u>.\n"
    )
    (tmp_path / "mine.yaml").write_text(own, encoding="utf-8")
    path = tmp_path / "sheet.html"
    assert run("show", "--own", str(tmp_path), "--blank", "--html", str(path)) == 0
    page = path.read_text(encoding="utf-8")
    assert "&lt;script&gt;" in page
    assert not re.search(r"<(script|b|i|u)>", page)


def test_a_page_without_blank_is_wrong_use(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("show", "battery", "--html", str(tmp_path / "x.html")) == 2
    assert "--blank" in capsys.readouterr().err


def test_a_page_that_cannot_be_written_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("show", "--blank", "--html", str(tmp_path / "nowhere" / "x.html")) == 3
    assert "could not be written" in capsys.readouterr().err


def test_a_program_gets_the_composition_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("show", "battery", "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["work"] == ["battery"]
    assert answer["screens"] <= 18
    checks = [check for segment in answer["segments"] for check in segment["checks"]]
    assert checks[0]["id"] == "first-look"
    gaps = next(check for check in checks if check["id"] == "seam-gaps")
    assert gaps["limit"]["upper"] == {"value": 0.3, "unit": "mm"}
    assert answer["hands_minutes"] == pytest.approx(
        sum(check["minutes"] for check in checks if check["kind"] not in {"probe", "wait"})
    )


def test_without_work_it_shows_what_every_repair_needs(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("show") == 0
    out = capsys.readouterr().out
    assert "Checks for: whatever was done" in out
    assert "Read both battery labels" not in out


def test_work_that_nobody_knows_is_wrong_use_with_the_nearest_word(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run("show", "batery") == 2
    assert 'Did you mean "battery"?' in capsys.readouterr().err


def test_a_shop_folder_adds_its_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(shipped_dir() / "battery.yaml", tmp_path / "mine.yaml")
    text = (tmp_path / "mine.yaml").read_text(encoding="utf-8")
    own = text.replace("id: battery\n", "id: mine\n").replace("[battery]", "[mine]")
    (tmp_path / "mine.yaml").write_text(own, encoding="utf-8")
    assert run("list", "--own", str(tmp_path)) == 0
    assert "mine" in capsys.readouterr().out


def test_a_mistake_in_a_shop_checklist_is_told_with_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.yaml").write_text("format: checklist/9\n", encoding="utf-8")
    assert run("list", "--own", str(tmp_path)) == 2
    assert 'mine.yaml:1: The format is "checklist/9"' in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [[], ["list"], ["show"]], ids=["group", "list", "show"])
def test_help_has_an_example(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*arguments, "--help") == 0
    assert "Example: handback checklists" in capsys.readouterr().out


@pytest.mark.parametrize("form", [(), ("--blank",)], ids=["list", "sheet"])
def test_what_is_only_told_while_it_cannot_be_told_is_not_said_to_hold_nothing(
    form: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("show", "battery", *form) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "If the tool cannot tell, that does not hold. Not good does." in out
    assert "If it cannot be seen, that does not hold. Not good does." in out
    assert "does not hold the machine" not in out
