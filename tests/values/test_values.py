from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

import verify.values
from verify.values import Instant, Quantity, Reading, SystemClock, Unit, VirtualClock, errors, parse_quantity
from verify.values.errors import HandbackError, InvalidValueError, UnitMismatchError


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("0.30 mm", 0.30, Unit.MILLIMETRE),
        ("90 %", 90, Unit.PERCENT),
        ("57.0Wh", 57, Unit.WATT_HOUR),
        ("-67 dBm", -67, Unit.DBM),
        (" 4.45 V ", 4.45, Unit.VOLT),
    ],
)
def test_a_quantity_is_read_as_people_write_it(text: str, value: float, unit: Unit) -> None:
    assert parse_quantity(text) == Quantity(value=value, unit=unit)


@pytest.mark.parametrize(
    "text", ["0.30", "mm", "0,30 mm", "1e3 mm", "0.30 furlong", "nan mm", "", "٣ mm", "1001"]
)
def test_a_number_without_a_known_unit_is_refused(text: str) -> None:
    with pytest.raises(InvalidValueError):
        parse_quantity(text)


# The SI Brochure (BIPM, 9th edition): 1 h = 3600 s, 1 min = 60 s; % is 0.01.
@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("2 h", Unit.SECOND, 7200),
        ("90 s", Unit.MINUTE, 1.5),
        ("95 %", Unit.ONE, 0.95),
        ("150 mohm", Unit.OHM, 0.15),
    ],
)
def test_units_of_one_dimension_convert(text: str, unit: Unit, value: float) -> None:
    assert parse_quantity(text).to(unit).value == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "unit"), [("8 K", Unit.CELSIUS), ("57 Wh", Unit.AMPERE_HOUR), ("1 mm", Unit.SECOND)]
)
def test_units_of_different_dimensions_do_not_convert(text: str, unit: Unit) -> None:
    with pytest.raises(UnitMismatchError):
        parse_quantity(text).to(unit)


@given(
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.sampled_from(list(Unit)),
    st.sampled_from(list(Unit)),
)
def test_there_and_back_is_the_same_quantity(value: float, source: Unit, target: Unit) -> None:
    quantity = Quantity(value=value, unit=source)
    if verify.values.dimension(source) == verify.values.dimension(target):
        assert quantity.to(target).to(source).value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    "fields",
    [
        {"value": None},
        {"value": float("nan")},
        {"value": float("inf")},
        {"value": 1.0, "standard_uncertainty": -0.1},
        {"value": 1.0, "standard_uncertainty": float("nan")},
        {"value": None, "reason": "gone", "standard_uncertainty": 0.1},
        {"value": 1.0, "source": ""},
    ],
    ids=["unknown without reason", "nan", "infinite", "negative u", "nan u", "unknown with u", "no source"],
)
def test_a_reading_that_breaks_its_own_rules_cannot_be_made(fields: dict[str, object]) -> None:
    given_fields: dict[str, object] = {"unit": Unit.WATT_HOUR, "source": "gauge", **fields}
    with pytest.raises(InvalidValueError):
        Reading(**given_fields)  # type: ignore[arg-type] # wrong on purpose


def test_a_reading_has_no_order() -> None:
    one = Reading(value=1.0, unit=Unit.WATT, source="gauge")
    with pytest.raises(TypeError):
        _ = one < one  # type: ignore[operator] # that is the point


def test_a_reading_cannot_be_changed() -> None:
    one = Reading(value=1.0, unit=Unit.WATT, source="gauge")
    with pytest.raises(AttributeError):
        one.value = 2.0  # type: ignore[misc] # that is the point


def test_a_reading_converts_with_its_uncertainty() -> None:
    reading = Reading(value=95, unit=Unit.PERCENT, standard_uncertainty=2, source="gauge").to(Unit.ONE)
    assert reading.value == pytest.approx(0.95)
    assert reading.standard_uncertainty == pytest.approx(0.02)


def test_a_wall_clock_in_local_time_is_refused() -> None:
    with pytest.raises(InvalidValueError):
        Instant(wall=datetime(2026, 3, 2, tzinfo=timezone(timedelta(hours=1))), elapsed_s=0)


def test_a_virtual_clock_moves_only_when_told() -> None:
    clock = VirtualClock(start=datetime(2026, 3, 2, tzinfo=UTC))
    before = clock.now()
    assert clock.now() == before
    clock.wait(90)
    assert clock.now().elapsed_s - before.elapsed_s == 90
    assert clock.now().wall - before.wall == timedelta(seconds=90)
    with pytest.raises(InvalidValueError):
        clock.wait(-1)


def test_the_system_clock_rises_and_is_in_utc() -> None:
    clock = SystemClock()
    first, second = clock.now(), clock.now()
    assert second.elapsed_s >= first.elapsed_s
    assert first.wall.utcoffset() == timedelta(0)
    assert first.boot_id == second.boot_id


def test_where_no_boot_is_told_time_counts_within_a_session_and_never_across_two(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("verify.values.clock._BOOT_ID", tmp_path / "no such file")
    one, other = SystemClock(), SystemClock()
    assert one.now().boot_id is not None
    assert one.now().boot_id == one.now().boot_id
    assert one.now().boot_id != other.now().boot_id


def test_an_instant_survives_the_journal() -> None:
    now = SystemClock().now()
    assert msgspec.json.decode(msgspec.json.encode(now), type=Instant) == now


def test_every_error_is_of_the_family_and_drawn_in_its_tree() -> None:
    drawn = errors.__doc__ or ""
    for name in errors.__all__:
        assert issubclass(getattr(errors, name), HandbackError)
        assert name in drawn
    defined = {
        name
        for name, thing in vars(errors).items()
        if isinstance(thing, type) and issubclass(thing, HandbackError)
    }
    assert defined == set(errors.__all__)


def test_an_error_says_what_happened_and_what_to_do() -> None:
    error = HandbackError("The battery is not visible.", next_step="Check its plug.")
    assert str(error) == "The battery is not visible. Check its plug."
    assert (error.what, error.next_step) == ("The battery is not visible.", "Check its plug.")
