"""What only a series shows: a rate that is not true, a gauge that stands still, a level that leaps.

Pure: packs with their times in, an answer out. Times in seconds on one clock, rising. All thresholds are
common practice, no source.
"""

from collections.abc import Sequence
from itertools import pairwise

import msgspec

from verify.machine.model import Pack, PackState
from verify.values.errors import InvalidValueError

__all__ = ["Moment", "charging_share", "flow_disagrees", "is_stuck", "leaps", "rate_disagrees", "slope_w"]

_SLOPE_MIN_S = 120.0
_DISAGREE = 0.5
_FLOW_MIN_S, _FLOW_MIN_W, _FLOW_STEPS = 240.0, 3.0, 4
_STUCK_S, _STUCK_W = 300.0, 3.0
_LEAP, _LEAP_S, _ROUNDING = 0.03, 30.0, 1e-9


class Moment(msgspec.Struct, frozen=True, kw_only=True):
    """One pack at one time. elapsed_s: seconds since any start."""

    elapsed_s: float
    pack: Pack


def _checked(moments: Sequence[Moment]) -> None:
    if any(later.elapsed_s <= earlier.elapsed_s for earlier, later in pairwise(moments)):
        raise InvalidValueError("The times of a series must rise.")


def slope_w(moments: Sequence[Moment], *, shortest_s: float = _SLOPE_MIN_S) -> float | None:
    """Return the power that the change of stored energy stands for, in W, into the pack positive.

    Ordinary least squares over the readings that know the energy. None where they span less than shortest_s,
    are fewer than three, or come from different files (energy and charge): a switch makes the series void.
    """
    _checked(moments)
    known = [
        (moment.elapsed_s, moment.pack.remaining_wh)
        for moment in moments
        if moment.pack.remaining_wh is not None
    ]
    if len({"remaining_wh" in moment.pack.estimated for moment in moments}) != 1 or len(known) < 3:
        return None
    if known[-1][0] - known[0][0] < shortest_s:
        return None
    mean_s = sum(second for second, _ in known) / len(known)
    mean_wh = sum(energy for _, energy in known) / len(known)
    spread = sum((second - mean_s) ** 2 for second, _ in known)
    return 3600 * sum((second - mean_s) * (energy - mean_wh) for second, energy in known) / spread


def rate_disagrees(moments: Sequence[Moment], *, floor_w: float = 1.0) -> bool | None:
    """Tell whether the reported power differs from the slope by more than half: then use the slope.

    The median of the reported powers stands against the slope; below floor_w (W) neither says anything.
    None where one of them is unknown.
    """
    slope = slope_w(moments)
    powers = sorted(moment.pack.power_w for moment in moments if moment.pack.power_w is not None)
    if slope is None or not powers:
        return None
    middle = len(powers) // 2
    median = powers[middle] if len(powers) % 2 else (powers[middle - 1] + powers[middle]) / 2
    larger = max(abs(slope), abs(median))
    return larger >= floor_w and abs(slope - median) > _DISAGREE * larger


def flow_disagrees(moments: Sequence[Moment]) -> bool | None:
    """Tell whether the reported power, summed up, misses the change of stored energy by more than half.

    Unlike `rate_disagrees` it holds while the power changes, as at the taper or where packs take turns. None
    over less than 4 min, where one of both is unknown somewhere, below 3 W on average, or where the energy
    moved in fewer than four steps.
    """
    _checked(moments)
    energies = [moment.pack.remaining_wh for moment in moments]
    if not moments or moments[-1].elapsed_s - moments[0].elapsed_s < _FLOW_MIN_S:
        return None
    first, last = energies[0], energies[-1]
    if first is None or last is None or None in energies or len(set(energies)) < _FLOW_STEPS:
        return None
    summed_ws = 0.0
    for earlier, later in pairwise(moments):
        if earlier.pack.power_w is None or later.pack.power_w is None:
            return None
        summed_ws += (earlier.pack.power_w + later.pack.power_w) / 2 * (later.elapsed_s - earlier.elapsed_s)
    span_s = moments[-1].elapsed_s - moments[0].elapsed_s
    stored_w, flowed_w = 3600 * (last - first) / span_s, summed_ws / span_s
    larger_w = max(abs(stored_w), abs(flowed_w))
    return None if larger_w < _FLOW_MIN_W else abs(stored_w - flowed_w) > _DISAGREE * larger_w


def is_stuck(moments: Sequence[Moment]) -> bool | None:
    """Tell whether the stored energy stood still for 5 minutes while 3 W or more flowed.

    None where the series is shorter, or energy or power is unknown somewhere in it.
    """
    _checked(moments)
    if not moments or moments[-1].elapsed_s - moments[0].elapsed_s < _STUCK_S:
        return None
    # The shortest tail of the series that spans the time.
    start = max(
        index for index, moment in enumerate(moments) if moments[-1].elapsed_s - moment.elapsed_s >= _STUCK_S
    )
    window = moments[start:]
    energies = {moment.pack.remaining_wh for moment in window}
    powers = [moment.pack.power_w for moment in window]
    if None in energies or any(power is None for power in powers):
        return None
    return len(energies) == 1 and all(power is not None and abs(power) > _STUCK_W for power in powers)


def leaps(moments: Sequence[Moment]) -> tuple[float, ...]:
    """Return the times at which the level moved by more than 3 % within 30 s since the reading before.

    Over longer gaps 3 % for each 30 s are allowed. Readings without a level are passed over.
    """
    _checked(moments)
    known = [(m.elapsed_s, m.pack.state_of_charge) for m in moments if m.pack.state_of_charge is not None]
    found = []
    for (before_s, before), (now_s, now) in pairwise(known):
        allowed = _LEAP * max(1.0, (now_s - before_s) / _LEAP_S)
        if abs(now - before) > allowed + _ROUNDING:
            found.append(now_s)
    return tuple(found)


def charging_share(moments: Sequence[Moment]) -> float | None:
    """Return the share of readings, 0 to 1, in which the pack was charging; None for an empty series."""
    if not moments:
        return None
    return sum(moment.pack.state is PackState.CHARGING for moment in moments) / len(moments)
