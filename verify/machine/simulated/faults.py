"""The faults that a simulated machine takes, by name: one table for code, help and pages."""

from collections.abc import Mapping

import msgspec

from verify.values import Unit, parse_quantity
from verify.values.errors import InvalidValueError, WrongUseError


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """One fault. parameter: an example with its unit, empty where it takes none. does: one sentence.

    words: what the parameter may be where it is a word.
    """

    name: str
    parameter: str
    does: str
    words: tuple[str, ...] = ()


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
        name="weak-one-way",
        parameter="15 W",
        does="With its plug turned round the charger gives this much and no more; the first way gives all.",
    ),
    Fault(
        name="loose-port",
        parameter="3 pieces",
        does="While its plug is moved, the charger goes away for a second, this many times: a cold joint.",
    ),
    Fault(
        name="stops-under-load",
        parameter="44 %",
        does="On the battery and under full load the machine goes off at this level and below: tired cells.",
    ),
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
    Fault(
        name="drains-when-off",
        parameter="0.2 W",
        does="The machine draws this much while it is off: something conducts that should not.",
    ),
    Fault(
        name="sensor-lost",
        parameter="",
        does="The board's temperature sensor tells nothing any more: its lead is off.",
    ),
    Fault(
        name="antenna-lead-off",
        parameter="",
        does="An antenna's lead lies beside its socket: the network comes in 27 dB weaker.",
    ),
    Fault(
        name="module-missing",
        parameter="camera",
        does="The system does not see this part: its lead or ribbon is off.",
        words=("wireless", "camera", "touchpad"),
    ),
    Fault(
        name="radio-off",
        parameter="",
        does="The wireless network is switched off by its key.",
    ),
    Fault(
        name="second-fan-dead",
        parameter="",
        does="The second fan stands still; the first one hides it.",
    ),
    Fault(
        name="memory-half",
        parameter="",
        does="One of two memory modules is not seen.",
    ),
    Fault(
        name="one-channel",
        parameter="",
        does="Both memory modules sit in the slots of one channel: all the size, half the width.",
    ),
    Fault(
        name="clock-lost",
        parameter="",
        does="Nothing keeps its clock while the machine is off: started again, it stands at its epoch.",
    ),
    Fault(
        name="clock-behind",
        parameter="5 h",
        does="Started again, its clock stands this much behind: kept in another zone, or slow.",
    ),
    Fault(
        name="storage-link-narrow",
        parameter="",
        does="The drive is reached over one lane of four: it does not sit in its socket.",
    ),
    Fault(
        name="panel-other",
        parameter="",
        does="Another panel is fitted: fewer pixels, fewer colours.",
    ),
)
"""Every fault; `parameter` is an example value."""

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
