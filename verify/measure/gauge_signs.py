"""The signs of a gauge that is not to be believed, and those that its figures show before anything flows.

The signs are common practice at the bench, no source.
"""

from enum import StrEnum

import msgspec

__all__ = ["CLAIMS_ONLY", "DOUBTFUL", "DRAIN", "GaugeFinding", "GaugeSign", "claims_alone"]

FULL_ABOVE_DESIGN = 1.10
"""Above this share of design, full is a wrong figure or a wrong pack [common practice]."""

_ABSURD_WH = (5.0, 200.0)
_ABSURD_CELL_V = (2.5, 5.0)


class GaugeSign(StrEnum):
    """What was seen of a gauge; the value is its name in a record."""

    PROPORTIONATE_BOAST = "proportionate-boast"
    FALSE_COUNT = "false-count"
    LEAPS = "leaps"
    STANDS = "stands"
    FROM_VOLTAGE = "level-from-voltage"
    NEVER_LEARNED = "never-learned"
    NO_DESIGN = "no-design"
    ABSURD_DESIGN = "absurd-design"
    FULL_ABOVE_DESIGN = "full-above-design"
    AGAINST_VOLTAGE = "level-against-voltage"
    FALLS_TOO_FAST = "falls-too-fast"
    FULL_TOO_EARLY = "full-too-early"


DOUBTFUL = frozenset(
    {
        GaugeSign.PROPORTIONATE_BOAST,
        GaugeSign.FALSE_COUNT,
        GaugeSign.LEAPS,
        GaugeSign.STANDS,
        GaugeSign.FROM_VOLTAGE,
        GaugeSign.AGAINST_VOLTAGE,
        GaugeSign.FALLS_TOO_FAST,
    }
)
"""Signs after which a level is not taken from the gauge where it is known otherwise."""


CLAIMS_ONLY = frozenset({GaugeSign.PROPORTIONATE_BOAST, GaugeSign.FALLS_TOO_FAST})
"""Signs of a claim that is too large beside a level that may be right."""


class GaugeFinding(msgspec.Struct, frozen=True, kw_only=True):
    """One sign: what it is, one plain sentence, and the cheapest further test.

    shows_lie: whether it alone shows that the gauge claims too much.
    """

    sign: GaugeSign
    sentence: str
    next_step: str
    shows_lie: bool = False


DRAIN = "Run it down until it switches itself off, then charge it to full in one go."
"""What proves a start level best."""


def claims_alone(
    *, design_wh: float | None, claimed_wh: float | None, design_cell_v: float | None = None
) -> tuple[GaugeFinding, ...]:
    """Return what the gauge's figures show before anything flows.

    design_wh, claimed_wh (full): in Wh, in one and the same way. design_cell_v: nominal voltage a cell.
    """
    findings = []
    if design_wh is None or design_wh <= 0:
        findings.append(
            GaugeFinding(
                sign=GaugeSign.NO_DESIGN,
                sentence="The pack does not say what it was made for.",
                next_step="Take the watt-hours from its label.",
            )
        )
    elif not _ABSURD_WH[0] <= design_wh <= _ABSURD_WH[1]:
        findings.append(
            GaugeFinding(
                sign=GaugeSign.ABSURD_DESIGN,
                sentence=f"The pack says it was made for {design_wh:.4g} Wh, which no laptop's pack is.",
                next_step="Take the watt-hours from its label.",
            )
        )
    elif claimed_wh is not None and claimed_wh == design_wh:
        findings.append(
            GaugeFinding(
                sign=GaugeSign.NEVER_LEARNED,
                sentence="Full equals design to the last digit: the gauge has not measured this pack.",
                next_step=DRAIN,
            )
        )
    elif claimed_wh is not None and claimed_wh > FULL_ABOVE_DESIGN * design_wh:
        findings.append(
            GaugeFinding(
                sign=GaugeSign.FULL_ABOVE_DESIGN,
                sentence=f"It claims {100 * claimed_wh / design_wh:.0f} % of what it was made for.",
                next_step="Check the units and that the pack belongs to this machine, then measure.",
            )
        )
    if design_cell_v is not None and not _ABSURD_CELL_V[0] <= design_cell_v <= _ABSURD_CELL_V[1]:
        findings.append(
            GaugeFinding(
                sign=GaugeSign.ABSURD_DESIGN,
                sentence=f"Its nominal voltage would be {design_cell_v:.2f} V a cell.",
                next_step="Take the voltage from its label.",
            )
        )
    return tuple(findings)
