"""The physics of a simulated machine: what it draws, what powers it, its pack and its heat, in short steps.

Steps are of at most 5 s and end where a load ends. Nothing here reads a clock: whoever owns it says how far
to go.
"""

import random

from verify.machine.simulated.design import SimulatedDesign
from verify.machine.simulated.faults import ParsedFaults
from verify.machine.simulated.fitted import fitted_pack, pack_ambient_c
from verify.machine.simulated.heat import PROCESSOR_SHARE, SimulatedHeat
from verify.machine.simulated.load import SimulatedLoad

__all__ = ["SimulatedBody"]

AMBIENT_C = 22.0

_STEP_S = 5.0
_IDLE_LOAD, _IDLE_SPREAD, _LOAD_HOLDS_S = 0.05, 0.15, 60.0
_DROPS_EVERY_S, _DROPS_FOR_S = 480.0, 20.0


class SimulatedBody:
    """What is true of a machine; `to` moves it on, `settle` lets it answer at once to what hands did."""

    def __init__(
        self, design: SimulatedDesign, faults: ParsedFaults, *, seed: int, level: float, at_s: float
    ) -> None:
        self.design = design
        self.at_s = at_s
        self.pack_connected = True
        self.plugged = self.turned = self.let_go = self.dropped = False
        self.plugged_at_s = at_s
        self.full_load: SimulatedLoad | None = None
        self.heat = SimulatedHeat(design, ambient_c=AMBIENT_C)
        self._seed = seed
        self._idle: tuple[int, float] = (-1, 0.0)
        self.fit(faults, level=level)

    def fit(self, faults: ParsedFaults, *, level: float) -> None:
        """Take over these faults, with a fresh pack of this level."""
        self.faults = faults
        self.pack = fitted_pack(self.design.pack, faults, seed=self._seed, level=level, ambient_c=AMBIENT_C)
        self.heat.fit(faults)
        self.dropped = False
        self._pack_ambient_c = pack_ambient_c(faults, AMBIENT_C)
        self._stops_at = faults.value("stops-under-load")
        self._dies_at = faults.value("dies-at")
        self._drops = faults.value("charger-drops") or 0.0
        self._dead = "charger-dead" in faults
        self._weak_w = faults.value("weak-charger")
        self._weak_one_way_w = faults.value("weak-one-way")
        self.settle()

    @property
    def powered(self) -> bool:
        """Whether the charger gives power."""
        if not self.plugged or self.let_go or self._dead:
            return False
        if self._drops:
            drop, since_s = divmod(self.at_s - self.plugged_at_s, _DROPS_EVERY_S)
            return not (1 <= drop <= self._drops and since_s < _DROPS_FOR_S)
        return True

    @property
    def pack_seen(self) -> bool:
        """Whether the system sees the pack."""
        return self.pack_connected and "pack-missing" not in self.faults

    @property
    def on(self) -> bool:
        """Whether the machine runs."""
        return self.powered or (self.pack_connected and not self.dropped and not self.pack.spent)

    @property
    def under_load(self) -> bool:
        """Whether all cores work."""
        return self.full_load is not None and self.at_s < self.full_load.ends_at_s

    @property
    def offered_w(self) -> float | None:
        """What the charger can give, in W; None where it gives nothing."""
        if not self.powered:
            return None
        turned_w = self._weak_one_way_w if self.turned else None
        return turned_w or self._weak_w or self.design.adapter_w

    def load(self) -> float:
        """Return the processor's load now, 0 to 1: the same at one time however often it is asked."""
        if self.under_load:
            return 1.0
        minute = int(self.at_s // _LOAD_HOLDS_S)
        if self._idle[0] != minute:
            spread = random.Random(self._seed * 1_000_003 + minute).uniform(-1, 1)
            self._idle = (minute, _IDLE_LOAD * (1 + _IDLE_SPREAD * spread))
        return self._idle[1]

    def load_w(self) -> float:
        """Return what the machine draws while it runs, in W; at full load by the square of the clock."""
        design = self.design
        if self.under_load:
            return design.idle_w + (design.full_load_w - design.idle_w) * self.heat.clock**2
        return design.idle_w * (0.5 + self.load() * 10)

    def to(self, at_s: float) -> None:
        """Move on to this time, in s of the owner's clock."""
        while self.at_s < at_s:
            seconds = min(_STEP_S, at_s - self.at_s)
            if self.full_load is not None and self.under_load:
                seconds = min(seconds, self.full_load.ends_at_s - self.at_s)
            self.step(seconds)
            self.at_s += seconds

    def settle(self) -> None:
        """Let all answer at once, without time passing."""
        self.step(0.0)

    def rest(self, *, energy_wh: float, at_s: float) -> None:
        """Let it lie for long, to this time: all cools down, and the pack loses so much."""
        if self.pack_connected:
            self.pack.lose(energy_wh, ambient_c=self._pack_ambient_c)
        self.heat.cool(AMBIENT_C)
        self.at_s = at_s
        self.settle()

    def step(self, seconds: float) -> None:
        """Move on by so much, 5 s at most."""
        offered_w, pack = self.offered_w, self.pack
        if offered_w is None and self._goes_off():
            # Off until a charger wakes it.
            self.dropped = True
        on = offered_w is not None or (self.pack_connected and not self.dropped)
        load_w = self.load_w() if on else 0.0
        if self.pack_connected:
            pack.advance(seconds, offered_w=offered_w, load_w=load_w, ambient_c=self._pack_ambient_c)
        if seconds:
            self.heat.advance(seconds, heat_w=load_w * PROCESSOR_SHARE, ambient_c=AMBIENT_C, on=on)
        else:
            self.heat.settle(on=on)

    def _goes_off(self) -> bool:
        """Tell whether the pack can, or does, carry it no longer."""
        pack = self.pack
        if pack.spent:
            return True
        if self._stops_at is not None and self.under_load and pack.level <= self._stops_at:
            return True
        return self._dies_at is not None and pack.gauge.level <= self._dies_at
