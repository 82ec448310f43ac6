"""Automatic checks that look at the pack once: is it seen, what is each cell's voltage."""

from collections.abc import Mapping

from verify.machine import Pack, Sample
from verify.machine.model import NO_BATTERY
from verify.measure import cells_in_series, rectangular
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import UntilTold, gauge_of, known, not_found, refuse_others, unknown, why_no_pack
from verify.values import Reading, Unit

_VOLTAGE_HALF_WIDTH_V = 0.02  # a gauge's error a cell [common practice, no source]


def pack_present(options: Mapping[str, str], context: Context) -> Probe:
    """Count the packs that the system sees.

    Unit: pieces. None seen is looked at again for 20 s. Unknown where the system cannot be asked, so that
    seeing none tells nothing.
    Source: the system's own list of power supplies; common practice, no source.
    Caution: a pack that is not seen is not a pack that is dead: switch off before touching its connector.
    """
    del context
    refuse_others("pack-present", options)
    return UntilTold(_count, told=lambda finding: bool(finding.readings[0].value))


def _count(sample: Sample) -> Finding:
    source = "list of power supplies"
    count = len(sample.packs)
    # None seen is a count only where the system could be asked.
    if not count and why_no_pack(sample) != NO_BATTERY:
        return not_found(Unit.COUNT, source, why_no_pack(sample))
    reading = Reading(value=count, unit=Unit.COUNT, standard_uncertainty=0, source=source)
    if not count:
        return Finding(readings=(reading,), text=NO_BATTERY)
    seen = ", ".join(_named(pack) for pack in sample.packs)
    # A second bay may be empty by design: told, not judged.
    others = [why for key, why in sample.reasons.items() if key.startswith("batteries.")]
    return Finding(readings=(reading,), text=" ".join((f"Seen: {seen}.", *others)))


def _named(pack: Pack) -> str:
    names = " ".join(name for name in (pack.manufacturer, pack.model) if name)
    return f"{pack.name} ({names})" if names else pack.name


def pack_cell_voltage(options: Mapping[str, str], context: Context) -> Probe:
    """Read the mean voltage of a cell: the pack's voltage over its cells in series, for each pack.

    Unit: V. Unknown where the voltage is, after 20 s of looking, or where the nominal voltage fits no number
    of cells.
    Source: cells from the nominal voltage over 3.7 V; the gauge's error of ±20 mV a cell, rectangular, is
    common practice, no source.
    Caution: a cell far below 2.5 V must not be charged: set the pack aside.
    """
    del context
    refuse_others("pack-cell-voltage", options)
    return UntilTold(_cells)


def _cells(sample: Sample) -> Finding:
    if not sample.packs:
        return not_found(Unit.VOLT, "battery gauge", why_no_pack(sample))
    readings = tuple(_cell_voltage(pack) for pack in sample.packs)
    parts = [
        f"{pack.name}: {reading.reason}" if reading.value is None else f"{pack.name}: {reading.value:.2f} V"
        for pack, reading in zip(sample.packs, readings, strict=True)
    ]
    return Finding(readings=readings, text=f"A cell on average: {'; '.join(parts).rstrip('.')}.")


def _cell_voltage(pack: Pack) -> Reading:
    source = gauge_of(pack)
    voltage_v, doubt = known(pack, "voltage_v")
    if voltage_v is None:
        return unknown(Unit.VOLT, source, doubt or "")
    design_v, design_doubt = known(pack, "design_voltage_v")
    cells = cells_in_series(design_v)
    if cells is None:
        reason = design_doubt or f"{design_v:g} V nominal fits no whole number of cells."
        return unknown(Unit.VOLT, source, reason)
    return Reading(
        value=voltage_v / cells,
        unit=Unit.VOLT,
        standard_uncertainty=rectangular(_VOLTAGE_HALF_WIDTH_V),
        source=f"{source}, {cells} cells in series",
        reason=doubt or design_doubt,
    )
