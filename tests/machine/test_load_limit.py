"""The lease of a full load: what renews it, what ends it, and where the limit of a sensor lies."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from verify.machine import Pack, Sample, Temperature
from verify.machine.load_limit import LEASE_S, STILL_S, Lease, load_limit_c
from verify.values import Instant

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(seconds: float, *, boot: str = "one") -> Instant:
    return Instant(wall=START + timedelta(seconds=seconds), elapsed_s=seconds, boot_id=boot)


def sensor(celsius: float | None, *, chip: str = "coretemp", **more: Any) -> Temperature:
    return Temperature(chip=chip, label="x", celsius=celsius, **({"critical": 100.0} | more))


def sample(seconds: float, *sensors: Temperature, boot: str = "one", **more: Any) -> Sample:
    return Sample(at=at(seconds, boot=boot), temperatures=sensors, **more)


def lease(*, longest_s: float = 60.0) -> Lease:
    return Lease(now=at(0), longest_s=longest_s)


# Linux Documentation/hwmon/sysfs-interface.rst: temp*_max is the driver's limit, temp*_crit the critical one.
@pytest.mark.parametrize(
    ("high", "critical", "limit_c"),
    [
        pytest.param(87.0, 105.0, 87.0, id="driver's-limit-is-lower"),
        pytest.param(100.0, 100.0, 95.0, id="both-the-same"),
        pytest.param(None, 105.0, 100.0, id="critical-only"),
        pytest.param(90.0, None, 90.0, id="driver's-limit-only"),
        pytest.param(None, None, 95.0, id="neither"),
        pytest.param(0.0, 127.0, 95.0, id="neither-is-set"),
        pytest.param(30.0, 105.0, 100.0, id="limit-of-nothing"),
    ],
)
def test_limit_is_below_critical_and_not_above_the_drivers(
    high: float | None, critical: float | None, limit_c: float
) -> None:
    assert load_limit_c(sensor(50.0, high=high, critical=critical)) == limit_c
    assert critical is None or critical > 125 or limit_c < critical


@pytest.mark.parametrize(
    ("given", "now_s", "why"),
    [
        pytest.param(sample(1, sensor(94.9)), 1, "", id="just-below-the-limit"),
        pytest.param(sample(1, sensor(95.0)), 1, "is at 95 °C", id="at-the-limit"),
        pytest.param(sample(1, sensor(50.0), sensor(97.0)), 1, "is at 97 °C", id="one-of-two-hot"),
        pytest.param(sample(1), 1, "No processor temperature", id="no-sensor"),
        pytest.param(sample(1, reasons={"temperatures": "Gone."}), 1, "Gone.", id="no-sensor-says-why"),
        pytest.param(sample(1, sensor(None, reason="EIO")), 1, "No processor temp", id="sensor-fails"),
        pytest.param(sample(1, sensor(50.0, reason="Stuck.")), 1, "No processor temp", id="doubted"),
        pytest.param(sample(1, sensor(127.0)), 1, "No processor temp", id="not-connected"),
        pytest.param(sample(1, sensor(50.0, chip="acpitz")), 1, "No processor temp", id="firmware-zone"),
        pytest.param(sample(0.5, sensor(50.0)), 2.9, "", id="as-old-as-a-lease-allows"),
        pytest.param(sample(-1, sensor(50.0)), 2.5, "not a fresh", id="too-old"),
        pytest.param(sample(2, sensor(50.0)), 1, "not a fresh", id="from-the-future"),
        pytest.param(sample(4, sensor(50.0)), 4, "No fresh reading came", id="first-one-too-late"),
        pytest.param(sample(1, sensor(50.0), boot="two"), 1, "started again", id="another-boot"),
        pytest.param(
            sample(1, sensor(50.0), packs=(Pack(name="A", temperature_c=60.0),)), 1, "battery", id="hot-pack"
        ),
        pytest.param(
            sample(1, sensor(50.0), packs=(Pack(name="A", temperature_c=59.9),)), 1, "", id="warm-pack"
        ),
    ],
)
def test_what_a_first_sample_grants(given: Sample, now_s: float, why: str) -> None:
    one = lease()
    assert one.renew(given, at(now_s)) is (why == "")
    assert why in one.refused
    assert (one.refused == "") is (why == "")


def test_lease_counts_from_the_readings_own_instant() -> None:
    one = lease()
    assert one.renew(sample(0.5, sensor(50.0)), at(2.0))
    assert one.left_s == pytest.approx(LEASE_S - 1.5)


def test_lease_never_reaches_beyond_the_longest_time() -> None:
    one = lease(longest_s=2.0)
    assert one.left_s == 2.0
    assert one.renew(sample(1, sensor(50.0)), at(1.5))
    assert one.left_s == pytest.approx(0.5)
    assert not one.renew(sample(2, sensor(51.0)), at(2.0))
    assert one.refused == "Its time is over."


def test_one_sample_renews_once() -> None:
    one = lease()
    given = sample(1, sensor(50.0))
    assert one.renew(given, at(1))
    assert not one.renew(given, at(2))
    assert "not a fresh" in one.refused


def test_a_gap_of_a_lease_ends_it() -> None:
    one = lease()
    assert one.renew(sample(1, sensor(50.0)), at(1))
    assert not one.renew(sample(4.0, sensor(51.0)), at(4.0))
    assert "No fresh reading came" in one.refused


def test_refused_once_is_refused_for_good() -> None:
    one = lease()
    assert not one.renew(sample(1, sensor(99.0)), at(1))
    assert not one.renew(sample(2, sensor(50.0)), at(2))
    assert "99 °C" in one.refused


def test_a_sensor_that_never_moves_under_load_ends_it() -> None:
    one = lease()
    granted = [one.renew(sample(i, sensor(50.0)), at(i)) for i in range(1, 8)]
    assert granted.count(True) == STILL_S
    assert "does not move" in one.refused


@pytest.mark.parametrize("moved_c", [1.0, -1.0])
def test_a_sensor_that_has_moved_once_may_stand_still(moved_c: float) -> None:
    one = lease()
    assert one.renew(sample(1, sensor(50.0)), at(1))
    assert all(one.renew(sample(i, sensor(50.0 + moved_c)), at(i)) for i in range(2, 50))


def test_a_processor_that_is_warm_from_an_earlier_load_may_stand_still_at_once() -> None:
    one = Lease(now=at(0), longest_s=600.0)
    assert all(one.renew(sample(i, sensor(78.0)), at(i)) for i in range(1, 50))
