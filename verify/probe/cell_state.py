"""Automatic checks that look at the cells: their resistance, and whether their groups are in step at full."""

from collections.abc import Mapping

import msgspec

from verify.machine import Pack, Sample
from verify.machine.model import NO_BATTERY
from verify.measure import rectangular
from verify.probe.handed_on import CELL_RESISTANCE, told_by
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.pack_point import cells_of, label_volts
from verify.probe.watching import (
    MOST_BLINKS,
    Asking,
    UntilTold,
    Watched,
    gauge_of,
    hot_stop,
    not_found,
    powered,
    refuse_others,
    seconds_option,
    trusted,
    unknown,
    why_no_pack,
)
from verify.values import Reading, Unit

__all__ = ["cell_resistance", "cells_in_step"]

_GOOD_MOHM = 60.0
"""Up to here a cell is good; from here to 100 mΩ it is a question [common practice, no source]."""

_FROM = ("holds-under-load",)

_IN_STEP_V = 4.10
"""What a cell of the 4.20 V kind rests at where all groups are full [common practice, no source]."""

_OUT_OF_STEP_V = 4.00  # below it no question is left [common practice, no source]
_NEAR_FULL = 0.99
_REST_C = 0.05
_SETTLE_S = 120.0
_GIVE_UP_S = 900.0
_HALF_WIDTH_V = 0.01  # of a gauge's voltage, a cell [common practice, no source]


def cell_resistance(options: Mapping[str, str], context: Context) -> Probe:
    """Tell the resistance of a cell that the load on the battery showed.

    Unit: mohm, for each pack: of one cell in series, seconds after the step of the load. In doubt from 60
    to 100 mΩ: told, not judged, as good models differ. Unknown where the load showed none, and why.
    Source: two-level method in the manner of IEC 61960-3; both limits are common practice, no source.
    Caution: a pack with tired cells gets warm when it is charged: stay in sight of it.
    """
    refuse_others("cell-resistance", options)
    return _CellResistance(context)


class _CellResistance:
    def __init__(self, context: Context) -> None:
        self._context = context
        self._looks = UntilTold(self._look, told=lambda finding: finding.text != NO_BATTERY)

    def step(self, sample: Sample) -> Working | Finding:
        return self._looks.step(sample)

    def _look(self, sample: Sample) -> Finding:
        if not sample.packs:
            return not_found(Unit.MILLIOHM, "battery gauge", why_no_pack(sample))
        found = [
            reading
            for check in _FROM
            for reading in self._context.fresh.get(check, ())
            if f": {CELL_RESISTANCE}" in reading.source
        ]
        if not found:
            ask = "The load on the battery comes first: ask that again, then this."
            return not_found(Unit.MILLIOHM, "battery gauge", ask)
        readings = tuple(_in_question(reading) for reading in found)
        return Finding(readings=readings, text=" ".join(_said(reading) for reading in readings))


def _in_question(reading: Reading) -> Reading:
    value = reading.value
    if value is None or value <= _GOOD_MOHM or value > 100:
        return reading
    why = f"Between {_GOOD_MOHM:.0f} and 100 mΩ some models are sound: compare with the same model."
    return msgspec.structs.replace(reading, reason=why)


def _said(reading: Reading) -> str:
    if reading.value is None:
        return f"{reading.reason}"
    when = told_by(reading)
    return f"A cell has {reading.value:.0f} mΩ{f' {when}' if when else ''}."


def cells_in_step(options: Mapping[str, str], context: Context) -> Probe:
    """Read what a cell rests at when the pack is full: groups that are out of step end a charge early.

    Unit: V, for each pack, of a cell on average; 2 min ("settle") after the current has gone to below 0.05 C.
    Wants the charger in. In doubt from 4.00 to 4.10 V. Unknown where the pack is not full, or voltage and
    cells in series cannot be told.
    Source: 4.10 V for cells that are charged to 4.20 V is common practice, no source; so is ±10 mV of the
    gauge.
    Caution: a group that is ahead is charged too far, again and again: do not give such a pack back.
    """
    refuse_others("cells-in-step", options, "settle")
    return _CellsInStep(
        settle_s=seconds_option(options, "settle", _SETTLE_S), label_v=label_volts(context.label)
    )


class _CellsInStep:
    _source = "battery gauge, volts of a cell at full"

    def __init__(self, *, settle_s: float, label_v: float | None) -> None:
        self._settle_s, self._label_v = settle_s, label_v
        self._in = Asking(want=Want.CHARGER_IN)
        self._tried, self._still = Watched(), Watched()
        self._blinks = self._lows = 0

    def step(self, sample: Sample) -> Working | Finding:
        stop = hot_stop(sample)
        if stop is not None:
            why = "Stopped: the battery is too hot."
            return Finding(readings=(unknown(Unit.VOLT, self._source, why),), text=why, stop=stop)
        if not sample.packs:
            self._blinks += 1
            if self._blinks > MOST_BLINKS:
                return not_found(Unit.VOLT, self._source, why_no_pack(sample))
            return Working(text="The battery is not seen at the moment.")
        self._blinks = 0
        levels = [trusted(pack, "state_of_charge") for pack in sample.packs]
        low = [one is not None and one < _NEAR_FULL for one in levels]
        # Before the charger is asked for: a charge that was stopped may have had it pulled. A pack more may
        # show only while it is out.
        is_low = any(low) if powered(sample) is True else all(low)
        self._lows = self._lows + 1 if is_low else 0
        if self._lows > MOST_BLINKS:
            return self._end(sample.packs)
        if self._lows:
            return Working(text="It says that it is not full. Looking again.")
        if powered(sample) is not True:
            self._still = Watched()
            asked = self._in.ask(sample, "The charger has to be in.")
            return asked or not_found(Unit.VOLT, self._source, "The charger was asked for and not seen.")
        self._in.done()
        self._tried.see(sample.at)
        if not all(_still(pack) for pack in sample.packs):
            self._still = Watched()
        self._still.see(sample.at)
        if self._still.seconds >= self._settle_s:
            return self._end(sample.packs)
        if self._tried.seconds >= _GIVE_UP_S:
            return not_found(Unit.VOLT, self._source, "Current still flows: it is not at rest.")
        return Working(
            text="Full. The cells come to rest.",
            seconds_left=self._settle_s - self._still.seconds,
            fraction=self._still.seconds / self._settle_s,
        )

    def _end(self, packs: tuple[Pack, ...]) -> Finding:
        readings = tuple(self._of(pack) for pack in packs)
        said = [
            f"{reading.reason}"
            if reading.value is None
            else f"A cell rests at {reading.value:.2f} V at full."
            for reading in readings
        ]
        return Finding(readings=readings, text=" ".join(said))

    def _of(self, pack: Pack) -> Reading:
        source = f"{gauge_of(pack)}, volts of a cell at full"
        level, volts = trusted(pack, "state_of_charge"), trusted(pack, "voltage_v")
        cells = cells_of(pack, self._label_v)
        if level is None or level < _NEAR_FULL:
            return unknown(Unit.VOLT, source, "It is not full: charge it to its end first.")
        if volts is None or cells is None:
            return unknown(Unit.VOLT, source, "Its voltage, or the number of cells in series, is not known.")
        cell_v = volts / cells
        doubt = None
        if _OUT_OF_STEP_V <= cell_v < _IN_STEP_V:
            doubt = "Low for a full battery: let it rest an hour, read again; ask the supplier."
        return Reading(
            value=cell_v,
            unit=Unit.VOLT,
            standard_uncertainty=rectangular(_HALF_WIDTH_V),
            source=f"{source}, {cells} cells in series",
            reason=doubt,
        )


def _still(pack: Pack) -> bool:
    current_a, power_w = trusted(pack, "current_a"), trusted(pack, "power_w")
    design_wh, design_v = trusted(pack, "design_wh"), trusted(pack, "design_voltage_v")
    if power_w is not None and (full_wh := design_wh or trusted(pack, "full_charge_wh")):
        return abs(power_w) < _REST_C * full_wh
    if current_a is not None and design_wh and design_v:
        return abs(current_a) * design_v < _REST_C * design_wh
    return True
