"""A shop's file through the real commands: found, copied into the run, and not needed again."""

import json
import os
from pathlib import Path

import pytest
from PIL import Image

from verify.cli import main
from verify.run import load_record

_FILE = """\
format: shop/1
name: Tidewater Repairs
telephone: +1 202 555 0142
logo: mark.jpg
warranty: {days: 90, says: For parts and work.}
limits:
  seam-gaps: {at_most: 0.20 mm, source: our own series, good: 0.20 mm leaf does not enter.}
"""


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path / "home"
    home.mkdir()
    for name in ("HANDBACK_SHOP_FILE", "HANDBACK_SHOP", "HANDBACK_REPORTS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HANDBACK_HOME", str(home))
    monkeypatch.chdir(tmp_path)
    Image.effect_noise((2400, 900), 90).convert("RGB").save(home / "mark.jpg")
    (home / "shop.yaml").write_text(_FILE, encoding="utf-8")
    return home


def _run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    said = capsys.readouterr()
    assert isinstance(left.value.code, int)
    assert "Traceback" not in said.err
    return left.value.code, said.out + said.err


def _start(capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, str]:
    return _run(
        capsys, "start", "TW-1", "--work", "battery=reproduction", "--label", "battery=57.0 Wh", *more
    )


def test_the_file_in_handback_s_own_folder_is_copied_into_the_run(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _start(capsys)[0] == 0
    for path in (home / "shop.yaml", home / "mark.jpg"):
        path.unlink()  # the run needs neither again
    record = load_record(Path("reports"), "TW-1")
    assert record.ticket.shop == "Tidewater Repairs"
    assert record.shop is not None
    assert (record.shop.telephone, record.shop.warranty_days) == ("+1 202 555 0142", 90)
    gaps = next(result for result in record.results if result.check == "seam-gaps")
    assert (str(gaps.limit and gaps.limit.upper), gaps.shipped_limit is not None) == ("0.2 mm", True)


def test_the_mark_is_written_anew_and_small(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (home / "mark.jpg").stat().st_size > 500_000
    _start(capsys)
    logo = Path("reports/TW-1/logo.png")
    assert logo.stat().st_size <= 60_000
    with Image.open(logo) as image:
        assert image.format == "PNG"
        assert image.width <= 600
        assert image.height <= 200
        assert image.width / image.height == pytest.approx(2400 / 900, rel=0.02)


def test_another_file_is_taken_where_it_is_named(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = home.parent / "other.yaml"
    other.write_text("format: shop/1\nname: Other Bench\n", encoding="utf-8")
    assert _start(capsys, "--shop-file", str(other))[0] == 0
    record = load_record(Path("reports"), "TW-1")
    assert record.ticket.shop == "Other Bench"
    assert record.shop is not None
    assert record.shop.logo is None


def test_the_environment_names_one(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    other = home.parent / "other.yaml"
    other.write_text("format: shop/1\nname: Other Bench\n", encoding="utf-8")
    monkeypatch.setenv("HANDBACK_SHOP_FILE", str(other))
    assert _start(capsys)[0] == 0
    assert load_record(Path("reports"), "TW-1").ticket.shop == "Other Bench"


def test_without_a_file_it_is_as_it_was(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "shop.yaml").unlink()
    assert _start(capsys, "--shop", "Tidewater Repairs")[0] == 0
    record = load_record(Path("reports"), "TW-1")
    assert (record.ticket.shop, record.shop) == ("Tidewater Repairs", None)


def test_two_shops_at_once_are_refused_and_nothing_is_begun(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (home / "shop.yaml").is_file()
    code, said = _start(capsys, "--shop", "Somebody Else")
    assert code == 2
    assert 'The shop\'s file is of "Tidewater Repairs"' in said
    assert not Path("reports/TW-1/journal.jsonl").exists()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("telephone", "telefone"), 'shop.yaml:3: "telefone" is not a key of a shop file.'),
        (("seam-gaps", "seam-gap"), 'shop.yaml:7: No shipped check is named "seam-gap".'),
    ],
    ids=["key", "check"],
)
def test_a_mistake_in_it_is_told_before_anything_is_begun(
    change: tuple[str, str], says: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "shop.yaml").write_text(_FILE.replace(*change), encoding="utf-8")
    code, said = _start(capsys)
    assert code == 2
    assert says in said
    assert "Did you mean" in said
    assert not Path("reports/TW-1/journal.jsonl").exists()


def test_a_mark_that_is_no_picture_is_told_before_anything_is_begun(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "mark.jpg").write_bytes(b"not a picture")
    code, said = _start(capsys)
    assert code == 2
    assert "mark.jpg is no picture that can be read here." in said
    assert not Path("reports/TW-1/journal.jsonl").exists()


def test_work_added_later_is_judged_by_the_shop_s_limits_too(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert home.is_dir()
    assert _run(capsys, "start", "TW-1", "--work", "feet")[0] == 0
    assert _start(capsys)[0] == 0
    gaps = next(one for one in load_record(Path("reports"), "TW-1").results if one.check == "seam-gaps")
    assert gaps.shipped_limit is not None


_MORE = {
    "start": ("start", "TW-1", "--work", "battery=reproduction", "--label", "battery=57.0 Wh"),
    "rework": (
        *("rework", "TW-1", "--opened", "base", "--why", "the pack was weak"),
        *("--work", "battery=reproduction", "--label", "battery=57.0 Wh"),
    ),
}


@pytest.mark.parametrize("command", _MORE)
def test_that_the_shop_s_limits_are_left_out_of_what_is_added_is_said(
    command: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(capsys, "start", "TW-1", "--work", "feet")[0] == 0
    (home / "shop.yaml").unlink()
    code, said = _run(capsys, *_MORE[command])
    assert code == 0
    assert "The shop's file is not here any more" in said
    assert "--shop-file" in said
    gaps = next(one for one in load_record(Path("reports"), "TW-1").results if one.check == "seam-gaps")
    assert gaps.shipped_limit is None


@pytest.mark.parametrize("command", _MORE)
def test_another_shop_s_limits_are_refused_for_what_is_added(
    command: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(capsys, "start", "TW-1", "--work", "feet")[0] == 0
    before = Path("reports/TW-1/journal.jsonl").read_bytes()
    (home / "shop.yaml").write_text(_FILE.replace("Tidewater", "Ebb"), encoding="utf-8")
    code, said = _run(capsys, *_MORE[command])
    assert code == 2
    assert 'TW-1 was begun by "Tidewater Repairs"' in said
    assert 'is of "Ebb Repairs"' in said
    assert Path("reports/TW-1/journal.jsonl").read_bytes() == before


@pytest.mark.parametrize("command", ["start", "arrive"])
def test_a_pipe_in_place_of_the_file_is_refused_and_not_waited_for(
    command: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    os.mkfifo(home / "pipe")
    code, said = _run(capsys, command, "TW-1", "--shop-file", str(home / "pipe"))
    assert code == 2
    assert "pipe is not a file." in said
    assert not Path("reports/TW-1/journal.jsonl").exists()


def test_lint_knows_it(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _run(capsys, "lint", str(home / "shop.yaml"))[0] == 0
    (home / "shop.yaml").write_text(_FILE.replace("logo", "lago"), encoding="utf-8")
    code, said = _run(capsys, "lint", str(home / "shop.yaml"), "--json")
    assert code == 1
    mistake = json.loads(said)["mistakes"][0]
    assert (mistake["line"], mistake["next_step"]) == (4, 'Did you mean "logo"?')


@pytest.mark.parametrize("command", ["arrive", "start", "rework"])
def test_help_says_where_it_is_found(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    said = " ".join(_run(capsys, command, "--help")[1].split())
    assert "HANDBACK_SHOP_FILE" in said
    assert "shop.yaml in handback's own folder (HANDBACK_HOME)" in said


def test_a_journal_of_a_time_without_shops_goes_on(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (home / "shop.yaml").unlink()
    _start(capsys)
    journal = Path("reports/TW-1/journal.jsonl")
    old = journal.read_bytes().replace(b'"shop":null,', b"", 1)
    assert old != journal.read_bytes()
    assert old.count(b"\n") == 1  # nothing hangs on its hash yet
    journal.write_bytes(old)
    assert load_record(Path("reports"), "TW-1").shop is None


def test_the_sheet_to_fill_by_hand_has_the_shop_s_masthead(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (home / "shop.yaml").is_file()
    assert _run(capsys, "checklists", "show", "battery", "--blank", "--html", "sheet.html")[0] == 0
    page = Path("sheet.html").read_text(encoding="utf-8")
    assert "Tidewater Repairs" in page
    assert '<img class="logo shown" src="data:image/png;base64,' in page
    assert "0.20 mm leaf does not enter." in page
