"""The probability that a true value lies within a limit, given a reading and its standard uncertainty.

Source: JCGM 106:2012, clause 7 (conformance probability, normal distribution; clause from memory).
"""

import math

from verify.values.errors import InvalidValueError

SURE = 0.95
"""Conformance probability that a guarded statement asks for (ISO 14253-1:2017 default)."""

ONE_SIDED_Z = 1.6448536269514722
"""Φ(z) = 0.95: the guard band is z times the standard uncertainty (ISO 14253-1:2017 default)."""


def normal_cdf(z: float) -> float:
    """Return Φ(z) of the standard normal distribution; z may be infinite."""
    # erfc keeps its digits in the lower tail, where 1 + erf would lose them.
    return 0.5 * math.erfc(-z / math.sqrt(2))


def conformance_probability(
    value: float, standard_uncertainty: float, *, lower: float | None = None, upper: float | None = None
) -> float:
    """Return the probability, 0 to 1, that the true value is within the bounds.

    All in one unit; a bound that is None does not bound. standard_uncertainty: 0 or more; at 0 the answer
    is 0 or 1. Raises InvalidValueError for an uncertainty below 0.
    Source: JCGM 106:2012: p = Φ((TU - y)/u) - Φ((TL - y)/u), normal case.
    """
    if standard_uncertainty < 0:
        raise InvalidValueError("A standard uncertainty is 0 or more.")
    if standard_uncertainty == 0:
        return float((lower is None or value >= lower) and (upper is None or value <= upper))
    if upper is None:
        # As one Φ, so that the far tail keeps its digits.
        return 1.0 if lower is None else normal_cdf((value - lower) / standard_uncertainty)
    below_upper = normal_cdf((upper - value) / standard_uncertainty)
    if lower is None:
        return below_upper
    return max(0.0, below_upper - normal_cdf((lower - value) / standard_uncertainty))
