"""`pytest FOLDER` on a shop's own checklists: what fails, and in which words."""

import subprocess
import sys
from pathlib import Path

import pytest

SPECIMENS = "fan-lead.specimens.yaml"
CHECKLIST = """\
format: checklist/1
id: fan-lead
revision: 1
title: Fan lead
checks:
  - id: fan-lead
    kind: look
    ask: Follow the fan lead with a lamp.
    good: It lies in its clips.
    place: outside
    stage: finished
    minutes: 0.3
"""
PROOF = """\
format: specimens/1
checklist: fan-lead
builds_on: [every-repair]
facts: {fan lead: in its clips}
sees:
  fan-lead:
    good_when: {fan lead: in its clips}
faults:
  lead over the blades:
    facts: {fan lead: over the blades}
  weak one:
    machine: {weak-charger: 4 W}
specimens:
  - {name: sound, expect: fit}
  - {name: lead over the blades, expect: held, faults: [lead over the blades], caught_by: [fan-lead]}
"""


def proved(folder: Path, only: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-k", only, "."],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
    )


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "fan-lead.yaml").write_text(CHECKLIST, encoding="utf-8")
    (tmp_path / SPECIMENS).write_text(PROOF, encoding="utf-8")
    return tmp_path


def change(shop: Path, old: str, new: str) -> None:
    path = shop / SPECIMENS
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "only", "says"),
    [
        (
            "good_when: {fan lead: in its clips}",
            "good_when: {battery shape: flat}",
            "blades",
            '"fan-lead" should have caught it, but found everything good',
        ),
        (
            "facts: {fan lead: in its clips}",
            "facts: {fan lead: loose}",
            "sound",
            '"fan-lead" raised a false alarm',
        ),
        ("faults: [lead over the blades]", "faults: [weak one]", "blades", '"m" is not a known unit'),
        ("caught_by: [fan-lead]", "caught_by: [first-look]", "every", "No specimen is caught by: fan-lead"),
    ],
    ids=[
        "a fault that nobody sees",
        "a false alarm",
        "a fault that cannot be made",
        "a check that is never needed",
    ],
)
def test_what_is_wrong_with_a_checklist_is_said_in_words(
    shop: Path, old: str, new: str, only: str, says: str
) -> None:
    change(shop, old, new)
    if "weak" in new:
        change(shop, "4 W", "4 m")
    ran = proved(shop, only)
    assert ran.returncode == 1, ran.stdout
    assert says in ran.stdout
    assert "Traceback" not in ran.stdout
    assert ".py:" not in ran.stdout


def test_a_mistake_in_the_file_is_named_with_its_line(shop: Path) -> None:
    change(shop, "\n  fan-lead:\n", "\n  fan-laed:\n")
    ran = proved(shop, "sound")
    assert ran.returncode != 0
    assert f"{SPECIMENS}:" in ran.stdout
    assert 'Did you mean "fan-lead"?' in ran.stdout
    assert ".py:" not in ran.stdout


def test_a_sound_file_passes(shop: Path) -> None:
    ran = proved(shop)
    assert ran.returncode == 0, ran.stdout


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("bare.yaml", CHECKLIST.replace("fan-lead", "bare")),
        (
            "ours.yaml",
            "format: shop-limits/1\nlimits:\n  seam-gaps: {at_most: 0.2 mm, source: ours, good: None.}\n",
        ),
    ],
    ids=["checklist", "shop limits"],
)
def test_a_file_that_nothing_proves_fails(shop: Path, name: str, text: str) -> None:
    (shop / name).write_text(text, encoding="utf-8")
    ran = proved(shop)
    assert ran.returncode == 1, ran.stdout
    assert (
        f"Nothing proves {name}: there is no {name.removesuffix('.yaml')}.specimens.yaml beside it."
        in ran.stdout
    )
    assert ".py:" not in ran.stdout


@pytest.mark.parametrize("text", ["on: [push]\n", "format: prettier\n", "", "\x00\xff"], ids=repr)
def test_a_yaml_file_of_others_is_none_of_ours(shop: Path, text: str) -> None:
    (shop / "other.yaml").write_bytes(text.encode("latin-1"))
    ran = proved(shop, "sound")
    assert ran.returncode == 0, ran.stdout
    assert "other" not in ran.stdout
