"""A trace that is gone on with: nothing of it is lost but a torn end, in whatever format it was begun."""

from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from verify.checklist.shipped import shipped_checklists
from verify.machine import Sample
from verify.machine.simulated import SimulatedMachine
from verify.probe import Context, Finding, make_probe
from verify.run.background import Watch
from verify.run.trace import Trace
from verify.testing.traces import samples_in
from verify.values import VirtualClock
from verify.values.errors import UnknownFormatError


def _watched(looks: int) -> list[Sample]:
    clock = VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC))
    machine = SimulatedMachine(clock=clock)
    found = []
    for _ in range(looks):
        clock.wait(10.003)
        found.append(machine.sample())
    return found


def _path(folder: Path) -> Path:
    return folder / "traces" / "00001-charge-to-full.jsonl"


def _write(path: Path, samples: list[Sample]) -> tuple[list[Sample], list[Sample], str]:
    """Go on with a trace; return what earlier sessions left, what was kept now, and the seal."""
    trace = Trace(path)
    earlier = list(trace.take_earlier())
    kept = [trace.write(sample) for sample in samples]
    assert trace.samples == len(earlier) + len(kept)
    return earlier, kept, trace.seal()


def _begin_old(path: Path, samples: list[Sample]) -> None:
    path.parent.mkdir()
    path.write_bytes(b"".join(msgspec.json.encode(sample) + b"\n" for sample in samples))


@pytest.mark.parametrize("left", range(8))
def test_a_resume_at_any_line_feeds_what_was_fed(left: int, tmp_path: Path) -> None:
    samples = _watched(8)
    _, first, _ = _write(_path(tmp_path), samples[:left])
    earlier, second, _ = _write(_path(tmp_path), samples[left:])
    assert earlier == first
    assert samples_in(_path(tmp_path).read_bytes()) == first + second
    # It begins with a whole line again: what was cut off before it does not count.
    begun = _path(tmp_path).read_bytes().splitlines()[1 + left]
    assert begun.startswith(b'{"at"')


def test_a_torn_tail_of_any_length_is_cut_off_and_kept_beside(tmp_path: Path) -> None:
    samples = _watched(5)
    _, kept, _ = _write(_path(tmp_path), samples)
    whole = _path(tmp_path).read_bytes()
    for length in range(len(whole)):
        folder = tmp_path / f"cut at {length}"
        path = _path(folder)
        path.parent.mkdir(parents=True)
        path.write_bytes(whole[:length])
        lines = whole[:length].count(b"\n")
        earlier, again, _ = _write(path, samples[max(0, lines - 1) :])
        assert earlier == kept[: max(0, lines - 1)]
        assert samples_in(path.read_bytes()) == earlier + again
        torn = whole[:length].rpartition(b"\n")[2]
        beside = [one.read_bytes() for one in path.parent.iterdir() if one != path]
        assert beside == ([torn] if torn else [])


@pytest.mark.parametrize(
    "bad",
    [b"\0" * 40, b"[1000,", b"\xff", b"[1,2,3,4,5,6,7,8,9,0,1,2,3,4,5,6,7,8,9]", b'{"x":' + b"[" * 200_000],
    ids=["nulls", "torn", "no text", "too many", "too deep"],
)
def test_from_a_bad_line_on_all_is_kept_beside(bad: bytes, tmp_path: Path) -> None:
    samples = _watched(6)
    _, kept, _ = _write(_path(tmp_path), samples)
    lines = _path(tmp_path).read_bytes().splitlines(keepends=True)
    _path(tmp_path).write_bytes(b"".join((*lines[:4], bad + b"\n", *lines[4:])))
    earlier, again, _ = _write(_path(tmp_path), samples[:2])
    assert earlier == kept[:3]
    assert samples_in(_path(tmp_path).read_bytes()) == earlier + again
    beside = [one.read_bytes() for one in _path(tmp_path).parent.iterdir() if one != _path(tmp_path)]
    assert beside == [b"".join((bad + b"\n", *lines[4:]))]


def test_a_trace_of_an_earlier_version_is_gone_on_with_as_it_is(tmp_path: Path) -> None:
    samples = _watched(6)
    _begin_old(_path(tmp_path), samples[:3])
    earlier, kept, _ = _write(_path(tmp_path), samples[3:])
    assert earlier == samples[:3]
    data = _path(tmp_path).read_bytes()
    assert [line[:5] for line in data.splitlines()] == [b'{"at"'] * 6
    assert samples_in(data) == earlier + kept
    assert _write(_path(tmp_path), [])[0] == earlier + kept


def test_nothing_but_rubbish_is_begun_anew_in_the_present_format(tmp_path: Path) -> None:
    _path(tmp_path).parent.mkdir()
    _path(tmp_path).write_bytes(b"\0" * 100 + b"\n")
    samples = _watched(2)
    assert _write(_path(tmp_path), samples)[0] == []
    assert _path(tmp_path).read_bytes().startswith(b'{"format":"trace/2"}\n')


def test_a_trace_of_a_later_version_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    _path(tmp_path).parent.mkdir()
    data = b'{"format":"trace/3"}\n\x01\x02'
    _path(tmp_path).write_bytes(data)
    with pytest.raises(UnknownFormatError, match="trace/3"):
        Trace(_path(tmp_path))
    assert _path(tmp_path).read_bytes() == data
    assert list(_path(tmp_path).parent.iterdir()) == [_path(tmp_path)]


def test_a_watch_that_saw_nothing_has_a_format_all_the_same(tmp_path: Path) -> None:
    _write(_path(tmp_path), [])
    assert _path(tmp_path).read_bytes() == b'{"format":"trace/2"}\n'
    assert _write(_path(tmp_path), [])[0] == []


# ---------------------------------------------------------------- what a check finds of it


def _watch(path: Path, machine: SimulatedMachine) -> Watch:
    check = next(
        check for one in shipped_checklists() for check in one.checks if check.probe == "charge-to-full"
    )
    probe = make_probe("charge-to-full", {}, Context(label_wh=57.0))
    return Watch(check, probe, path.name, Trace(path), since=machine.clock.now())


def _charged(path: Path, machine: SimulatedMachine, clock: VirtualClock) -> tuple[Finding, list[Sample]]:
    """Watch a charge to its end as it happens; return what was found, and what the machine read."""
    watch, read = _watch(path, machine), list[Sample]()
    while len(read) < 5000:
        read.append(machine.sample())
        found = watch.step(watch.trace.write(read[-1]))
        if found is not None:
            watch.trace.close()
            return found, read
        if watch.working.want is not None:
            machine.obey(watch.working.want)
        clock.wait(10.003)
    raise AssertionError("It has not ended.")


def test_a_charge_gone_on_with_at_any_line_comes_to_the_same(tmp_path: Path) -> None:
    clock = VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC))
    machine = SimulatedMachine(clock=clock, level=0.12)
    found, read = _charged(_path(tmp_path), machine, clock)
    assert any(reading.value is not None for reading in found.readings)
    for number, cut in enumerate((0, 1, 2, 7, len(read) // 3, 299, 300, 301, len(read) - 2, len(read) - 1)):
        path = _path(tmp_path / str(number))
        first = _watch(path, machine)
        assert [first.step(first.trace.write(sample)) for sample in read[:cut]] == [None] * cut
        first.trace.close()
        with path.open("ab") as file:
            file.write(b'[10003,4,{"')  # torn in the middle of a write
        second = _watch(path, machine)
        ends = [second.step(second.trace.write(sample)) for sample in read[cut:]]
        assert ends[:-1] == [None] * (len(ends) - 1)
        assert ends[-1] == found
        second.trace.close()
        # All fed again, as after a cut before the finding was written down.
        again = _watch(path, machine)
        assert again.finding == found
        again.trace.close()
