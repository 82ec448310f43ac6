"""Lines over time: where they lie, what breaks them, and that no number can spoil the drawing."""

import itertools
import math
import re
from collections.abc import Sequence
from xml.etree import ElementTree as ET

import pytest

from verify.report.plots.lines import Line, Panel, Span, TimeUnit, lines_over_time
from verify.report.plots.rows import Column, rows_of
from verify.values.errors import InvalidValueError

_MINUTES = TimeUnit(name="minutes", seconds=60.0)
_LEVEL = (0.0, 25.0, 50.0, 75.0, 100.0)
_TIMES = (0.0, 60.0, 120.0, 180.0, 240.0)


def _panel(*values: Sequence[float], limit: tuple[float, str] | None = None) -> Panel:
    names = ("first", "second", "third", "fourth")
    return Panel(
        name="Level, %",
        lines=tuple(Line(name=name, values=one) for name, one in zip(names, values, strict=False)),
        low=0.0,
        high=100.0,
        limit=limit,
    )


def _draw(
    *panels: Panel, times: Sequence[float] = _TIMES, spans: tuple[Span, ...] = (), says: str = "It rises."
) -> ET.Element:
    drawn = lines_over_time(
        times, panels, unit=_MINUTES, title="The charge over time", says=says, spans=spans
    )
    return ET.fromstring(str(drawn))


def _of_class(drawing: ET.Element, tag: str, look: str) -> list[ET.Element]:
    return [one for one in drawing.iter(tag) if look in one.attrib.get("class", "").split()]


def _places(path: ET.Element) -> list[tuple[float, float]]:
    numbers = [float(number) for number in re.findall(r"-?[\d.e+]+", path.attrib["d"])]
    return list(itertools.pairwise(numbers))[::2]


def _texts(drawing: ET.Element, look: str) -> list[str]:
    return [one.text or "" for one in _of_class(drawing, "text", look)]


def test_a_line_lies_where_its_numbers_are() -> None:
    drawing = _draw(_panel(_LEVEL))
    (course,) = _of_class(drawing, "path", "course")
    places = _places(course)
    assert [x for x, _ in places] == [62, 203, 344, 485, 626]
    assert [y for _, y in places] == [164, 135, 106, 77, 48]


def test_the_axes_carry_round_numbers_and_their_units() -> None:
    drawing = _draw(_panel(_LEVEL))
    assert _texts(drawing, "strong") == ["Level, %"]
    assert _texts(drawing, "quiet") == ["0", "50", "100", "0", "1", "2", "3", "4", "minutes"]


def test_a_drawing_says_in_words_what_it_says() -> None:
    drawing = _draw(_panel(_LEVEL), says="From 0 to <100> %.\u202e")
    assert drawing.attrib["role"] == "img"
    assert [drawing[0].text, drawing[1].text] == ["The charge over time", "From 0 to <100> %.⟨U+202E⟩"]


@pytest.mark.parametrize(
    "hole",
    [math.nan, math.inf, -math.inf, 1e308, -1e308],
    ids=["nan", "inf", "-inf", "huge", "-huge"],
)
def test_what_is_unknown_is_a_gap_and_never_a_number(hole: float) -> None:
    drawing = _draw(_panel((0.0, 25.0, hole, 75.0, 100.0)))
    first, second = (_places(one) for one in _of_class(drawing, "path", "course"))
    assert [x for x, _ in first] == [62, 203]
    assert [x for x, _ in second] == [485, 626]
    assert "nan" not in ET.tostring(drawing, encoding="unicode").lower()


def test_a_long_pause_is_a_gap() -> None:
    times = (0.0, 1.0, 2.0, 500.0, 501.0)
    assert len(_of_class(_draw(_panel(_LEVEL), times=times), "path", "course")) == 2


def test_a_reading_between_two_gaps_is_seen() -> None:
    drawing = _draw(_panel((math.nan, math.nan, 50.0, math.nan, math.nan)))
    ((left, right),) = (_places(one) for one in _of_class(drawing, "path", "course"))
    assert (left, right) == ((343, 106), (345, 106))


def test_lines_are_told_apart_by_dash_and_name() -> None:
    drawing = _draw(_panel(_LEVEL, _LEVEL[::-1], (50.0,) * 5))
    assert len(_of_class(drawing, "path", "one")) == 1
    assert len(_of_class(drawing, "path", "two")) == 1
    assert len(_of_class(drawing, "path", "three")) == 1
    assert {"first", "second", "third"} <= set(_texts(drawing, "quiet"))
    samples = {one.attrib["class"] for one in _of_class(drawing, "line", "course")}
    assert samples == {"course one", "course two", "course three"}


def test_names_of_lines_never_leave_the_drawing() -> None:
    long = Panel(
        name="Fan speed, rpm",
        lines=tuple(Line(name="a fan of a very long name" * 9, values=_LEVEL) for _ in range(2)),
    )
    drawing = _draw(long)
    for one in _of_class(drawing, "line", "course"):
        assert float(one.attrib["x1"]) > 0


def test_the_limit_is_a_line_with_its_words() -> None:
    drawing = _draw(_panel(_LEVEL, limit=(99.0, "limit 99 %")))
    (limit,) = _of_class(drawing, "line", "limit")
    assert float(limit.attrib["y1"]) == float(limit.attrib["y2"]) == pytest.approx(49.2)
    assert "limit 99 %" in _texts(drawing, "quiet")


def test_a_limit_beyond_all_readings_stands_on_the_scale() -> None:
    drawing = _draw(_panel(_LEVEL, limit=(140.0, "limit")))
    (limit,) = _of_class(drawing, "line", "limit")
    assert 48 <= float(limit.attrib["y1"]) <= 164


def test_panels_share_the_time() -> None:
    drawing = _draw(_panel(_LEVEL), _panel(_LEVEL), _panel(_LEVEL))
    across = [[x for x, _ in _places(one)] for one in _of_class(drawing, "path", "course")]
    assert across[0] == across[1] == across[2]
    heights = [_places(one)[0][1] for one in _of_class(drawing, "path", "course")]
    assert heights == [164, 338, 512]
    assert drawing.attrib["viewBox"] == "0 0 640 570"


@pytest.mark.parametrize("count", [2, 3, 4])
def test_the_title_of_a_panel_stands_clear_of_the_scale_above_it(count: int) -> None:
    # Of letters of 20 units 15 stand above their line, and digits have nothing below it.
    panel = Panel(name="Power in, W", lines=(Line(name="pack", values=_LEVEL),), low=0.0)
    drawing = _draw(*(panel,) * count)
    titles = [float(one.attrib["y"]) for one in _of_class(drawing, "text", "strong")]
    ticks = [float(one.attrib["y"]) for one in _of_class(drawing, "text", "quiet") if one.text == "0"]
    for title in titles[1:]:
        above = max(tick for tick in ticks if tick < title)
        assert title - 15 - above >= 15


def test_phases_are_bands_with_names_where_there_is_room() -> None:
    spans = (
        Span(name="constant current", start_s=0, end_s=230),
        Span(name="constant voltage", start_s=230, end_s=900),
        Span(name="beyond", start_s=900, end_s=950),
    )
    drawing = _draw(_panel(_LEVEL), spans=spans)
    bands = [
        (float(one.attrib["x"]), float(one.attrib["width"])) for one in _of_class(drawing, "rect", "span")
    ]
    assert [round(left + width) for left, width in bands] == [602, 626]
    assert "constant current" in _texts(drawing, "quiet")
    assert "constant voltage" not in _texts(drawing, "quiet")


@pytest.mark.parametrize(
    "values",
    [(5.0,) * 5, (1e12, -1e12, 0.0, 1.0, 2.0), (1e-300, 2e-300, 0.0, 0.0, 0.0), (-0.0,) * 5],
    ids=["still", "vast", "tiny", "minus nothing"],
)
def test_no_number_spoils_the_drawing(values: tuple[float, ...]) -> None:
    panel = Panel(name="Power in, W", lines=(Line(name="pack", values=values),))
    drawing = _draw(panel)
    for one in _of_class(drawing, "path", "course"):
        assert all(0 <= x <= 640 and 47 <= y <= 165 for x, y in _places(one))
    assert not {"-0", "−0", "nan", "inf"} & set(_texts(drawing, "quiet"))


def test_the_same_numbers_give_the_same_bytes() -> None:
    first, again = (
        lines_over_time(_TIMES, (_panel(_LEVEL),), unit=_MINUTES, title="t", says="s") for _ in range(2)
    )
    assert first == again


def test_names_are_text_and_never_markup() -> None:
    panel = Panel(name="</svg><script>", lines=(Line(name="pack", values=_LEVEL),))
    drawing = _draw(panel, spans=(Span(name="<b>&", start_s=0, end_s=240),))
    assert {one.tag for one in drawing.iter()} == {"svg", "title", "desc", "text", "line", "path", "rect"}
    assert _texts(drawing, "strong") == ["</svg><script>"]


@pytest.mark.parametrize(
    ("times", "panels"),
    [
        ((), (_panel(()),)),
        ((1.0, 1.0), (_panel((1.0, 1.0)),)),
        (_TIMES, ()),
        (_TIMES, (_panel(_LEVEL),) * 5),
        (_TIMES, (_panel(),)),
        (_TIMES, (_panel(_LEVEL, _LEVEL, _LEVEL, _LEVEL),)),
        (_TIMES, (_panel((math.nan, math.nan, -math.inf, math.nan, math.inf)),)),
    ],
    ids=["no time", "no time passes", "no panel", "five panels", "no line", "four lines", "nothing known"],
)
def test_nothing_to_draw_is_refused(times: tuple[float, ...], panels: tuple[Panel, ...]) -> None:
    with pytest.raises(InvalidValueError):
        lines_over_time(times, panels, unit=_MINUTES, title="t", says="s")


def test_the_figures_behind_a_plot_are_about_twenty_with_both_ends() -> None:
    times = [float(second) for second in range(0, 7201, 5)]
    rows = rows_of(
        times,
        [Column(name="Level, %", values=[second / 72 for second in times], decimals=1)],
        unit_s=60.0,
        unknown="unknown",
    )
    assert len(rows) == 20
    assert (rows[0], rows[-1]) == (("0.0", "0.0"), ("120.0", "100.0"))


def test_the_figures_tell_each_look_once_and_leave_out_what_nobody_saw() -> None:
    times = [0.0, 1.0, 2.0, 1000.0]
    column = Column(name="Voltage, V", values=[-0.001, math.nan, None, -12.5], decimals=2)
    rows = rows_of(times, [column], unit_s=1.0, unknown="unknown")
    assert rows == (("0.0", "0.00"), ("2.0", "unknown"), ("1000.0", "−12.50"))
