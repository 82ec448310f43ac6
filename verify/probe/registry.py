"""All automatic checks, by the name that a checklist uses."""

from collections.abc import Callable, Mapping

from verify.probe.capacity import claimed_capacity
from verify.probe.cell_state import cell_resistance, cells_in_step
from verify.probe.charge import charge_to_full
from verify.probe.charger import charge_power, charger_seen
from verify.probe.charger_steady import charger_steady
from verify.probe.drain import drain
from verify.probe.heat import heat_margin
from verify.probe.heat_arrival import heat_as_arrived
from verify.probe.heat_clock import clock_held
from verify.probe.heat_fans import fan_answers
from verify.probe.holds_under_load import holds_under_load
from verify.probe.inventory import hardware_as_arrived, panel_as_arrived
from verify.probe.inventory_charge import charge_lost
from verify.probe.inventory_clock import clock_kept
from verify.probe.inventory_fans import fans_as_arrived
from verify.probe.inventory_link import storage_link
from verify.probe.inventory_memory import memory_channels, memory_size
from verify.probe.inventory_radio import radio_level
from verify.probe.inventory_sensors import sensors_as_arrived
from verify.probe.lid import lid_switch
from verify.probe.measured import gauge_told_truth, measured_capacity
from verify.probe.model import Context, Probe
from verify.probe.pack import pack_cell_voltage, pack_present
from verify.probe.rest_level import rest_level
from verify.probe.unplug import runs_on_battery
from verify.values import Unit
from verify.values.errors import WrongUseError

Factory = Callable[[Mapping[str, str], Context], Probe]

PROBES: Mapping[str, Factory] = {
    "cell-resistance": cell_resistance,
    "cells-in-step": cells_in_step,
    "charge-lost": charge_lost,
    "charge-power": charge_power,
    "charge-to-full": charge_to_full,
    "charger-seen": charger_seen,
    "charger-steady": charger_steady,
    "claimed-capacity": claimed_capacity,
    "clock-held": clock_held,
    "clock-kept": clock_kept,
    "drain": drain,
    "fan-answers": fan_answers,
    "fans-as-arrived": fans_as_arrived,
    "gauge-told-truth": gauge_told_truth,
    "hardware-as-arrived": hardware_as_arrived,
    "heat-as-arrived": heat_as_arrived,
    "heat-margin": heat_margin,
    "holds-under-load": holds_under_load,
    "lid-switch": lid_switch,
    "measured-capacity": measured_capacity,
    "memory-channels": memory_channels,
    "memory-size": memory_size,
    "pack-cell-voltage": pack_cell_voltage,
    "pack-present": pack_present,
    "panel-as-arrived": panel_as_arrived,
    "radio-level": radio_level,
    "rest-level": rest_level,
    "runs-on-battery": runs_on_battery,
    "sensors-as-arrived": sensors_as_arrived,
    "storage-link": storage_link,
}
"""Name to factory; a factory's docstring tells unit, source and caution."""


UNITS: Mapping[str, Unit] = {
    "cell-resistance": Unit.MILLIOHM,
    "cells-in-step": Unit.VOLT,
    "charge-lost": Unit.PERCENT,
    "charge-power": Unit.C_RATE,
    "charge-to-full": Unit.PERCENT,
    "charger-seen": Unit.COUNT,
    "charger-steady": Unit.COUNT,
    "claimed-capacity": Unit.PERCENT,
    "clock-held": Unit.PERCENT,
    "clock-kept": Unit.SECOND,
    "drain": Unit.PERCENT,
    "fan-answers": Unit.COUNT,
    "fans-as-arrived": Unit.COUNT,
    "gauge-told-truth": Unit.COUNT,
    "hardware-as-arrived": Unit.COUNT,
    "heat-as-arrived": Unit.KELVIN,
    "heat-margin": Unit.KELVIN,
    "holds-under-load": Unit.COUNT,
    "lid-switch": Unit.COUNT,
    "measured-capacity": Unit.PERCENT,
    "memory-channels": Unit.COUNT,
    "memory-size": Unit.PERCENT,
    "pack-cell-voltage": Unit.VOLT,
    "pack-present": Unit.COUNT,
    "panel-as-arrived": Unit.COUNT,
    "radio-level": Unit.DECIBEL,
    "rest-level": Unit.PERCENT,
    "runs-on-battery": Unit.SECOND,
    "sensors-as-arrived": Unit.COUNT,
    "storage-link": Unit.COUNT,
}
"""Name to the unit of its readings, which a limit must have."""


def probe_units() -> Mapping[str, Unit | None]:
    """Return the names of all automatic checks, each with the unit of its readings."""
    return {name: UNITS.get(name) for name in PROBES}


def probe_names() -> frozenset[str]:
    """Return the names of all automatic checks."""
    return frozenset(PROBES)


def make_probe(name: str, options: Mapping[str, str], context: Context) -> Probe:
    """Make an automatic check, ready to be fed samples.

    Raises WrongUseError for a name or an option that does not exist, InvalidValueError for an option's value.
    """
    factory = PROBES.get(name)
    if factory is None:
        raise WrongUseError(
            f'There is no automatic check "{name}".', next_step=f"There are: {', '.join(sorted(PROBES))}."
        )
    return factory(options, context)
