"""What is to be taken on arrival, and the short readings of a machine that runs. Pure."""

from verify.machine import Sample
from verify.record.arrival import FUNCTIONS, FoundAs
from verify.run.state import State
from verify.values import Reading, Unit

FOUND_AS = "found as"
COMPLAINT = "complaint"
PICTURES = "pictures"
ACCESSORIES = "accessories"


def topics(state: State) -> tuple[str, ...]:
    """Return what is asked on arrival, in order; a function by its own name."""
    tried = FUNCTIONS if state.arrival.found_as in (None, FoundAs.RUNS) else ()
    return (FOUND_AS, COMPLAINT, PICTURES, ACCESSORIES, *tried)


def topics_left(state: State) -> tuple[str, ...]:
    """Return the topics of which nothing is said yet."""
    arrival = state.arrival
    said = {
        FOUND_AS: arrival.found_as is not None,
        COMPLAINT: bool(state.ticket.complaint) or arrival.complaint is not None,
        PICTURES: arrival.pictures is not None,
        ACCESSORIES: arrival.accessories is not None,
        **dict.fromkeys(arrival.tried or {}, True),
    }
    return tuple(topic for topic in topics(state) if not said.get(topic, False))


def arriving(state: State) -> bool:
    """Tell whether the machine is being taken in and something of it is still to be said."""
    return state.began.arriving and not state.started and bool(topics_left(state))


def wants_readings(state: State, *, on_machine: bool | None) -> bool:
    """Tell whether the short readings are due: nothing that bulges, a machine that runs, the tool on it."""
    return (
        state.began.arriving
        and not state.started
        and not state.hazards_open
        and on_machine is True
        and state.arrival.found_as is FoundAs.RUNS
        and state.arrival.readings is None
    )


def short_readings(sample: Sample) -> tuple[Reading, ...]:
    """Return what the machine tells at a glance: each pack's level and capacity, temperatures, fans.

    A charge limit stands there where one shows: it is the owner's setting, to be given back as it was.
    Units as in each reading; what is doubted or unknown is a reading without value, with the reason.
    """
    found: list[Reading] = []
    for pack in sample.packs:
        for field, unit, what in (
            ("state_of_charge", Unit.PERCENT, "level"),
            ("full_charge_wh", Unit.WATT_HOUR, "full capacity as it reports it"),
            ("design_wh", Unit.WATT_HOUR, "design capacity as it reports it"),
            ("voltage_v", Unit.VOLT, "voltage"),
        ):
            value: float | None = getattr(pack, field)
            if value is not None and unit is Unit.PERCENT:
                value *= 100
            found.append(_reading(value, unit, f"battery {pack.name}, {what}", pack.reasons.get(field)))
        if pack.charge_limit is not None:
            percent = 100 * pack.charge_limit
            doubt = pack.reasons.get("charge_limit")
            found.append(_reading(percent, Unit.PERCENT, f"battery {pack.name}, charge limit", doubt))
    found += [
        _reading(sensor.celsius, Unit.CELSIUS, f"{sensor.chip} {sensor.label}".strip(), sensor.reason)
        for sensor in sample.temperatures
    ]
    found += [
        _reading(
            None if fan.rpm is None else float(fan.rpm),
            Unit.RPM,
            f"{fan.chip} {fan.label}".strip(),
            fan.reason,
        )
        for fan in sample.fans
    ]
    return tuple(found)


def readings_note(sample: Sample) -> str:
    """Say which groups could not be read, and why; empty where all could."""
    return " ".join(sample.reasons.values())


def _reading(value: float | None, unit: Unit, source: str, reason: str | None) -> Reading:
    if value is None:
        return Reading(value=None, unit=unit, source=source, reason=reason or "It is not reported.")
    return Reading(value=value, unit=unit, source=source, reason=reason)
