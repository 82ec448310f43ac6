"""Make charge_courses.json anew: whole charges of published cells, computed by PyBaMM 26.10.

Run it with an interpreter that has PyBaMM, never a dependency of the project:

    ELSEWHERE/bin/python tests/measure/make_charge_courses.py tests/measure/charge_courses.json

Single particle model with electrolyte (Marquis et al., J. Electrochem. Soc. 166 (2019) A3693), lumped heat;
constant current to the paper's upper cut-off voltage, then constant voltage down to C/50. Sets by paper, in
the Journal of The Electrochemical Society unless said: Ai2020 167 (2020) 013512; Chen2020 167 (2020)
080534; Ecker2015 162 (2015) A1836; Marquis2019 as above; Mohtat2020 167 (2020) 110561; OKane2022 Phys.
Chem. Chem. Phys. 24 (2022) 7909; NCA_Kim2011 158 (2011) A955. The forecast's constants were drawn from
those not marked as kept apart; those that are have only tested them. One row every 30 s: time in s, current
in C, volts of a cell.
"""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pybamm  # type: ignore[import-not-found, unused-ignore]

COURSES = (
    ("Chen2020", 0.7, 25.0, 0.2),
    ("Chen2020", 0.5, 10.0, 0.4),
    ("Chen2020", 0.3, 40.0, 0.1),
    ("Marquis2019", 1.0, 25.0, 0.1),
    ("Marquis2019", 0.5, 25.0, 0.5),
    ("Ai2020", 0.7, 25.0, 0.1),
    ("Ai2020", 1.0, 15.0, 0.3),
    ("Ecker2015", 0.7, 25.0, 0.2),
)
KEPT_APART = (
    ("OKane2022", 0.6, 25.0, 0.2),
    ("Mohtat2020", 0.7, 25.0, 0.15),
    ("Mohtat2020", 0.4, 15.0, 0.3),
    ("NCA_Kim2011", 0.5, 25.0, 0.3),
    ("Ecker2015", 0.5, 10.0, 0.3),
)


def course(name: str, rate_c: float, ambient_c: float, level: float) -> dict[str, Any]:
    """Return one charge."""
    values: Any = pybamm.ParameterValues(name)
    values["Ambient temperature [K]"] = values["Initial temperature [K]"] = 273.15 + ambient_c
    top_v = values["Upper voltage cut-off [V]"]
    ah = values["Nominal cell capacity [A.h]"]
    model = pybamm.lithium_ion.SPMe({"thermal": "lumped"})
    experiment = pybamm.Experiment(
        [f"Charge at {rate_c}C until {top_v}V", f"Hold at {top_v}V until C/50"], period="30 seconds"
    )
    simulation = pybamm.Simulation(model, parameter_values=values, experiment=experiment)
    solution = simulation.solve(initial_soc=level)
    time_s = solution["Time [s]"].entries
    current_c = -solution["Current [A]"].entries / ah
    volts = solution["Voltage [V]"].entries
    counted = np.concatenate([[0], np.cumsum(np.diff(time_s) * (current_c[1:] + current_c[:-1]) / 7200)])
    return {
        "cell": name,
        "rate_c": rate_c,
        "ambient_c": ambient_c,
        "capacity_ah": float(ah),
        "counted_share": round(float(counted[-1]), 5),
        "start_level": level,
        "time_s": [round(float(t), 1) for t in time_s],
        "current_c": [round(float(c), 5) for c in current_c],
        "voltage_v": [round(float(v), 4) for v in volts],
    }


def main(out: Path) -> None:
    """Write all courses."""
    courses = [course(*one) | {"kept_apart": one in KEPT_APART} for one in (*COURSES, *KEPT_APART)]
    out.write_text(json.dumps(courses, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
