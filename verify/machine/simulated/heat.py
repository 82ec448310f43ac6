"""The heat of a simulated machine: a chip on a heat sink, a fan that answers, a clock that is taken back.

Two masses: the chip warms within seconds, the heat sink within a minute or two; the fan lowers the way out of
the heat sink. The fan starts at one temperature, follows the chip, and stops at a lower one. Near critical
the processor takes its clock back, as far as it may, and counts how often. All magnitudes are common
practice, no source.
"""

import math

from verify.machine.simulated.design import SimulatedDesign
from verify.machine.simulated.faults import ParsedFaults

__all__ = ["SimulatedHeat"]

PROCESSOR_SHARE = 0.75
"""What part of the machine's draw the processor turns into heat."""

_CHIP_K_PER_W, _CHIP_J_PER_K = 0.9, 5.0
_SINK_J_PER_K = 42.0
_SINK_W_PER_K, _FAN_W_PER_K = 0.45, 0.18  # without a fan, and what a fan at full speed adds
# A processor that its heat sink does not touch: little to warm, and nowhere to go with the heat.
_LOOSE_K_PER_W, _LOOSE_TAU_S = 6.5, 2.4
_BOARD_SHARE, _BOARD_TAU_S = 0.75, 300.0
_FAN_FROM_C, _FAN_TO_C = 44.0, 40.0
_FAN_RPM_LEAST, _FAN_RPM_PER_K, _FAN_RPM_MOST = 1900.0, 70.0, 4800.0
_FAN_TAU_S = 8.0
_TAKES_BACK_K, _TAKES_ALL_K = 15.0, 5.0  # below critical: the clock begins to go down, and is at its lowest
_LEAST_CLOCK = 0.6  # of its highest
_LONGEST_S = 2.5


class SimulatedHeat:
    """Temperatures, in °C, fan speed and clock; `advance` moves them on.

    clock: 0 to 1 of the highest, as the processor lets itself run at full load. throttles: how often it began
    to take it back.
    """

    def __init__(self, design: SimulatedDesign, *, ambient_c: float) -> None:
        self._critical_c = design.critical_c
        self._highest_mhz = design.frequency_max_mhz
        self.throttles = 0
        self.clock = 1.0
        self._by_length: dict[float, tuple[float, ...]] = {}
        self.cool(ambient_c)

    def cool(self, ambient_c: float) -> None:
        """Let all be as warm as what is around."""
        self.chip_c = self._sink_c = self.board_c = ambient_c
        self.rpm = 0.0
        self._turns = False

    def fit(self, faults: ParsedFaults) -> None:
        """Take over the faults that the heat has."""
        self._loose = "heat-sink-loose" in faults
        self._stuck = "fan-stuck" in faults
        self._always = "fan-always-full" in faults
        self._hot_c = faults.value("sensor-hot")
        self._chip_ohm = _CHIP_K_PER_W * (faults.value("paste-dry") or 1.0)
        held_mhz = faults.value("clock-held")
        self._most_clock = 1.0 if held_mhz is None else min(1.0, held_mhz / self._highest_mhz)
        self.clock = min(self.clock, self._most_clock)
        self._by_length = {}

    def advance(self, seconds: float, *, heat_w: float, ambient_c: float, on: bool) -> None:
        """Move on by `seconds`, with so much heat from the processor, in W."""
        parts = math.ceil(seconds / _LONGEST_S)
        for _ in range(parts):
            self._step(seconds / parts, heat_w, ambient_c, on=on)
            self._control(seconds / parts, on=on)
        self.settle(on=on)

    def settle(self, *, on: bool) -> None:
        """Let what a fault or the switch forces show at once."""
        if on and self._hot_c is not None:
            self.chip_c = self._hot_c
        if not on:
            self._turns = False

    def _step(self, seconds: float, heat_w: float, ambient_c: float, *, on: bool) -> None:
        factors = self._by_length.get(seconds)
        if factors is None:
            chip_tau_s = _LOOSE_TAU_S if self._loose else _CHIP_J_PER_K * self._chip_ohm
            factors = (
                -math.expm1(-seconds / chip_tau_s),
                -math.expm1(-seconds / _BOARD_TAU_S),
                -math.expm1(-seconds / _FAN_TAU_S),
            )
            self._by_length[seconds] = factors
        if self._loose:
            self.chip_c += (ambient_c + _LOOSE_K_PER_W * heat_w - self.chip_c) * factors[0]
            flow_w = 0.0
        else:
            warmer_k = (self._sink_c + self._chip_ohm * heat_w - self.chip_c) * factors[0]
            self.chip_c += warmer_k
            # What the chip did not keep goes into the heat sink.
            flow_w = heat_w - _CHIP_J_PER_K * warmer_k / seconds
        out_w_per_k = _SINK_W_PER_K + _FAN_W_PER_K * self.rpm / _FAN_RPM_MOST
        final_c = ambient_c + flow_w / out_w_per_k
        self._sink_c += (final_c - self._sink_c) * -math.expm1(-seconds * out_w_per_k / _SINK_J_PER_K)
        board_c = ambient_c + _BOARD_SHARE * (self._sink_c - ambient_c)
        self.board_c += (board_c - self.board_c) * factors[1]
        self.rpm += ((self._wanted_rpm() if on else 0.0) - self.rpm) * factors[2]

    def _wanted_rpm(self) -> float:
        if self._stuck:
            return 0.0
        if self._always:
            return _FAN_RPM_MOST
        celsius = self.chip_c if self._hot_c is None else self._hot_c
        self._turns = celsius > (_FAN_TO_C if self._turns else _FAN_FROM_C)
        if not self._turns:
            return 0.0
        above_k = max(0.0, celsius - _FAN_TO_C)
        return min(_FAN_RPM_MOST, _FAN_RPM_LEAST + _FAN_RPM_PER_K * above_k)

    def _control(self, seconds: float, *, on: bool) -> None:
        """Take the clock back near critical, a little each second, and give it again."""
        begins_c, all_c = self._critical_c - _TAKES_BACK_K, self._critical_c - _TAKES_ALL_K
        share = min(1.0, max(0.0, (self.chip_c - begins_c) / (all_c - begins_c))) if on else 0.0
        wanted = min(self._most_clock, 1.0 - share * (1.0 - _LEAST_CLOCK))
        if wanted < self._most_clock <= self.clock:
            self.throttles += 1
        self.clock += (wanted - self.clock) * min(1.0, seconds / _LONGEST_S)
        if self.clock > self._most_clock - 0.001:
            self.clock = self._most_clock

    @property
    def told_rpm(self) -> int:
        """The fan's speed in steps of 10; a fan below half of its lowest speed stands still."""
        return round(self.rpm / 10) * 10 if self.rpm >= 0.5 * _FAN_RPM_LEAST else 0
