"""What is said about a log as a file: what was passed over, how often, where first, and what to do."""

from collections.abc import Iterator

from verify.machine.recorded.figures import Figures
from verify.machine.recorded.heading import TIME, Heading, near_names
from verify.machine.recorded.remark import Remark
from verify.machine.recorded.rows import Rows
from verify.values.errors import FileFormatError

__all__ = ["about_cells", "about_heading", "about_rows", "no_row"]

_NAMED = 6

_OTHER_UNIT = {
    TIME: "It is in seconds: divide milliseconds by 1000.",
    "power_w": "It is in watts: divide milliwatts by 1000.",
    "current_a": "It is in amperes: divide milliamperes by 1000.",
    "voltage_v": "It is in volts: divide millivolts by 1000.",
    "remaining_wh": "It is in watt-hours: divide milliwatt-hours by 1000.",
    "temperature_c": "It is in degrees Celsius.",
    "cpu_c": "It is in degrees Celsius.",
    "state_of_charge": "It is 0 to 1, or 0 to 100.",
    "load": "It is 0 to 1, or 0 to 100.",
}


def about_heading(heading: Heading) -> Iterator[Remark]:
    """Name the columns that are not known, with what they probably are, and those that are there twice."""
    if heading.unknown:
        names = ", ".join(f'"{name}"' for name in heading.unknown[:_NAMED])
        more = f" and {len(heading.unknown) - _NAMED} more" if len(heading.unknown) > _NAMED else ""
        one = len(heading.unknown) == 1
        meant = [(name, near_names(name)) for name in heading.unknown]
        hints = [
            f'"{name}": did you mean {near}?' for name, near in meant if near and near not in heading.places
        ]
        yield Remark(
            what=f"{'Column' if one else 'Columns'} not known and not read: {names}{more}.",
            next_step=" ".join(hints[:_NAMED]),
        )
    for name in dict.fromkeys(heading.twice):
        yield Remark(what=f'The column "{name}" is there more than once: the first one is read.')


def about_rows(rows: Rows, *, zeros: int, cut: bool) -> Iterator[Remark]:
    """Tell which lines were no rows. cut: the last line has no end and is one of them."""
    if cut:
        yield Remark(what="The last line is cut off: it is left out.")
    unfit = rows.unfit - cut
    if unfit:
        yield Remark(
            what=f"{_lines(unfit)} not as many fields as the heading, and {'is' if unfit == 1 else 'are'} "
            f"left out; the first is line {rows.first_unfit}."
        )
    if rows.started_again:
        count = rows.started_again
        yield Remark(
            what=f"The heading stands in the log {'once' if count == 1 else f'{count} times'} more: "
            "the recording was started again."
        )
    if rows.untimed:
        yield Remark(what=f"{_rows(rows.untimed)} without a time left out.")
    if zeros:
        yield Remark(
            what=f"{zeros} zero bytes in the log were passed over.",
            next_step="Such a file was often being written when power failed. Look at its last rows.",
        )


def about_cells(rows: Rows) -> Iterator[Remark]:
    """Tell which cells hold no number, or one that cannot be; those values are unknown."""
    for name, figures in rows.columns.items():
        if figures.first_text is not None:
            line, cell = figures.first_text
            yield Remark(
                what=f'"{name}": {_values(figures.text)} no number and unknown; '
                f'the first is "{cell}" in line {line}.'
            )
        if figures.first_beyond is not None:
            line, cell = figures.first_beyond
            whole = " The column must be in another unit: none of it is read." if figures.other_unit else ""
            yield Remark(
                what=f'"{name}": {_values(figures.beyond)} beyond what can be and unknown; '
                f'the first is "{cell}" in line {line}.{whole}',
                next_step=_OTHER_UNIT[name],
            )


def no_row(heading: Heading, rows: Rows) -> FileFormatError:
    """Return the error for a log with lines none of which is a row with a time."""
    times = rows.columns[TIME]
    if rows.untimed:
        return FileFormatError(
            f'No row has a time in seconds in "{TIME}"{_example(times)}.', next_step=_time(times)
        )
    commas = heading.separator == ","
    return FileFormatError(
        f"No line has {heading.width} fields, as the heading has; the first that differs is line "
        f"{rows.first_unfit}.",
        next_step="Where numbers are written with a decimal comma, separate the columns by semicolons."
        if commas
        else "Separate the fields of every line as those of the heading.",
    )


def _example(times: Figures) -> str:
    first = times.first_text or times.first_beyond
    return f'; line {first[0]} has "{first[1]}"' if first else ""


def _time(times: Figures) -> str:
    return _OTHER_UNIT[TIME] if times.first_beyond else "Write it as a number of seconds, such as 90.5."


def _lines(count: int) -> str:
    return "1 line has" if count == 1 else f"{count} lines have"


def _rows(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"


def _values(count: int) -> str:
    return "1 value is" if count == 1 else f"{count} values are"
