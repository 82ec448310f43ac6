"""What a trace leaves out of a sample: serials of batteries, and their texts where a value says the same."""

from collections.abc import Mapping

import msgspec

from verify.machine import Pack, PackState, Sample

__all__ = ["bare"]

# Which of a pack's fields the text of an attribute became: with any of them known, it says nothing more.
_BECAME: Mapping[str, tuple[str, ...]] = {
    "capacity": ("state_of_charge",),
    "cycle_count": ("cycle_count",),
    "technology": ("technology",),
    "manufacturer": ("manufacturer",),
    "model_name": ("model",),
    "energy_now": ("remaining_wh", "state_of_charge"),
    "charge_now": ("remaining_wh", "state_of_charge"),
    "energy_full": ("full_charge_wh",),
    "charge_full": ("full_charge_wh",),
    "energy_full_design": ("design_wh",),
    "charge_full_design": ("design_wh",),
    "power_now": ("power_w",),
    "power_avg": ("power_w",),
    "current_now": ("current_a",),
    "current_avg": ("current_a",),
    "voltage_now": ("voltage_v",),
    "voltage_min_design": ("design_voltage_v",),
    "voltage_max_design": ("design_voltage_v",),
    "temp": ("temperature_c",),
    "charge_control_end_threshold": ("charge_limit",),
    "charge_stop_threshold": ("charge_limit",),
}
_STATED = {"Charging": "charging", "Discharging": "discharging", "Full": "full", "Not charging": "holding"}


def bare(sample: Sample) -> Sample:
    """Return the sample without these."""
    packs = tuple(
        msgspec.structs.replace(
            pack,
            serial=None,
            raw={name: text for name, text in pack.raw.items() if _says_more(pack, name, text)},
        )
        for pack in sample.packs
    )
    return msgspec.structs.replace(sample, packs=packs)


def _says_more(pack: Pack, attribute: str, text: str) -> bool:
    """Tell whether a text of a battery says what no value of it does: garbage, or something unknown to us."""
    name = attribute.lower()
    if "serial" in name:
        return False
    if name == "status":
        return pack.state is PackState.UNKNOWN or _STATED.get(text) != pack.state.value
    if name == "capacity" and pack.state_of_charge == 1.0:
        return text != "100"  # what lies above full is told nowhere else
    return all(getattr(pack, field) is None for field in _BECAME.get(name, ()))
