"""Which way the power goes, how much of it, and what the pack is doing.

The magnitude comes from the number, the sign from the status: drivers differ in whether they sign the
rate (Linux ABI: current_now is negative while discharging; the ACPI driver gives magnitudes only).
In this order: (1) magnitudes, wrapped numbers put right, (2) two magnitudes that contradict each other,
(3) the state, contradictions resolved, (4) signs.
"""

import msgspec

from verify.machine import bounds
from verify.machine.draft import Draft
from verify.machine.model import FULL_YET_FLOWS, PackState

__all__ = ["Flow", "Surroundings", "read_flow"]

_STATUS = {
    "Charging": PackState.CHARGING,
    "Discharging": PackState.DISCHARGING,
    "Full": PackState.FULL,
    "Not charging": PackState.HOLDING,
}
_END_OF_CHARGE, _CHARGED = 0.95, 0.995
# Power against current × voltage: apart by more than half, above 1 W [common practice, no source].
_APART, _APART_MIN_W = 0.5, 1.0
_WRAP_MIN, _WRAP = 32768, 65536
_ADAPTER_MARGIN = 1.5


class Surroundings(msgspec.Struct, frozen=True, kw_only=True):
    """What is known beside the pack. charger_seen: any input gives power, None where none can be read.

    charger_w: what the input has agreed to give, None where it does not say.
    another_feeds: another pack says that it is discharging. emulated: why the pack may not be a real one.
    """

    charger_seen: bool | None = None
    charger_w: float | None = None
    another_feeds: bool = False
    emulated: str | None = None


class Flow(msgspec.Struct, frozen=True, kw_only=True):
    """State, and power and current into the pack positive; None where unknown."""

    state: PackState
    power_w: float | None
    current_a: float | None


class _Rate(msgspec.Struct, frozen=True, kw_only=True):
    size: float | None
    negative: bool = False


def read_flow(
    draft: Draft,
    around: Surroundings,
    *,
    voltage_v: float | None,
    capacity_wh: float | None,
    level: float | None,
    brimming: bool,
) -> Flow:
    """Work out state, power and current of one reading, noting every reason in the draft."""
    # (1)
    limit_w = bounds.POWER_MAX_W
    if capacity_wh is not None:
        limit_w = min(limit_w, bounds.C_RATE_MAX * capacity_wh)
    suspect_w = limit_w if around.charger_w is None else min(limit_w, _ADAPTER_MARGIN * around.charger_w)
    power = _rate(draft, "power", "power_w", "W", limit_w, suspect_w)
    current = _rate(draft, "current", "current_a", "A", bounds.CURRENT_MAX_A, bounds.CURRENT_MAX_A)
    power_w, current_a = power.size, current.size
    if power_w is None and current_a is not None and voltage_v is not None:
        power_w = current_a * voltage_v
        if power_w > limit_w:
            draft.unknown("power_w", f"{power_w:.3g} W is more than this pack can take or give.")
            power_w = None
        elif "power_w" not in draft.reasons:
            draft.estimate("power_w", "current × present voltage.")
        else:
            draft.doubt("power_w", "Worked out as current × present voltage.")
    elif (
        current_a is None
        and power_w is not None
        and voltage_v is not None
        and "current_a" not in draft.reasons
    ):
        current_a = power_w / voltage_v
        draft.estimate("current_a", "power / present voltage.")
    # (2)
    torn = _contradict(draft, power_w, current_a, voltage_v)
    if not torn and _rests(power_w, current_a):
        power_w = None if power_w is None else 0.0
        current_a = None if current_a is None else 0.0
    if power_w is None:
        draft.reasons.setdefault("power_w", _why_no_power(draft, voltage_v))
    if current_a is None:
        draft.reasons.setdefault("current_a", draft.why_not("current_now"))
    # (3)
    state = _state(
        draft,
        around,
        power_w=None if torn else power_w,
        full_max_w=max(bounds.CHARGING_MIN_W, bounds.FULL_MAX_C * (capacity_wh or 0.0)),
        level=level,
        brimming=brimming,
    )
    # (4)
    sign = _sign(
        draft, state, around, negative=power.negative or current.negative, flows=bool(power_w or current_a)
    )
    if sign is None:
        for field, size, unit in (("power_w", power_w, "W"), ("current_a", current_a, "A")):
            if size is not None:
                draft.unknown(field, f"{size:.3g} {unit} flows; the pack does not say which way.")
        return Flow(state=state, power_w=None, current_a=None)
    return Flow(
        state=state,
        power_w=None if power_w is None else sign * power_w + 0.0,
        current_a=None if current_a is None else sign * current_a + 0.0,
    )


def _rests(power_w: float | None, current_a: float | None) -> bool:
    """Tell whether what flows is only the offset of the converter; power tells, else current."""
    if power_w is not None:
        return power_w < bounds.RESTING_W
    return current_a is None or current_a < bounds.RESTING_A


def _contradict(
    draft: Draft, power_w: float | None, current_a: float | None, voltage_v: float | None
) -> bool:
    """Tell whether power and current contradict each other (2); if so, both are doubted."""
    if power_w is None or current_a is None or voltage_v is None:
        return False
    implied_w = current_a * voltage_v
    larger_w = max(power_w, implied_w)
    if larger_w < _APART_MIN_W or abs(power_w - implied_w) <= _APART * larger_w:
        return False
    why = f"The pack gives {power_w:.3g} W, but current × voltage is {implied_w:.3g} W: one of them is wrong."
    for field in ("power_w", "current_a"):
        draft.doubt(field, why)
    return True


def _why_no_power(draft: Draft, voltage_v: float | None) -> str:
    """Say why there is no power: it may be the current that fails, or the voltage to go with it."""
    if draft.has("power_now") or not draft.has("current_now"):
        return draft.why_not("power_now")
    if draft.number("current_now") is None:
        return draft.why_not("current_now")
    return "A current without a voltage is no power." if voltage_v is None else "The current cannot be."


def _rate(draft: Draft, quantity: str, field: str, unit: str, limit: float, suspect: float) -> _Rate:
    """Read a rate: magnitude in base units, and whether it was given as negative."""
    raw = draft.number(f"{quantity}_now")
    if raw is None:
        raw = draft.number(f"{quantity}_avg")
    if raw is None:
        return _Rate(size=None)
    if raw >= 1 << 63:
        # A negative 64-bit number that was printed as if it had no sign.
        raw -= 1 << 64
    size = abs(raw) / 1e6
    thousandths, rest = divmod(abs(raw), 1000)
    if size > suspect and rest == 0 and _WRAP_MIN <= thousandths <= _WRAP:
        # A negative 16-bit number of the gauge (in mA or mW) that firmware put into an unsigned field. The
        # Linux ACPI driver repairs the milliampere kind in the same way, and leaves the milliwatt kind.
        draft.estimate(field, f"the pack gave {size:g} {unit}, a wrapped 16-bit number; unwrapped.")
        return _Rate(size=(_WRAP - thousandths) / 1e3, negative=raw < 0)
    if size > limit:
        draft.unknown(field, f"{size:g} {unit} is more than this pack can take or give.")
        return _Rate(size=None)
    return _Rate(size=size, negative=raw < 0)


def _state(
    draft: Draft,
    around: Surroundings,
    *,
    power_w: float | None,
    full_max_w: float,
    level: float | None,
    brimming: bool,
) -> PackState:
    """Resolve what the pack is doing (3)."""
    status = draft.values.get("status", "")
    said = _STATUS.get(status, PackState.UNKNOWN)
    resting = power_w == 0.0
    if said is PackState.CHARGING:
        return _said_charging(draft, power_w, level, brimming=brimming)
    if said is PackState.DISCHARGING:
        # Firmware that stops above a charge limit may leave its discharging flag set.
        return PackState.HOLDING if resting and around.charger_seen else said
    if around.charger_seen is False and power_w is not None and power_w >= bounds.CHARGING_MIN_W:
        # No input gives power, so what flows can only come out of the pack.
        return PackState.DISCHARGING
    if said is PackState.FULL:
        if power_w is not None and power_w > full_max_w:
            draft.doubt("state", f"{FULL_YET_FLOWS} {power_w:.3g} W flow.")
        return said
    if brimming and (resting or said is PackState.HOLDING):
        return PackState.FULL
    if around.charger_seen and (resting or said is PackState.HOLDING):
        return PackState.HOLDING
    if resting and around.another_feeds:
        return PackState.HOLDING
    draft.unknown("state", _why_no_state(draft, status, around))
    return PackState.UNKNOWN


def _said_charging(draft: Draft, power_w: float | None, level: float | None, *, brimming: bool) -> PackState:
    if power_w is None or power_w >= bounds.CHARGING_MIN_W:
        return PackState.CHARGING
    if brimming or (level is not None and level >= _CHARGED):
        return PackState.FULL
    if level is not None and level >= _END_OF_CHARGE:
        draft.doubt("state", "It says charging, but almost nothing flows: the end of the charge.")
    else:
        draft.doubt(
            "state", "It says charging, but almost nothing flows. Wait 90 s; if it stays so, look into it."
        )
    return PackState.HOLDING


def _why_no_state(draft: Draft, status: str, around: Surroundings) -> str:
    if not status:
        return draft.why_not("status")
    word = draft.words("status") or "?"
    charger = {True: "a charger is in", False: "no charger gives power", None: "no charger input can be read"}
    return f"The pack says “{word}” and {charger[around.charger_seen]}."


def _sign(draft: Draft, state: PackState, around: Surroundings, *, negative: bool, flows: bool) -> int | None:
    """Return +1 into the pack, −1 out of it, None where it cannot be told (4)."""
    if not flows:
        return 1
    status = draft.values.get("status")
    if status == "Charging":
        if negative:
            for field in ("power_w", "current_a"):
                draft.doubt(field, "The pack says charging, but signs the flow as going out.")
        return 1
    if status == "Discharging" or state is PackState.DISCHARGING or negative:
        return -1
    return -1 if around.charger_seen is False else None
