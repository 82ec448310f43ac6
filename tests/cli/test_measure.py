"""`handback measure`: its JSON is what a program was promised, its view is what a person can read."""

import functools
import json
import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from verify.cli import main
from verify.machine import Pack
from verify.machine.simulated import LARKSPUR_15, SimulatedMachine
from verify.values import VirtualClock

KEYS = [
    "capacity_ah",
    "capacity_wh",
    "resistance_mohm",
    "phases",
    "steady_c",
    "time_constant_s",
    "gauge",
    "findings",
]
HEADING = "time_s,power_w,current_a,voltage_v,state_of_charge,remaining_wh,temperature_c,cpu_c,load"
EMPTIED_S = 1500.0


def line(at_s: float, machine: SimulatedMachine) -> str | None:
    sample = machine.sample()
    if not sample.packs:
        return None
    pack: Pack = sample.packs[0]
    warmest = max((one.celsius for one in sample.temperatures if one.celsius is not None), default=None)
    told = (
        pack.power_w,
        pack.current_a,
        pack.voltage_v,
        pack.state_of_charge,
        pack.remaining_wh,
        pack.temperature_c,
        warmest,
        sample.cpu.load,
    )
    cells = ("" if value is None else f"{value:.3f}" for value in told)
    return ",".join((f"{at_s:.0f}", *cells))


@functools.cache
def recorded(*faults: tuple[str, str]) -> str:
    """Return the log of a pack that runs the machine until it is empty and is then charged to full."""
    machine = SimulatedMachine(
        clock=VirtualClock(start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC)),
        seed=4,
        faults=dict(faults),
        level=0.07,
        description=LARKSPUR_15,
    )
    lines: list[str | None] = [HEADING]
    at_s = 0.0
    while at_s < 3.2 * 3600:
        lines.append(line(at_s, machine))
        if at_s == EMPTIED_S:
            machine.plug_in()
        machine.clock.wait(4.0)
        at_s += 4.0
    return "\n".join(one for one in lines if one is not None) + "\n"


@pytest.fixture
def log(tmp_path: Path) -> Callable[[str | bytes], Path]:
    def write(text: str | bytes) -> Path:
        place = tmp_path / "log.csv"
        place.write_bytes(text if isinstance(text, bytes) else text.encode())
        return place

    return write


def run(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[Any, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["measure", *map(str, arguments)])
    out, err = capsys.readouterr()
    return ended.value.code, out, err


def in_its_own_process(*arguments: str | Path, **environment: str) -> tuple[int, str, str]:
    finished = subprocess.run(
        [sys.executable, "-c", "from verify.cli import main; main()", "measure", *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, **environment},
    )
    return finished.returncode, finished.stdout, finished.stderr


def plain(value: float, told: Mapping[str, float]) -> bool:
    return told["low"] <= value <= told["high"]


def test_a_sound_pack_is_measured_and_its_gauge_believed(
    capsys: pytest.CaptureFixture[str], log: Callable[[str], Path]
) -> None:
    code, out, err = run(capsys, log(recorded()), "--label-wh", "57", "--cells", "3", "--json")
    told = json.loads(out)
    assert (code, err) == (0, "")
    assert list(told) == KEYS
    assert plain(LARKSPUR_15.pack.holds_wh, told["capacity_wh"])
    assert told["gauge"] == "truthful"
    assert [one["phase"] for one in told["phases"]][-3:] == ["constant current", "constant voltage", "full"]
    assert any("It holds 90 % of the label" in one["what"] for one in told["findings"])
    assert not any(one["weight"] == "fault" for one in told["findings"])


@pytest.mark.parametrize(
    "faults",
    [
        pytest.param((("pack-holds", "40 Wh"), ("gauge-boasts", "57 Wh")), id="level in proportion"),
        pytest.param((("pack-holds", "40 Wh"), ("gauge-leaps", "57 Wh")), id="leaps at the end"),
    ],
)
def test_a_gauge_that_boasts_is_a_finding(
    capsys: pytest.CaptureFixture[str], log: Callable[[str], Path], faults: tuple[tuple[str, str], ...]
) -> None:
    holds_wh = float(faults[0][1].split()[0])
    code, out, _ = run(capsys, log(recorded(*faults)), "--label-wh", "57", "--cells", "3", "--json")
    told = json.loads(out)
    assert code == 1
    assert told["gauge"] == "boastful"
    assert plain(holds_wh, told["capacity_wh"])
    assert any("It holds less than 90 % of the label" in one["what"] for one in told["findings"])


def test_a_gauge_that_learns_at_the_end_of_the_charge(
    capsys: pytest.CaptureFixture[str], log: Callable[[str], Path]
) -> None:
    place = log(recorded(("pack-holds", "31 Wh")))
    code, out, _ = run(capsys, place, "--label-wh", "57", "--cells", "3", "--json")
    told = json.loads(out)
    assert code == 1
    assert plain(31.0, told["capacity_wh"])
    assert told["gauge"] != "boastful"
    assert any("The gauge's claim went from 57" in one["what"] for one in told["findings"])


def test_what_a_log_cannot_tell_is_null(
    capsys: pytest.CaptureFixture[str], log: Callable[[str], Path]
) -> None:
    code, out, _ = run(capsys, log("time_s,voltage_v\n0,11.4\n1,11.4\n"), "--json")
    told = json.loads(out)
    assert code == 3
    assert list(told) == KEYS
    assert [told[key] for key in KEYS[:-1]] == [None, None, None, [], None, None, None]


def test_a_bound_that_is_infinite_is_null(
    capsys: pytest.CaptureFixture[str], log: Callable[[str], Path]
) -> None:
    rows = "".join(f"{second},3.0,11.4\n" for second in range(3600))
    code, out, _ = run(capsys, log(f"time_s,current_a,voltage_v\n{rows}"), "--json")
    told = json.loads(out)["capacity_ah"]
    assert code == 0
    assert (told["value"], told["high"]) == (None, None)
    assert 2.8 < told["low"] < 3.0


def test_an_assumed_error_widens_the_interval(
    capsys: pytest.CaptureFixture[str], log: Callable[[str], Path]
) -> None:
    place = log(recorded())
    widths = []
    for gain in ("0", "10"):
        _, out, _ = run(capsys, place, "--cells", "3", "--gain", gain, "--json")
        told = json.loads(out)["capacity_ah"]
        widths.append(told["high"] - told["low"])
    assert widths[1] > 1.3 * widths[0]


@pytest.mark.parametrize(
    ("text", "options", "code", "said"),
    [
        pytest.param("time,load\n0,1\n", (), 2, 'Did you mean "time"?', id="no time_s"),
        pytest.param("a,b\n0,1\n", (), 2, 'Columns found: "a", "b".', id="another table"),
        pytest.param(f"{HEADING}\n", ("--claimed-wh", "0"), 2, "--claimed-wh is 0", id="a claim of nothing"),
        pytest.param(f"{HEADING}\n", ("--claimed-wh", "nan"), 2, "--claimed-wh is nan", id="a claim of NaN"),
        pytest.param(
            f"{HEADING}\n",
            ("--gain", "80"),
            2,
            "--gain is 80: it must be 0 or more, and below 50",
            id="an error as large as the value",
        ),
        pytest.param(f"{HEADING}\n", ("--offset", "nan"), 2, "--offset is nan", id="an error of NaN"),
        pytest.param(f"{HEADING}\n", ("--claimed-wh", "1e-9"), 2, "--claimed-wh is 1e-09", id="no claim"),
        pytest.param("time_s,voltage_v\n0,12\n", ("--cells", "1"), 2, "--cells is 1", id="too few cells"),
        pytest.param("time_s,voltage_v\n0,11\n", ("--cells", "6"), 2, "--cells is 6", id="too many cells"),
        pytest.param(f"{HEADING}\n", ("--cells", "0"), 2, "--cells", id="no cells"),
        pytest.param("", (), 3, "nothing was recorded", id="empty"),
        pytest.param(f"{HEADING}\n", (), 3, "nothing was recorded", id="heading only"),
        pytest.param("time_s,load\n5,1\n", (), 3, "one time only", id="one row"),
    ],
)
def test_exit_codes_and_what_to_do(
    capsys: pytest.CaptureFixture[str],
    log: Callable[[str], Path],
    text: str,
    options: tuple[str, ...],
    code: int,
    said: str,
) -> None:
    got, out, err = run(capsys, log(text), *options)
    assert got == code
    assert said in out + err
    assert "Traceback" not in out + err


def test_a_file_that_is_not_there(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, err = run(capsys, tmp_path / "none.csv")
    assert (code, out) == (2, "")
    assert "There is no file" in err


@pytest.mark.parametrize("columns", [60, 100], ids=str)
def test_the_page_keeps_to_a_narrow_window(log: Callable[[str], Path], columns: int) -> None:
    place = log(recorded(("pack-holds", "40 Wh"), ("gauge-leaps", "57 Wh")))
    code, out, err = in_its_own_process(place, "--label-wh", "57", "--cells", "3", COLUMNS=str(columns))
    assert (code, err) == (1, "")
    lines = out.splitlines()
    assert max(map(len, lines)) <= columns
    text = " ".join(" ".join(lines).split())
    for told in (
        "x BOASTFUL. The gauge claims more than the pack holds.",
        "Gauge claims 57.0 Wh measured: 7",
        "Label says 57.0 Wh",
        "constant voltage",
        "x Its level leapt by",
        "Next: ",
        "What this log cannot tell ? Resistance: The current made no step.",
    ):
        assert told in text


def test_a_log_of_heat_says_nothing_of_a_pack_and_nothing_twice(
    capsys: pytest.CaptureFixture[str], log: Callable[[str], Path]
) -> None:
    code, out, _ = run(capsys, log("time_s,cpu_c\n" + "".join(f"{at_s},50\n" for at_s in range(30))))
    assert code == 3
    assert "Measured" not in out
    assert "Nothing amiss" not in out
    assert out.count("Too early") == 1


def test_what_a_log_holds_cannot_command_a_terminal(
    capsys: pytest.CaptureFixture[str], log: Callable[[str], Path]
) -> None:
    _, out, err = run(capsys, log("time_s,\x1b[2Jload,load\n0,1,\x1b]0;x\x07\n1,1,\u202e1\n2,1,1\n"))
    assert not set(out + err) & {"\x1b", "\x07", "\u202e"}


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    text=st.one_of(
        st.text(max_size=200),
        st.binary(max_size=200).map(lambda some: some.decode("latin-1")),
        st.lists(st.lists(st.floats(), min_size=9, max_size=9), max_size=30).map(
            lambda rows: "\n".join((HEADING, *(",".join(map(repr, row)) for row in rows)))
        ),
        st.lists(st.lists(st.integers(0, 12), min_size=9, max_size=9), max_size=60).map(
            lambda rows: "\n".join((HEADING, *(",".join(map(str, row)) for row in rows)))
        ),
    )
)
def test_any_text_ends_in_a_result_or_one_of_our_errors(
    capsys: pytest.CaptureFixture[str], log: Callable[[bytes], Path], text: str
) -> None:
    code, out, err = run(capsys, log(text.encode(errors="surrogatepass")), "--json")
    assert code in (0, 1, 2, 3)
    assert "Traceback" not in err
    assert "fault in the tool" not in err
    if code == 2:
        assert err.startswith("handback: ")
        assert out == ""
    else:
        assert list(json.loads(out)) == KEYS
