"""Capacity as bars: lengths to scale, the interval that was measured, nothing drawn for unknown."""

import math
import re
from xml.etree import ElementTree as ET

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.judge import Limit, Rule
from verify.probe.handed_on import CAPACITY_WH, hand_on
from verify.record.model import Attempt, Part, Record, Result, Work
from verify.report.capacities import CapacityFigures, capacity_figures
from verify.report.plots.capacity import capacity_views, draw_capacity
from verify.report.render import render
from verify.report.words import CAPACITY_BARS
from verify.testing.sample_record import fit_record, held_record
from verify.values import Quantity, Reading, Unit, Verdict

_LETTER = 8.0  # of size 14, in a wide face; seen in a browser


def _result(check: str, *readings: Reading, limit: Limit | None = None, stale: str = "") -> Result:
    attempt = Attempt(
        at="2026-03-10T11:20:00Z",
        verdict=Verdict.CONFORMS,
        because="Because.",
        readings=readings,
        out_of_date=stale,
    )
    return Result(
        check=check,
        checklist="battery",
        kind="probe",
        stage="charged",
        place="battery",
        ask="Ask.",
        good="Good.",
        verdict=Verdict.CONFORMS,
        because="Because.",
        limit=limit,
        attempts=(attempt,),
    )


def _record(*results: Result, label: str | None = "50.0 Wh") -> Record:
    part = Part(source="reproduction", label={} if label is None else {"energy": label})
    ticket = msgspec.structs.replace(fit_record().ticket, work=(Work(kind="battery", part=part),))
    return msgspec.structs.replace(fit_record(), ticket=ticket, results=results)


def _of(name: str, value: float | None, unit: Unit = Unit.PERCENT, u: float | None = None) -> Reading:
    return Reading(
        value=value,
        unit=unit,
        standard_uncertainty=u,
        source=f"battery gauge {name}, its own sensors",
        reason="Not counted." if value is None else None,
    )


def _count(name: str, value: float, more: str) -> Reading:
    return hand_on(name, CAPACITY_WH, value, Unit.WATT_HOUR, standard_uncertainty=1.0, more=more)


_LIMIT = Limit(lower=Quantity(value=90, unit=Unit.PERCENT), rule=Rule.GUARDED, source="common practice")
_WHOLE = _record(
    _result("charge-to-full", _count("pack", 40.0, "95 %: 35.00 to 47.50")),
    _result("measured-capacity", _of("pack", 80.0, u=4.0), limit=_LIMIT),
    _result("claimed-capacity", _of("pack", 98.0, u=1.0), limit=_LIMIT),
)


class _Drawn:
    """The shapes of a drawing: bars and lines by their look, texts in order."""

    def __init__(self, markup: str) -> None:
        self.svg = ET.fromstring(markup)
        self.width, self.height = (float(n) for n in self.svg.attrib["viewBox"].split()[2:])
        self.bars = {rect.attrib["class"]: self._numbers(rect) for rect in self.svg.iter("rect")}
        self.lines = [(one.attrib["class"], self._numbers(one)) for one in self.svg.iter("line")]
        self.texts = ["".join(one.itertext()) for one in self.svg.iter("text")]
        self.paths = [one.attrib["d"] for one in self.svg.iter("path")]

    @staticmethod
    def _numbers(element: ET.Element) -> dict[str, float]:
        return {name: float(text) for name, text in element.attrib.items() if name != "class"}

    def whisker(self) -> list[dict[str, float]]:
        return [line for look, line in self.lines if look == "whisker"]


def _drawn(figures: CapacityFigures) -> _Drawn:
    return _Drawn(str(draw_capacity(figures)))


def test_the_figures_are_those_of_the_record() -> None:
    assert capacity_figures(_WHOLE) == (
        CapacityFigures(
            name="pack",
            measured=40.0,
            low=35.0,
            high=47.5,
            claimed=49.0,
            label=50.0,
            accepted_from=45.0,
            limit=capacity_figures(_WHOLE)[0].limit,
        ),
    )
    assert "90" in capacity_figures(_WHOLE)[0].limit


def test_bars_whisker_and_limit_share_one_scale_from_zero() -> None:
    drawn = _drawn(capacity_figures(_WHOLE)[0])
    scale = drawn.bars["dotted"]["width"] / 50.0
    assert drawn.bars["accent"]["width"] == pytest.approx(40.0 * scale, abs=0.11)
    assert drawn.bars["outline"]["width"] == pytest.approx(49.0 * scale, abs=0.11)
    start = drawn.bars["accent"]["x"]
    assert {bar["x"] for bar in drawn.bars.values()} == {start}
    across, low, high = drawn.whisker()
    assert across["x1"] == low["x1"] == low["x2"] == pytest.approx(start + 35.0 * scale, abs=0.11)
    assert across["x2"] == high["x1"] == high["x2"] == pytest.approx(start + 47.5 * scale, abs=0.11)
    (limit,) = [line for look, line in drawn.lines if look == "limit"]
    assert limit["x1"] == limit["x2"] == pytest.approx(start + 45.0 * scale, abs=0.11)
    assert limit["y1"] <= drawn.bars["accent"]["y"]
    assert limit["y2"] >= drawn.bars["dotted"]["y"] + drawn.bars["dotted"]["height"]


def test_an_interval_without_upper_end_stays_open() -> None:
    record = _record(
        _result("charge-to-full", _count("pack", 40.0, "95 %: 35.00 or more")),
        _result("measured-capacity", _of("pack", 80.0, u=4.0)),
    )
    (figures,) = capacity_figures(record)
    assert (figures.low, figures.high) == (35.0, None)
    drawn = _drawn(figures)
    across, low = drawn.whisker()  # no second end
    assert across["x2"] > drawn.bars["accent"]["x"] + drawn.bars["accent"]["width"]
    assert len(drawn.paths) == 1  # the point at its end
    assert "35.0 or more" in drawn.texts[1]
    assert low["x1"] == across["x1"]


def test_an_interval_that_is_cut_is_the_readings_own() -> None:
    record = _record(
        _result("charge-to-full", _count("pack", 40.0, "95 %: 35.00 to 47.50")),
        _result("measured-capacity", _of("pack", 60.0, u=3.0)),  # cut by a meter: 30 Wh, not 40
    )
    (figures,) = capacity_figures(record)
    assert (figures.measured, figures.low, figures.high) == pytest.approx((30.0, 27.0, 33.0))


@pytest.mark.parametrize(
    ("figures", "looks", "words"),
    [
        (CapacityFigures(claimed=49.0, label=50.0), {"outline", "dotted"}, "no_measured"),
        (CapacityFigures(measured=40.0, label=50.0), {"accent", "dotted"}, "no_claimed"),
        (CapacityFigures(measured=40.0, claimed=49.0), {"accent", "outline"}, "no_label"),
    ],
    ids=["not measured", "nothing claimed", "no label"],
)
def test_what_is_unknown_is_told_in_words_and_not_drawn(
    figures: CapacityFigures, looks: set[str], words: str
) -> None:
    drawn = _drawn(figures)
    assert set(drawn.bars) == looks
    assert CAPACITY_BARS[words] in drawn.texts
    assert not [look for look, _ in drawn.lines if look == "limit"]
    assert not drawn.whisker()  # nothing told how sure it is


def test_zero_is_told_as_measured_and_has_no_bar() -> None:
    drawn = _drawn(CapacityFigures(measured=0.0, label=50.0))
    assert "accent" not in drawn.bars
    assert "0.0 Wh" in drawn.texts


@pytest.mark.parametrize(
    "record",
    [
        _record(),
        _record(_result("measured-capacity", _of("pack", None))),
        _record(_result("measured-capacity", _of("pack", 80.0), stale="The battery was unplugged.")),
        _record(_result("heat-margin", _of("pack", 71.0, Unit.CELSIUS))),
    ],
    ids=["no check", "unknown", "out of date", "another check"],
)
def test_nothing_is_drawn_where_no_capacity_is_known(record: Record) -> None:
    assert capacity_views(record) == ()
    assert 'class="drawn bars"' not in render(record).decode()


def test_each_battery_has_its_own_bars_and_none_takes_the_label() -> None:
    record = _record(
        _result("measured-capacity", _of("one", 20.0, Unit.WATT_HOUR), _of("two", 30.0, Unit.WATT_HOUR)),
        _result("claimed-capacity", _of("two", 31.0, Unit.WATT_HOUR), _of("one", 21.0, Unit.WATT_HOUR)),
    )
    figures = capacity_figures(record)
    assert [(one.name, one.measured, one.claimed, one.label) for one in figures] == [
        ("one", 20.0, 21.0, None),
        ("two", 30.0, 31.0, None),
    ]
    assert [view.name for view in capacity_views(record)] == ["one", "two"]


def test_without_a_label_shares_are_drawn_as_shares() -> None:
    record = _record(
        _result("measured-capacity", _of("pack", 80.0, u=4.0), limit=_LIMIT),
        _result("claimed-capacity", _of("pack", 0.98, Unit.ONE)),
        label=None,
    )
    (figures,) = capacity_figures(record)
    assert (figures.unit, figures.measured, figures.claimed) == (Unit.PERCENT, 80.0, 98.0)
    assert (figures.low, figures.high, figures.accepted_from) == (72.0, 88.0, 90.0)
    assert figures.label is None


def test_a_limit_in_watt_hours_is_drawn_where_it_lies() -> None:
    (figures,) = capacity_figures(fit_record())  # 55.1 Wh claimed, accepted from 51.3 Wh, label 57.0 Wh
    assert (figures.claimed, figures.accepted_from, figures.limit) == (55.1, 51.3, "")
    assert figures.measured is None


def test_the_drawing_says_in_words_what_it_shows() -> None:
    svg = ET.fromstring(str(draw_capacity(capacity_figures(_WHOLE)[0])))
    assert svg.attrib["role"] == "img"
    told = (svg.findtext("desc") or "").replace("\u00a0", " ")
    for words in ("Measured: 40.0 Wh, 95 %: 35.0 to 47.5; 80 %", "49.0 Wh; 98 %", "50.0 Wh", "45.0 Wh"):
        assert words in told


@pytest.mark.parametrize(
    "name", ["<script>x</script>", '"><svg onload=x>', "pack\u202e\x1b[2J\u200b", "x" * 3000]
)
def test_a_hostile_name_of_a_battery_is_shown_as_text(name: str) -> None:
    readings = (_of(name, 20.0, Unit.WATT_HOUR), _of("two", 30.0, Unit.WATT_HOUR))
    page = render(_record(_result("measured-capacity", *readings))).decode()
    shown = page.partition('<pre id="handback-record">')[0]
    assert shown.count('class="drawn bars"') == 2
    for bad in ("<script", "<svg onload", "\u202e", "\x1b", "\u200b"):
        assert bad not in shown


def test_the_page_with_bars_comes_out_the_same_each_time() -> None:
    assert render(_WHOLE) == render(_WHOLE)
    assert render(held_record()) == render(held_record())
    assert render(_WHOLE).decode().count('class="drawn bars"') == 1


_ANY = st.one_of(st.none(), st.floats(allow_nan=False, allow_infinity=False))


@given(
    measured=_ANY,
    low=_ANY,
    high=_ANY,
    claimed=_ANY,
    label=_ANY,
    accepted=_ANY,
    unit=st.sampled_from([Unit.WATT_HOUR, Unit.PERCENT]),
)
def test_any_figures_stay_inside_the_drawing(
    measured: float | None,
    low: float | None,
    high: float | None,
    claimed: float | None,
    label: float | None,
    accepted: float | None,
    unit: Unit,
) -> None:
    markup = str(
        draw_capacity(
            CapacityFigures(
                measured=measured,
                low=low,
                high=high,
                claimed=claimed,
                label=label,
                accepted_from=accepted,
                limit="at least 90\u00a0%",
                unit=unit,
            )
        )
    )
    assert not re.search(r"\b(nan|inf)\b", markup)
    drawn = _Drawn(markup)
    for bar in drawn.bars.values():
        assert 0 <= bar["x"] <= bar["x"] + bar["width"] <= drawn.width
        assert 0 <= bar["y"] <= bar["y"] + bar["height"] <= drawn.height
    for _, line in drawn.lines:
        assert 0 <= min(line["x1"], line["x2"]) <= max(line["x1"], line["x2"]) <= drawn.width
        assert 0 <= min(line["y1"], line["y2"]) <= max(line["y1"], line["y2"]) <= drawn.height
    for text in drawn.svg.iter("text"):
        wide, x = _LETTER * len("".join(text.itertext())), float(text.attrib["x"])
        left = x - wide if text.attrib["text-anchor"] == "end" else x
        assert left >= -_LETTER
        assert left + wide <= drawn.width + 2 * _LETTER
        assert 0 <= float(text.attrib["y"]) <= drawn.height


@given(
    value=st.floats(allow_nan=False, allow_infinity=False),
    u=st.floats(min_value=0, allow_nan=False, allow_infinity=False),
    unit=st.sampled_from([Unit.WATT_HOUR, Unit.PERCENT, Unit.ONE]),
    label=st.sampled_from(["50.0 Wh", "fifty", None]),
)
def test_any_reading_that_a_record_can_hold_is_drawn_or_left_out(
    value: float, u: float, unit: Unit, label: str | None
) -> None:
    record = _record(_result("measured-capacity", _of("pack", value, unit, u), limit=_LIMIT), label=label)
    for figures in capacity_figures(record):
        numbers = (figures.measured, figures.low, figures.high, figures.accepted_from)
        assert all(number is None or math.isfinite(number) for number in numbers)
    capacity_views(record)
