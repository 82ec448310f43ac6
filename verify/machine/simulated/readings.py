"""What can be read of a simulated machine: its true state as a back end would tell it."""

import msgspec

from verify.machine import bounds
from verify.machine.model import Cpu, Fan, Pack, Temperature
from verify.machine.simulated.cell import EMPTY_V
from verify.machine.simulated.design import SimulatedDesign
from verify.machine.simulated.faults import ParsedFaults
from verify.machine.simulated.heat import SimulatedHeat
from verify.machine.simulated.inventory import fan_labels
from verify.machine.simulated.pack import SimulatedPack

__all__ = ["NO_SENSORS", "Readings"]

NO_SENSORS = "This machine has no sensor that can be read."
_LEAD_OFF = "-128 °C stands for “no sensor” or “no data”."


class Readings:
    """Reads what is there, or again and again what was there first where the sensors stand still."""

    def __init__(self, design: SimulatedDesign, faults: ParsedFaults) -> None:
        self._design = design
        self._faults = faults
        self._frozen_pack: Pack | None = None
        self._frozen_temperatures: tuple[Temperature, ...] | None = None
        self._stand_still = "frozen-sensors" in faults

    def pack(self, pack: SimulatedPack) -> Pack:
        """Return what the pack tells."""
        if self._frozen_pack is not None:
            return self._frozen_pack
        told = self._pack(pack)
        if self._stand_still:
            self._frozen_pack = told
        return told

    def temperatures(self, heat: SimulatedHeat) -> tuple[Temperature, ...]:
        """Return the temperatures of processor and board."""
        if self._frozen_temperatures is not None:
            return self._frozen_temperatures
        told = self._temperatures(heat)
        if self._stand_still:
            self._frozen_temperatures = told
        return told

    def fans(self, heat: SimulatedHeat) -> tuple[Fan, ...]:
        """Return the fans."""
        dead = "second-fan-dead" in self._faults
        rpm = heat.told_rpm
        return tuple(
            Fan(chip="board", label=label, rpm=0 if dead and place > 0 else rpm)
            for place, label in enumerate(fan_labels(self._design))
        )

    def processor(self, heat: SimulatedHeat, *, load: float, under_load: bool) -> Cpu:
        """Return load and clock; under full load the clock is what the heat allows."""
        design = self._design
        allowed_mhz = design.frequency_max_mhz * heat.clock
        return Cpu(
            logical_cores=design.cores,
            load=round(load, 3),
            frequency_mhz=float(round(allowed_mhz if under_load else min(design.frequency_mhz, allowed_mhz))),
            frequency_max_mhz=design.frequency_max_mhz,
            frequency_base_mhz=design.frequency_base_mhz,
            throttle_count=heat.throttles,
        )

    def _pack(self, pack: SimulatedPack) -> Pack:
        faults, design, gauge = self._faults, pack.design, pack.gauge
        reasons = {}
        cycles: int | None = design.cycle_count
        if "gauge-not-learned" in faults:
            cycles, reasons["cycle_count"] = None, "The gauge does not report cycles."
        temperature_c: float | None = gauge.temperature_c
        if "no-sensors" in faults:
            temperature_c, reasons["temperature_c"] = None, NO_SENSORS
        limit = faults.value("charge-limit")
        if limit is None:
            reasons["charge_limit"] = "No charge limit is visible."
        cell_v, current_a = faults.value("cell-voltage"), gauge.current_a
        voltage_v, level, remaining_wh = gauge.voltage_v, gauge.told_level, gauge.remaining_wh
        if cell_v is not None:
            voltage_v = round(cell_v * design.cells, 3)
            # Cells this far down are empty, and every gauge knows it.
            if cell_v < EMPTY_V:
                level = remaining_wh = 0.0
        told = Pack(
            name="pack",
            state=gauge.state,
            state_of_charge=level,
            remaining_wh=remaining_wh,
            full_charge_wh=gauge.full_wh,
            design_wh=design.design_wh,
            power_w=round(voltage_v * current_a, 3),
            voltage_v=voltage_v,
            design_voltage_v=design.design_voltage_v,
            current_a=current_a,
            cycle_count=cycles,
            temperature_c=temperature_c,
            manufacturer=design.manufacturer,
            model=design.model,
            serial=design.serial,
            technology="Li-ion",
            charge_limit=limit,
            reasons=reasons,
        )
        if "design-missing" in faults:
            missing = dict.fromkeys(("design_wh", "health"), "The gauge does not report the design capacity.")
            return msgspec.structs.replace(told, design_wh=None, reasons={**reasons, **missing})
        absurd_wh = faults.value("design-absurd")
        return told if absurd_wh is None else _with_design(told, absurd_wh)

    def _temperatures(self, heat: SimulatedHeat) -> tuple[Temperature, ...]:
        design = self._design
        lost = "sensor-lost" in self._faults
        return (
            Temperature(
                chip="cpu_thermal",
                label="processor",
                celsius=float(round(heat.chip_c)),
                high=design.high_c,
                critical=design.critical_c,
            ),
            Temperature(
                chip="acpitz",
                label="board",
                celsius=None if lost else float(round(heat.board_c)),
                critical=design.critical_c,
                reason=_LEAD_OFF if lost else None,
            ),
        )


def _with_design(pack: Pack, design_wh: float) -> Pack:
    """Return the pack as a back end tells it whose gauge reports this design capacity."""
    if not bounds.within(design_wh, bounds.DESIGN_WH):
        why = dict.fromkeys(
            ("design_wh", "health"), f"{design_wh:g} Wh cannot be a laptop pack's design capacity."
        )
        return msgspec.structs.replace(pack, design_wh=None, reasons={**pack.reasons, **why})
    full_wh = pack.full_charge_wh or 0.0
    if bounds.within(full_wh / design_wh, bounds.FULL_OVER_DESIGN):
        return msgspec.structs.replace(pack, design_wh=design_wh)
    told = f"{full_wh:g} Wh is {full_wh / design_wh:.3g} × the design of {design_wh:g} Wh"
    why = dict.fromkeys(
        ("full_charge_wh", "health", "state_of_charge"),
        f"{told}: that cannot be. Restart the machine and read again.",
    )
    doubt = {"design_wh": f"Contradicted by the full charge ({full_wh:g} Wh)."}
    return msgspec.structs.replace(
        pack,
        full_charge_wh=None,
        state_of_charge=None,
        design_wh=design_wh,
        reasons={**pack.reasons, **why, **doubt},
    )
