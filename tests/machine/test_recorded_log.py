"""A recorded log is read whatever state it is in: every fault is said, nothing made up, nothing crashes."""

import csv
import io
import math
import os
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.machine.recorded import KNOWN_COLUMNS, RecordedLog, read_log
from verify.values.errors import FileFormatError, HandbackError, WrongUseError

HEADING = "time_s,current_a,voltage_v"
ROWS = [f"{second},{2 + second % 3 * 0.125},{11 + second / 1024}" for second in range(200)]
TABLE = "\n".join((HEADING, *ROWS)) + "\n"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


def read(log: Path, text: str | bytes) -> RecordedLog:
    log.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(log)


def said(found: RecordedLog) -> str:
    return " ".join(f"{remark.what} {remark.next_step}" for remark in found.remarks)


def same(one: RecordedLog, two: RecordedLog) -> bool:
    return one.times_s == two.times_s and one.columns == two.columns


def with_decimal_commas(text: str) -> str:
    return text.replace(",", ";").replace(".", ",")


def quoted(text: str) -> str:
    written = io.StringIO()
    csv.writer(written, quoting=csv.QUOTE_ALL).writerows(csv.reader(io.StringIO(text)))
    return written.getvalue()


def test_every_number_is_the_one_that_was_written(log: Path) -> None:
    found = read(log, TABLE)
    rows = [[float(cell) for cell in row] for row in list(csv.reader(io.StringIO(TABLE)))[1:]]
    told = zip(found.times_s, found.columns["current_a"], found.columns["voltage_v"], strict=True)
    assert [list(row) for row in told] == rows
    assert (found.rows, found.remarks) == (200, ())


@pytest.mark.parametrize(
    "written",
    [
        pytest.param(TABLE.encode("utf-8-sig"), id="byte order mark"),
        pytest.param(TABLE.encode("utf-16"), id="UTF-16"),
        pytest.param(TABLE.encode("utf-16-be"), id="UTF-16 without a mark"),
        pytest.param(TABLE.encode("utf-32"), id="UTF-32"),
        pytest.param(TABLE.replace("\n", "\r\n").encode(), id="CRLF"),
        pytest.param(TABLE.replace("\n", "\r").encode(), id="CR alone"),
        pytest.param(TABLE.replace(",", ";").encode(), id="semicolons"),
        pytest.param(TABLE.replace(",", "\t").encode(), id="tabs"),
        pytest.param(with_decimal_commas(TABLE).encode(), id="decimal commas"),
        pytest.param(quoted(TABLE).encode(), id="quoted"),
        pytest.param(
            "\n".join(f'"{line}"' for line in with_decimal_commas(TABLE).split())
            .replace(";", '","')
            .encode(),
            id="quoted commas",
        ),
        pytest.param(TABLE.rstrip("\n").encode(), id="no newline at the end"),
        pytest.param(
            ("\n\n# written by a recorder\n" + TABLE.replace("\n", "\n\n")).encode(), id="blank lines"
        ),
        pytest.param(
            TABLE.replace("time_s", "# Time_S").replace("current_a", " CURRENT-A ").encode(),
            id="case and blanks",
        ),
        pytest.param(TABLE.replace("\n", ",\n").encode(), id="a separator at each end"),
        pytest.param(TABLE.replace(HEADING, HEADING + ",,").replace("\n", ",,\n").encode(), id="two of them"),
    ],
)
def test_the_same_table_however_it_is_written(log: Path, written: bytes) -> None:
    found = read(log, written)
    assert same(found, read(log, TABLE))
    assert found.remarks == ()


def test_columns_in_any_order(log: Path) -> None:
    swapped = "\n".join(",".join(reversed(line.split(","))) for line in TABLE.splitlines())
    assert same(read(log, swapped), read(log, TABLE))


def test_letters_of_another_encoding_harm_a_name_at_most(log: Path) -> None:
    found = read(log, "time_s;Gerät;voltage_v\n1;°;11,5\n2;°;11,6\n".encode("latin-1"))
    assert list(found.columns["voltage_v"]) == [11.5, 11.6]
    assert "Column not known" in said(found)


def test_shuffled_rows_are_sorted_and_said(log: Path) -> None:
    rows = ROWS[:]
    random.Random(5).shuffle(rows)
    found = read(log, "\n".join((HEADING, *rows)))
    assert same(found, read(log, TABLE))
    assert "were sorted" in said(found)


def test_two_halves_in_the_wrong_order_are_sorted(log: Path) -> None:
    found = read(log, "\n".join((HEADING, *ROWS[100:], *ROWS[:100])))
    assert same(found, read(log, TABLE))


def test_rows_that_are_there_twice_count_once(log: Path) -> None:
    found = read(log, "\n".join((HEADING, *ROWS, *ROWS)))
    assert same(found, read(log, TABLE))
    assert "200 rows share their time with another" in said(found)


def test_a_clock_that_went_back_does_not_mix_two_recordings(log: Path) -> None:
    later = [f"{second - 60},9,9" for second in range(100, 150)]
    found = read(log, "\n".join((HEADING, *ROWS[:100], *later)))
    assert list(found.times_s) == [float(second) for second in range(100)]
    assert 9.0 not in found.columns["current_a"]
    assert "The clock went back once" in said(found)
    assert "Split the log" in said(found)


def test_a_neighbour_out_of_order_is_no_second_recording(log: Path) -> None:
    rows = ROWS[:]
    rows[100], rows[101] = rows[101], rows[100]
    assert same(read(log, "\n".join((HEADING, *rows))), read(log, TABLE))


def test_rows_of_one_time_are_their_mean(log: Path) -> None:
    found = read(log, "time_s,current_a\n0,1\n0,3\n0,\n1,2\n")
    assert list(found.times_s) == [0.0, 1.0]
    assert list(found.columns["current_a"]) == [2.0, 2.0]


def test_a_pause_of_a_week_ends_the_log(log: Path) -> None:
    found = read(log, "time_s,current_a\n0,1\n1,1\n2,1\n9e9,1\n")
    assert list(found.times_s) == [0.0, 1.0, 2.0]
    assert "more than a week" in said(found)


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("abc", 'no number and unknown; the first is "abc" in line 4'),
        ("12.0 V", 'the first is "12.0 V"'),
        ("inf", 'the first is "inf"'),
        ("1_0", 'the first is "1_0"'),
        ("0x10", 'the first is "0x10"'),
        ("1,5", ""),
        ("1e999", "beyond what can be"),
        ("12000", "divide millivolts by 1000"),
        ("0", "beyond what can be"),
        ("\x1b[2J", 'the first is "�[2J"'),
        ("nan", ""),
        ("", ""),
        ("n/a", ""),
    ],
    ids=repr,
)
def test_a_value_that_is_none_is_unknown_counted_and_said(log: Path, cell: str, told: str) -> None:
    rows = "".join(f"{second};11.5\n" for second in range(3, 20))
    found = read(log, f"time_s;voltage_v\n0;11.5\n1;11.5\n2;{cell}\n{rows}")
    assert len(found.times_s) == 20
    assert math.isnan(found.columns["voltage_v"][2])
    assert told in said(found)
    assert (cell in ("nan", "", "n/a")) == (not found.remarks)


def test_a_column_in_milliamperes_is_not_read_as_amperes_where_they_are_few(log: Path) -> None:
    taper = [2500 - 25 * second for second in range(100)]
    rows = "".join(f"{second},{amps},11.5\n" for second, amps in enumerate(taper))
    found = read(log, f"{HEADING}\n{rows}")
    assert set(found.columns) == {"voltage_v"}
    assert "another unit: none of it is read" in said(found)
    assert "divide milliamperes by 1000" in said(found)


def test_a_row_without_a_time_is_left_out(log: Path) -> None:
    found = read(log, "time_s,voltage_v\n0,11\n,12\nx,13\n3,14\n")
    assert list(found.columns["voltage_v"]) == [11.0, 14.0]
    assert "2 rows without a time left out" in said(found)


def test_a_cut_last_line_is_left_out_and_no_other(log: Path) -> None:
    found = read(log, TABLE + "200,2.0")
    assert same(found, read(log, TABLE))
    assert "The last line is cut off" in said(found)


def test_lines_that_are_no_rows_are_counted(log: Path) -> None:
    found = read(log, TABLE.replace("\n50,", "\n50\n50,").replace("\n70,", "\n1,2,3,4,5\n70,"))
    assert same(found, read(log, TABLE))
    assert "2 lines have not as many fields" in said(found)
    assert "line 52" in said(found)


def test_a_quotation_mark_that_nobody_closed_swallows_nothing(log: Path) -> None:
    found = read(log, 'time_s,current_a,note\n0,1,"plugged in\n1,2,b\n2,3,"said ""c""\nand more"\n3,4,d\n')
    assert list(found.columns["current_a"]) == [1.0, 2.0, 3.0, 4.0]


def test_a_heading_in_the_middle_is_a_new_start(log: Path) -> None:
    found = read(log, "\n".join((HEADING, *ROWS[:100], HEADING, *ROWS[100:])))
    assert same(found, read(log, TABLE))
    assert "started again" in said(found)


def test_zero_bytes_after_a_power_cut(log: Path) -> None:
    found = read(log, TABLE.encode() + bytes(700))
    assert same(found, read(log, TABLE))
    assert "700 zero bytes" in said(found)


@pytest.mark.parametrize(("most", "fractions"), [(1, True), (1.05, True), (57, False), (100, False)], ids=str)
def test_a_level_is_a_fraction_or_per_cent_by_its_range(log: Path, most: float, fractions: bool) -> None:  # noqa: FBT001
    found = read(log, f"time_s,state_of_charge,load\n0,{most / 2},0\n1,{most},0.5\n")
    assert found.columns["state_of_charge"][1] == pytest.approx(most if fractions else most / 100)
    assert ("taken as a fraction" if fractions else "taken as per cent") in said(found)


def test_unknown_columns_are_named_with_what_they_may_be(log: Path) -> None:
    found = read(log, "time_s,Voltage [V],SoC,power_w,zebra,power_w\n0,11,50,20,1,2\n")
    assert list(found.columns) == ["power_w"]
    assert '"Voltage [V]": did you mean voltage_v?' in said(found)
    assert '"SoC": did you mean state_of_charge?' in said(found)
    assert '"zebra"' in said(found)
    assert "more than once" in said(found)


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff", "time_s,current_a\n", "time_s"], ids=repr)
def test_a_log_without_rows_is_one(log: Path, text: str) -> None:
    found = read(log, text)
    assert (len(found.times_s), found.rows, found.columns) == (0, 0, {})
    assert "nothing was recorded" in said(found)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        pytest.param(
            "time,current_a\n0,1\n",
            'Columns found: "time", "current_a". Did you mean "time"?',
            id="named otherwise",
        ),
        pytest.param("0,1.5\n1,2\n", "numbers, not names", id="no heading"),
        pytest.param("a,b\n", 'Columns found: "a", "b"', id="another table"),
        pytest.param("time_s,load\n10:00:00,1\n10:00:01,1\n", 'line 2 has "10:00:00"', id="time of day"),
        pytest.param("time_s,load\n1764000000000,1\n", "divide milliseconds by 1000", id="milliseconds"),
        pytest.param(
            "time_s,load\n0,0,1,5\n0,5,1,5\n", "separate the columns by semicolons", id="commas for both"
        ),
        pytest.param("time_s,\x1b]0;x\n" * 80_000, "", id="repeated"),
        pytest.param("time_s," * 200_000, "no text table", id="one endless line"),
        pytest.param("\x00\x01\x02PK\x03\x04,;", "Columns found", id="another kind of file"),
    ],
)
def test_what_is_no_such_table_is_told_with_what_to_do(log: Path, text: str, what: str) -> None:
    if not what:
        assert read(log, text).rows == 0
        return
    with pytest.raises(FileFormatError) as told:
        read(log, text)
    assert what in str(told.value)
    assert told.value.next_step


def test_a_folder_a_device_and_a_pipe_are_refused(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for place in (tmp_path, Path("/dev/zero"), pipe, tmp_path / "none", tmp_path / "a\0b"):
        with pytest.raises(WrongUseError) as told:
            read_log(place)
        assert told.value.next_step


NUMBERS = st.one_of(
    st.floats().map(repr),
    st.integers().map(str),
    st.sampled_from(
        ["", "nan", "-", "1,5", '"', '"1,5"', "\0", "1e400", "0x1", "\ufeff", "1_0", "\u0661", "#"]
    ),
    st.text(max_size=4),
)


@settings(max_examples=300, deadline=None)
@given(
    names=st.lists(st.sampled_from([*KNOWN_COLUMNS, "note", "", "Time_S"]), min_size=1, max_size=6),
    rows=st.lists(st.lists(NUMBERS, max_size=7), max_size=12),
    separator=st.sampled_from(",;\t|"),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-16", "utf-16-le", "utf-8-sig"]),
)
def test_any_table_is_read_or_refused_in_one_line(
    tmp_path_factory: pytest.TempPathFactory,
    names: list[str],
    rows: list[list[str]],
    separator: str,
    end: str,
    encoding: str,
) -> None:
    lines = [separator.join(row) for row in (names, *rows)]
    log = tmp_path_factory.getbasetemp() / "any.csv"
    holds(read_or_none(log, end.join(lines).encode(encoding, errors="surrogatepass")))


@settings(max_examples=300, deadline=None)
@given(data=st.one_of(st.binary(max_size=300), st.binary(max_size=100).map(b"time_s,load\n0,1\n".__add__)))
def test_any_bytes_are_read_or_refused_in_one_line(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    holds(read_or_none(tmp_path_factory.getbasetemp() / "bytes.csv", data))


def read_or_none(log: Path, data: bytes) -> RecordedLog | None:
    log.write_bytes(data)
    refusal = None
    try:
        return read_log(log)
    except HandbackError as error:
        refusal = error
    assert "\n" not in str(refusal)
    assert refusal.next_step
    return None


def holds(found: RecordedLog | None) -> None:
    """Assert what every log that was read keeps to."""
    if found is None:
        return
    assert all(math.isfinite(at_s) for at_s in found.times_s)
    assert all(one < two for one, two in zip(found.times_s, found.times_s[1:], strict=False))
    for name, column in found.columns.items():
        assert name in KNOWN_COLUMNS
        assert len(column) == len(found.times_s)
        assert not any(math.isinf(value) for value in column)
        assert any(not math.isnan(value) for value in column)
