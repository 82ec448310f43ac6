"""The faults that a simulated machine takes, by name: one table for code, help and pages."""

from collections.abc import Mapping

import msgspec

from verify.values import Unit, parse_quantity
from verify.values.errors import InvalidValueError, WrongUseError


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """One fault. parameter: an example with its unit, empty where it takes none. does: one sentence."""

    name: str
    parameter: str
    does: str


FAULTS: tuple[Fault, ...] = (
    Fault(
        name="pack-holds",
        parameter="31 Wh",
        does="The pack holds only this much; its gauge says so after it was charged to full.",
    ),
    Fault(
        name="pack-missing",
        parameter="",
        does="The system does not see the pack, though it carries the machine: one contact does not sit.",
    ),
    Fault(
        name="cell-voltage",
        parameter="2.6 V",
        does="The pack's voltage is this much a cell, and it refuses to be charged.",
    ),
    Fault(name="charger-dead", parameter="", does="A charger that is plugged in gives no power."),
    Fault(name="weak-charger", parameter="8 W", does="The charger gives this much and no more."),
    Fault(
        name="dead-on-unplug",
        parameter="",
        does="The machine goes off as soon as the charger is pulled: the pack does not carry it.",
    ),
    Fault(
        name="charge-stops-at",
        parameter="80 %",
        does="Charging stops at this level, and no limit is visible.",
    ),
    Fault(
        name="charge-limit",
        parameter="80 %",
        does="Charging is held at this level by a limit that the machine shows.",
    ),
    Fault(name="sensor-hot", parameter="104 °C", does="The processor sits at this temperature."),
    Fault(
        name="no-sensors",
        parameter="",
        does="No temperature can be read, not even the pack's, and no fan speed.",
    ),
    Fault(
        name="frozen-sensors",
        parameter="",
        does="Everything that pack and temperature sensors tell stands still from the first reading on.",
    ),
    Fault(
        name="sensors-vanish-after",
        parameter="600 s",
        does="After so long neither the pack nor a temperature can be read any more.",
    ),
    Fault(
        name="heat-sink-loose",
        parameter="",
        does="The heat sink does not touch the processor: under full load it is critical within seconds.",
    ),
    Fault(
        name="lid-switch-dead",
        parameter="",
        does="The lid switch never says that the lid is closed.",
    ),
    Fault(
        name="gauge-not-learned",
        parameter="",
        does="The pack reports its design capacity as its full capacity and no cycles, for ever.",
    ),
    Fault(
        name="pack-hot",
        parameter="61 °C",
        does="The pack warms to this temperature while it is charged, 3 K a minute.",
    ),
)
"""Every fault; `parameter` is an example value."""

_BY_NAME = {fault.name: fault for fault in FAULTS}


class ParsedFaults:
    """Faults by name with their parameter as a number in the table's unit (0 to 1 for a level)."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        self._values = {name: _parse(name, text) for name, text in faults.items()}

    def __contains__(self, name: str) -> bool:
        return name in self._values

    def value(self, name: str) -> float | None:
        """Return the fault's number, None where the machine does not have the fault."""
        return self._values.get(name)


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
    unit = parse_quantity(fault.parameter).unit
    wanted = Unit.ONE if unit is Unit.PERCENT else unit
    try:
        value = parse_quantity(text).to(wanted).value
    except InvalidValueError as error:
        raise WrongUseError(
            f'The fault "{name}" cannot be "{text}". {error.what}',
            next_step=f'Write it like "{fault.parameter}".',
        ) from error
    if value <= 0 or (wanted is Unit.ONE and value > 1):
        raise WrongUseError(
            f'The fault "{name}" cannot be "{text}".', next_step=f'Write it like "{fault.parameter}".'
        )
    return value
