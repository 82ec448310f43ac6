"""The map of seams: each gap at its place, marks told apart by shape, nothing where unmeasured."""

from xml.etree import ElementTree as ET

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.checklist.answers import Measured, Span
from verify.judge import Limit, Rule, judge_bracket
from verify.record.model import Attempt, Record, Result
from verify.report.plots.seams import PLACES, Place, draw_seams, places_of, seam_views
from verify.report.render import render
from verify.report.words import SEAM_MAP, VERDICTS
from verify.run.findings import readings_of
from verify.testing.sample_record import fit_record
from verify.values import Quantity, Reading, Unit, Verdict

_LIMIT = Limit(upper=Quantity(value=0.3, unit=Unit.MILLIMETRE), rule=Rule.GUARDED, source="common practice")


def _seams(readings: tuple[Reading, ...], limit: Limit | None = _LIMIT, kind: str = "measure") -> Result:
    attempt = Attempt(
        at="2026-03-10T11:20:00Z", verdict=Verdict.CONFORMS, because="Because.", readings=readings
    )
    return Result(
        check="seam-gaps",
        checklist="battery",
        kind=kind,
        stage="charged",
        place="base seam",
        ask="Slide a leaf in.",
        good="It does not enter.",
        verdict=Verdict.CONFORMS,
        because="Because.",
        limit=limit,
        attempts=(attempt,),
    )


def _record(*results: Result) -> Record:
    return msgspec.structs.replace(fit_record(), results=results)


def _by_leaves(spans: dict[str, tuple[float, float | None]]) -> tuple[Reading, ...]:
    """Return the readings as a run makes them from what the technician answered."""
    answer = {name: Span(enters_mm=enters, stops_mm=stops) for name, (enters, stops) in spans.items()}
    return readings_of(Measured(spans=answer))


_SPANS: dict[str, tuple[float, float | None]] = {
    "front left corner": (0.15, 0.2),
    "front middle": (0.4, 0.5),
    "right middle": (0.25, 0.35),
    "rear right corner": (1.0, None),
    "beside the hinge": (0.0, 0.05),
}


def test_each_place_is_judged_as_the_check_judges_it() -> None:
    places = {place.name: place for place in places_of(_seams(_by_leaves(_SPANS)))}
    assert {name: place.verdict for name, place in places.items()} == {
        name: judge_bracket(enters, stops, _LIMIT, Unit.MILLIMETRE).verdict
        for name, (enters, stops) in _SPANS.items()
    }
    assert [place.gap for place in places.values()] == [
        "0.15 to 0.2",
        "0.4 to 0.5",
        "0.25 to 0.35",
        "wider than 1",
        "0 to 0.05",
    ]


def test_marks_differ_by_shape_and_stand_at_their_places() -> None:
    (view,) = seam_views(_record(_seams(_by_leaves(_SPANS))))
    svg = ET.fromstring(str(view.drawing))
    marks = {}
    for use in svg.iter("use"):
        middle = [float(use.attrib[at]) + float(use.attrib["width"]) / 2 for at in "xy"]
        marks[use.attrib["href"], middle[0], middle[1]] = use
    outline = next(rect for rect in svg.iter("rect") if rect.attrib["class"] == "outline").attrib
    x, y, wide, high = (float(outline[name]) for name in ("x", "y", "width", "height"))
    # From below with the front towards the reader, left and right change sides.
    assert set(marks) == {
        ("#mark-full", x + wide, y + high),
        ("#mark-struck", x + wide / 2, y + high),
        ("#mark-half", x, y + high / 2),
        ("#mark-struck", x, y),
    }
    assert [place.name for place in view.elsewhere] == ["beside the hinge"]


def test_a_place_that_was_not_measured_has_neither_mark_nor_text() -> None:
    (view,) = seam_views(_record(_seams(_by_leaves({"front middle": (0.15, 0.2)}))))
    svg = ET.fromstring(str(view.drawing))
    texts = ["".join(one.itertext()) for one in svg.iter("text")]
    assert len(list(svg.iter("use"))) == 1
    assert sorted(texts) == sorted(
        ["0.15 to 0.2", *(SEAM_MAP[at] for at in ("front", "rear", "left", "right"))]
    )


def test_the_drawing_says_in_words_what_it_shows() -> None:
    (view,) = seam_views(_record(_seams(_by_leaves(_SPANS))))
    says = ET.fromstring(str(view.drawing)).findtext("desc") or ""
    assert f"front middle 0.4 to 0.5 mm, {VERDICTS[Verdict.DOES_NOT_CONFORM]}." in says
    assert f"front left corner 0.15 to 0.2 mm, {VERDICTS[Verdict.CONFORMS]}." in says


def test_unknown_stays_unknown() -> None:
    unknown = Reading(
        value=None, unit=Unit.MILLIMETRE, source="front middle, feeler gauge", reason="The leaf broke."
    )
    (place,) = places_of(_seams((unknown,)))
    assert (place.gap, place.verdict) == (SEAM_MAP["unknown"], Verdict.UNDECIDED)


def test_without_a_limit_nothing_is_called_good() -> None:
    (place,) = places_of(_seams(_by_leaves({"front middle": (0.0, 0.05)}), limit=None))
    assert place.verdict is None
    assert place.shape not in {"full", "struck", "half"}


def test_a_limit_in_another_unit_judges_nothing() -> None:
    grams = Limit(upper=Quantity(value=3, unit=Unit.GRAM), rule=Rule.SIMPLE, source="common practice")
    (place,) = places_of(_seams(_by_leaves({"front middle": (0.0, 0.05)}), limit=grams))
    assert place.verdict is None


@pytest.mark.parametrize(
    "result",
    [
        _seams(()),
        _seams(_by_leaves({"beside the hinge": (0.0, 0.05)})),
        _seams(_by_leaves(_SPANS), kind="probe"),
        _seams((Reading(value=3.0, unit=Unit.GRAM, source="front middle, typed in"),)),
    ],
    ids=["nothing measured", "no place of the drawing", "not measured by hand", "not a gap"],
)
def test_no_map_without_a_gap_at_a_known_place(result: Result) -> None:
    assert seam_views(_record(result)) == ()
    assert 'class="drawn seams"' not in render(_record(result)).decode()


def test_a_place_told_twice_is_drawn_once_and_told_beside() -> None:
    readings = _by_leaves({"front middle": (0.15, 0.2)}) + _by_leaves({"front middle": (0.4, 0.5)})
    (view,) = seam_views(_record(_seams(readings)))
    assert str(view.drawing).count("<use") == 1
    assert [place.gap for place in view.elsewhere] == ["0.4 to 0.5"]


@pytest.mark.parametrize(
    "name", ["<script>x</script>", "</svg><img src=x>", "x\u202e\x1b[2J\u200b", "y" * 3000]
)
def test_a_hostile_name_of_a_place_is_shown_as_text(name: str) -> None:
    readings = _by_leaves({"front middle": (0.15, 0.2), name: (0.4, 0.5)})
    record = _record(_seams(readings))
    shown = render(record).decode().partition('<pre id="handback-record">')[0]
    assert 'class="drawn seams"' in shown
    for bad in ("<script", "<img", "\u202e", "\x1b", "\u200b"):
        assert bad not in shown
    assert render(record) == render(record)


@given(
    value=st.floats(allow_nan=False, allow_infinity=False),
    u=st.one_of(st.none(), st.floats(min_value=0, allow_nan=False, allow_infinity=False)),
)
def test_any_gap_stays_inside_the_drawing(value: float, u: float | None) -> None:
    readings = tuple(
        Reading(value=value, unit=Unit.MILLIMETRE, standard_uncertainty=u, source=f"{name}, typed in")
        for name in PLACES
    )
    places = {place.name: place for place in places_of(_seams(readings))}
    svg = ET.fromstring(str(draw_seams(places)))
    width, height = (float(number) for number in svg.attrib["viewBox"].split()[2:])
    for use in svg.iter("use"):
        for at, most in (("x", width), ("y", height)):
            assert 0 <= float(use.attrib[at]) <= float(use.attrib[at]) + float(use.attrib["width"]) <= most
    for text in svg.iter("text"):
        wide = 8 * len("".join(text.itertext()))
        back = {"start": 0.0, "middle": wide / 2, "end": wide}[text.attrib["text-anchor"]]
        left = float(text.attrib["x"]) - back
        assert left >= -8
        assert left + wide <= width + 8
        assert 0 <= float(text.attrib["y"]) <= height


def test_a_mark_for_each_verdict() -> None:
    shapes = {Place(name="x", gap="1", verdict=verdict).shape for verdict in Verdict}
    assert len(shapes) == len(Verdict)
