"""handback checklists: what there is, and what is asked for some work."""

import json
import shutil
from pathlib import Path

import pytest

from verify.checklist.shipped import shipped_dir
from verify.cli import main


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
    assert {each["id"]: each["for_work"] for each in answer["checklists"]} == {
        "every-repair": [],
        "battery": ["battery"],
    }


def test_what_is_shown_has_stages_holds_checks_minutes_and_cautions(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run("show", "battery", "feet") == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "min of hands" in out
    for stage in ("arrived", "open", "closed", "charged", "finished"):
        assert f" {stage} " in out
    assert "Not yet: connect the battery, until good: pack-flat, pack-label, pack-volts, bay-clean." in out
    assert "Then: Plug the battery in." in out
    assert "Caution: Lithium battery." in out
    assert "Not yet: hand the machine back, until good: all checks." in out
    assert out.index("pack-label") < out.index("charge-to-full") < out.index("complaint-gone")


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
    assert "every repair: every-repair" in out
    assert "pack-label" not in out


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
