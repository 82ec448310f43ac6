"""The charge and the energy of a long recording, summed over all its rows, for the few that are looked at.

Trapezoids between neighbouring rows; a row that does not know is passed over. Done column by column:
a loop over a million rows would take longer than all else.
"""

import math
from array import array
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import accumulate, islice
from operator import add, mul, sub

import msgspec

__all__ = ["Tally", "tallies"]

_SAMPLE = 20_000
_GAP_S, _USUAL_TIMES = 30.0, 10.0
_HOUR_S = 3600.0


class Tally(msgspec.Struct, frozen=True, kw_only=True):
    """What was counted from the beginning of a recording up to one look.

    charge_ah, energy_wh: into the pack positive; None where not told. sampling_ah2: variance of the charge,
    as the moments of change between rows are unknown.
    """

    charge_ah: float | None
    energy_wh: float | None
    sampling_ah2: float


def tallies(
    times_s: "array[float]",
    rows: Iterable[int],
    *,
    current_a: "array[float] | None",
    power_w: "array[float] | None",
) -> list[Tally]:
    """Return the tally at each of the rows.

    times_s: strictly rising. current_a, power_w: into the pack positive, as long, NaN where unknown; or None.
    """
    at = list(rows)
    charges, sampling = _sums(times_s, current_a, at, with_sampling=True)
    energies, _ = _sums(times_s, power_w, at, with_sampling=False)
    # Told as a rate: the jumps that matter are looked at one by one, and the rest is alike.
    return [
        Tally(charge_ah=charge, energy_wh=energy, sampling_ah2=sampling * (times_s[row] - times_s[0]))
        for row, charge, energy in zip(at, charges, energies, strict=True)
    ]


def _sums(
    times_s: "array[float]", rate: "array[float] | None", rows: Sequence[int], *, with_sampling: bool
) -> tuple[Sequence[float | None], float]:
    """Return the sum over time up to each row, per hour, and the variance a second that sampling adds."""
    if rate is None:
        return [None] * len(rows), 0.0
    known: Sequence[int] = range(len(rate))
    if math.isnan(sum(rate)):
        known = [row for row, value in enumerate(rate) if not math.isnan(value)]
        times_s = array("d", map(times_s.__getitem__, known))
        rate = array("d", map(rate.__getitem__, known))
    if len(rate) < 2:
        return [None] * len(rows), 0.0
    lengths = array("d", map(sub, islice(times_s, 1, None), times_s))
    sums = array("d", accumulate(map(mul, lengths, map(add, islice(rate, 1, None), rate)), initial=0.0))
    # Twice the sum, as the mean of two rows is half of what they add up to. A look at a row that does
    # not know gets the sum up to the known one before it.
    places = rows if isinstance(known, range) else [max(0, bisect_left(known, row + 1) - 1) for row in rows]
    told = [sums[place] / 2 / _HOUR_S for place in places]
    return told, _sampling(lengths, rate) if with_sampling else 0.0


def _sampling(lengths: "array[float]", rate: "array[float]") -> float:
    """Return the variance a second, in Ah², from a share of the steps: half of each change, rectangular.

    Not from gaps: both their sides are looked at.
    """
    total = passed_s = 0.0
    longest_s = max(_GAP_S, _USUAL_TIMES * sum(lengths) / len(lengths))
    for row in range(0, len(lengths), 1 + len(lengths) // _SAMPLE):
        length = lengths[row]
        if length > longest_s:
            continue
        total += ((rate[row + 1] - rate[row]) * length / 2 / _HOUR_S) ** 2 / 3
        passed_s += length
    return total / passed_s if passed_s else 0.0
