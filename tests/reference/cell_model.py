"""A published cell in PyBaMM: aged, simulated through steps, and its capacity known from its own equations.

Model: single particle model with electrolyte (SPMe), lumped thermal, contact resistance for what is added.
Capacity: charge between the state at the end of charge and the state whose open-circuit voltage is that of an
empty cell, lithium being conserved. It needs no integration of the simulated current. Empty is 3.0 V at rest,
where no laptop runs any more [common practice, no source], or the paper's lower cut-off where that is higher;
what is left below it down to the paper's own cut-off is known too.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pybamm
from scipy.optimize import brentq

from tests.reference.papers import Paper

__all__ = ["Cell", "Series", "State"]

_KELVIN = 273.15
_EMPTY_V = 3.0
# Where a diffusivity changes a lot with concentration, the usual 20 points make the current rise and fall at
# constant voltage; with 80 it falls, as in the full model.
_POINTS_IN_PARTICLE = 80
_EDGE = 1e-4  # open-circuit potentials end at the edges of what an electrode can hold


@dataclass(frozen=True, kw_only=True)
class State:
    """Shares of an electrode's places that lithium fills: negative, positive."""

    negative: float
    positive: float


@dataclass(frozen=True, kw_only=True)
class Series:
    """One simulated step of a pack, finely: s, A into it, V, °C, Ah into it since the step began."""

    time_s: Any
    current_a: Any
    voltage_v: Any
    temperature_c: Any
    charge_ah: Any
    end: State


class Cell:
    """A cell of `paper`, enlarged to `size_ah` as parallel cells are, aged, in a room of `ambient_c`.

    All figures are of the enlarged cell. lost and health: as in a run.
    """

    def __init__(
        self, paper: Paper, *, size_ah: float, lost: str, health: float, added_ohm: float, ambient_c: float
    ) -> None:
        values = pybamm.ParameterValues(paper.name)
        nominal_ah = float(values["Nominal cell capacity [A.h]"])
        self._times = max(1, round(size_ah / nominal_ah))
        self.nominal_ah = nominal_ah * self._times
        self.full_v = paper.full_v
        self.cutoff_v = float(values["Lower voltage cut-off [V]"])
        self.empty_v = max(_EMPTY_V, self.cutoff_v)
        kelvin = ambient_c + _KELVIN
        values.update({"Ambient temperature [K]": kelvin, "Initial temperature [K]": kelvin})
        values.update({"Contact resistance [Ohm]": added_ohm * self._times}, check_already_exists=False)
        self._values = values
        self._potentials()
        self._age(lost, health)

    def _potentials(self) -> None:
        symbols = pybamm.LithiumIonParameters()
        reference = pybamm.Scalar(float(self._values["Reference temperature [K]"]))
        place = pybamm.InputParameter("place")
        self._negative = self._values.process_symbol(symbols.n.prim.U(place, reference))
        self._positive = self._values.process_symbol(symbols.p.prim.U(place, reference))
        # In Ah of the enlarged cell, from empty of lithium to filled with it.
        self._negative_ah = float(self._values.evaluate(symbols.n.prim.Q_init)) * self._times
        self._positive_ah = float(self._values.evaluate(symbols.p.prim.Q_init)) * self._times
        self._negative_most = float(self._values["Maximum concentration in negative electrode [mol.m-3]"])
        self._positive_most = float(self._values["Maximum concentration in positive electrode [mol.m-3]"])

    def _age(self, lost: str, health: float) -> None:
        values = self._values
        at_first = State(
            negative=float(values["Initial concentration in negative electrode [mol.m-3]"])
            / self._negative_most,
            positive=float(values["Initial concentration in positive electrode [mol.m-3]"])
            / self._positive_most,
        )
        fresh = self._shifted(at_first, self._charge_to(at_first, self.cutoff_v))
        lithium_ah = self._negative_ah * fresh.negative + self._positive_ah * fresh.positive
        if lost == "lithium":
            lithium_ah *= health
        elif lost == "positive":
            # What is lost there is lost with the lithium that it holds when empty.
            lithium_ah -= (1 - health) * self._positive_ah * fresh.positive
            self._lose("Positive", health)
        elif lost == "both":
            lithium_ah *= health
            self._lose("Negative", health)
            self._lose("Positive", health)
        # Any split of the lithium will do to begin with: the root is sought from there.
        middle = lithium_ah / (self._negative_ah + self._positive_ah)
        guess = State(negative=middle, positive=middle)
        self.at_rest_empty = self._shifted(guess, self._charge_to(guess, self.empty_v))
        self.at_cutoff = self._shifted(guess, self._charge_to(guess, self.cutoff_v))

    def _lose(self, side: str, health: float) -> None:
        name = f"{side} electrode active material volume fraction"
        self._values[name] = float(self._values[name]) * health
        if side == "Negative":
            self._negative_ah *= health
        else:
            self._positive_ah *= health

    def _shifted(self, state: State, charge_ah: float) -> State:
        return State(
            negative=state.negative + charge_ah / self._negative_ah,
            positive=state.positive - charge_ah / self._positive_ah,
        )

    def rest_v(self, state: State) -> float:
        """Return the open-circuit voltage, in V, at the set's reference temperature."""
        two = ((self._positive, state.positive), (self._negative, state.negative))
        positive, negative = (float(np.squeeze(u.evaluate(inputs={"place": at}))) for u, at in two)
        return positive - negative

    def _charge_to(self, state: State, voltage_v: float) -> float:
        """Return the charge, in Ah, that brings a cell from `state` to this open-circuit voltage."""
        least = max(
            (_EDGE - state.negative) * self._negative_ah, (state.positive - 1 + _EDGE) * self._positive_ah
        )
        most = min(
            (1 - _EDGE - state.negative) * self._negative_ah, (state.positive - _EDGE) * self._positive_ah
        )

        def beyond(charge_ah: float) -> float:
            return self.rest_v(self._shifted(state, charge_ah)) - voltage_v

        return float(brentq(beyond, least, most, xtol=1e-9))

    def charge_between(self, low: State, high: State) -> float:
        """Return the charge from one state to the other, in Ah."""
        return (high.negative - low.negative) * self._negative_ah

    def energy_between(self, low: State, high: State) -> float:
        """Return the energy from one state to the other at rest, in Wh: voltage integrated over charge."""
        whole_ah = self.charge_between(low, high)
        steps = np.linspace(0.0, whole_ah, 2001)
        volts = [self.rest_v(self._shifted(low, float(at))) for at in steps]
        return float(np.trapezoid(volts, steps))

    def at_level(self, level: float) -> State:
        """Return the state at this share, 0 to 1, of the charge between empty and full at rest."""
        top = self._charge_to(self.at_rest_empty, self.full_v)
        return self._shifted(self.at_rest_empty, level * top)

    def simulate(self, start: State, steps: list[Any]) -> list[Series]:
        """Run the steps, made by the functions below, one after the other from rest at `start`."""
        values = self._values.copy()
        values.update(
            {
                "Initial concentration in negative electrode [mol.m-3]": start.negative * self._negative_most,
                "Initial concentration in positive electrode [mol.m-3]": start.positive * self._positive_most,
                # The events of the steps end a run, not the model's own.
                "Upper voltage cut-off [V]": self.full_v + 0.5,
                "Lower voltage cut-off [V]": self.cutoff_v - 0.5,
            }
        )
        model = pybamm.lithium_ion.SPMe({"thermal": "lumped", "contact resistance": "true"})
        experiment = pybamm.Experiment([tuple(steps)])
        points = {**model.default_var_pts, "r_n": _POINTS_IN_PARTICLE, "r_p": _POINTS_IN_PARTICLE}
        solved = pybamm.Simulation(
            model, parameter_values=values, experiment=experiment, var_pts=points
        ).solve()
        return [self._series(step) for step in solved.cycles[0].steps]

    def _series(self, step: Any) -> Series:
        charge_ah = -step["Discharge capacity [A.h]"].entries * self._times
        time_s = step["Time [s]"].entries
        return Series(
            time_s=time_s - time_s[0],
            current_a=-step["Current [A]"].entries * self._times,
            voltage_v=step["Voltage [V]"].entries,
            temperature_c=step["X-averaged cell temperature [K]"].entries - _KELVIN,
            charge_ah=charge_ah - charge_ah[0],
            end=State(
                negative=float(step["Negative electrode stoichiometry"].entries[-1]),
                positive=float(step["Positive electrode stoichiometry"].entries[-1]),
            ),
        )

    def _ends(self, until_v: float | None) -> list[str]:
        if until_v is None:
            return []
        return [f"{'>' if until_v >= self.full_v else '<'} {until_v} V"]

    def current(
        self, into_a: float, *, for_s: float, until_v: float | None = None, every_s: float = 10.0
    ) -> Any:
        """Return a step of a steady current into the cell, in A."""
        into = -into_a / self._times
        return pybamm.step.current(into, duration=for_s, period=every_s, termination=self._ends(until_v))

    def power(self, into_w: Any, *, for_s: float, until_v: float | None = None, every_s: float = 10.0) -> Any:
        """Return a step of power into the cell, in W: a number, or rows of time in s and power."""
        into = -into_w / self._times
        if isinstance(into, np.ndarray):
            into = np.column_stack([into_w[:, 0], into[:, 1]])
        return pybamm.step.power(into, duration=for_s, period=every_s, termination=self._ends(until_v))

    def hold(self, *, until_a: float, every_s: float = 10.0) -> Any:
        """Return a step at the full voltage until the current has fallen to this, in A."""
        return pybamm.step.voltage(
            self.full_v, duration=8 * 3600, period=every_s, termination=[f"{until_a / self._times} A"]
        )
