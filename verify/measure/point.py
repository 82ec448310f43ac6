"""One look at a pack as numbers only: what all computations on a charge or a discharge take."""

import msgspec

from verify.measure.tally import Tally

__all__ = ["Point"]


class Point(msgspec.Struct, frozen=True, kw_only=True):
    """What a pack told at one time; None where it did not.

    at_s: on a clock that only rises. current_a, power_w: into the pack positive. voltage_v: of the pack.
    level: 0 to 1 as the gauge tells it. remaining_wh: as the gauge tells it. temperature_c: of the pack.
    powered: whether power comes from outside. says_full: the pack's own word. tally: what a recording counted
    up to here, where it has more rows than are looked at.
    """

    at_s: float
    current_a: float | None = None
    power_w: float | None = None
    voltage_v: float | None = None
    level: float | None = None
    remaining_wh: float | None = None
    temperature_c: float | None = None
    powered: bool | None = None
    says_full: bool = False
    tally: Tally | None = None
