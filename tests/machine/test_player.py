"""Playing by a child process.

No sound device is in a test's computer. In its place stands a small program of the shell's: it reads the
whole file, notes how many bytes, and ends, stays or fails as its name says. It is found and started as the
system's players are.
"""

import os
import stat
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from verify.machine.player import Playing, SystemPlayer, system_players

_PATIENCE_S = 20
_READS = 'for last; do :; done\nwc -c < "$last" >> "$0.read"\n'
_ENDS = {
    "plays": "exit 0",
    "stays": 'echo $$ > "$0.pid"\nsleep 600 & echo $! > "$0.child"\nwait',
    "has no device": "echo 'first line' >&2\necho 'Connection refused.' >&2\nexit 1",
    "is killed": "kill -9 $$",
}


@pytest.fixture
def wav(tmp_path: Path) -> Path:
    path = tmp_path / "two words.wav"
    path.write_bytes(b"RIFF" + bytes(1000))
    return path


@pytest.fixture
def bin_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "bin"
    folder.mkdir()
    # The shell's own tools are found behind it; a player of this computer is not.
    for tool in ("sh", "wc", "sleep"):
        (folder / tool).symlink_to(f"/bin/{tool}" if Path(f"/bin/{tool}").exists() else f"/usr/bin/{tool}")
    monkeypatch.setenv("PATH", str(folder))
    return folder


def install(folder: Path, name: str, end: str) -> Path:
    path = folder / name
    path.write_text(f"#!/bin/sh\n{_READS}{_ENDS[end]}\n", encoding="utf-8")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


def wait_until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + _PATIENCE_S
    while not true():
        assert time.monotonic() < end, "It did not come to that."
        time.sleep(0.01)


def ended(player: SystemPlayer) -> Playing:
    wait_until(lambda: player.look() is not Playing.PLAYS)
    return player.look()


def gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    # Nobody may be there to take note of its end: then it is dead, and still listed.
    return "\nState:\tZ" in Path(f"/proc/{pid}/status").read_text(encoding="utf-8")


def test_the_whole_file_is_played(bin_folder: Path, wav: Path) -> None:
    program = install(bin_folder, "aplay", "plays")
    player = SystemPlayer()
    assert player.play(wav, lasts_s=1) is Playing.PLAYS
    assert ended(player) is Playing.ENDED
    assert Path(f"{program}.read").read_text(encoding="utf-8").strip() == "1004"
    player.stop()
    assert player.look() is Playing.NOTHING


@pytest.mark.parametrize("end", ["has no device", "is killed"])
def test_a_player_that_cannot_is_left_for_the_next_one(bin_folder: Path, wav: Path, end: str) -> None:
    install(bin_folder, "pw-play", end)
    program = install(bin_folder, "aplay", "plays")
    player = SystemPlayer()
    player.play(wav, lasts_s=1)
    assert ended(player) is Playing.ENDED
    assert Path(f"{program}.read").exists()


def test_where_none_can_the_last_ones_own_words_say_why(bin_folder: Path, wav: Path) -> None:
    install(bin_folder, "paplay", "has no device")
    player = SystemPlayer()
    player.play(wav, lasts_s=1)
    assert ended(player) is Playing.FAILED
    assert player.why_not == "The player could not play it: Connection refused."


def test_a_player_that_was_killed_is_told(bin_folder: Path, wav: Path) -> None:
    install(bin_folder, "paplay", "is killed")
    player = SystemPlayer()
    player.play(wav, lasts_s=1)
    assert ended(player) is Playing.FAILED
    assert player.why_not == "The player could not play it: it ended with -9."


@pytest.mark.usefixtures("bin_folder")
def test_a_computer_without_a_player_says_so(wav: Path) -> None:
    assert system_players("linux") == ()
    player = SystemPlayer()
    assert player.play(wav, lasts_s=1) is Playing.FAILED
    assert player.why_not == "This computer has no player that the tool knows."


def test_a_player_that_cannot_be_started_is_no_traceback(tmp_path: Path, wav: Path) -> None:
    player = SystemPlayer([[str(tmp_path / "not there")]])
    assert player.play(wav, lasts_s=1) is Playing.FAILED
    assert "cannot be started" in player.why_not


def test_leaving_ends_the_player_and_what_it_started(bin_folder: Path, wav: Path) -> None:
    program = install(bin_folder, "aplay", "stays")
    player = SystemPlayer()
    player.play(wav, lasts_s=600)
    notes = [Path(f"{program}.pid"), Path(f"{program}.child")]
    wait_until(lambda: all(note.exists() and note.read_text(encoding="utf-8").strip() for note in notes))
    assert player.look() is Playing.PLAYS
    player.stop()
    for note in notes:
        pid = int(note.read_text(encoding="utf-8"))
        wait_until(lambda pid=pid: gone(pid))  # type: ignore[misc] # bound at once
    assert player.look() is Playing.NOTHING


def test_a_player_that_hangs_is_ended_after_its_time(
    bin_folder: Path, wav: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    install(bin_folder, "aplay", "stays")
    monkeypatch.setattr("verify.machine.player._GRACE_S", 0.05)
    player = SystemPlayer()
    player.play(wav, lasts_s=0.05)
    assert ended(player) is Playing.FAILED
    assert "did not come to an end" in player.why_not


def test_another_tone_takes_the_place_of_the_one_that_plays(bin_folder: Path, wav: Path) -> None:
    program = install(bin_folder, "aplay", "stays")
    player = SystemPlayer()
    player.play(wav, lasts_s=600)
    note = Path(f"{program}.pid")
    wait_until(lambda: note.exists() and bool(note.read_text(encoding="utf-8").strip()))
    first = int(note.read_text(encoding="utf-8"))
    player.play(wav, lasts_s=600)
    wait_until(lambda: gone(first))
    assert player.look() is Playing.PLAYS
    player.stop()


@pytest.mark.parametrize(
    ("platform", "names"), [("linux", ("pw-play", "paplay", "aplay")), ("darwin", ("afplay",))]
)
def test_each_system_is_asked_for_the_players_that_it_ships(
    bin_folder: Path, platform: str, names: tuple[str, ...]
) -> None:
    for name in ("pw-play", "paplay", "aplay", "afplay"):
        install(bin_folder, name, "plays")
    assert tuple(Path(command[0]).name for command in system_players(platform)) == names
