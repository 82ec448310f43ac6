"""All automatic checks, by the name that a checklist uses."""

from collections.abc import Callable, Mapping

from verify.probe.capacity import claimed_capacity
from verify.probe.charge import charge_to_full
from verify.probe.charger import charge_power, charger_seen
from verify.probe.heat import heat_margin
from verify.probe.lid import lid_switch
from verify.probe.model import Context, Probe
from verify.probe.pack import pack_cell_voltage, pack_present
from verify.probe.unplug import runs_on_battery
from verify.values.errors import WrongUseError

Factory = Callable[[Mapping[str, str], Context], Probe]

PROBES: Mapping[str, Factory] = {
    "charge-power": charge_power,
    "charge-to-full": charge_to_full,
    "charger-seen": charger_seen,
    "claimed-capacity": claimed_capacity,
    "heat-margin": heat_margin,
    "lid-switch": lid_switch,
    "pack-cell-voltage": pack_cell_voltage,
    "pack-present": pack_present,
    "runs-on-battery": runs_on_battery,
}
"""Name to factory; a factory's docstring tells unit, source and caution."""


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
