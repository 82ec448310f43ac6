"""Standard uncertainties from what is known of an instrument, and how they combine.

All results are standard uncertainties (one standard deviation) in the unit of the argument.
Source: JCGM 100:2008 (GUM), clauses 4.3, 5.1 and F.2.2.1; clause numbers from memory.
"""

import math

from verify.values.errors import InvalidValueError


def _not_negative(value: float, name: str) -> float:
    if not (math.isfinite(value) and value >= 0):
        raise InvalidValueError(f"{name} is {value:g}: it must be 0 or more.")
    return value


def rectangular(half_width: float) -> float:
    """Return a/√3: anywhere within ±half_width is as likely, as for a maker's "±3 %".

    half_width: 0 or more. Raises InvalidValueError below 0. Source: GUM 4.3.7.
    """
    return _not_negative(half_width, "A half-width") / math.sqrt(3)


def triangular(half_width: float) -> float:
    """Return a/√6: within ±half_width, the middle more likely.

    half_width: 0 or more. Raises InvalidValueError below 0. Source: GUM 4.3.9.
    """
    return _not_negative(half_width, "A half-width") / math.sqrt(6)


def resolution(step: float) -> float:
    """Return δ/√12: a display or counter that moves in steps of `step`.

    step: 0 or more. Raises InvalidValueError below 0. Source: GUM F.2.2.1.
    """
    return rectangular(_not_negative(step, "A step") / 2)


def combine(*standard_uncertainties: float) -> float:
    """Return the root of the sum of squares: independent contributions to one sum or difference.

    Each 0 or more, all in one unit. Raises InvalidValueError below 0. Source: GUM 5.1.2.
    """
    return math.hypot(*(_not_negative(one, "A standard uncertainty") for one in standard_uncertainties))


def quotient(
    numerator: float, numerator_u: float, denominator: float, denominator_u: float = 0.0
) -> tuple[float, float]:
    """Divide two independent quantities; return the quotient and its standard uncertainty.

    denominator: not 0. Raises InvalidValueError for a denominator of 0 or an uncertainty below 0.
    Source: law of propagation, GUM 5.1.2: for a quotient the relative uncertainties add in quadrature.
    """
    if denominator == 0:
        raise InvalidValueError("Nothing can be divided by 0.")
    value = numerator / denominator
    # Written with sensitivities, not relative uncertainties, so that a numerator of 0 is no special case.
    uncertainty = combine(
        _not_negative(numerator_u, "A standard uncertainty") / abs(denominator),
        abs(value / denominator) * _not_negative(denominator_u, "A standard uncertainty"),
    )
    return value, uncertainty
