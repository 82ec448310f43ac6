"""What the report counts of a charge or a drain, and that it never hides where a check counted otherwise."""

import math
import re
from array import array
from xml.etree import ElementTree as ET

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from verify.record.model import Attempt, Result
from verify.report.counted import counted_wh
from verify.report.plots.lines import Panel
from verify.report.plots.pack_course import charge_told, drain_told
from verify.report.plots.told import Told, Watched
from verify.report.traces import Courses, Pack
from verify.testing.sample_record import fit_record
from verify.values import Reading, Unit, Verdict


@settings(deadline=None)
@given(
    steps=st.lists(st.tuples(st.floats(0, 50), st.floats(-100, 100)), min_size=2, max_size=80),
)
def test_the_count_is_the_integral_over_time(steps: list[tuple[float, float]]) -> None:
    # scipy.integrate.trapezoid: a general-purpose reference for the trapezoidal rule.
    times, now = [], 0.0
    for step, _ in steps:
        now += step
        times.append(now)
    watts = [power for _, power in steps]
    counted = counted_wh(times, watts, pause_s=60)
    assert counted[-1] == pytest.approx(trapezoid(watts, times) / 3600, abs=1e-9)
    assert counted[0] == 0


def test_across_a_pause_and_beside_the_unknown_nothing_is_counted() -> None:
    times = [0.0, 36.0, 1000.0, 1036.0, 1072.0, 1108.0]
    watts = [100.0, 100.0, 100.0, 100.0, math.nan, 100.0]
    counted = counted_wh(times, watts, pause_s=60)
    assert [round(one, 6) for one in counted[:4]] == [0, 1, 1, 2]
    assert math.isnan(counted[4])
    assert counted[5] == pytest.approx(2)


def _courses(*, power_w: float, seconds: int = 3600, step_s: int = 10) -> Courses:
    times = array("d", range(0, seconds + 1, step_s))
    count = len(times)
    pack = Pack(
        level=array("d", [50.0]) * count,
        power_w=array("d", [power_w]) * count,
        voltage_v=array("d", [11.4]) * count,
    )
    return Courses(
        times_s=times,
        processor_c=array("d", [math.nan]) * count,
        load=array("d", [math.nan]) * count,
        packs={"BAT0": pack},
        fans_rpm={},
    )


def _watched(courses: Courses, *readings: Reading) -> Watched:
    attempt = Attempt(at="2026-03-10T10:02:00Z", verdict=Verdict.CONFORMS, because="Good.", readings=readings)
    result: Result = msgspec.structs.replace(fit_record().results[0], attempts=(attempt,), limit=None)
    return Watched(record=fit_record(), result=result, attempt=attempt, courses=courses)


def _reading(value: float | None, source: str, reason: str | None = None) -> Reading:
    return Reading(value=value, unit=Unit.WATT_HOUR, source=source, reason=reason)


_IN = "battery gauge BAT0, its own current sensor: net energy that went in, from 12 % on"
_OUT = "battery gauge BAT0: energy that went out"


def _said(told: Told) -> str:
    return told.says[-1].replace("\u00a0", " ")


def _counted(told: Told) -> Panel:
    return told.panels[-1]


@pytest.mark.parametrize(
    ("value", "differs"),
    [
        (30.0, None),
        (30.5, None),
        (29.5, None),
        (31.0, "3.23"),
        (29.0, "3.45"),
        (-30.0, "200"),
        (0.0, "6e+04"),
    ],
    ids=["the same", "1.6 % more", "1.7 % less", "3 % more", "3 % less", "the other way", "none"],
)
def test_a_count_that_differs_from_the_check_is_never_silent(value: float, differs: str | None) -> None:
    said = _said(charge_told(_watched(_courses(power_w=30.0), _reading(value, _IN))))
    assert said.startswith("Counted in by the report, from what was read: 30 Wh; the check counted ")
    assert ("THE TWO DIFFER" in said) == (differs is not None)
    assert differs is None or f"DIFFER by {differs} %" in said


def test_a_drain_counts_what_went_out() -> None:
    told = drain_told(_watched(_courses(power_w=-30.0), _reading(29.9, _OUT)))
    assert _said(told) == "Counted out by the report, from what was read: 30 Wh; the check counted 29.9 Wh."
    assert _counted(told).name == "Counted out, Wh"
    assert _counted(told).lines[0].values[-1] == pytest.approx(30)


def test_what_the_check_could_not_count_is_said() -> None:
    told = charge_told(_watched(_courses(power_w=30.0), _reading(None, _IN, "No sample for 90 s.")))
    assert _said(told).endswith("the check could not count it: No sample for 90 s.")
    told = charge_told(_watched(_courses(power_w=30.0)))
    assert _said(told).endswith("the check told none to compare.")


def test_the_figure_of_another_battery_or_another_kind_is_not_compared() -> None:
    other = _reading(10.0, _IN.replace("BAT0", "BAT1"))
    claimed = _reading(
        10.0, "battery gauge BAT0: energy between empty and full at rest by counting, 95 %: 9 to 11"
    )
    told = charge_told(_watched(_courses(power_w=30.0), other, claimed))
    assert "the check told none to compare." in told.says[-1]


def test_without_power_nothing_is_counted() -> None:
    told = charge_told(_watched(_courses(power_w=math.nan)))
    assert _counted(told).lines == ()
    assert "Counted" not in " ".join(told.says)


def test_the_count_stands_among_the_figures() -> None:
    told = charge_told(_watched(_courses(power_w=30.0)))
    assert [column.name for column in told.columns] == [
        "Level, %",
        "Power in, W",
        "Voltage, V",
        "Counted in, Wh",
    ]


def test_four_panels_stand_on_one_time_and_are_no_taller_than_three() -> None:
    from verify.report.plots.lines import TimeUnit, lines_over_time

    told = charge_told(_watched(_courses(power_w=30.0)))
    heights = []
    for count in (3, 4):
        drawing = lines_over_time(
            _courses(power_w=30.0).times_s,
            told.panels[:count],
            unit=TimeUnit(name="minutes", seconds=60),
            title="t",
            says="s",
        )
        root = ET.fromstring(str(drawing))
        heights.append(float(root.attrib["viewBox"].split()[3]))
        ends = [re.findall(r"-?[\d.]+", one.attrib["d"])[-2] for one in root.iter("path")]
        assert set(ends) == {"626"}
    assert heights[1] <= 1.15 * heights[0]
