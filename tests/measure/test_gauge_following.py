"""A level that goes with the voltage, told apart from one that is counted: down and up again."""

import pytest

from verify.measure.gauge_following import VoltageFollowing

_AH = 4.0


def _watched(kind: str, *, ohm: float = 0.3, mends: float = 0.0, ways: int = 2) -> VoltageFollowing:
    """Run a pack down from 80 to 2 % and charge it to 90 %; a straight line from 9 to 12.6 V at rest."""
    watch, true = VoltageFollowing(), 0.80
    for way in range(ways):
        amps = 2.0 if way % 2 else -1.5
        while (true < 0.90) if amps > 0 else (true > 0.02):
            volts = 9.0 + 3.6 * true + ohm * amps
            counted = true + (mends * true if amps < 0 else 0.0)
            level = (volts - 9.0) / 3.6 if kind == "voltage" else counted
            watch.see(round(min(1.0, max(0.0, level)), 2), true * _AH, amps, volts)
            true += amps * 20 / 3600 / _AH
    return watch


def test_level_made_from_the_voltage_goes_with_it() -> None:
    assert _watched("voltage").by_voltage


def test_one_way_alone_tells_nothing() -> None:
    assert not _watched("voltage", ways=1).by_voltage


def test_what_was_found_stays_found_on_a_new_way_down() -> None:
    assert _watched("voltage", ways=3).by_voltage


@pytest.mark.parametrize("ohm", [0.0, 0.01, 0.1, 0.3])
@pytest.mark.parametrize("mends", [0.0, 0.06, 0.15])
def test_level_that_is_counted_does_not(ohm: float, mends: float) -> None:
    assert not _watched("counted", ohm=ohm, mends=mends).by_voltage


def test_pack_without_resistance_cannot_show_it() -> None:
    assert not _watched("voltage", ohm=0.0).by_voltage


def test_memory_does_not_grow() -> None:
    watch = VoltageFollowing()
    for i in range(50_000):
        watch.see(i % 50 / 50, 0.001 * i, 1.0, 12.0)
    assert max(len(way) for way in watch._ways.values()) <= 120
