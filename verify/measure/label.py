"""What is printed on a pack, held against itself, its weight, a meter in the lead, and the measured figure.

Printed figures are rounded: 3000 mAh stands for 2999.5 to 3000.5 mAh. Nothing here knows of a gauge but the
design figure that it is given.
"""

import math
from decimal import Decimal, InvalidOperation
from enum import StrEnum

import msgspec

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.cells import cells_in_series
from verify.measure.interval import Interval
from verify.values.errors import InvalidValueError

__all__ = [
    "MOST_WH_A_KG",
    "Beside",
    "LabelFinding",
    "LabelSign",
    "Printed",
    "judged_together",
    "label_findings",
    "printed",
]

MOST_WH_A_KG = 280.0
"""No whole laptop pack holds more for its weight [common practice, no source]."""

MORE_THAN_DESIGN = 1.15
"""A label above this share of what the original holds in the same case is not credible [common practice]."""

_WEIGHT_ERROR = 0.01  # of kitchen or letter scales [common practice]


class LabelSign(StrEnum):
    """What was seen of a label; the value is its name in a record."""

    ARITHMETIC = "label-arithmetic"
    ABOVE_DESIGN = "label-above-design"
    TOO_LIGHT = "too-light"
    VOLTAGE = "label-voltage"
    ABOVE_METER = "measured-above-meter"
    CLAIM_ABOVE_METER = "claim-above-meter"


class LabelFinding(msgspec.Struct, frozen=True, kw_only=True):
    """One sign: what it is, one plain sentence, and the cheapest further test."""

    sign: LabelSign
    sentence: str
    next_step: str


class Printed(msgspec.Struct, frozen=True, kw_only=True):
    """A printed figure and half a step of its last digit, in the figure's unit."""

    value: float
    half_step: float


class Beside(msgspec.Struct, frozen=True, kw_only=True):
    """What meter, weight and count say together. capacity_wh: None where they contradict or say nothing."""

    capacity_wh: Interval | None
    findings: tuple[LabelFinding, ...]


def printed(text: str) -> Printed:
    """Read a printed figure with the width of its last digit: "57.0" is 57 ± 0.05, "3000" is 3000 ± 0.5.

    Raises InvalidValueError where it is no number above 0.
    """
    try:
        number = Decimal(text.strip().replace(",", "."))
    except InvalidOperation as error:
        raise InvalidValueError(
            f'"{text}" is no printed number.', next_step="Type it as it is printed."
        ) from error
    exponent = number.as_tuple().exponent
    if not isinstance(exponent, int) or number <= 0:
        raise InvalidValueError(f'"{text}" is no printed number.', next_step="Type it as it is printed.")
    return Printed(value=float(number), half_step=0.5 * 10.0 ** min(exponent, 0))


def _bounds(one: Printed) -> tuple[float, float]:
    return one.value - one.half_step, one.value + one.half_step


def label_findings(
    *,
    wh: Printed | None = None,
    volts: Printed | None = None,
    ah: Printed | None = None,
    design_wh: float | None = None,
    weight_kg: float | None = None,
    cells: int | None = None,
) -> tuple[LabelFinding, ...]:
    """Return what is wrong with a label by itself. cells: as the old pack had them, in series.

    Wh is V × Ah within the rounding of all three; makers round any of them down or up, so 1 % is let pass
    [common practice]. Raises InvalidValueError for a weight that cannot be.
    """
    findings = []
    if wh is not None and volts is not None and ah is not None:
        low = _bounds(volts)[0] * _bounds(ah)[0] * 0.99
        high = _bounds(volts)[1] * _bounds(ah)[1] * 1.01
        if _bounds(wh)[1] < low or _bounds(wh)[0] > high:
            findings.append(
                LabelFinding(
                    sign=LabelSign.ARITHMETIC,
                    sentence=(
                        f"The label says {wh.value:g} Wh; its {volts.value:g} V × {ah.value:g} Ah are "
                        f"{volts.value * ah.value:.1f} Wh."
                    ),
                    next_step="Read the label again. If it says so, measure the pack before it goes in.",
                )
            )
    if wh is not None and design_wh is not None and design_wh > 0 and wh.value > MORE_THAN_DESIGN * design_wh:
        findings.append(
            LabelFinding(
                sign=LabelSign.ABOVE_DESIGN,
                sentence=f"The label says {100 * wh.value / design_wh:.0f} % of what the pack was made for.",
                next_step="Compare the label with the old pack's, and measure.",
            )
        )
    if volts is not None:
        found = cells_in_series(volts.value)
        if found is None or (cells is not None and found != cells):
            said = "no whole number of cells" if found is None else f"{found} cells in series, not {cells}"
            findings.append(
                LabelFinding(
                    sign=LabelSign.VOLTAGE,
                    sentence=f"{volts.value:g} V is the voltage of {said}.",
                    next_step="Do not connect it. Compare label and plug with the old pack.",
                )
            )
    if wh is not None and weight_kg is not None:
        findings.extend(_too_light(_bounds(wh)[0], weight_kg))
    return tuple(findings)


def _too_light(claim_wh: float, weight_kg: float) -> list[LabelFinding]:
    if not (math.isfinite(weight_kg) and weight_kg > 0):
        raise InvalidValueError(f"A pack does not weigh {weight_kg:g} kg.", next_step="Weigh it, in kg.")
    if claim_wh <= MOST_WH_A_KG * weight_kg * (1 + _WEIGHT_ERROR):
        return []
    return [
        LabelFinding(
            sign=LabelSign.TOO_LIGHT,
            sentence=(
                f"{claim_wh:.4g} Wh in {1000 * weight_kg:.0f} g is {claim_wh / weight_kg:.0f} Wh a kg: no "
                f"pack holds more than {MOST_WH_A_KG:.0f}."
            ),
            next_step="Weigh it again beside the old pack, then measure.",
        )
    ]


def judged_together(
    counted_wh: Interval | None,
    *,
    meter_wh: float | None = None,
    meter_levels: float | None = None,
    weight_kg: float | None = None,
    claim_wh: float | None = None,
    assumed: Assumed = ASSUMED,
) -> Beside:
    """Combine the counted capacity with an inline meter's figure and the weight.

    meter_wh: what went through the meter in the lead while the level rose by `meter_levels` (0 to 1, as
    little as it may have been): it feeds the machine too, so it bounds the capacity from above only.
    weight_kg: of the whole pack; it bounds the capacity too. claim_wh: of label or gauge, held against both.
    Returns the counted interval cut at those bounds; unknown where it lies above them altogether, and
    then a finding says so. Raises InvalidValueError for a figure that cannot be.
    """
    findings = []
    bound = math.inf
    if meter_wh is not None:
        change = 1.0 if meter_levels is None else meter_levels
        if not (math.isfinite(meter_wh) and meter_wh > 0 and 0 < change <= 1):
            raise InvalidValueError(
                f"A meter does not show {meter_wh:g} Wh for {change:g} of a charge.",
                next_step="Enter its watt-hours for this charge alone.",
            )
        bound = meter_wh * (1 + assumed.meter) / change
        if claim_wh is not None and claim_wh > bound:
            findings.append(
                LabelFinding(
                    sign=LabelSign.CLAIM_ABOVE_METER,
                    sentence=(
                        f"{claim_wh:.4g} Wh are claimed; by the meter no more than {bound:.4g} Wh went in."
                    ),
                    next_step="Run it down until it switches itself off, then charge it through the meter.",
                )
            )
    if weight_kg is not None:
        if claim_wh is not None:
            findings.extend(_too_light(claim_wh, weight_kg))
        else:
            _too_light(0.0, weight_kg)
        bound = min(bound, MOST_WH_A_KG * weight_kg * (1 + _WEIGHT_ERROR))
    if counted_wh is None:
        return Beside(capacity_wh=None, findings=tuple(findings))
    if counted_wh.low > bound:
        findings.append(
            LabelFinding(
                sign=LabelSign.ABOVE_METER,
                sentence=(
                    f"At least {counted_wh.low:.4g} Wh were counted; meter and weight allow "
                    f"{bound:.4g} Wh at most."
                ),
                next_step="The pack's current sensor may be wrong. Charge it again through another meter.",
            )
        )
        return Beside(capacity_wh=None, findings=tuple(findings))
    high = min(counted_wh.high, bound)
    cut = Interval(value=min(counted_wh.value, high), low=counted_wh.low, high=high)
    return Beside(capacity_wh=cut, findings=tuple(findings))
