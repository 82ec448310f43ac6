"""One pack from the strings of one supply: pure, no file is touched here."""

from verify.machine import bounds
from verify.machine.bounds import within
from verify.machine.capacity import read_capacity, read_voltages
from verify.machine.draft import Draft
from verify.machine.flow import Surroundings, read_flow
from verify.machine.model import CHARGING_OFF, Pack
from verify.machine.supply import Supply

__all__ = ["make_pack"]

# Linux Documentation/ABI/testing/sysfs-class-power, "technology".
_TECHNOLOGIES = frozenset(("NiMH", "Li-ion", "Li-poly", "LiFe", "NiCd", "LiMn"))
_THRESHOLDS = ("charge_control_end_threshold", "charge_stop_threshold")
# What checks judge: from a pack that may be made up none of it counts.
_JUDGED = (
    "state",
    "state_of_charge",
    "full_charge_wh",
    "design_wh",
    "health",
    "power_w",
    "voltage_v",
    "current_a",
)
_NO_LIMIT = "No limit is visible; one that is set in the firmware would not show."


def make_pack(supply: Supply, around: Surroundings) -> Pack:
    """Work out what one pack tells: values, and a reason for each that is unknown, doubted or converted."""
    draft = Draft(supply)
    cycles = _cycles(draft)
    volts = read_voltages(draft)
    capacity = read_capacity(draft, volts, cycles)
    flow = read_flow(
        draft,
        around,
        voltage_v=volts.now_v,
        # A worn pack may still take and give what it was made for.
        capacity_wh=capacity.design_wh if capacity.design_wh is not None else capacity.full_wh,
        level=capacity.level,
        brimming=capacity.brimming,
    )
    technology = _technology(draft)
    serial = _identity(draft, "serial", "serial_number")
    behaviour = draft.values.get("charge_behaviour", "")
    if "[inhibit-charge" in behaviour or "[force-discharge]" in behaviour:
        draft.doubt("state", f"{CHARGING_OFF} ({behaviour}).")
    emulated = around.emulated or _looks_emulated(draft, technology, serial)
    if emulated is not None:
        for field in _JUDGED:
            draft.doubt(field, emulated)
    return Pack(
        name=supply.name,
        state=flow.state,
        state_of_charge=capacity.level,
        remaining_wh=capacity.remaining_wh,
        full_charge_wh=capacity.full_wh,
        design_wh=capacity.design_wh,
        power_w=flow.power_w,
        voltage_v=volts.now_v,
        design_voltage_v=volts.design_v,
        current_a=flow.current_a,
        cycle_count=cycles,
        temperature_c=_temperature(draft),
        manufacturer=_identity(draft, "manufacturer", "manufacturer"),
        model=_identity(draft, "model", "model_name"),
        serial=serial,
        technology=technology,
        charge_limit=_charge_limit(draft),
        reasons=draft.reasons,
        estimated=tuple(sorted(draft.estimated)),
        raw=supply.values,
    )


def _cycles(draft: Draft) -> int | None:
    count = draft.number("cycle_count")
    if count is None:
        draft.unknown("cycle_count", draft.why_not("cycle_count"))
        return None
    if 0 < count <= bounds.CYCLES_MAX:
        return count
    # 0 is "not available" by the ABI: never a new pack.
    draft.unknown(
        "cycle_count", "The pack does not count its cycles." if count == 0 else f"{count} cannot be."
    )
    return None


def _identity(draft: Draft, field: str, attribute: str) -> str | None:
    words = draft.words(attribute)
    if words is None:
        given = draft.values.get(attribute)
        draft.unknown(field, "The pack gives none." if given is not None else draft.why_not(attribute))
    return words


def _technology(draft: Draft) -> str | None:
    word = draft.words("technology")
    if word in _TECHNOLOGIES:
        return word
    draft.unknown("technology", "The pack does not name it." if word else draft.why_not("technology"))
    return None


def _temperature(draft: Draft) -> float | None:
    tenths = draft.number("temp")
    if tenths is None:
        draft.unknown("temperature_c", draft.why_not("temp"))
        return None
    if tenths and within(tenths / 10, bounds.PACK_CELSIUS):
        return tenths / 10
    draft.unknown("temperature_c", f"{tenths / 10:g} °C is outside what this sensor can have.")
    return None


def _charge_limit(draft: Draft) -> float | None:
    for attribute in _THRESHOLDS:
        if attribute in draft.values:
            percent = draft.number(attribute)
            if percent is not None and 0 < percent <= 100:
                return percent / 100
            draft.unknown("charge_limit", f"{attribute} reads “{draft.words(attribute) or ''}”.")
            return None
    draft.unknown("charge_limit", _NO_LIMIT)
    return None


def _looks_emulated(draft: Draft, technology: str | None, serial: str | None) -> str | None:
    """Return why the pack may be made up by software, or None. Common practice, no source.

    Now, full and design all alike, and two of: a round number, no technology, a serial of nothing.
    """
    for family in ("energy", "charge"):
        design = draft.number(f"{family}_full_design")
        if not design or draft.number(f"{family}_now") != design or draft.number(f"{family}_full") != design:
            continue
        signs = (
            design % 1_000_000 == 0,
            technology is None,
            serial is None or serial.lstrip("0") in ("", "1"),
        )
        if sum(signs) >= 2:
            return "Its numbers are too round to be a real pack's: it may be emulated by software."
    return None
