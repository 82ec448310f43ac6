"""The run on one axis: no two texts meet, nights are folded, and it says what it shows."""

import re
from collections.abc import Iterator
from itertools import combinations, pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.record.model import (
    Gap,
    Growth,
    HazardSeen,
    Record,
    Reopening,
    StepTaken,
)
from verify.report.letters import clipped, width_of
from verify.report.plots.folded import folded
from verify.report.plots.lanes import Bar, groups_of, name_on_lane, not_meeting
from verify.report.plots.runs import RunView, run_view
from verify.report.render import render
from verify.testing.sample_times import at_minute, record_of, result_at

_STAGES = (
    "arrived",
    "open",
    "closed",
    "charged",
    "finished",
    "a stage of one's own, with a long name",
    "停止",
)
_DAY = 1440.0


def _view(record: Record) -> RunView:
    return run_view(record, lambda _: None)


def _drawing(record: Record) -> ET.Element:
    view = _view(record)
    assert view.drawing is not None
    return ET.fromstring(str(view.drawing))


def _boxes(drawing: ET.Element) -> Iterator[tuple[str, float, float, float, float]]:
    """Give each text with the room that it takes: left, right, top, bottom."""
    for one in drawing.iter("text"):
        words, x, y = one.text or "", float(one.attrib["x"]), float(one.attrib["y"])
        width = width_of(words)
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[one.attrib["text-anchor"]]
        yield words, left, left + width, y - 16, y + 5


def _assert_readable(drawing: ET.Element) -> None:
    width = float(drawing.attrib["viewBox"].split()[2])
    boxes = list(_boxes(drawing))
    for words, left, right, _, _ in boxes:
        assert -0.1 <= left <= right <= width + 0.1, f"{words} leaves the drawing"
    for one, other in combinations(boxes, 2):
        beside = one[2] <= other[1] + 0.1 or other[2] <= one[1] + 0.1
        apart = one[4] <= other[3] or other[4] <= one[3]
        assert beside or apart, f"{one[0]} meets {other[0]}"


_MINUTES = st.one_of(st.floats(0, 30), st.floats(0, 5 * _DAY), st.sampled_from([0.0, 1.0, _DAY, 3 * _DAY]))
_NAMES = st.text(max_size=40) | st.sampled_from(["charge", "W" * 60, "停止" * 20, "\u202e" * 9])
_RECORDS = st.builds(
    lambda length, results, steps, again, hazards, gaps, growths, note: record_of(
        length,
        results=tuple(results),
        steps=tuple(steps),
        reopenings=tuple(again),
        hazards=tuple(hazards),
        gaps=tuple(gaps),
        growths=tuple(growths),
        clock_note=note,
    ),
    _MINUTES,
    st.lists(
        st.builds(
            lambda check, stage, minutes, wait: result_at(
                check, stage, *minutes, kind="wait" if wait else "look", because=f"{wait} min have passed."
            ),
            _NAMES,
            st.sampled_from(_STAGES) | _NAMES,
            st.lists(_MINUTES, max_size=4),
            st.integers(0, 3000),
        ),
        max_size=14,
        unique_by=lambda one: one.check,
    ),
    st.lists(
        st.builds(
            lambda name, stage, minute: StepTaken(step=name, name=name, stage=stage, at=at_minute(minute)),
            _NAMES,
            st.sampled_from(_STAGES),
            _MINUTES,
        ),
        max_size=30,
    ),
    st.lists(
        st.builds(lambda m, why: Reopening(at=at_minute(m), opened=("base",), why=why), _MINUTES, _NAMES),
        max_size=4,
    ),
    st.lists(st.builds(lambda m, what: HazardSeen(at=at_minute(m), what=what), _MINUTES, _NAMES), max_size=3),
    st.lists(
        st.builds(lambda m, s: Gap(at=at_minute(m), check="a", seconds=s), _MINUTES, st.floats(0, 1e9)),
        max_size=3,
    ),
    st.lists(st.builds(lambda m, what: Growth(at=at_minute(m), work=(what,)), _MINUTES, _NAMES), max_size=2),
    st.sampled_from(["", "It jumped by -60 s before 2026-03-10T09:00:00Z."]),
)


@settings(max_examples=150, deadline=None)
@given(record=_RECORDS)
def test_no_two_texts_of_any_run_meet(record: Record) -> None:
    drawing = _drawing(record)
    _assert_readable(drawing)
    numbers = [
        float(number)
        for one in drawing.iter()
        for name in ("x", "y", "x1", "x2", "width", "height", "d")
        for number in re.findall(r"-?[\d.]+(?:e-?\d+)?", one.attrib.get(name, ""))
    ]
    assert all(-20 <= number <= 2000 for number in numbers)


def test_a_job_of_twenty_minutes_is_drawn_whole() -> None:
    record = record_of(20, results=(result_at("a", "arrived", 1), result_at("b", "open", 9, 19)))
    view, drawing = _view(record), _drawing(record)
    assert view.says == (
        "From 2026-03-10 09:00 UTC to 2026-03-10 09:20 UTC: 20\u00a0min.",
        "No step was taken.",
    )
    assert view.lengths == (
        "Stages: On arrival 60\u00a0s, Open 18\u00a0min.",
        "Nothing was watched over time.",
    )
    assert {"09:00", "09:05", "09:10", "09:15", "09:20", "2026-03-10", "UTC"} <= {
        one.text for one in drawing.iter("text")
    }
    assert not [one for one in drawing.iter("rect") if one.attrib["class"] == "paper"]
    bars = [one for one in drawing.iter("rect") if one.attrib["class"] == "span"]
    # 628 units are 20 minutes: the first stage one of them, the second the next eighteen.
    assert [round(float(one.attrib["width"]), 1) for one in bars] == [31.4, 565.2]


def test_the_nights_of_three_days_are_folded_and_told() -> None:
    record = record_of(
        3 * _DAY,
        results=(
            result_at("a", "open", *(float(minute) for minute in range(1, 100, 7))),
            result_at("b", "closed", *(_DAY + minute for minute in range(0, 100, 7))),
            result_at("c", "finished", *(2 * _DAY + 1300 + minute for minute in range(0, 140, 7))),
        ),
    )
    view, drawing = _view(record), _drawing(record)
    folds = [one for one in drawing.iter("rect") if one.attrib["class"] == "paper"]
    assert len(folds) == 2
    assert "2 stretches, 66 h" in " ".join(view.says).replace("\u00a0", " ")
    texts = [one.text or "" for one in drawing.iter("text")]
    assert sum(text.startswith("//") for text in texts) == 2
    assert {"2026-03-10", "2026-03-11", "2026-03-13"} <= set(texts)
    ticks = next(one for one in drawing.iter("path") if one.attrib["class"] == "tick")
    places = [float(place) for place in re.findall(r"M([\d.]+)", ticks.attrib["d"])]
    assert max(later - earlier for earlier, later in pairwise(places)) < 60, (
        "a night takes the room of the work"
    )


def test_a_clock_that_stood_centuries_back_has_a_handful_of_days() -> None:
    # Each fold takes one long pause; many of them leave thousands of years on the axis.
    results = tuple(
        result_at(f"check-{number}", "open", (number - 10) * 100 * 365 * _DAY) for number in range(60)
    )
    drawing = _drawing(record_of(6000 * 365 * _DAY, began=at_minute(-1000 * 365 * _DAY), results=results))
    _assert_readable(drawing)
    assert len([one for one in drawing.iter("line") if one.attrib["class"] == "axis"]) < 120


def test_five_hundred_checks_are_ticks_and_no_words() -> None:
    record = record_of(600, results=tuple(result_at(f"c{n}", "open", 1 + n) for n in range(500)))
    drawing = _drawing(record)
    assert len(list(drawing.iter("text"))) < 20
    assert len(ET.tostring(drawing)) < 20_000
    ticks = next(one for one in drawing.iter("path") if one.attrib["class"] == "tick")
    assert ticks.attrib["d"].count("M") == 500


def test_a_clock_set_back_is_drawn_by_order_and_says_so() -> None:
    note = "It jumped by -3600 s before 2026-03-10T08:30:00Z."
    record = record_of(
        20, clock_note=note, results=(result_at("a", "arrived", 1), result_at("b", "open", -20))
    )
    view, drawing = _view(record), _drawing(record)
    assert view.says[0].startswith("The clock was set back during the run")
    texts = [one.text or "" for one in drawing.iter("text")]
    assert "in the order of the work; no times" in texts
    assert not [text for text in texts if re.fullmatch(r"\d\d:\d\d", text)]
    assert {row[1:] for row in view.rows} == {("not known",) * 3}


def test_a_machine_opened_again_is_seen_to_go_back() -> None:
    record = record_of(
        60,
        results=(result_at("a", "open", 5, 40), result_at("b", "closed", 20, 50)),
        reopenings=(Reopening(at=at_minute(30), opened=("base",), why="A lead lay loose."),),
    )
    drawing = _drawing(record)
    (back,) = (one for one in drawing.iter("line") if one.attrib["class"] == "limit back")
    assert float(back.attrib["x1"]) == float(back.attrib["x2"]) == pytest.approx(320)
    assert float(back.attrib["y1"]) > float(back.attrib["y2"]), "it goes on instead of back"
    (one,) = _view(record).happened
    assert (one.number, one.at, one.what) == (
        1,
        "09:30",
        "Opened again: the base opened. Why: A lead lay loose.",
    )


def test_what_was_not_watched_is_a_hole_in_its_bar() -> None:
    record = record_of(
        100,
        results=(result_at("feet-wait", "finished", 90, kind="wait", because="80 min have passed."),),
        gaps=(Gap(at=at_minute(60), check="feet-wait", seconds=1200),),
    )
    drawing = _drawing(record)
    (hole,) = (one for one in drawing.iter("rect") if one.attrib["class"] == "hole")
    (bar,) = (one for one in drawing.iter("rect") if one.attrib["class"] == "watch")
    assert float(hole.attrib["width"]) == pytest.approx(0.2 * 628, abs=0.2)
    assert float(bar.attrib["width"]) == pytest.approx(0.8 * 628, abs=0.2)
    assert _view(record).happened[0].what == "Nobody watched for 20\u00a0min: Look at feet-wait."


def test_a_hazard_that_was_not_made_safe_is_told_as_such() -> None:
    safe = HazardSeen(
        at=at_minute(10), what="Smoke.", made_safe="The pack is out.", made_safe_at=at_minute(20)
    )
    view = _view(record_of(60, hazards=(safe, HazardSeen(at=at_minute(30), what="It hisses."))))
    assert [one.what for one in view.happened] == [
        "Stop: Smoke.",
        "Made safe: The pack is out.",
        "Stop: It hisses. It was NOT made safe.",
    ]
    assert "Hazards: 2." in view.says


def test_names_are_text_and_never_markup() -> None:
    evil = "</svg><script>alert(1)</script>\u202e"
    record = record_of(
        60,
        results=(result_at(evil, evil, 5, kind="wait", because="3 min have passed."),),
        steps=(StepTaken(step="a", name=evil, stage=evil, at=at_minute(6)),),
        reopenings=(Reopening(at=at_minute(9), opened=(evil,), why=evil),),
        hazards=(HazardSeen(at=at_minute(10), what=evil, made_safe=evil, made_safe_at=at_minute(11)),),
        growths=(Growth(at=at_minute(12), work=(evil,)),),
        gaps=(Gap(at=at_minute(13), check=evil, seconds=3),),
    )
    page = render(record).decode().partition("<!--part record-->")[0]
    assert "<script" not in page
    assert "\u202e" not in page


def test_the_run_stands_first_for_the_technician_and_its_figures_fold() -> None:
    page = render(record_of(60, results=(result_at("a", "open", 5),))).decode()
    part = page.partition("<!--part technician-->")[2]
    assert part.index('class="drawn courses run"') < part.index("<table")
    rows = re.findall(r"<tr>(<th scope=\"row\">.*?)</tr>", part.partition("</figure>")[0])
    assert [re.sub("<[^>]*>", "|", row).split("|")[2] for row in rows] == ["Open"]


def test_the_same_run_gives_the_same_bytes() -> None:
    record = record_of(60, results=(result_at("a", "open", 5), result_at("b", "closed", 50)))
    assert _view(record) == _view(record)


# ---------------------------------------------------------------- scale, lanes, letters


@settings(deadline=None)
@given(
    moments=st.lists(st.floats(0, 1e6), max_size=60),
    watched=st.lists(
        st.tuples(st.floats(0, 1e6), st.floats(0, 1e6)).map(lambda two: (min(two), max(two))), max_size=3
    ),
    length=st.floats(1, 1e6),
)
def test_a_folded_scale_never_turns_back(
    moments: list[float], watched: list[tuple[float, float]], length: float
) -> None:
    scale = folded(moments, watched, length_s=length, start=0, end=600)
    places = [scale.at(length * number / 200) for number in range(201)]
    assert places[0] == pytest.approx(0)
    assert places[-1] == pytest.approx(600)
    assert all(earlier <= later + 1e-6 for earlier, later in pairwise(places))
    for fold in scale.folds:
        assert not [one for one in moments if fold.low_s < one < fold.high_s], (
            "something that happened is folded away"
        )


def test_what_went_on_all_night_is_folded_only_where_it_is_far_longer() -> None:
    moments = [0.0, 100.0, 7300.0, 7400.0]
    assert len(folded(moments, [], length_s=7400, start=0, end=600).folds) == 1
    assert folded(moments, [(100.0, 7300.0)], length_s=7400, start=0, end=600).folds == ()


def test_numbers_that_would_meet_stand_as_one() -> None:
    labels = groups_of([10.0, 12.0, 14.0, 300.0], low=0, high=600)
    assert [label.text for label in labels] == ["1–3", "4"]


def test_a_name_stands_in_its_bar_else_behind_else_before_it() -> None:
    inside = name_on_lane("Open", [Bar(left=0, right=300)], low=0, high=600)
    behind = name_on_lane("Open", [Bar(left=0, right=10)], low=0, high=600)
    before = name_on_lane("Open", [Bar(left=590, right=600)], low=0, high=600)
    assert inside is not None
    assert behind is not None
    assert before is not None
    assert (inside.left, behind.left, before.right) == (7, 17, 583)


def test_labels_that_would_meet_are_left_out() -> None:
    assert [
        one.text for one in not_meeting([(100, "09:00"), (120, "09:05"), (300, "09:30")], low=0, high=600)
    ] == [
        "09:00",
        "09:30",
    ]


@settings(deadline=None)
@given(text=_NAMES, room=st.floats(0, 300))
def test_a_shortened_text_fits_its_room(text: str, room: float) -> None:
    assert width_of(clipped(text, room)) <= room or clipped(text, room) == ""
