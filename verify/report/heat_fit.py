"""The course that a fit of two time constants takes through what was read of a processor under full load.

The record hands on where the load ends and both time constants, not how far chip and heat sink had to go:
those two are fitted here by least squares to the looks of the load (for given time constants the rest is
linear, as in `verify.measure.two_mass`). A course that leaves the looks is not one to show.
"""

import math
from array import array
from collections.abc import Sequence

import msgspec

from verify.measure.warming import FULL_FROM, LOST_S
from verify.probe.heat_told import FAST, SLOW, STEADY, told
from verify.report.plots.envelope import MOST
from verify.values import Reading

__all__ = ["HeatFit", "fitted_course", "full_load_s"]

_MOST_OFF_K = 2.0
"""Root of the mean square that a course may be off; a sensor's step and noise are less [common practice]."""

_FEWEST, _MOST_POINTS = 12, 600
_PLAUSIBLE_C = (-50.0, 200.0)
_LONGEST_TAU_S = 1e5


class HeatFit(msgspec.Struct, frozen=True, kw_only=True):
    """steady: as the record has it, in °C. fast, slow: the time constants; None: not told.

    course: a temperature for each look, from where the load began on, NaN before; empty: none can be drawn.
    """

    steady: Reading
    fast: Reading | None
    slow: Reading | None
    course: "array[float]"


def fitted_course(
    readings: Sequence[Reading],
    times_s: Sequence[float],
    celsius: Sequence[float],
    load: tuple[float, float] | None,
) -> HeatFit | None:
    """Return the fit that an attempt handed on, None where it told of none.

    load: from when to when full load was seen, in the times of the looks; None: not known.
    """
    steady, fast, slow = (told(readings, what) for what in (STEADY, FAST, SLOW))
    if steady is None:
        return None
    course = _course(steady, fast, slow, times_s, celsius, load)
    return HeatFit(steady=steady, fast=fast, slow=slow, course=course)


def _course(
    steady: Reading,
    fast: Reading | None,
    slow: Reading | None,
    times_s: Sequence[float],
    celsius: Sequence[float],
    load: tuple[float, float] | None,
) -> "array[float]":
    none = array("d")
    if load is None or steady.value is None or not _PLAUSIBLE_C[0] <= steady.value <= _PLAUSIBLE_C[1]:
        return none
    taus = [one.value for one in (fast, slow) if one is not None and one.value is not None]
    if len(taus) != 2 or not all(0 < tau <= _LONGEST_TAU_S for tau in taus):
        return none
    begun_s, ended_s = load
    looks = [
        (at_s - begun_s, degrees - steady.value)
        for at_s, degrees in zip(times_s, celsius, strict=True)
        if begun_s <= at_s <= ended_s and -MOST <= degrees <= MOST
    ]
    looks = looks[:: max(1, len(looks) // _MOST_POINTS)]
    sizes = _sizes(looks, taus)
    if sizes is None or _off_k(looks, taus, sizes) > _MOST_OFF_K:
        return none
    return array(
        "d",
        (
            steady.value + _at(at_s - begun_s, taus, sizes) if at_s >= begun_s else math.nan
            for at_s in times_s
        ),
    )


def _sizes(looks: list[tuple[float, float]], taus: list[float]) -> tuple[float, float] | None:
    """Return both sizes in K by the normal equations; None where they cannot be told apart."""
    if len(looks) < _FEWEST:
        return None
    aa = ab = bb = ay = by = 0.0
    for at_s, off in looks:
        a, b = math.exp(-at_s / taus[0]), math.exp(-at_s / taus[1])
        aa, ab, bb, ay, by = aa + a * a, ab + a * b, bb + b * b, ay + a * off, by + b * off
    determinant = aa * bb - ab * ab
    if determinant <= 1e-9 * aa * bb:
        return None
    return (ay * bb - by * ab) / determinant, (by * aa - ay * ab) / determinant


def _at(since_s: float, taus: list[float], sizes: tuple[float, float]) -> float:
    return sum(size * math.exp(-since_s / tau) for size, tau in zip(sizes, taus, strict=True))


def _off_k(looks: list[tuple[float, float]], taus: list[float], sizes: tuple[float, float]) -> float:
    squares = sum((off - _at(at_s, taus, sizes)) ** 2 for at_s, off in looks)
    return math.sqrt(squares / len(looks))


def full_load_s(times_s: Sequence[float], load: Sequence[float]) -> tuple[float, float] | None:
    """Return from when to when the longest full load was seen, in s as the times are; None: none was.

    times_s: one for each look, not falling. load: 0 to 1, NaN unknown.
    """
    begun_s = last_s = -math.inf
    best: tuple[float, float] | None = None
    for at_s, share in zip(times_s, load, strict=True):
        if not share >= FULL_FROM:
            continue
        if at_s - last_s >= LOST_S:
            begun_s = at_s
        last_s = at_s
        if best is None or at_s - begun_s > best[1] - best[0]:
            best = begun_s, at_s
    return best
