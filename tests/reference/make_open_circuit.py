"""Make open_circuit.csv anew: rest voltage over level of published parametrisations, by PyBaMM.

Run: python tests/reference/make_open_circuit.py [OUT.csv], in an environment with pybamm. It is no dependency
of the project. Level 0 is 3.0 V at rest and level 1 is 4.2 V at rest for every set, whatever its own
cut-offs, so that the curves mean the same; a set that is not graphite against NMC, NCA or LCO, or that was
made for another upper voltage than 4.2 V and would have to be drawn on beyond its data, is left out.

Papers: Ai et al., J. Electrochem. Soc. 167 (2020) 013512; Chen et al., ibid. 167 (2020) 080534; Ecker et al.,
ibid. 162 (2015) A1836; Kim et al., ibid. 158 (2011) A955; Mohtat et al., ibid. 167 (2020) 110561; O'Kane et
al., Phys. Chem. Chem. Phys. 24 (2022) 7909; O'Regan et al., Electrochim. Acta 425 (2022) 140700; Ramadass et
al., J. Electrochem. Soc. 151 (2004) A196 (as the sets name them).
"""

import csv
import sys
from pathlib import Path
from typing import Any

LEVELS = 40
AGED = {
    "Ai2020 lithium 0.7": ("Ai2020", "lithium", 0.7),
    "Chen2020 lithium 0.7": ("Chen2020", "lithium", 0.7),
    "ORegan2022 lithium 0.7": ("ORegan2022", "lithium", 0.7),
    "ORegan2022 positive 0.7": ("ORegan2022", "positive", 0.7),
    "NCA_Kim2011 positive 0.7": ("NCA_Kim2011", "positive", 0.7),
    "Ecker2015 lithium 0.85": ("Ecker2015", "lithium", 0.85),
}
"""Worn cells: a share of the lithium, or of the positive electrode with what is in it when empty, is left."""
EMPTY_V, FULL_V = 3.0, 4.2
SETS = {
    "Ai2020": "graphite, LCO",
    "Chen2020": "graphite with silicon oxide, NMC",
    "Ecker2015": "graphite, NMC",
    "NCA_Kim2011": "graphite, NCA",
    "Mohtat2020": "graphite, NMC",
    "OKane2022": "graphite with silicon oxide, NMC",
    "ORegan2022": "graphite with silicon oxide, NMC",
    "Ramadass2004": "graphite, LCO",
}


def curve(name: str) -> list[float]:
    """Return the rest voltage at each level, 0 to 1, of one set, in V."""
    import numpy as np
    import pybamm  # type: ignore[import-not-found, unused-ignore]

    values: Any = pybamm.ParameterValues(name)
    kelvin = values.get("Reference temperature [K]", 298.15)
    values.update(
        {"Open-circuit voltage at 0% SOC [V]": EMPTY_V, "Open-circuit voltage at 100% SOC [V]": FULL_V}
    )
    parameters = pybamm.LithiumIonParameters()
    x0, x1, y1, y0 = pybamm.lithium_ion.get_min_max_stoichiometries(values)
    volts = []
    for i in range(LEVELS + 1):
        z = i / LEVELS
        positive = parameters.p.prim.U(pybamm.Scalar(y0 + z * (y1 - y0)), pybamm.Scalar(kelvin))
        negative = parameters.n.prim.U(pybamm.Scalar(x0 + z * (x1 - x0)), pybamm.Scalar(kelvin))
        volts.append(float(np.ravel(values.evaluate(positive) - values.evaluate(negative))[0]))
    return volts


def aged(name: str, lost: str, left: float) -> list[float]:
    """Return the rest voltage at each level of a set that has lost lithium or positive electrode, in V."""
    import numpy as np
    import pybamm

    values: Any = pybamm.ParameterValues(name)
    kelvin = pybamm.Scalar(values.get("Reference temperature [K]", 298.15))
    values.update(
        {"Open-circuit voltage at 0% SOC [V]": EMPTY_V, "Open-circuit voltage at 100% SOC [V]": FULL_V}
    )
    p = pybamm.LithiumIonParameters()
    _, x1, y1, y0 = (float(one) for one in pybamm.lithium_ion.get_min_max_stoichiometries(values))
    places = np.linspace(0.001, 0.999, 999)

    def table(electrode: Any) -> Any:
        found = [values.evaluate(electrode.U(pybamm.Scalar(one), kelvin)) for one in places]
        return np.array([float(np.ravel(one)[0]) for one in found])

    negative, positive = table(p.n.prim), table(p.p.prim)
    negative_ah = float(values.evaluate(p.n.prim.Q_init))
    positive_ah = float(values.evaluate(p.p.prim.Q_init))
    lithium_ah = x1 * negative_ah + y1 * positive_ah
    if lost == "lithium":
        lithium_ah *= left
    else:
        lithium_ah -= (1 - left) * positive_ah * y0
        positive_ah *= left
    first = max(0.002, (lithium_ah - 0.998 * negative_ah) / positive_ah)
    last = min(0.998, (lithium_ah - 0.002 * negative_ah) / positive_ah)
    y = np.linspace(first, last, 4000)
    volts = np.interp(y, places, positive) - np.interp(
        (lithium_ah - y * positive_ah) / negative_ah, places, negative
    )
    full, empty = (float(np.interp(-one, -volts, y)) for one in (FULL_V, EMPTY_V))
    return [float(np.interp(empty + i / LEVELS * (full - empty), y, volts)) for i in range(LEVELS + 1)]


def main(out: Path) -> None:
    """Write the table: a row a level, a column a set."""
    columns = {name: curve(name) for name in SETS} | {name: aged(*what) for name, what in AGED.items()}
    with out.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["level", *columns])
        for i in range(LEVELS + 1):
            writer.writerow([f"{i / LEVELS:.3f}", *(f"{volts[i]:.4f}" for volts in columns.values())])


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("open_circuit.csv"))
