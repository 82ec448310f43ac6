"""The faults of a simulated pack, its gauge and its charger."""

from verify.machine.simulated.fault import Fault

PACK_FAULTS: tuple[Fault, ...] = (
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
    Fault(
        name="gauge-boasts",
        parameter="71 Wh",
        does="The gauge claims this full capacity; its level is in proportion to what is true.",
    ),
    Fault(
        name="gauge-leaps",
        parameter="71 Wh",
        does="The gauge claims this full capacity, counts against it, and leaps to 100 % at the end.",
    ),
    Fault(
        name="gauge-since-full",
        parameter="71 Wh",
        does="The gauge claims this full capacity and counts against it since the last full: it dies early.",
    ),
    Fault(
        name="gauge-not-learned",
        parameter="",
        does="The pack reports its design capacity as its full capacity and no cycles, for ever.",
    ),
    Fault(
        name="level-from-volts",
        parameter="",
        does="The gauge makes its level from the voltage: it jumps with the charger and with load.",
    ),
    Fault(
        name="level-off",
        parameter="6 %",
        does="The gauge says at the start that so much more is in the pack than is true.",
    ),
    Fault(
        name="sensor-gain",
        parameter="10 %",
        does="The pack's current sensor reads so much too much, and so does all that it counts.",
    ),
    Fault(
        name="no-full-word",
        parameter="",
        does="The pack never says that it is full: it says that it charges, though nothing flows.",
    ),
    Fault(
        name="design-missing",
        parameter="",
        does="The gauge does not report what the pack was designed to hold.",
    ),
    Fault(
        name="design-absurd",
        parameter="20 Wh",
        does="The gauge reports this design capacity, which the full one contradicts.",
    ),
    Fault(
        name="cells-tired",
        parameter="150 mohm",
        does="Each cell has this resistance: it sags under load, and a charge ends early.",
    ),
    Fault(
        name="cells-out-of-step",
        parameter="8 %",
        does="One group of cells is so far ahead: it ends the charge before the others are full.",
    ),
    Fault(
        name="temperature-still",
        parameter="",
        does="The pack's temperature sensor is a fixed resistor: it says 25 °C, and the charger believes it.",
    ),
    Fault(
        name="pack-cold",
        parameter="-3 °C",
        does="The pack lies in this cold: below 0 °C it takes no charge, below 10 °C little and no end.",
    ),
    Fault(
        name="pack-warm",
        parameter="47 °C",
        does="The pack lies in this warmth: from 45 °C it takes less, to a lower voltage, and no end.",
    ),
    Fault(
        name="pack-hot",
        parameter="61 °C",
        does="The pack warms to this temperature while it is charged, 3 K a minute.",
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
)
"""What is wrong with a pack or what its gauge says."""

CHARGER_FAULTS: tuple[Fault, ...] = (
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
        name="charger-drops",
        parameter="3 pieces",
        does="The charger goes away for 20 s, so many times in a charge: every 8 min from the start.",
    ),
)
"""What is wrong with a charger, its lead or its port."""
