"""A charge through which the machine is started again: what nobody saw is not counted as known.

What is compared is arithmetic: a steady current times the time that was seen.
"""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from verify.machine import Adapter, Pack, PackState, Sample
from verify.probe import Context, Finding, Working, make_probe
from verify.probe.watching import seconds_across
from verify.values import Instant, Reading

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
_AH, _AMPS = 4.0, 2.0
LABEL = {"energy": "45.6 Wh", "voltage": "11.4 V"}


class _Bench:
    """A machine that charges at 2 A, with its own clock; what it is not asked for is not seen."""

    def __init__(self) -> None:
        self.probe = make_probe("charge-to-full", {}, Context(label_wh=45.6, label=LABEL))
        self.wall, self.elapsed_s, self.boot = START, 0.0, 1
        self.level = 0.40
        self.said: Working | Finding | None = None

    def restart(self, off_s: float, *, wall: datetime | None = None, charged_s: float = 0.0) -> None:
        """Be off for so long; wall: what the clock shows then where it did not run on."""
        self.wall = self.wall + timedelta(seconds=off_s) if wall is None else wall
        self.elapsed_s, self.boot = 5.0, self.boot + 1
        self.level += _AMPS * charged_s / 3600 / _AH

    def step(self, **fields: Any) -> None:
        level = round(self.level, 2)
        known: dict[str, Any] = {
            "name": "A",
            "state": PackState.CHARGING,
            "state_of_charge": level,
            "full_charge_wh": 45.6,
            "design_wh": 45.6,
            "design_voltage_v": 11.4,
            "voltage_v": 3 * (3.53 + 0.69 * level),
            "current_a": _AMPS,
            "power_w": _AMPS * 3 * (3.53 + 0.69 * level),
        }
        at = Instant(wall=self.wall, elapsed_s=self.elapsed_s, boot_id=f"boot {self.boot}")
        pack = Pack(**(known | fields))
        self.said = self.probe.step(Sample(at=at, packs=(pack,), adapters=(Adapter(name="AC", online=True),)))

    def charge(self, seconds: float, every_s: float = 5.0) -> None:
        for _ in range(int(seconds / every_s)):
            self.step()
            self.wall += timedelta(seconds=every_s)
            self.elapsed_s += every_s
            self.level += _AMPS * every_s / 3600 / _AH

    def end(self) -> Finding:
        self.step(state=PackState.FULL, current_a=0.0, power_w=0.0, state_of_charge=1.0)
        assert isinstance(self.said, Finding)
        return self.said


def _of(finding: Finding, words: str) -> list[Reading]:
    return [one for one in finding.aside if words in one.source]


def _parts(finding: Finding) -> list[tuple[str, float | None]]:
    """Return each phase and its minutes."""
    return [
        (one.source.split("phase of the charge, ")[1].split(":")[0], one.value)
        for one in _of(finding, "phase of the charge")
    ]


@pytest.mark.parametrize("off_s", [20, 300, 3600])
def test_a_restart_is_a_gap_as_long_as_the_clock_says(off_s: float) -> None:
    bench = _Bench()
    bench.charge(1200)
    bench.restart(off_s)
    bench.charge(1200)
    parts = _parts(bench.end())
    # From the last look before it, 5 s earlier, to the first after it.
    assert dict(parts)["not seen"] == pytest.approx((off_s + 5) / 60, abs=0.01)


@pytest.mark.parametrize(
    ("off_s", "wall"),
    [(0, EPOCH), (0, START - timedelta(hours=1)), (13 * 3600, None), (0, START + timedelta(days=900))],
    ids=["at its epoch", "behind", "over a night", "far ahead"],
)
def test_a_restart_of_unknown_length_is_told_without_one(off_s: float, wall: datetime | None) -> None:
    bench = _Bench()
    bench.charge(1200)
    bench.restart(off_s, wall=wall)
    bench.charge(1200)
    finding = bench.end()
    unseen = [one for one in _of(finding, "phase of the charge") if "not seen" in one.source]
    assert [one.value for one in unseen] == [None]
    assert "does not tell how long" in (unseen[0].reason or "")


@pytest.mark.parametrize("wall", [None, EPOCH], ids=["clock runs on", "clock at its epoch"])
def test_restarts_in_quick_succession_make_no_level_stand(wall: datetime | None) -> None:
    bench = _Bench()
    for _ in range(8):
        bench.charge(40)
        bench.restart(30, wall=wall)
    bench.charge(600)
    assert not _of(bench.end(), "gauge cannot be believed")
    assert isinstance(bench.said, Finding)
    assert "stood at" not in bench.said.text + "".join(one.source for one in bench.said.aside)


def test_the_energy_that_went_in_is_unknown_where_a_part_was_not_seen() -> None:
    bench = _Bench()
    bench.charge(600)
    bench.restart(15)
    bench.charge(600)
    (energy,) = _of(bench.end(), "net energy that went in")
    assert energy.value is None
    assert "started anew" in (energy.reason or "")
    assert "300 s" not in (energy.reason or "")


def test_a_charge_that_went_on_unseen_for_hours_proves_no_capacity() -> None:
    """From 40 % on; while it was off, for a time that its clock does not tell, nearly all went in."""
    bench = _Bench()
    bench.charge(600)
    bench.restart(0, wall=EPOCH, charged_s=3240)
    bench.charge(300)
    finding = bench.end()
    (verdict,) = _of(finding, "what its gauge claims is")
    assert verdict.value != 1
    assert not _of(finding, "whether it holds enough is decided")


def _at(wall: datetime, boot: str | None) -> Instant:
    return Instant(wall=wall, elapsed_s=0, boot_id=boot)


@pytest.mark.parametrize(
    ("moved", "seconds"),
    [
        (timedelta(seconds=20), 20),
        (timedelta(hours=12), 43200),
        (timedelta(hours=12, seconds=1), None),
        (timedelta(0), None),
        (timedelta(seconds=-1), None),
    ],
    ids=["seconds", "half a day", "longer", "not at all", "back"],
)
def test_the_clock_tells_a_restart_of_up_to_half_a_day(moved: timedelta, seconds: float | None) -> None:
    assert seconds_across(_at(START, "one"), _at(START + moved, "two")) == seconds


def test_the_clock_tells_nothing_within_one_boot_or_at_its_epoch() -> None:
    later = START + timedelta(minutes=1)
    assert seconds_across(_at(START, "one"), _at(later, "one")) is None
    assert seconds_across(_at(START, None), _at(later, None)) is None
    assert seconds_across(_at(EPOCH, "one"), _at(EPOCH + timedelta(minutes=1), "two")) is None
