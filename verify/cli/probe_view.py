"""The view of `handback probe` for a person: short lines that read without colour and in a narrow window."""

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from verify.machine import NO_BATTERY, Fan, Identity, Pack, PackState, Sample, Temperature
from verify.measure import write_number

__all__ = ["show"]

_UNKNOWN = "unknown"
_WIDEST = 100

# Field → what a technician calls it; in the order in which notes are shown.
_FIELDS = {
    "state": "State",
    "state_of_charge": "Level",
    "health": "Capacity",
    "full_charge_wh": "Full charge",
    "design_wh": "Design",
    "remaining_wh": "Remaining",
    "power_w": "Power",
    "voltage_v": "Voltage",
    "current_a": "Current",
    "cycle_count": "Cycles",
    "temperature_c": "Temperature",
    "manufacturer": "Maker",
    "model": "Model",
    "serial": "Serial",
    "technology": "Technology",
    "charge_limit": "Charge limit",
    "design_voltage_v": "Design voltage",
}
# These say what a technician can do without: no note where they are only not reported.
_MINOR = frozenset(("temperature_c", "charge_limit", "technology", "design_voltage_v"))


def show(identity: Identity, sample: Sample, *, console: Console | None = None) -> None:
    """Write the view to the console (standard output where None)."""
    if console is None:
        console = Console(highlight=False)
        console.width = min(console.width, _WIDEST)
    console.print(Text(_machine_line(identity), style="bold"))
    for pack in sample.packs:
        _section(console, f"Battery {pack.name}")
        _rows(console, _pack_rows(pack))
        _notes(console, pack)
    left_out = [why for key, why in sample.reasons.items() if key.startswith("batteries.")]
    if not sample.packs:
        left_out.insert(0, sample.reasons.get("batteries", NO_BATTERY))
    if left_out:
        _section(console, "Not seen" if sample.packs else "Battery")
        for why in dict.fromkeys(left_out):
            console.print(Text(why))
    _section(console, "Charger inputs")
    if sample.adapters:
        words = {True: "gives power", False: "no power", None: _UNKNOWN}
        _rows(console, [(adapter.name, words[adapter.online]) for adapter in sample.adapters])
    else:
        console.print(Text(sample.reasons.get("adapters", _UNKNOWN)))
    _section(console, "Temperatures")
    _sensors(console, sample.temperatures, sample.reasons.get("temperatures", _UNKNOWN))
    _section(console, "Fans")
    _sensors(console, sample.fans, sample.reasons.get("fans", _UNKNOWN))
    _section(console, "Processor")
    _rows(console, _cpu_rows(sample))


def _section(console: Console, title: str) -> None:
    console.print()
    console.print(Text(title, style="bold"))


def _rows(console: Console, rows: Sequence[tuple[str, str]]) -> None:
    table = Table.grid(padding=(0, 2))
    table.add_column(min_width=12)
    table.add_column()
    for name, value in rows:
        table.add_row(Text(f"  {name}"), Text(value))
    console.print(table)


def _machine_line(identity: Identity) -> str:
    named = " ".join(filter(None, (identity.maker, identity.model))) or "Maker and model unknown"
    more = [identity.chassis, identity.system, "a virtual machine" if identity.virtual else None]
    return ", ".join(filter(None, (named, *more)))


def _number(value: float | None, unit: str, digits: int = 1) -> str:
    return _UNKNOWN if value is None else f"{value:.{digits}f} {unit}"


def _percent(ratio: float) -> str:
    """Write a ratio in whole per cent, but never as 0 or 100 what is neither."""
    text = f"{100 * ratio:.0f} %"
    if text in ("0 %", "100 %") and ratio not in (0, 1):
        return f"{write_number(100 * ratio, apart_from=(0, 100))} %"
    return text


def _mark(pack: Pack, *fields: str) -> str:
    """Return a word that tells how a value is to be taken; nothing where it is sound."""
    if any(pack.doubt(field) is not None for field in fields):
        return " (doubtful: see below)"
    return " (estimate)" if any(field in pack.estimated for field in fields) else ""


def _pack_rows(pack: Pack) -> list[tuple[str, str]]:
    level = _UNKNOWN
    if pack.state_of_charge is not None:
        level = f"{_percent(pack.state_of_charge)}{_mark(pack, 'state_of_charge')}"
    remaining = f"{_number(pack.remaining_wh, 'Wh')} of {_number(pack.full_charge_wh, 'Wh')}"
    capacity = _UNKNOWN
    if pack.health is not None:
        full, design = _number(pack.full_charge_wh, "Wh"), _number(pack.design_wh, "Wh")
        capacity = f"{_percent(pack.health)} of design: {full} of {design}, as the battery reports it"
        capacity += _mark(pack, "health", "full_charge_wh", "design_wh")
    cycles = _UNKNOWN if pack.cycle_count is None else str(pack.cycle_count)
    voltage = _UNKNOWN
    if pack.voltage_v is not None:
        voltage = _number(pack.voltage_v, "V", 2) + _mark(pack, "voltage_v")
    rows = [
        ("State", f"{pack.state}{_mark(pack, 'state') if pack.state is not PackState.UNKNOWN else ''}"),
        ("Level", level),
        ("Remaining", remaining + _mark(pack, "remaining_wh", "full_charge_wh")),
        ("Capacity", capacity),
        ("Power", _power(pack)),
        ("Voltage", voltage),
        ("Cycles", cycles),
    ]
    if pack.temperature_c is not None:
        rows.append(("Temperature", f"{pack.temperature_c:.0f} °C"))
    if pack.charge_limit is not None:
        rows.append(("Charge limit", f"stops at {100 * pack.charge_limit:.0f} %"))
    named = " ".join(filter(None, (pack.manufacturer, pack.model, pack.technology)))
    rows.append(("Pack", f"{named or 'maker and model unknown'}, serial {pack.serial or _UNKNOWN}"))
    return rows


def _power(pack: Pack) -> str:
    if pack.power_w is None:
        return _UNKNOWN
    if pack.power_w == 0:
        return f"none: nothing flows in or out{_mark(pack, 'power_w')}"
    way = "into the pack" if pack.power_w > 0 else "out of the pack"
    current = "" if pack.current_a is None else f" ({abs(pack.current_a):.2f} A)"
    return f"{abs(pack.power_w):.1f} W {way}{current}{_mark(pack, 'power_w')}"


def _notes(console: Console, pack: Pack) -> None:
    notes = list(_note_lines(pack))
    if not notes:
        return
    console.print(Text("  Why unknown, doubtful or estimated:"))
    table = Table.grid(padding=(0, 1))
    table.add_column()
    table.add_column()
    for names, why in notes:
        table.add_row(Text("   -"), Text(f"{', '.join(names)}: {why}"))
    console.print(table)


def _note_lines(pack: Pack) -> Iterator[tuple[list[str], str]]:
    """Group the fields that have the same reason."""
    grouped: dict[str, list[str]] = {}
    for field, name in _FIELDS.items():
        why = pack.reasons.get(field)
        if why is None or (field in _MINOR and getattr(pack, field) is None):
            continue
        if field == "current_a" and field in pack.estimated:
            continue
        grouped.setdefault(why, []).append(name)
    for why, names in grouped.items():
        yield names, why


def _sensors(console: Console, sensors: Sequence[Temperature | Fan], nothing: str) -> None:
    if not sensors:
        console.print(Text(nothing))
        return
    _rows(console, [(f"{sensor.chip} {sensor.label}", _sensor(sensor)) for sensor in sensors])


def _sensor(sensor: Temperature | Fan) -> str:
    match sensor:
        case Temperature():
            if sensor.celsius is None:
                return f"{_UNKNOWN}: {sensor.reason}"
            limits = []
            if sensor.high is not None:
                limits.append(f"high from {sensor.high:.0f} °C")
            if sensor.critical is not None:
                limits.append(f"critical from {sensor.critical:.0f} °C")
            return f"{sensor.celsius:.0f} °C" + (f" ({', '.join(limits)})" if limits else "")
        case Fan():
            if sensor.rpm is None:
                return f"{_UNKNOWN}: {sensor.reason}"
            return f"{sensor.rpm} rpm" + (f": {sensor.reason}" if sensor.reason else "")


def _cpu_rows(sample: Sample) -> list[tuple[str, str]]:
    cpu = sample.cpu
    load = f"{100 * cpu.load:.0f} %" if cpu.load is not None else f"{_UNKNOWN}: {cpu.reasons.get('load', '')}"
    clock = _UNKNOWN if cpu.frequency_mhz is None else f"{cpu.frequency_mhz:.0f} MHz"
    if cpu.frequency_max_mhz is not None:
        clock += f" (at most {cpu.frequency_max_mhz:.0f} MHz)"
    if cpu.frequency_base_mhz is not None:
        clock += f", base {cpu.frequency_base_mhz:.0f} MHz"
    cores = _UNKNOWN if cpu.logical_cores is None else str(cpu.logical_cores)
    return [("Cores", cores), ("Load", load), ("Clock", clock)]
