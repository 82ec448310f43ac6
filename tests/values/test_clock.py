"""The clocks: sleep is told from time awake, a set wall clock moves nothing else, old lines are read."""

import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import msgspec
import pytest

from verify.values import Instant, SystemClock, VirtualClock
from verify.values.errors import InvalidValueError

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def test_sleep_moves_all_clocks_but_the_one_that_counts_time_awake() -> None:
    clock = VirtualClock(start=START)
    clock.wait(10)
    clock.sleep_through(3600)
    clock.wait(5)
    now = clock.now()
    assert (now.elapsed_s, now.awake_s) == (3615.0, 15.0)
    assert now.wall == START + timedelta(seconds=3615)


@pytest.mark.parametrize(
    "wall",
    [
        pytest.param(datetime(1970, 1, 1, tzinfo=UTC), id="epoch"),
        pytest.param(datetime(2031, 1, 1, tzinfo=UTC), id="years-ahead"),
        pytest.param(datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=2))), id="another-zone"),
    ],
)
def test_a_wall_clock_that_is_set_moves_nothing_else(wall: datetime) -> None:
    clock = VirtualClock(start=START)
    clock.wait(100)
    before = clock.now()
    clock.set_wall(wall)
    now = clock.now()
    assert now.wall == wall
    assert msgspec.structs.replace(now, wall=before.wall) == before
    clock.wait(1)
    assert clock.now().wall == wall + timedelta(seconds=1)


def test_time_never_runs_backwards_asleep_or_awake() -> None:
    clock = VirtualClock(start=START)
    for move in (clock.wait, clock.sleep_through):
        with pytest.raises(InvalidValueError):
            move(-1)
    assert clock.now().elapsed_s == 0
    with pytest.raises(InvalidValueError, match="zone"):
        clock.set_wall(datetime(2026, 1, 1))  # noqa: DTZ001 - what is refused here


def test_this_computer_was_never_awake_for_longer_than_it_was_on() -> None:
    clock = SystemClock()
    first, second = clock.now(), clock.now()
    if first.awake_s is None:
        assert sys.platform != "linux", "Linux gives both clocks"
        return
    assert second.awake_s is not None
    # clock_gettime(2): CLOCK_BOOTTIME is CLOCK_MONOTONIC and the time suspended. Read one after the other.
    assert 0 < first.awake_s <= first.elapsed_s + 1
    assert 0 <= second.awake_s - first.awake_s <= second.elapsed_s - first.elapsed_s + 1


def test_lines_written_before_the_second_clock_are_read_and_written_as_they_were() -> None:
    old = b'{"wall":"2026-03-02T09:00:00Z","elapsed_s":12.5,"boot_id":"one"}'
    instant = msgspec.json.decode(old, type=Instant)
    assert instant.awake_s is None
    assert msgspec.json.encode(instant) == old


@pytest.mark.parametrize(
    ("earlier", "later", "started"),
    [
        pytest.param("one", "one", False, id="same"),
        pytest.param("one", "two", True, id="another"),
        pytest.param(None, "two", None, id="not-told"),
        pytest.param(None, None, None, id="never-told"),
        pytest.param("session-1", "session-2", None, id="two-sessions-of-perhaps-one-boot"),
        pytest.param("session-1", "session-1", False, id="one-session"),
    ],
)
def test_a_start_anew_is_told_only_where_boots_are(
    earlier: str | None, later: str | None, *, started: bool | None
) -> None:
    first, second = (Instant(wall=START, elapsed_s=1.0, boot_id=boot) for boot in (earlier, later))
    assert second.started_since(first) is started


def test_a_system_that_tells_no_boot_is_never_taken_for_started_anew(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("verify.values.clock._BOOT_ID", tmp_path / "none")
    assert SystemClock().now().started_since(SystemClock().now()) is None
