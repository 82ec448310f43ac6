"""Read the power supplies of a sysfs root: which are packs, which are charger inputs, and their strings.

Kind and scope come from the content, never from the name. One read of `uevent` gives a supply's values
of one moment; a single file is read only for what is not in there. The folder is listed anew every time:
packs come and go, and files of one pack change with its firmware's mood.
Source: Linux Documentation/ABI/testing/sysfs-class-power.
"""

import msgspec

from verify.machine.sysfs import Missing, Sysfs

__all__ = ["SUPPLY_CLASS", "Supplies", "Supply", "read_supplies"]

SUPPLY_CLASS = "class/power_supply"

_WANTED = frozenset(
    [
        "type",
        "scope",
        "present",
        "online",
        "status",
        "capacity",
        "cycle_count",
        "technology",
        "manufacturer",
        "model_name",
        "serial_number",
        "energy_now",
        "energy_full",
        "energy_full_design",
        "charge_now",
        "charge_full",
        "charge_full_design",
        "power_now",
        "power_avg",
        "current_now",
        "current_avg",
        "voltage_now",
        "voltage_min_design",
        "voltage_max_design",
        "temp",
        "charge_control_end_threshold",
        "charge_stop_threshold",
        "charge_behaviour",
        "voltage_max",
        "current_max",
    ]
)
_ATTRIBUTES = {f"POWER_SUPPLY_{attribute.upper()}": attribute for attribute in _WANTED}
_STORE_FILES = frozenset(
    (
        "energy_now",
        "energy_full",
        "energy_full_design",
        "charge_now",
        "charge_full",
        "charge_full_design",
    )
)
_ADAPTER_KINDS = ("Mains", "USB", "Wireless")
_OTHER_KINDS = ("UPS", "BMS")
# Kernel drivers of pens, mice and digitisers; their scope is often left out.
_PERIPHERAL_NAMES = ("hid", "wacom_")


class Supply(msgspec.Struct, frozen=True, kw_only=True):
    """One supply's strings by attribute, and why an attribute that exists cannot be read."""

    name: str
    values: dict[str, str]
    faults: dict[str, str]


class Supplies(msgspec.Struct, frozen=True, kw_only=True):
    """What one reading of the folder gave. names: all entries; reasons: what is left out, and why.

    unsure: why an entry that is left out may be a pack all the same; None where there is none.
    """

    packs: tuple[Supply, ...] = ()
    adapters: tuple[Supply, ...] = ()
    names: frozenset[str] = frozenset()
    reasons: dict[str, str] = {}
    unsure: str | None = None


def read_supplies(sysfs: Sysfs) -> Supplies:
    """Read every supply once."""
    names = sysfs.names(SUPPLY_CLASS)
    if isinstance(names, Missing):
        why = f"The system shows no power supplies ({SUPPLY_CLASS}): {names.reason}"
        return Supplies(reasons={"batteries": why, "adapters": why})
    packs, adapters, reasons = [], [], {}
    unsure: str | None = None
    for name in names:
        supply = _read(sysfs, name)
        if supply is None:
            unsure = reasons[f"batteries.{name}"] = f"{name} went away while it was read."
            continue
        kind = supply.values.get("type")
        if supply.values.get("scope") == "Device":
            continue
        if kind in _ADAPTER_KINDS:
            adapters.append(supply)
        elif kind == "Battery":
            if supply.values.get("present") == "0":
                reasons[f"batteries.{name}"] = f"{name}: no pack in its place, or it makes no contact."
            elif not _is_peripheral(supply):
                packs.append(supply)
        elif kind not in _OTHER_KINDS:
            why = supply.faults.get("type", "It names none." if not kind else f"It says “{kind[:24]}”.")
            unsure = reasons[f"batteries.{name}"] = f"{name}: its kind cannot be told. {why}"
    return Supplies(
        packs=tuple(packs),
        adapters=tuple(adapters),
        names=frozenset(names),
        reasons=reasons,
        unsure=unsure,
    )


def _is_peripheral(supply: Supply) -> bool:
    """Tell a battery strength of an input device: it has no store, and a driver of such devices."""
    if not supply.name.startswith(_PERIPHERAL_NAMES):
        return False
    return not any(attribute in _STORE_FILES for attribute in (*supply.values, *supply.faults))


def _read(sysfs: Sysfs, name: str) -> Supply | None:
    """Read one supply; None where its folder is gone."""
    folder = f"{SUPPLY_CLASS}/{name}"
    files = sysfs.names(folder)
    if isinstance(files, Missing):
        return None
    uevent = sysfs.text(f"{folder}/uevent")
    values: dict[str, str] = {}
    if not isinstance(uevent, Missing):
        for line in uevent.split("\n"):
            key, _, value = line.partition("=")
            attribute = _ATTRIBUTES.get(key)
            if attribute is not None:
                values[attribute] = value.strip()
    faults: dict[str, str] = {}
    for attribute in _WANTED.intersection(files).difference(values):
        text = sysfs.text(f"{folder}/{attribute}")
        if not isinstance(text, Missing):
            values[attribute] = text
        elif not text.absent:
            faults[attribute] = text.reason
    if not values and sysfs.names(folder).__class__ is Missing:
        return None
    return Supply(name=name, values=values, faults=faults)
