"""The faults that a simulated machine takes, by name: one table for code, help and pages."""

from collections.abc import Mapping

from verify.machine.simulated.fault import Fault
from verify.machine.simulated.machine_faults import MACHINE_FAULTS
from verify.machine.simulated.pack_faults import CHARGER_FAULTS, PACK_FAULTS
from verify.values import Unit, parse_quantity
from verify.values.errors import InvalidValueError, WrongUseError

__all__ = ["FAULTS", "Fault", "ParsedFaults"]

FAULTS: tuple[Fault, ...] = (*PACK_FAULTS, *CHARGER_FAULTS, *MACHINE_FAULTS)
"""Every fault; `parameter` is an example value."""

_STORED = {Unit.PERCENT: Unit.ONE, Unit.MILLIOHM: Unit.OHM}
_BY_NAME = {fault.name: fault for fault in FAULTS}


class ParsedFaults:
    """Faults by name with their parameter as a number in the table's unit (0 to 1 for a level)."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        self._values = {name: _parse(name, text) for name, text in faults.items()}
        self._words = {name: text for name, text in faults.items() if _BY_NAME[name].words}

    def __contains__(self, name: str) -> bool:
        return name in self._values

    def value(self, name: str) -> float | None:
        """Return the fault's number, None where the machine does not have the fault."""
        return self._values.get(name)

    def word(self, name: str) -> str | None:
        """Return the fault's word, None where the machine does not have the fault."""
        return self._words.get(name)


def _parse(name: str, text: str) -> float:
    fault = _BY_NAME.get(name)
    if fault is None:
        raise WrongUseError(
            f'The simulated machine knows no fault "{name}".',
            next_step=f"Known faults: {', '.join(sorted(_BY_NAME))}.",
        )
    if not fault.parameter:
        if text not in ("", "yes"):
            raise WrongUseError(f'The fault "{name}" takes no value, "{text}" was given.')
        return 1.0
    if fault.words:
        if text not in fault.words:
            raise WrongUseError(
                f'The fault "{name}" cannot be "{text}".', next_step=f"It can be: {', '.join(fault.words)}."
            )
        return 1.0
    unit = parse_quantity(fault.parameter).unit
    wanted = _STORED.get(unit, unit)
    try:
        value = parse_quantity(text).to(wanted).value
    except InvalidValueError as error:
        raise WrongUseError(
            f'The fault "{name}" cannot be "{text}". {error.what}',
            next_step=f'Write it like "{fault.parameter}".',
        ) from error
    below = value <= 0 and unit is not Unit.CELSIUS
    if below or (wanted is Unit.ONE and value > fault.at_most):
        raise WrongUseError(
            f'The fault "{name}" cannot be "{text}".', next_step=f'Write it like "{fault.parameter}".'
        )
    return value
