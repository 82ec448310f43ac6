"""The faults of a simulated machine beside its pack and charger."""

from verify.machine.simulated.fault import Fault

MACHINE_FAULTS: tuple[Fault, ...] = (
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
        name="dies-at",
        parameter="30 %",
        does="On the battery the machine goes off without a warning at this level, as the gauge tells it.",
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
        name="fan-stuck",
        parameter="",
        does="No fan turns: the heat stays, and under full load the processor takes its clock back.",
    ),
    Fault(
        name="fan-always-full",
        parameter="",
        does="The fans turn at full speed whatever the heat.",
    ),
    Fault(
        name="paste-dry",
        parameter="160 %",
        does="Heat finds it this much harder to get from the processor into the heat sink.",
        at_most=5.0,
    ),
    Fault(
        name="clock-held",
        parameter="1200 MHz",
        does="The processor never runs faster than this.",
    ),
    Fault(
        name="lid-switch-dead",
        parameter="",
        does="The lid switch never says that the lid is closed.",
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
"""What is wrong with the machine itself."""
