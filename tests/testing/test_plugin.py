"""`pytest FOLDER` on a shop's own checklists: what fails, and in which words."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from verify.checklist.shipped import shipped_dir

SPECIMENS = "every-repair.specimens.yaml"


def proved(folder: Path, only: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", SPECIMENS, "-k", only],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
    )


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    for file in shipped_dir().glob("every-repair*.yaml"):
        shutil.copy(file, tmp_path)
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
            "good_when: {antenna plug: snapped on, speaker plug: snapped on}",
            "good_when: {antenna plug: snapped on}",
            "speaker and off",
            '"lead-plugs" should have caught it, but found everything good',
        ),
        (
            "  keys: each writes once\n\n",
            "  keys: one sticks\n\n",
            "sound and keyboard",
            '"every-key" raised a false alarm',
        ),
        ("weak-charger: 4 W", "weak-charger: 4 m", "weak", '"m" is not a known unit'),
        (
            "caught_by: [lead-ways]",
            "caught_by: [nothing-loose]",
            "every and check",
            "No specimen is caught by: lead-ways",
        ),
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
    ran = proved(shop, only)
    assert ran.returncode == 1, ran.stdout
    assert says in ran.stdout
    assert "Traceback" not in ran.stdout
    assert ".py:" not in ran.stdout


def test_a_mistake_in_the_file_is_named_with_its_line(shop: Path) -> None:
    change(shop, "\n  first-look:", "\n  first-lok:")
    ran = proved(shop, "sound")
    assert ran.returncode != 0
    assert f"{SPECIMENS}:" in ran.stdout
    assert 'Did you mean "first-look"?' in ran.stdout
    assert ".py:" not in ran.stdout


def test_a_sound_file_passes(shop: Path) -> None:
    ran = proved(shop, "sound or caught")
    assert ran.returncode == 0, ran.stdout
