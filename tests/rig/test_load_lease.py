"""Load children are real processes: whatever happens to their parent or to the sensors, none outlives it.

The driver is a real program on a made tree of sensors. Freshness is the sample's own instant: a read that
hangs brings no sample, and the lease of 3 s runs out. A sensor that shows one value for ever brings fresh
samples: it is found out because it does not move under full load.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from verify.machine import load_child
from verify.testing.rigs import missing, require_program
from verify.testing.sysfs_tree import SysfsTree
from verify.values import SystemClock

HERE = Path(__file__).parent
DRIVER = HERE / "load_driver.py"
GONE_WITHIN_S = 5.0
START_WITHIN_S = 20.0
SENSOR = "class/hwmon/hwmon0/temp1_input"


@pytest.fixture(autouse=True)
def _on_linux() -> None:
    if sys.platform != "linux":
        missing("This is not Linux")


@pytest.fixture
def tree(tmp_path: Path) -> SysfsTree:
    tree = SysfsTree(tmp_path / "sys")
    tree.hwmon(0, "coretemp", temp1_input="47000", temp1_label="Package id 0", temp1_crit="100000")
    return tree


def stat(pid: int) -> list[str]:
    """Return the fields behind the name in /proc/PID/stat (proc(5)); empty where it is gone or dead."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return []
    return [] if fields[0] in "ZX" else fields


def alive(pids: tuple[int, ...]) -> list[int]:
    return [pid for pid in pids if stat(pid)]


def worked_s(pid: int) -> float:
    fields = stat(pid)
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK") if fields else 0.0


def poll(reached: Callable[[], object], within_s: float) -> bool:
    """Ask again and again until the answer is true, at most within_s; return whether it came to that."""
    end = time.monotonic() + within_s
    while not reached():
        if time.monotonic() > end:
            return False
        time.sleep(0.01)
    return True


class Driver:
    """The driver, its children's process ids, and what it said at the end."""

    def __init__(self, *command: str) -> None:
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        self.lines = self.process.stdout
        self.children = tuple(int(pid) for pid in self.lines.readline().split()[1:])
        assert len(self.children) == len(os.sched_getaffinity(0))
        assert self.lines.readline() == "renewed\n"

    def why_ended(self) -> str:
        for line in self.lines:
            if line.startswith("ended "):
                return line[6:].strip()
        return ""

    def close(self) -> None:
        self.process.kill()
        self.process.communicate()


@pytest.fixture
def driver(tree: SysfsTree) -> Iterator[Driver]:
    one = Driver(sys.executable, str(DRIVER), str(tree.root), "60")
    try:
        assert poll(lambda: all(worked_s(pid) > 0.1 for pid in one.children), START_WITHIN_S)
        yield one
    finally:
        one.close()


def test_keys_pressed_in_the_terminal_are_not_for_the_children(driver: Driver) -> None:
    sessions = {os.getsid(pid) for pid in driver.children}
    assert os.getsid(driver.process.pid) not in sessions


def test_every_core_is_loaded_at_low_priority_in_little_memory(driver: Driver) -> None:
    before = {pid: worked_s(pid) for pid in driver.children}
    assert poll(lambda: all(worked_s(pid) > before[pid] + 0.3 for pid in driver.children), START_WITHIN_S)
    pages = [
        int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1]) for pid in driver.children
    ]
    assert max(pages) * os.sysconf("SC_PAGE_SIZE") < 32 * 2**20
    assert all(
        os.getpriority(os.PRIO_PROCESS, pid) > os.getpriority(os.PRIO_PROCESS, 0) for pid in driver.children
    )


@pytest.mark.parametrize("killed_by", [signal.SIGKILL, signal.SIGSTOP], ids=["killed", "stopped"])
@pytest.mark.parametrize("sensor", ["cool", "hot", "gone"])
def test_no_child_outlives_a_parent_that_is_killed_or_stopped(
    driver: Driver, tree: SysfsTree, killed_by: signal.Signals, sensor: str
) -> None:
    # Stop or kill first: nobody is left to see what the sensor says.
    driver.process.send_signal(killed_by)
    if sensor == "hot":
        show(tree, 104000)
    elif sensor == "gone":
        (tree.root / SENSOR).unlink()
    assert poll(lambda: not alive(driver.children), GONE_WITHIN_S), "load without its parent"


def test_a_parent_that_goes_on_after_a_stop_says_that_the_lease_was_lost(driver: Driver) -> None:
    driver.process.send_signal(signal.SIGSTOP)
    assert poll(lambda: not alive(driver.children), GONE_WITHIN_S)
    driver.process.send_signal(signal.SIGCONT)
    assert "No fresh reading came" in driver.why_ended()
    # None is left behind as a zombie: a dead child that nobody waited for still has its entry.
    assert not any(Path(f"/proc/{pid}").exists() for pid in driver.children)


def show(tree: SysfsTree, millidegrees: int) -> None:
    """Change the temperature in one step: a reader never finds the file half written."""
    tree.write("new", str(millidegrees)).replace(tree.root / SENSOR)


def turn_hot(tree: SysfsTree) -> None:
    show(tree, 95000)


def vanish(tree: SysfsTree) -> None:
    (tree.root / SENSOR).unlink()


def vanish_whole(tree: SysfsTree) -> None:
    (tree.root / "class/hwmon/hwmon0").rename(tree.root / "gone")


def fail(tree: SysfsTree) -> None:
    (tree.root / SENSOR).unlink()
    (tree.root / SENSOR).mkdir()


def hang(tree: SysfsTree) -> None:
    (tree.root / "hang").touch()


def lie(tree: SysfsTree) -> None:
    show(tree, -273150)


def stand_still(tree: SysfsTree) -> None:
    """Do nothing: it has shown the same from the start."""
    assert (tree.root / SENSOR).read_text(encoding="ascii") == "47000\n"


@pytest.mark.parametrize(
    ("change", "why"),
    [
        pytest.param(turn_hot, "The processor is at 95 °C", id="turns-hot"),
        pytest.param(vanish, "Without a temperature", id="sensor-vanishes"),
        pytest.param(vanish_whole, "Without a temperature", id="all-sensors-vanish"),
        pytest.param(fail, "Without a temperature", id="sensor-fails-to-read"),
        pytest.param(hang, "No fresh reading came", id="sensor-hangs"),
        pytest.param(lie, "Without a temperature", id="sensor-says-absolute-zero"),
        pytest.param(stand_still, "does not move under load", id="sensor-frozen"),
    ],
)
def test_load_ends_when_the_temperature_is_hot_or_unknown(
    driver: Driver, tree: SysfsTree, change: Callable[[SysfsTree], None], why: str
) -> None:
    change(tree)
    assert poll(lambda: not alive(driver.children), GONE_WITHIN_S), "load without a good temperature"
    assert why in driver.why_ended()
    assert not any(Path(f"/proc/{pid}").exists() for pid in driver.children)


def loaded_for_7_s(tree: SysfsTree) -> tuple[str, float]:
    """Load while the temperature moves; return why it ended, and after how long, in s."""
    driver = Driver(sys.executable, str(DRIVER), str(tree.root), "7")
    began = time.monotonic()
    try:
        warm = iter(range(1000))
        while alive(driver.children):
            assert time.monotonic() - began < 7 + GONE_WITHIN_S
            show(tree, 47000 + 1000 * (next(warm) % 20))
            time.sleep(0.1)
        return driver.why_ended(), time.monotonic() - began
    finally:
        driver.close()


def test_load_goes_on_while_the_temperature_moves_and_ends_with_its_time(tree: SysfsTree) -> None:
    why, after_s = loaded_for_7_s(tree)
    for _ in range(4):
        # A computer that is busy with something else may keep the reading waiting: then the lease is lost,
        # as it should be, and the test has to be done again.
        if why != "No fresh reading came for 3 s.":
            break
        why, after_s = loaded_for_7_s(tree)
    assert why == "Its time is over."
    assert after_s > 6


def test_load_runs_where_a_library_is_loaded_before_all_others() -> None:
    # umockdev-run sets LD_PRELOAD for the program and all that it starts.
    program = require_program("umockdev-run")
    mocked = str(HERE / "laptop.umockdev")
    driver = Driver(program, "-d", mocked, "--", sys.executable, str(DRIVER), "own", "60")
    try:
        assert poll(lambda: all(worked_s(pid) > 0.1 for pid in driver.children), START_WITHIN_S)
        driver.process.terminate()
        assert poll(lambda: not alive(driver.children), GONE_WITHIN_S)
    finally:
        driver.close()


def test_stopping_leaves_nothing_within_half_a_second(tree: SysfsTree) -> None:
    code = (
        "import sys, time; from pathlib import Path; from verify.machine import open_machine\n"
        "machine = open_machine(sysfs=Path(sys.argv[1]))\n"
        "load = machine.start_load(longest_s=30); load.renew(machine.sample())\n"
        "print('children', *load.children, flush=True); print('renewed', flush=True)\n"
        "sys.stdin.readline(); load.stop(); print('ended', load.why_ended, flush=True); sys.stdin.read()\n"
    )
    driver = Driver(sys.executable, "-c", code, str(tree.root))
    try:
        assert poll(lambda: all(worked_s(pid) > 0.1 for pid in driver.children), START_WITHIN_S)
        assert driver.process.stdin is not None
        driver.process.stdin.write("\n")
        driver.process.stdin.flush()
        assert poll(lambda: not any(Path(f"/proc/{pid}").exists() for pid in driver.children), 0.5)
        assert driver.why_ended() == "It was stopped."
    finally:
        driver.close()


def test_a_child_that_is_killed_ends_the_whole_load(driver: Driver) -> None:
    os.kill(driver.children[0], signal.SIGKILL)
    assert poll(lambda: not alive(driver.children), GONE_WITHIN_S)
    assert driver.why_ended() == "A part of the load ended by itself."


def test_a_child_that_is_stopped_does_not_hold_up_its_parent(driver: Driver) -> None:
    os.kill(driver.children[0], signal.SIGSTOP)
    driver.process.terminate()
    assert poll(lambda: not alive(driver.children), GONE_WITHIN_S)


# One child by itself.


def child(parent: int, *, longest_s: float = 30.0, stdin: int = subprocess.PIPE) -> subprocess.Popen[bytes]:
    end_s = SystemClock().now().elapsed_s + longest_s
    command = [sys.executable, "-I", "-S", str(Path(load_child.__file__)), str(parent), repr(end_s), "1.0"]
    return subprocess.Popen(command, stdin=stdin, bufsize=0)


def renew(one: subprocess.Popen[bytes], seconds: float) -> None:
    assert one.stdin is not None
    one.stdin.write(f"{SystemClock().now().elapsed_s + seconds!r}\n".encode())


@pytest.mark.parametrize(
    ("longest_s", "renewed_s", "code"),
    [
        pytest.param(30.0, None, load_child.LEASE_LOST, id="never-renewed"),
        pytest.param(30.0, 0.2, load_child.LEASE_LOST, id="renewed-once"),
        pytest.param(30.0, 3600.0, load_child.LEASE_LOST, id="renewed-for-longer-than-a-lease"),
        pytest.param(30.0, -5.0, load_child.LEASE_LOST, id="renewed-in-the-past"),
        pytest.param(30.0, float("nan"), load_child.LEASE_LOST, id="renewed-until-no-number"),
        pytest.param(0.3, 1.0, load_child.TIME_OVER, id="time-over"),
    ],
)
def test_a_child_ends_by_itself_and_says_why(longest_s: float, renewed_s: float | None, code: int) -> None:
    with child(os.getpid(), longest_s=longest_s) as one:
        if renewed_s is not None:
            renew(one, renewed_s)
        assert poll(lambda: one.poll() is not None, GONE_WITHIN_S)
        assert one.returncode == code


def test_a_child_whose_input_closes_ends() -> None:
    with child(os.getpid()) as one:
        renew(one, 1.0)
        assert one.stdin is not None
        one.stdin.close()
        assert poll(lambda: one.poll() is not None, GONE_WITHIN_S)
        assert one.returncode == load_child.INPUT_CLOSED


def test_a_child_whose_parent_is_gone_before_it_could_ask_ends() -> None:
    with child(1 if os.getpid() != 1 else 2) as one:
        assert poll(lambda: one.poll() is not None, GONE_WITHIN_S)
        assert one.returncode == load_child.PARENT_GONE


def test_the_kernel_ends_a_child_with_its_parent_though_lease_and_input_hold() -> None:
    # The test itself keeps the other end of the child's input open and goes on renewing.
    read, write = os.pipe()
    code = (
        "import os, subprocess, sys\n"
        "command = [sys.executable, '-I', '-S', sys.argv[1], str(os.getpid()), sys.argv[2], '30.0']\n"
        "print(subprocess.Popen(command, stdin=int(sys.argv[3])).pid, flush=True); sys.stdin.read()\n"
    )
    end_s = SystemClock().now().elapsed_s + 60
    parent = subprocess.Popen(
        [sys.executable, "-c", code, str(Path(load_child.__file__)), repr(end_s), str(read)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        pass_fds=[read],
    )
    try:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        os.write(write, f"{end_s!r}\n".encode())
        assert poll(lambda: worked_s(pid) > 0.1, START_WITHIN_S)
        parent.kill()
        assert poll(lambda: not alive((pid,)), GONE_WITHIN_S)
    finally:
        parent.kill()
        parent.communicate()
        os.close(read)
        os.close(write)
