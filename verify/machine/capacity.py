"""How much a pack holds, could hold and should hold; from the strings of one reading.

In this order: (1) the pack's voltages and cells, (2) energy or charge, never mixed, (3) charge to energy by
the design voltage, (4) what cannot be, (5) what contradicts itself, (6) the level, from now over full only.
"""

import msgspec

from verify.machine import bounds
from verify.machine.bounds import within
from verify.machine.draft import Draft

__all__ = ["Capacity", "Voltages", "read_capacity", "read_voltages"]

# A full lithium cell against its nominal voltage (4.2 V and 3.7 V; 4.35 V and 3.83 V: the same ratio).
_CEILING_OVER_NOMINAL = 4.2 / 3.7
_NOMINAL_CELL_V = (3.5, 3.95)
_CEILING_CELL_V = (4.05, 4.5)
# Common practice, no source: a pack this worn has been through more than so many cycles.
_WORN, _FEW_CYCLES, _HARDLY_ANYTHING_LEFT = 0.4, 100, 0.1
# Full charge above design by more than this is unusual in a new pack (common practice, no source).
_GENEROUS = 1.10
# A new pack may well be exactly its label; after so many cycles a gauge that says so has measured nothing.
_NEW_CYCLES = 50
_LIVELY_CELL_V = 3.5


class Voltages(msgspec.Struct, frozen=True, kw_only=True):
    """The pack's voltages; nominal_v is what charge is converted with, cells is None where unknown."""

    now_v: float | None
    design_v: float | None
    nominal_v: float | None
    nominal_how: str
    cells: int | None


class Capacity(msgspec.Struct, frozen=True, kw_only=True):
    """Energies in Wh and the level 0 to 1; None where unknown. brimming: now is at or above full."""

    remaining_wh: float | None
    full_wh: float | None
    design_wh: float | None
    level: float | None
    brimming: bool


def read_voltages(draft: Draft) -> Voltages:
    """Work out present, design and nominal voltage (1)."""
    given = draft.positive("voltage_min_design")
    ceiling = draft.positive("voltage_max_design")
    # The ACPI driver puts the design voltage into voltage_min_design (Linux drivers/acpi/battery.c);
    # other drivers put the lowest and the highest voltage of the pack into the two.
    design_v = _nominal(given) or _nominal(ceiling)
    how = "charge × design voltage"
    if design_v is None:
        design_v = _from_ceiling(ceiling)
        how = "charge × nominal voltage, told from the highest voltage"
    now_v = draft.positive("voltage_now")
    cells = None if design_v is None else round(design_v / bounds.CELL_NOMINAL_V)
    if design_v is None:
        wrong = given if given is not None else ceiling
        draft.unknown(
            "design_voltage_v",
            draft.why_not("voltage_min_design")
            if wrong is None
            else f"{wrong:g} V cannot be a pack's design.",
        )
    allowed = bounds.PACK_V if cells is None else (cells * bounds.CELL_V[0], cells * bounds.CELL_V[1])
    if now_v is None:
        draft.unknown("voltage_v", draft.why_not("voltage_now"))
    elif not within(now_v, allowed):
        draft.unknown(
            "voltage_v", f"{now_v:g} V is outside what such a pack can have: a very flat or wrong cell."
        )
        now_v = None
    nominal_v = design_v
    if nominal_v is None and now_v is not None:
        cells = max(1, round(now_v / 3.8))
        nominal_v = cells * bounds.CELL_NOMINAL_V
        how = f"charge × {nominal_v:g} V, as no design voltage is given"
    return Voltages(now_v=now_v, design_v=design_v, nominal_v=nominal_v, nominal_how=how, cells=cells)


def _nominal(voltage_v: float | None) -> float | None:
    """Return the voltage where it can be a pack's nominal one."""
    if voltage_v is None or _from_ceiling(voltage_v) is not None:
        return None
    cells = round(voltage_v / bounds.CELL_NOMINAL_V)
    if within(cells, bounds.CELLS_IN_SERIES) and within(voltage_v / cells, _NOMINAL_CELL_V):
        return voltage_v
    return None


def _from_ceiling(voltage_v: float | None) -> float | None:
    """Return the nominal voltage that belongs to a highest one, None where it is not a highest one."""
    if voltage_v is None:
        return None
    cells = round(voltage_v / 4.25)
    if within(cells, bounds.CELLS_IN_SERIES) and within(voltage_v / cells, _CEILING_CELL_V):
        return voltage_v / _CEILING_OVER_NOMINAL
    return None


def read_capacity(draft: Draft, volts: Voltages, cycles: int | None) -> Capacity:
    """Work out energies and level (2) to (6), noting every reason in the draft."""
    # (2) A pack has one family of files; where a driver shows both, its energy is computed from its charge.
    energy = [draft.number(f"energy_{part}") for part in ("now", "full", "full_design")]
    charge = [draft.number(f"charge_{part}") for part in ("now", "full", "full_design")]
    by_charge = charge.count(None) < energy.count(None)
    family, numbers = ("charge", charge) if by_charge else ("energy", energy)
    now, full, design = (None if number is None or number < 0 else number / 1e6 for number in numbers)
    full, design = full or None, design or None
    # (3)
    scale = volts.nominal_v if by_charge else 1.0
    unit = "Ah" if by_charge else "Wh"

    full, design, full_reason = _possible(draft, family, full, design, scale, unit)
    level, brimming = _level(draft, now, full, full_reason, unit)
    fields = (
        ("remaining_wh", now, "now"),
        ("full_charge_wh", full, "full"),
        ("design_wh", design, "full_design"),
    )
    energies: list[float | None] = []
    for field, value, part in fields:
        if field not in draft.reasons and value is None:
            draft.unknown(field, draft.why_not(f"{family}_{part}"))
        elif value is not None and scale is None:
            draft.unknown(field, f"{value:g} Ah; without any voltage it cannot be told in Wh.")
        elif value is not None and by_charge and scale is not None:
            draft.estimate(field, f"{volts.nominal_how} ({value:g} Ah × {scale:g} V).")
        energies.append(None if value is None or scale is None else value * scale)
    remaining_wh, full_wh, design_wh = energies
    if remaining_wh is not None and (
        remaining_wh > (full_wh or bounds.FULL_WH[1]) * bounds.LEVEL_MAX or (full is None and full_reason)
    ):
        draft.unknown("remaining_wh", f"{remaining_wh:g} Wh is more than the pack can hold.")
        remaining_wh = None
    if full_wh is None or design_wh is None:
        lacking = "full_charge_wh" if full_wh is None else "design_wh"
        draft.reasons.setdefault("health", draft.reasons[lacking])
    else:
        _contradictions(draft, full_wh / design_wh, exact=full == design, cycles=cycles)
    _empty_but_lively(draft, level, volts)
    return Capacity(
        remaining_wh=remaining_wh, full_wh=full_wh, design_wh=design_wh, level=level, brimming=brimming
    )


def _possible(
    draft: Draft, family: str, full: float | None, design: float | None, scale: float | None, unit: str
) -> tuple[float | None, float | None, str | None]:
    """Drop what cannot be (4); return full, design and why full was dropped."""
    if design is not None and scale is not None and not within(design * scale, bounds.DESIGN_WH):
        draft.unknown("design_wh", f"{design * scale:g} Wh cannot be a laptop pack's design capacity.")
        design = None
    why: str | None = None
    if full is not None and design is not None and not within(full / design, bounds.FULL_OVER_DESIGN):
        why = (
            f"{family}_full is {full:g} {unit}, {full / design:.3g} × the design of {design:g} {unit}: "
            "that cannot be. Restart the machine and read again."
        )
        draft.doubt("design_wh", f"Contradicted by {family}_full ({full:g} {unit}).")
    elif full is not None and scale is not None and not within(full * scale, bounds.FULL_WH):
        why = f"{full * scale:g} Wh cannot be a laptop pack's full charge."
    if why is not None:
        full = None
        for field in ("full_charge_wh", "health", "state_of_charge"):
            draft.unknown(field, why)
    return full, design, why


def _level(
    draft: Draft, now: float | None, full: float | None, full_reason: str | None, unit: str
) -> tuple[float | None, bool]:
    """Return the level (6), and whether the pack is at or above full."""
    if full_reason is not None:
        return None, False
    if now is not None and full is not None and now <= full * bounds.LEVEL_MAX:
        return min(1.0, now / full), now >= full
    percent = draft.number("capacity")
    usable = percent is not None and 0 <= percent <= bounds.LEVEL_MAX * 100
    if now is not None and full is not None:
        why = f"The pack says that {now:g} {unit} remain of {full:g} {unit}: its counter is unusable."
        draft.unknown("remaining_wh", why)
        if usable:
            draft.estimate("state_of_charge", f"the pack's whole per cent. {why}")
        else:
            draft.unknown("state_of_charge", why)
    elif not usable:
        draft.unknown("state_of_charge", _no_level(draft, percent))
    return (min(1.0, percent / 100), percent >= 100) if usable and percent is not None else (None, False)


def _no_level(draft: Draft, percent: int | None) -> str:
    if percent is None:
        return draft.why_not("capacity")
    return f"capacity: {percent} % cannot be a level."


def _contradictions(draft: Draft, ratio: float, *, exact: bool, cycles: int | None) -> None:
    """Note what speaks against the health that the gauge reports (5)."""
    if exact and (cycles is None or cycles > _NEW_CYCLES):
        why = "Full charge is exactly the design capacity: the pack may only repeat its label. Not measured."
        fields: tuple[str, ...] = ("full_charge_wh", "health")
    elif ratio > bounds.LEARNED_MAX:
        why, fields = (
            f"{100 * ratio:.0f} % of design: the gauge has not learned this pack yet.",
            ("full_charge_wh", "health"),
        )
    elif ratio > _GENEROUS:
        why, fields = f"{100 * ratio:.0f} % of design is unusually much.", ("health",)
    elif ratio < _HARDLY_ANYTHING_LEFT or (ratio < _WORN and cycles is not None and cycles <= _FEW_CYCLES):
        worn = "" if cycles is None else f" after {cycles} cycles"
        why = f"{ratio:.1%} of design{worn}: a wrong gauge or a charge limit is as likely as a worn pack."
        # Of a wrong full, a level is as wrong.
        fields = ("full_charge_wh", "health", "state_of_charge")
    else:
        return
    for field in fields:
        draft.doubt(field, why)


def _empty_but_lively(draft: Draft, level: float | None, volts: Voltages) -> None:
    """Doubt a level of nothing from a pack whose voltage is not that of an empty one."""
    if level != 0 or volts.now_v is None or volts.cells is None:
        return
    if volts.now_v / volts.cells > _LIVELY_CELL_V:
        why = f"The pack says empty, yet has {volts.now_v:g} V. Wait ten seconds and read again."
        for field in ("state_of_charge", "remaining_wh"):
            draft.doubt(field, why)
