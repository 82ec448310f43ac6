"""A look at a pack as numbers for the computations: only what can be trusted."""

from collections.abc import Mapping

from verify.machine import Pack, PackState
from verify.measure import cells_in_series
from verify.measure.point import Point
from verify.probe.watching import held_back, trusted
from verify.values import Unit, parse_quantity

__all__ = ["capacity_ah_of", "cells_of", "label_volts", "point_of"]


def point_of(pack: Pack, at_s: float, *, power_in: bool | None) -> Point:
    """Return the pack's numbers at a time in s on a clock that only rises; None for what is in doubt."""
    full = pack.state is PackState.FULL and pack.doubt("state") is None and held_back(pack) is None
    return Point(
        at_s=at_s,
        current_a=trusted(pack, "current_a"),
        power_w=trusted(pack, "power_w"),
        voltage_v=trusted(pack, "voltage_v"),
        level=trusted(pack, "state_of_charge"),
        remaining_wh=trusted(pack, "remaining_wh"),
        temperature_c=trusted(pack, "temperature_c"),
        powered=power_in,
        says_full=full,
    )


def cells_of(pack: Pack, label_v: float | None = None) -> int | None:
    """Return the cells in series, by the pack's nominal voltage or else its label's; None where unknown."""
    return cells_in_series(trusted(pack, "design_voltage_v")) or cells_in_series(label_v)


def label_volts(label: Mapping[str, str]) -> float | None:
    """Return the nominal voltage on a pack's label, in V; None where it was not given."""
    told = label.get("voltage")
    return None if told is None else parse_quantity(told).to(Unit.VOLT).value


def capacity_ah_of(pack: Pack, *, claimed: bool = False) -> float | None:
    """Return the design capacity, or the one that its gauge claims, in Ah; None where it is unknown."""
    energy_wh = trusted(pack, "full_charge_wh") if claimed else trusted(pack, "design_wh")
    volts = trusted(pack, "design_voltage_v")
    return energy_wh / volts if energy_wh and volts else None
