"""What a measurement of a pack knows now, as one frozen value."""

from enum import StrEnum

import msgspec

from verify.measure.capacity import EndLevel, StartLevel
from verify.measure.charge_count import Counted
from verify.measure.gauge_signs import GaugeFinding
from verify.measure.interval import Interval

__all__ = ["Gauge", "Measured", "uncounted"]


class Gauge(StrEnum):
    """Whether the gauge's claim is to be believed."""

    TRUTHFUL = "truthful"
    BOASTFUL = "boastful"
    UNDECIDED = "undecided"


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """What is known now.

    capacity_ah: charge between empty and full. capacity_wh: energy between empty and full at rest, which is
    neither what went in at the terminals nor what comes out. None where unknown; then why_not says why.
    least_ah, least_wh: what it holds at least, from what went in alone; high is infinite. start, end: of the
    span taken; its count is `counted`. reached_full: whether the charge has ended. fall_ah: the same from
    running down, as a check; None where it did not. claimed_ratio, label_ratio: measured capacity over the
    claim, over the label. next_step: the cheapest further test; "" where there is nothing left to find out.
    sure_wh: capacity_wh with each bound a one-sided 95 % one.
    """

    capacity_ah: Interval | None
    capacity_wh: Interval | None
    why_not: str
    least_ah: Interval | None
    least_wh: Interval | None
    start: StartLevel | None
    end: EndLevel | None
    counted: Counted | None
    reached_full: bool
    fall_ah: Interval | None
    claimed_ratio: Interval | None
    label_ratio: Interval | None
    verdict: Gauge
    findings: tuple[GaugeFinding, ...]
    next_step: str
    sure_wh: Interval | None


def uncounted(
    why: str, *, next_step: str, findings: tuple[GaugeFinding, ...], reached_full: bool
) -> Measured:
    """Return what is known where nothing can be counted: no capacity, and no verdict on the gauge."""
    return Measured(
        capacity_ah=None,
        capacity_wh=None,
        why_not=why,
        least_ah=None,
        least_wh=None,
        start=None,
        end=None,
        counted=None,
        reached_full=reached_full,
        fall_ah=None,
        claimed_ratio=None,
        label_ratio=None,
        verdict=Gauge.UNDECIDED,
        findings=findings,
        next_step=next_step,
        sure_wh=None,
    )
