"""Keeping awake, with the real systemd-inhibit, a real message bus and a real login manager.

The bus is a private one, and the login manager (systemd-logind) runs on it: nothing else listens to it, so no
computer is really kept from sleeping, and none is put to sleep. What it lists is what it would honour. On a
computer that was started by systemd, a second login manager would take its keys: there the rig is missing.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from verify.machine.awake import keep_awake
from verify.testing.rigs import missing, require_program

LOGIN_MANAGER = Path("/lib/systemd/systemd-logind")
WITHIN_S = 30.0
CONFIG = """<busconfig>
  <type>system</type>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
    {more}
  </policy>
</busconfig>
"""
REFUSE = '<deny send_interface="org.freedesktop.login1.Manager" send_member="Inhibit"/>'
# One that holds for as long as its input is open, and says so.
HOLDER = (
    "import sys; from verify.machine.awake import keep_awake; awake = keep_awake('charge to full')\n"
    "print(awake.held, awake.why_not, flush=True); sys.stdin.read()\n"
)


def poll(reached: Callable[[], object]) -> bool:
    """Ask again and again until the answer is true; return whether it came to that in time."""
    end = time.monotonic() + WITHIN_S
    while not reached():
        if time.monotonic() > end:
            return False
        time.sleep(0.02)
    return True


@contextmanager
def private_bus(monkeypatch: pytest.MonkeyPatch, more: str = "") -> Iterator[None]:
    daemon = require_program("dbus-daemon")
    require_program("systemd-inhibit")
    # Not below the test's own folder: the path of a socket is short (108 bytes: unix(7)).
    with tempfile.TemporaryDirectory(prefix="bus-") as folder:
        socket, config = Path(folder) / "socket", Path(folder) / "bus.conf"
        config.write_text(CONFIG.format(socket=socket, more=more), encoding="utf-8")
        command = [daemon, f"--config-file={config}", "--nofork", "--nopidfile"]
        bus = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        try:
            assert poll(socket.exists), "the bus did not start"
            monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={socket}")
            yield
        finally:
            end(bus)


def end(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    process.wait(WITHIN_S)


def listed() -> list[str]:
    """Return what the login manager holds off for us, a line each; a line that it is not there yet."""
    told = subprocess.run(
        ["systemd-inhibit", "--list", "--no-legend", "--no-pager"],
        capture_output=True,
        text=True,
        check=False,
    )
    if told.returncode:
        return ["The login manager does not answer."]
    return [line for line in told.stdout.splitlines() if "Handback" in line]


@pytest.fixture
def bus(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A bus that nobody answers on."""
    with private_bus(monkeypatch):
        yield


@pytest.fixture(params=[""])
def login_manager(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    if Path("/run/systemd/system").is_dir():
        missing("This computer has a login manager of its own")
    if not LOGIN_MANAGER.exists() or os.geteuid() != 0:
        missing("No login manager can be started")
    with private_bus(monkeypatch, request.param):
        manager = subprocess.Popen([str(LOGIN_MANAGER)], stderr=subprocess.DEVNULL)
        try:
            assert poll(lambda: listed() == []), "the login manager did not start"
            yield
        finally:
            end(manager)


@pytest.mark.usefixtures("login_manager")
def test_idle_sleep_and_lid_are_held_off_until_let_go() -> None:
    awake = keep_awake("charge to full")
    assert (awake.held, awake.why_not) == (True, "")
    (line,) = listed()
    # systemd-inhibit(1): who, user, process, what, why, mode.
    assert "charge to full" in line
    assert line.split()[-1] == "block"
    assert {"idle", "sleep", "handle-lid-switch"} == set(
        next(word for word in line.split() if "idle" in word).split(":")
    )
    awake.release()
    assert not awake.held
    assert poll(lambda: listed() == [])


@pytest.mark.usefixtures("login_manager")
def test_nothing_is_held_off_after_this_process_was_killed() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "True \n"
        assert len(listed()) == 1
        holder.kill()
        assert poll(lambda: listed() == []), "still held off"


@pytest.mark.usefixtures("login_manager")
def test_a_hold_that_the_system_ends_is_noticed() -> None:
    awake = keep_awake("charge to full")
    process = int(next(word for word in listed()[0].split()[2:] if word.isdigit()))
    os.kill(process, 15)
    assert poll(lambda: not awake.held)
    assert "power settings" in awake.why_not
    awake.release()


@pytest.mark.parametrize("login_manager", [REFUSE], indirect=True)
@pytest.mark.usefixtures("login_manager")
def test_a_refusal_says_what_to_set_by_hand() -> None:
    awake = keep_awake("charge to full")
    assert not awake.held
    assert awake.why_not.startswith("The system refuses to be kept awake: ")
    assert "power settings" in awake.why_not
    awake.release()
    assert listed() == []


@pytest.mark.usefixtures("bus")
def test_a_bus_without_login_manager_says_what_to_set_by_hand() -> None:
    awake = keep_awake("charge to full")
    assert not awake.held
    assert "power settings" in awake.why_not


def test_no_bus_at_all_says_what_to_set_by_hand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    require_program("systemd-inhibit")
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path / 'none'}")
    awake = keep_awake("charge to full")
    assert not awake.held
    assert "power settings" in awake.why_not


def test_without_the_program_it_says_what_to_set_by_hand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if sys.platform != "linux":
        missing("Other systems have other means")
    monkeypatch.setenv("PATH", str(tmp_path))
    assert shutil.which("systemd-inhibit") is None
    awake = keep_awake("charge to full")
    assert not awake.held
    assert "no systemd-inhibit" in awake.why_not
    assert "power settings" in awake.why_not
