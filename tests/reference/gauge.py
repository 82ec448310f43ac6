"""What a gauge makes of a simulated pack: errors of its sensor, steps of its figures, lies about its level.

Errors are drawn evenly from the half-widths below: those that the tool assumes unless a shop sets others.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["COLUMNS", "Errors", "Gauge", "Timeline", "sample_times"]

COLUMNS = (
    "run",
    "time_s",
    "current_ma",
    "voltage_mv",
    "power_10mw",
    "level_percent",
    "remaining_10mwh",
    "temperature_c",
    "powered",
    "full",
)

_GAIN, _OFFSET_A, _LEVEL = 0.03, 0.003, 0.01
_SHORTEST_S, _LONGEST_S = 5.0, 30.0


@dataclass(frozen=True, kw_only=True)
class Errors:
    """Of one pack: gain of its current (a share), offset in A, level at the start (0 to 1)."""

    gain: float
    offset_a: float
    level: float

    @classmethod
    def drawn(cls, dice: random.Random) -> "Errors":
        """Draw them evenly from their half-widths."""
        return cls(
            gain=dice.uniform(-_GAIN, _GAIN),
            offset_a=dice.uniform(-_OFFSET_A, _OFFSET_A),
            level=dice.uniform(-_LEVEL, _LEVEL),
        )


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """The whole pack, finely: s, A into it, V, °C, true level 0 to 1; powered, full: when, in s."""

    time_s: Any
    current_a: Any
    voltage_v: Any
    temperature_c: Any
    level: Any
    powered: tuple[tuple[float, bool], ...]
    full_from_s: float
    full_until_s: float


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """kind, tells_energy, update_s: as in a run. claimed: times energy_wh, which the pack holds."""

    kind: str
    tells_energy: bool
    update_s: float
    claimed: float
    energy_wh: float
    errors: Errors
    phase_s: float

    def _level(self, true: float, first: float) -> float:
        # A gauge that meets full or empty mends its level there: the error fades on the way.
        span = 1 - first if true >= first else first
        left = (1 - true if true >= first else true) / span if span else 0.0
        told = true + self.errors.level * left
        if self.kind == "leaps":
            told = first + self.errors.level + (true - first) / self.claimed
        elif self.kind == "since-full":
            told = 1 - (1 - true) / self.claimed
        return min(1.0, max(0.0, told))

    def rows(self, pack: Timeline, times_s: list[float]) -> Iterator[tuple[str, ...]]:
        """Tell what it says at each time, as text, without the run's number."""
        first = float(pack.level[0])
        for at_s in times_s:
            seen_s = at_s - (at_s + self.phase_s) % self.update_s
            true_a, volts, celsius, level = (
                float(np.interp(seen_s, pack.time_s, column))
                for column in (pack.current_a, pack.voltage_v, pack.temperature_c, pack.level)
            )
            amps = true_a * (1 + self.errors.gain) + (self.errors.offset_a if true_a else 0.0)
            full = pack.full_from_s <= seen_s < pack.full_until_s
            told = 1.0 if full else min(self._level(level, first), 0.99)
            remaining = f"{told * self.claimed * self.energy_wh * 100:.0f}"
            powered = [on for since_s, on in pack.powered if at_s >= since_s][-1]
            yield (
                f"{at_s:.1f}",
                f"{amps * 1000:.0f}",
                f"{volts * 1000:.0f}",
                f"{amps * volts * 100:.0f}",
                "" if self.tells_energy else f"{told * 100:.0f}",
                remaining if self.tells_energy else "",
                f"{celsius:.1f}",
                "1" if powered else "0",
                "1" if full else "0",
            )


def sample_times(start_s: float, end_s: float, middle_s: float, dice: random.Random) -> list[float]:
    """Return uneven times, half to one and a half times `middle_s` apart; from 5 s on, within 5 and 30 s."""
    times_s, at_s = [], start_s
    while at_s < end_s:
        times_s.append(round(at_s, 1))
        step_s = middle_s * dice.uniform(0.5, 1.5)
        at_s += step_s if middle_s < _SHORTEST_S else min(_LONGEST_S, max(_SHORTEST_S, step_s))
    return times_s
