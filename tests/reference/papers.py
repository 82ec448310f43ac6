"""The cells whose published parameters the reference series are made of, each by its paper.

A set is known to PyBaMM by the name of its paper. What a cell is called empty and full at is the paper's own
pair of cut-off voltages; one set that may be charged above 4.2 V is charged to 4.2 V here, as the others are.
"""

from dataclasses import dataclass

__all__ = ["PAPERS", "Paper"]


@dataclass(frozen=True, kw_only=True)
class Paper:
    """name: of the set. about: electrodes. cited: title, journal, DOI. full_v: end of charge, in V a cell."""

    name: str
    about: str
    cited: str
    full_v: float = 4.2


PAPERS = (
    Paper(
        name="Ai2020",
        about="graphite, lithium cobalt oxide; pouch cell",
        cited="Electrochemical Thermal-Mechanical Modelling of Stress Inhomogeneity in Lithium-Ion Pouch "
        "Cells. Journal of The Electrochemical Society 167 (2019) 013512. doi:10.1149/2.0122001JES",
    ),
    Paper(
        name="Chen2020",
        about="graphite with silicon, nickel manganese cobalt oxide; cylindrical cell",
        cited="Development of Experimental Techniques for Parameterization of Multi-scale "
        "Lithium-ion Battery Models. Journal of The Electrochemical Society 167 (2020) 080534. "
        "doi:10.1149/1945-7111/ab9050",
    ),
    Paper(
        name="Marquis2019",
        about="graphite, lithium cobalt oxide; pouch cell; full at 4.1 V",
        cited="An asymptotic derivation of a single particle model with electrolyte. "
        "Journal of The Electrochemical Society 166 (2019) A3693-A3706. doi:10.1149/2.0341915jes",
        full_v=4.1,
    ),
    Paper(
        name="Ecker2015",
        about="graphite, nickel cobalt oxide; pouch cell",
        cited="Parameterization of a Physico-Chemical Model of a Lithium-Ion Battery: I. Determination of "
        "Parameters. Journal of The Electrochemical Society 162 (2015) A1836-A1848. doi:10.1149/2.0551509jes",
    ),
    Paper(
        name="Mohtat2020",
        about="graphite, nickel manganese cobalt oxide; pouch cell",
        cited="Differential Expansion and Voltage Model for Li-ion Batteries at Practical Charging Rates. "
        "Journal of The Electrochemical Society 167 (2020) 110561. doi:10.1149/1945-7111/aba5d1",
    ),
    Paper(
        name="NCA_Kim2011",
        about="graphite, nickel cobalt aluminium oxide; pouch cell",
        cited="Multi-domain modeling of lithium-ion batteries encompassing multi-physics in varied length "
        "scales. Journal of The Electrochemical Society 158 (2011) A955-A969. doi:10.1149/1.3597614",
    ),
    Paper(
        name="ORegan2022",
        about="graphite with silicon, nickel manganese cobalt oxide; all parameters by temperature",
        cited="Thermal-electrochemical parameters of a high energy lithium-ion cylindrical battery. "
        "Electrochimica Acta 425 (2022) 140700. doi:10.1016/j.electacta.2022.140700",
    ),
)
