"""`handback key`: from making a key to refusing it, through the real command line."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from verify.cli import main
from verify.record.demo_key import demo_signing_key
from verify.record.key_store import KeyStore
from verify.record.keys import card_bytes
from verify.testing.sample_signatures import SIGNED_AT, sample_key


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HANDBACK_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("HANDBACK_PASSPHRASE", raising=False)
    return tmp_path / "home"


def _run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    said = capsys.readouterr()
    assert isinstance(left.value.code, int)
    return left.value.code, said.out, said.err


def test_a_key_made_on_one_bench_is_known_on_another_by_its_card(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, _ = _run(capsys, "key", "new", "Sample Person", "--role", "technician", "--no-passphrase")
    assert code == 0
    assert "not locked" in out
    code, card, told = _run(capsys, "key", "show")
    assert code == 0
    assert json.loads(card)["format"] == "key-card/1"
    assert json.loads(card)["thumbprint"] in told
    file = tmp_path / "card.json"
    file.write_text(card, encoding="utf-8")
    monkeypatch.setenv("HANDBACK_HOME", str(tmp_path / "other"))
    assert _run(capsys, "key", "list")[0] == 3
    code, out, _ = _run(capsys, "key", "trust", str(file))
    assert (code, json.loads(card)["thumbprint"] in out) == (0, True)
    code, out, _ = _run(capsys, "key", "list", "--json")
    (row,) = json.loads(out)
    assert (row["card"]["name"], row["revoked_at"], row["can_sign_here"]) == ("Sample Person", None, False)
    assert _run(capsys, "key", "revoke", "Sample Person")[0] == 0
    code, out, _ = _run(capsys, "key", "list")
    assert "REVOKED" in out


def test_the_passphrase_comes_from_a_file_or_the_environment(
    tmp_path: Path, home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    secret = tmp_path / "secret"
    secret.write_bytes(b"from the file\r\nsecond line")
    assert _run(capsys, "key", "new", "One", "--role", "technician", "--passphrase-file", str(secret))[0] == 0
    monkeypatch.setenv("HANDBACK_PASSPHRASE", "from the environment")
    assert _run(capsys, "key", "new", "Two", "--role", "technician")[0] == 0
    for name, passphrase in (("one", b"from the file"), ("two", b"from the environment")):
        from cryptography.hazmat.primitives.serialization import load_pem_private_key

        load_pem_private_key((home / f"key-{name}.pem").read_bytes(), passphrase)


def test_without_terminal_and_passphrase_no_key_is_made(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = _run(capsys, "key", "new", "One", "--role", "technician")
    assert code == 2
    assert "HANDBACK_PASSPHRASE" in err
    assert not home.exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("key", "new", "One", "--role", "Big Boss", "--no-passphrase"), "cannot be a role"),
        (("key", "new", "One"), "--role"),
        (("key", "show"), "no key here"),
        (("key", "show", "Nobody"), "no key named Nobody"),
        (("key", "trust", "gone.json"), "cannot be read"),
        (("key", "revoke", "Nobody"), "No known key"),
        (
            ("key", "new", "One", "--role", "a", "--no-passphrase", "--passphrase-file", "x"),
            "contradict each other",
        ),
    ],
    ids=["role", "no role", "no key", "no such key", "no file", "nobody", "both"],
)
def test_wrong_use_is_told_in_one_line_with_exit_2(
    arguments: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = _run(capsys, *arguments)
    assert code == 2
    assert says in err
    assert "Traceback" not in err


def test_a_second_person_of_the_same_name_is_told_apart_by_the_thumbprint(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = sample_key("technician", "Sample Person"), sample_key("reviewer", "Sample Person")
    for number, key in enumerate((first, second)):
        (tmp_path / f"{number}.json").write_bytes(card_bytes(key.card))
    _, out, _ = _run(capsys, "key", "trust", str(tmp_path / "0.json"))
    assert "Another key" not in out
    code, out, _ = _run(capsys, "key", "trust", str(tmp_path / "1.json"))
    assert code == 0
    assert f"Another key of that name is known, technician: {first.card.thumbprint}." in out


def test_a_passphrase_file_of_an_editor_that_marks_its_encoding_holds_no_mark(
    tmp_path: Path, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "secret").write_bytes(b"\xef\xbb\xbfsecret\r\n")
    assert (
        _run(capsys, "key", "new", "One", "--role", "a", "--passphrase-file", str(tmp_path / "secret"))[0]
        == 0
    )
    store = KeyStore(home)
    assert store.open(store.card("One"), "secret").card.name == "One"


def test_the_demo_key_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "demo.json"
    file.write_bytes(card_bytes(demo_signing_key("technician").card))
    code, _, err = _run(capsys, "key", "trust", str(file))
    assert code == 2
    assert "anyone can sign with it" in err


@pytest.mark.parametrize("name", ["new", "show", "trust", "list", "revoke"])
def test_every_help_has_an_example(name: str) -> None:
    from verify.cli.key import command

    done = CliRunner().invoke(command, [name, "--help"])
    assert f"Example: handback key {name}" in done.output


def test_a_revoked_key_is_not_listed_as_one_that_can_sign(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    store = KeyStore(tmp_path / "home")
    store.new("Gone", "technician", None, at=SIGNED_AT)
    store.new("Here", "technician", None, at=SIGNED_AT)
    store.revoke("Gone", at=SIGNED_AT)
    monkeypatch.setenv("HANDBACK_HOME", str(tmp_path / "home"))
    for more in ((), ("--json",)):
        with pytest.raises(SystemExit):
            main(("key", "list", *more))
        said = capsys.readouterr().out
        if more:
            assert [row["can_sign_here"] for row in json.loads(said)] == [False, True]
        else:
            assert "Gone, technician: REVOKED on 2026-03-10T12:10:00Z\n" in said
            assert "Here, technician: known, can sign here" in said
