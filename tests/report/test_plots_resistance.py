"""Resistance on the page: the value with its interval against the limit, on one scale, and whose it is."""

from xml.etree import ElementTree as ET

import msgspec
import pytest

from verify.judge import Limit, Rule
from verify.probe.handed_on import CELL_RESISTANCE, hand_on
from verify.record.model import Attempt, Record, Result
from verify.report.plots.resistance import ResistanceView, resistance_views
from verify.testing.sample_record import fit_record
from verify.values import Quantity, Reading, Unit, Verdict

_LIMIT = Limit(upper=Quantity(value=100.0, unit=Unit.MILLIOHM), rule=Rule.GUARDED, source="-")
_AXIS_PER_MOHM = 612 / 115  # the axis has 612 units for 1.15 times what stands furthest out, here the limit


def _cell(value: float | None = 27.5, spread: float | None = 0.6, **changes: object) -> Reading:
    reading = hand_on(
        "BAT0",
        CELL_RESISTANCE,
        value,
        Unit.MILLIOHM,
        standard_uncertainty=spread,
        more="4 s after the step" if value is not None else "",
        reason=None if value is not None else "The current changed by less than 0.2 C.",
    )
    return msgspec.structs.replace(reading, **changes)


def _result(check: str, *readings: Reading, limit: Limit | None = _LIMIT, stale: str = "") -> Result:
    attempt = Attempt(
        at="2026-03-10T10:02:00Z",
        verdict=Verdict.CONFORMS,
        because="Good.",
        readings=readings,
        out_of_date=stale,
    )
    return msgspec.structs.replace(
        fit_record().results[0], check=check, limit=limit, verdict=Verdict.CONFORMS, attempts=(attempt,)
    )


def _views(*results: Result) -> tuple[ResistanceView, ...]:
    record: Record = msgspec.structs.replace(fit_record(), results=results, first_pass={})
    return resistance_views(record)


def _said(view: ResistanceView) -> str:
    return " ".join(view.says).replace("\u00a0", " ")


def _drawing(view: ResistanceView) -> ET.Element:
    assert view.drawing is not None
    return ET.fromstring(str(view.drawing))


def _of(drawing: ET.Element, tag: str, look: str) -> list[ET.Element]:
    return [one for one in drawing.iter(tag) if one.attrib.get("class") == look]


def test_the_value_its_interval_and_the_limit_stand_where_they_are() -> None:
    (view,) = _views(_result("cell-resistance", _cell()))
    drawing = _drawing(view)
    (bar,) = _of(drawing, "rect", "accent")
    assert float(bar.attrib["width"]) == pytest.approx(27.5 * _AXIS_PER_MOHM, abs=0.2)
    (limit,) = _of(drawing, "line", "limit")
    assert float(limit.attrib["x1"]) == pytest.approx(8 + 100 * _AXIS_PER_MOHM, abs=0.2)
    whisker = _of(drawing, "line", "whisker")[0]
    low, high = float(whisker.attrib["x1"]), float(whisker.attrib["x2"])
    assert low == pytest.approx(8 + 26.3 * _AXIS_PER_MOHM, abs=0.3)
    assert high == pytest.approx(8 + 28.7 * _AXIS_PER_MOHM, abs=0.3)


def test_it_says_value_how_and_verdict() -> None:
    (view,) = _views(_result("cell-resistance", _cell()))
    said = _said(view)
    assert "Battery BAT0: a cell has 27.5 mΩ ± 1.2 mΩ, 4 s after the step of the load." in said
    assert "Good is at most 100 mΩ: good." in said
    assert "IEC 61960-3" in said
    assert (_drawing(view)[1].text or "").startswith("Battery BAT0: a cell has")


def test_the_whole_pack_is_told_only_where_its_cells_are_known() -> None:
    volts = Reading(
        value=4.15, unit=Unit.VOLT, source="battery gauge BAT0, volts of a cell at full, 3 cells in series"
    )
    other = msgspec.structs.replace(volts, source=volts.source.replace("BAT0", "BAT1"))
    (view,) = _views(_result("cell-resistance", _cell()), _result("cells-in-step", volts))
    assert "The 3 cells in series together, worked out from that: 82.5 mΩ ± 3.6 mΩ." in _said(view)
    for results in ((), (_result("cells-in-step", other),)):
        (view,) = _views(_result("cell-resistance", _cell()), *results)
        assert "in series" not in _said(view)


def test_what_is_not_known_is_said_and_not_drawn() -> None:
    (view,) = _views(_result("cell-resistance", _cell(None)))
    assert view.drawing is None
    assert _said(view) == "Battery BAT0: its resistance is not known. The current changed by less than 0.2 C."


def test_a_battery_that_has_no_name_is_not_given_one() -> None:
    reading = Reading(value=None, unit=Unit.MILLIOHM, source="battery gauge", reason="No load was seen.")
    (view,) = _views(_result("cell-resistance", reading))
    assert _said(view) == "The resistance is not known. No load was seen."


def test_a_doubt_is_said() -> None:
    (view,) = _views(_result("cell-resistance", _cell(80.0, reason="Compare with the same model.")))
    assert "Doubted: Compare with the same model." in _said(view)


def test_an_attempt_out_of_date_does_not_count() -> None:
    assert _views(_result("cell-resistance", _cell(), stale="It was opened.")) == ()


def test_the_load_alone_tells_it_without_a_limit() -> None:
    pieces = Reading(value=0.0, unit=Unit.COUNT, source="battery gauge, on the battery")
    (view,) = _views(_result("holds-under-load", pieces, _cell()))
    assert "No limit was applied to it." in _said(view)
    assert _of(_drawing(view), "line", "limit") == []


def test_a_job_without_such_a_check_has_none() -> None:
    assert _views(_result("pack-flat")) == ()


@pytest.mark.parametrize("value", [1e308, 1e-320, -5.0, 0.0, 1e6])
@pytest.mark.parametrize("spread", [None, 0.0, 1e308, 3.0])
def test_no_number_spoils_the_drawing(value: float, spread: float | None) -> None:
    for view in _views(_result("cell-resistance", _cell(value, spread))):
        if view.drawing is not None:
            assert "nan" not in str(view.drawing)
            assert "inf" not in str(view.drawing)
