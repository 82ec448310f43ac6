"""Identity and sample as one plain dictionary: what `handback probe --json` prints.

Rounding happens here, for print: energies, powers, voltages and currents to a thousandth, ratios to a
ten-thousandth. None stays None; the reasons stand beside.
"""

from verify.machine.model import Cpu, Fan, Identity, Pack, Sample, Temperature

__all__ = ["describe", "nothing_established"]

_MACHINE = ("maker", "model", "version", "serial", "board", "firmware", "chassis", "virtual", "system")
_CPU = (
    "logical_cores",
    "load",
    "frequency_mhz",
    "frequency_max_mhz",
    "frequency_base_mhz",
    "throttle_count",
)


def describe(identity: Identity, sample: Sample) -> dict[str, object]:
    """Assemble everything that was read; `reasons` is flat: "machine.serial", "cpu.load", "fans", ...

    Each battery carries its own reasons by field.
    """
    reasons = {f"machine.{field}": why for field, why in identity.reasons.items()}
    reasons.update(sample.reasons)
    reasons.update((f"cpu.{field}", why) for field, why in sample.cpu.reasons.items())
    groups: tuple[tuple[str, tuple[Temperature | Fan, ...]], ...] = (
        ("temperatures", sample.temperatures),
        ("fans", sample.fans),
    )
    for group, sensors in groups:
        for sensor in sensors:
            if sensor.reason is not None:
                reasons.setdefault(f"{group}.{sensor.chip}.{sensor.label}", sensor.reason)
    return {
        "machine": {field: getattr(identity, field) for field in _MACHINE},
        "batteries": [_battery(pack) for pack in sample.packs],
        "adapters": [{"name": adapter.name, "online": adapter.online} for adapter in sample.adapters],
        "temperatures": [
            {
                "chip": sensor.chip,
                "label": sensor.label,
                "celsius": _rounded(sensor.celsius, 2),
                "high": _rounded(sensor.high, 2),
                "critical": _rounded(sensor.critical, 2),
            }
            for sensor in sample.temperatures
        ],
        "fans": [{"chip": fan.chip, "label": fan.label, "rpm": fan.rpm} for fan in sample.fans],
        "cpu": _processor(sample.cpu),
        "lid_open": sample.lid_open,
        "reasons": reasons,
    }


def nothing_established(identity: Identity, sample: Sample) -> bool:
    """Tell whether not a single thing about the machine could be read."""
    told = [getattr(identity, field) for field in _MACHINE if field != "system"]
    told += [getattr(sample.cpu, field) for field in _CPU]
    return not (sample.packs or sample.adapters or sample.temperatures or sample.fans) and not any(
        value is not None for value in told
    )


def _battery(pack: Pack) -> dict[str, object]:
    return {
        "name": pack.name,
        "state": str(pack.state),
        "state_of_charge": _rounded(pack.state_of_charge, 4),
        "remaining_wh": _rounded(pack.remaining_wh, 3),
        "full_charge_wh": _rounded(pack.full_charge_wh, 3),
        "design_wh": _rounded(pack.design_wh, 3),
        "health": _rounded(pack.health, 4),
        "power_w": _rounded(pack.power_w, 3),
        "voltage_v": _rounded(pack.voltage_v, 3),
        "current_a": _rounded(pack.current_a, 3),
        "cycle_count": pack.cycle_count,
        "temperature_c": _rounded(pack.temperature_c, 1),
        "manufacturer": pack.manufacturer,
        "model": pack.model,
        "serial": pack.serial,
        "technology": pack.technology,
        "charge_limit": _rounded(pack.charge_limit, 4),
        "reasons": dict(pack.reasons),
    }


def _processor(cpu: Cpu) -> dict[str, object]:
    return {
        "logical_cores": cpu.logical_cores,
        "load": _rounded(cpu.load, 4),
        "frequency_mhz": _rounded(cpu.frequency_mhz, 1),
        "frequency_max_mhz": _rounded(cpu.frequency_max_mhz, 1),
        "frequency_base_mhz": _rounded(cpu.frequency_base_mhz, 1),
        "throttle_count": cpu.throttle_count,
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
