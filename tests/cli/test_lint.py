"""handback lint: every mistake on its line, and an exit code that a script can trust."""

import json
from pathlib import Path

import pytest

from verify.checklist.shipped import shipped_dir
from verify.cli import main

GOOD = """\
format: checklist/1
id: fan
revision: 1
title: Fan
for_work: [cooling]
checks:
  - id: shop-fins
    kind: look
    ask: Shine a lamp through the cooling fins.
    good: Light shows evenly through all fins.
    place: inside the base
    stage: open
    minutes: 0.5
    before: [close-base]
"""


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["lint", *arguments])
    assert isinstance(ended.value.code, int)
    return ended.value.code


def written(tmp_path: Path, text: str, name: str = "fan.yaml") -> str:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_the_shipped_files_are_good(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*(str(path) for path in sorted(shipped_dir().glob("*.yaml")))) == 0
    assert "no mistake found" in capsys.readouterr().out


def test_each_mistake_is_a_line_with_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(tmp_path, GOOD.replace("kind: look", "kind: lok").replace("stage: open", "stage: opne"))
    assert run(path) == 1
    assert capsys.readouterr().out.splitlines() == [
        f'{path}:8: "lok" is not a known word for "kind". Did you mean "look"?',
        f'{path}:12: "opne" is not a known word for "stage". Did you mean "open"?',
    ]


def test_a_program_gets_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(tmp_path, GOOD.replace("kind: look", "kind: lok"))
    assert run("--json", path) == 1
    answer = json.loads(capsys.readouterr().out)
    assert answer == {
        "format": "mistakes/1",
        "files": [path],
        "mistakes": [
            {
                "file": path,
                "line": 8,
                "what": '"lok" is not a known word for "kind".',
                "next_step": 'Did you mean "look"?',
            }
        ],
    }


def test_a_good_file_gives_json_without_mistakes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--json", written(tmp_path, GOOD)) == 0
    assert json.loads(capsys.readouterr().out)["mistakes"] == []


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            ("[close-base]", "[close-bsae]"),
            ':14: No checklist has a step "close-bsae". Did you mean "close-base"',
        ),
        (("stage: open", "stage: closed"), ':7: "close-base" waits for the check'),
        (("id: shop-fins", "id: sound"), ':7: The check "sound" has another "ask"'),
        (("checks:", "steps: [charge, close-base]\nchecks:"), ":6: The checklists contradict each other"),
    ],
    ids=["step of no checklist", "hold that cannot be lifted", "check of another checklist", "order"],
)
def test_a_checklist_that_does_not_go_with_the_others_is_told_on_its_line(
    change: tuple[str, str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, GOOD.replace(*change))
    assert run(path) == 1
    assert capsys.readouterr().out.startswith(path + told)


def test_an_unknown_probe_is_told_with_the_nearest_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (shipped_dir() / "battery.yaml").read_text(encoding="utf-8")
    path = written(tmp_path, text.replace("probe: pack-present", "probe: pack-presnt"), "battery.yaml")
    assert run(path) == 1
    assert 'There is no probe "pack-presnt". Did you mean "pack-present"?' in capsys.readouterr().out


def test_a_check_that_no_specimen_is_caught_by_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    written(tmp_path, GOOD)
    path = written(
        tmp_path,
        "format: specimens/1\nchecklist: fan\nfacts: {fins: clear}\n"
        "sees: {shop-fins: {good_when: {fins: clear}}}\nspecimens: [{name: sound, expect: fit}]\n",
        "fan.specimens.yaml",
    )
    assert run(path) == 1
    assert 'No specimen is caught by the check "shop-fins"' in capsys.readouterr().out


@pytest.mark.parametrize("data", [b"", b"\xff\xfe\x00", b"[" * 5000, b"\x00" * 10], ids=repr)
def test_a_file_that_is_no_checklist_is_a_mistake_and_no_traceback(
    data: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.yaml"
    path.write_bytes(data)
    assert run(str(path)) == 1
    assert capsys.readouterr().out.startswith(f"{path}:1: ")


def test_a_file_that_is_not_there_is_wrong_use(tmp_path: Path) -> None:
    assert run(str(tmp_path / "nowhere.yaml")) == 2
    assert run() == 2


def test_help_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--help") == 0
    assert "Example: handback lint" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("was", "now", "line", "what"),
    [
        (
            "for_work: [cooling]",
            "for_work: [coolin]",
            5,
            (
                'No other checklist is for "coolin". Did you mean "cooling"? '
                "Else say what the new work opens: includes: [cooling]."
            ),
        ),
        (
            "    kind: look",
            "    kind: look\n    work: [colling]",
            9,
            'No checklist is for "colling". Did you mean "cooling"?',
        ),
    ],
    ids=["of the list", "of a check"],
)
def test_work_that_is_misspelt_is_told_as_nothing_would_be_asked_for_it(
    was: str, now: str, line: int, what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, GOOD.replace(was, now))
    assert run(path) == 1
    assert capsys.readouterr().out.splitlines() == [f"{path}:{line}: {what}"]


def test_a_new_kind_of_work_that_says_what_it_opens_may_be_named_like_a_known_one(tmp_path: Path) -> None:
    assert run(written(tmp_path, GOOD.replace("[cooling]", "[cooling-2]\nincludes: [cooling]"))) == 0


def test_a_folder_named_like_a_checklist_hides_no_mistake(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "old.yaml").mkdir()
    path = written(tmp_path, GOOD.replace("kind: look", "kind: lok"))
    assert run(str(tmp_path)) == 1
    assert capsys.readouterr().out.startswith(f"{path}:8: ")
