"""The cells of a simulated pack: open-circuit voltage, a series resistance and two lags.

Open-circuit voltage: Chen et al. 2020, J. Electrochem. Soc. 167, 080534 (nickel-rich positive, graphite with
silicon oxide): its two fitted curves, and the line of lithium content that its parameters give between 2.5 V
and 4.2 V. Level 0 is where the open circuit is at 3.00 V: under a small load the terminals are then at the
2.8 to 3.0 V where machines shut off. Level 1 is at 4.180 V: where a sound cell's charge to 4.20 V ends, at
0.05 C.

Resistance and lags: magnitudes are common practice, no source, scaled by the cell's size.
"""

import functools
import math

import msgspec

__all__ = ["EMPTY_V", "FULL_V", "CellDesign", "Cells", "mean_open_v", "open_circuit_v"]

EMPTY_V, FULL_V = 3.00, 4.180
"""Open-circuit voltage of a cell at level 0 and 1, in V."""

# Lithium content of the negative and positive electrode at 2.5 V and at 4.2 V, from the paper's parameters.
_NEGATIVE = (0.02634579027, 0.91061804665)
_POSITIVE = (0.85397467463, 0.26384522459)

_STEPS = 2000
# Shares of the whole resistance: at once, within seconds, within minutes [common practice, no source].
_SHARES = (0.50, 0.15, 0.35)
_LAGS_S = (12.0, 600.0)
_VOLTS_AT_1_C = 0.25  # lost in a sound cell at 1 C: 50 milliohm of 5 Ah [common practice, no source]


def positive_v(content: float) -> float:
    """Return the positive electrode's voltage against lithium, in V, at a lithium content 0 to 1."""
    return (
        -0.8090 * content
        + 4.4875
        - 0.0428 * math.tanh(18.5138 * (content - 0.5542))
        - 17.7326 * math.tanh(15.7890 * (content - 0.3117))
        + 17.5842 * math.tanh(15.9308 * (content - 0.3120))
    )


def negative_v(content: float) -> float:
    """Return the negative electrode's voltage against lithium, in V, at a lithium content 0 to 1."""
    return (
        1.9793 * math.exp(-39.3631 * content)
        + 0.2482
        - 0.0909 * math.tanh(29.8538 * (content - 0.1234))
        - 0.04478 * math.tanh(14.9159 * (content - 0.2769))
        - 0.0205 * math.tanh(30.4444 * (content - 0.6103))
    )


def _between_v(share: float) -> float:
    """Return the open-circuit voltage at a share 0 to 1 of the way from 2.5 V to 4.2 V."""
    positive = _POSITIVE[0] + share * (_POSITIVE[1] - _POSITIVE[0])
    negative = _NEGATIVE[0] + share * (_NEGATIVE[1] - _NEGATIVE[0])
    return positive_v(positive) - negative_v(negative)


def _share_at(volts: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _between_v(middle) < volts else (low, middle)
    return low


@functools.cache
def _ends() -> tuple[float, float]:
    return _share_at(EMPTY_V), _share_at(FULL_V)


def open_circuit_v(level: float) -> float:
    """Return the open-circuit voltage of one cell, in V, by the closed formula.

    level: 0 to 1; a little beyond either end is allowed, to 2.5 V and 4.2 V, and clamped there.
    """
    empty, full = _ends()
    return _between_v(min(max(empty + level * (full - empty), 0.0), 1.0))


class Curve:
    """The same as a table, for speed. `low`: the level of its first point; `per`: points from 0 to 1."""

    def __init__(self) -> None:
        empty, full = _ends()
        self.volts = [_between_v(i / _STEPS) for i in range(_STEPS + 1)]
        self.low = -empty / (full - empty)
        self.per = _STEPS * (full - empty)
        self.last = _STEPS - 1
        energies = [0.0]
        for one, two in zip(self.volts, self.volts[1:], strict=False):
            energies.append(energies[-1] + (one + two) / 2 / self.per)
        self._energies = energies

    def at(self, level: float) -> tuple[float, float]:
        """Return voltage, in V, and slope, in V for the whole range; straight on beyond the ends."""
        place = (level - self.low) * self.per
        i = int(place)
        if i < 0:
            i = 0
        elif i > self.last:
            i = self.last
        volts = self.volts[i]
        slope = self.volts[i + 1] - volts
        return volts + (place - i) * slope, slope * self.per

    def level(self, volts: float) -> float:
        """Return the level at a voltage, clamped to 0 to 1."""
        low, high = 0.0, 1.0
        for _ in range(14):
            middle = (low + high) / 2
            low, high = (middle, high) if self.at(middle)[0] < volts else (low, middle)
        return (low + high) / 2

    def energy(self, level: float) -> float:
        """Return the energy at rest above 2.5 V at a level, in Wh for each Ah of capacity."""
        place = (level - self.low) * self.per
        i = min(max(int(place), 0), self.last)
        part = (place - i) / self.per
        return self._energies[i] + part * (self.volts[i] + self.at(level)[0]) / 2


@functools.cache
def curve() -> Curve:
    """Return the table, made at first use."""
    return Curve()


@functools.cache
def mean_open_v() -> float:
    """Return the mean open-circuit voltage of a cell between level 0 and 1, in V: Wh at rest for each Ah."""
    return curve().energy(1.0) - curve().energy(0.0)


class CellDesign(msgspec.Struct, frozen=True, kw_only=True):
    """Cells in series: capacity_ah between level 0 and 1; ohm: of one cell, whole, as after many minutes.

    ahead: how much further charged one of the groups is, 0 to 1.
    """

    series: int
    capacity_ah: float
    ohm: float
    ahead: float = 0.0

    @staticmethod
    def sound_ohm(design_ah: float) -> float:
        """Return the whole resistance of a sound cell of this size, in ohm."""
        return _VOLTS_AT_1_C / design_ah

    def ohm_after(self, seconds: float) -> float:
        """Return what a step of current shows after so many seconds, in ohm of one cell.

        The move of the level in that time is not in it.
        """
        at_once, *lagging = _SHARES
        lags = zip(lagging, _LAGS_S, strict=True)
        return self.ohm * (at_once + sum(share * -math.expm1(-seconds / lag) for share, lag in lags))


class Cells:
    """The state of cells in series: level, and the voltages that lag. `see` looks ahead, `move` goes there.

    Within a step the current stands still, and all is solved at the step's end: stable at any length.
    """

    def __init__(self, design: CellDesign, *, level: float) -> None:
        self.design = design
        self.level = level
        self.lag_v, self.slow_v = 0.0, 0.0
        self._curve = curve()
        self._ohm, self._lag_ohm, self._slow_ohm = (design.ohm * share for share in _SHARES)
        self._by_length: dict[float, tuple[float, ...]] = {}
        self._step = self._factors(0.0)

    def _factors(self, seconds: float) -> tuple[float, ...]:
        lag, slow = (math.exp(-seconds / tau) for tau in _LAGS_S)
        lag_ohm, slow_ohm = self._lag_ohm * (1 - lag), self._slow_ohm * (1 - slow)
        # Charge in by a step of 1 A, as a share of the capacity.
        share = seconds / 3600 / self.design.capacity_ah
        found = (lag, slow, lag_ohm, slow_ohm, self._ohm + lag_ohm + slow_ohm, share)
        if len(self._by_length) < 1000:
            self._by_length[seconds] = found
        return found

    def see(self, seconds: float) -> tuple[float, float, float]:
        """Look at a step's end without current: volts of all, of the highest group, and ohm of one group.

        A current through it moves each group by ohm × current.
        """
        self._step = step = self._by_length.get(seconds) or self._factors(seconds)
        volts, slope = self._curve.at(self.level)
        lagging = self.lag_v * step[0] + self.slow_v * step[1]
        ohm = step[4] + slope * step[5]
        group = volts + lagging
        design = self.design
        if not design.ahead:
            return design.series * group, group, ohm
        highest = self._curve.at(self.level + design.ahead)[0] + lagging
        return (design.series - 1) * group + highest, highest, ohm

    def move(self, current_a: float) -> None:
        """Go to the end of the step that was seen, with this current; into the pack positive."""
        lag, slow, lag_ohm, slow_ohm, _, share = self._step
        self.level += current_a * share
        self.lag_v = self.lag_v * lag + current_a * lag_ohm
        self.slow_v = self.slow_v * slow + current_a * slow_ohm

    def heat_w(self, current_a: float) -> float:
        """Return what this current and the lagging voltages turn into heat now, in W of all cells."""
        lagging = self.lag_v**2 / self._lag_ohm + self.slow_v**2 / self._slow_ohm
        return self.design.series * (current_a * current_a * self._ohm + lagging)

    def stored_wh(self) -> float:
        """Return the energy between this level and 2.5 V at rest, and that in the lagging voltages, in Wh."""
        design, table = self.design, self._curve
        energy = (design.series - 1) * table.energy(self.level) + table.energy(self.level + design.ahead)
        lags = zip((self.lag_v, self.slow_v), (self._lag_ohm, self._slow_ohm), _LAGS_S, strict=True)
        lagging_j = design.series * sum(volts**2 * tau / ohm / 2 for volts, ohm, tau in lags)
        return energy * design.capacity_ah + lagging_j / 3600
