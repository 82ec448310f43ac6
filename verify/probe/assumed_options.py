"""The errors that are assumed of a pack's sensors, as options of a check: a shop can set its own."""

from collections.abc import Mapping

from verify.measure.assumed import ASSUMED, Assumed
from verify.values import Unit, parse_quantity
from verify.values.errors import InvalidValueError, WrongUseError

__all__ = ["ASSUMED_OPTIONS", "LEAST", "assumed_of", "least_of"]

LEAST = 0.90
"""The share of its label that a pack has to hold [common practice, no source]."""

_UNITS: Mapping[str, tuple[str, Unit]] = {
    "gain": ("gain", Unit.ONE),
    "offset": ("offset_a", Unit.AMPERE),
    "level": ("level", Unit.ONE),
    "unproven": ("unproven", Unit.ONE),
    "full": ("full", Unit.ONE),
    "cell": ("cell_v", Unit.VOLT),
    "meter": ("meter", Unit.ONE),
}

ASSUMED_OPTIONS = tuple(_UNITS)
"""Their names: gain, level, unproven, full and meter in %, offset in A, cell in V; each a half-width."""


def assumed_of(options: Mapping[str, str]) -> Assumed:
    """Return the assumed errors, the defaults where an option does not name another.

    Raises InvalidValueError or WrongUseError for a value that cannot be.
    """
    given = {}
    for name, (field, unit) in _UNITS.items():
        if name in options:
            try:
                given[field] = parse_quantity(options[name]).to(unit).value
                Assumed(**{field: given[field]})
            except InvalidValueError as error:
                raise WrongUseError(
                    f'"{name}" is "{options[name]}": {error.what}', next_step=error.next_step
                ) from error
    return Assumed(**given) if given else ASSUMED


def least_of(options: Mapping[str, str]) -> float:
    """Return the option "least", a share of the label from 30 to 120 %; 90 % where it is not there.

    Raises InvalidValueError where it is no share, WrongUseError where it is outside.
    """
    if "least" not in options:
        return LEAST
    share = parse_quantity(options["least"]).to(Unit.ONE).value
    if not 0.3 <= share <= 1.2:
        raise WrongUseError(
            f'"least" is "{options["least"]}".', next_step="It must be from 30 to 120 % of the label."
        )
    return share
