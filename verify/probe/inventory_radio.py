"""Automatic check: whether the wireless network comes in as strong as on arrival."""

from collections.abc import Mapping
from statistics import median, stdev

from verify.machine import Inventory, RadioLevel, Sample
from verify.measure import combine, resolution
from verify.probe.inventory_taking import NOTHING_ON_ARRIVAL, Taking
from verify.probe.inventory_work import ANTENNA, disturbed_by, touched
from verify.probe.model import Context, Finding, Probe, Working
from verify.probe.watching import not_found, refuse_others, unknown
from verify.values import Reading, Unit
from verify.values.errors import WrongUseError

_SOURCE = "radio level against arrival"
_READS, _MOST_READS = 5, 60
_STEP_DBM = 1.0
_PLACE_DB = 3.0
"""What the level at one place changes by from hour to hour, as standard uncertainty [common practice]."""

FAULT_DB = 10.0
"""A loss from here on is told with where to look [common practice, no source]."""

_LEAD_OFF_DB = 20.0
"""A loss from here on points at a lead that is off; less may be a pinched one [common practice]."""

_PATIENCE = (
    30  # looks without a level: whoever was asked to join a network has not [common practice, no source]
)


def radio_level(options: Mapping[str, str], context: Context) -> Probe:
    """Read by how much the wireless network comes in weaker than on arrival, at the same place.

    Unit: dB. Above 0 is weaker. The median of "reads" (5) looks, each of which also stands aside in dBm with
    the arrival's. In doubt where a fault's loss meets work that touches no antenna. Unknown without an
    arrival, where no network was joined then or is now, or while the radio is switched off.
    Source: 10 dB and more is a fault of antenna or lead: common practice, no source.
    Caution: machine off and battery unplugged before an antenna lead is pressed home: its plug is tiny.
    """
    refuse_others("radio-level", options, "reads")
    text = options.get("reads", str(_READS))
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= _MOST_READS):
        raise WrongUseError(f'"reads" is "{text}": it must be a whole number from 1 to {_MOST_READS}.')
    return _RadioLevel(context, int(text))


class _RadioLevel:
    def __init__(self, context: Context, reads: int) -> None:
        self._arrival, self._work, self._reads = context.arrival_inventory, context.work, reads
        self._taking = Taking()
        self._levels: list[float] = []
        self._without = 0

    def step(self, sample: Sample) -> Working | Finding:
        taken = self._taking.take(sample)
        if isinstance(taken, Working):
            return taken
        if isinstance(taken, str):
            return not_found(Unit.DECIBEL, _SOURCE, taken)
        now = _strongest(taken)
        if isinstance(now, str):
            self._without += 1
            if self._without >= _PATIENCE or not taken.radios:
                return not_found(Unit.DECIBEL, _SOURCE, now)
            return Working(text=now, inventory=True)
        self._levels.append(now)
        if len(self._levels) < self._reads:
            text = f"{now:.0f} dBm; look {len(self._levels)} of {self._reads}."
            return Working(text=text, fraction=len(self._levels) / self._reads, inventory=True)
        return self._end()

    def _end(self) -> Finding:
        level = median(self._levels)
        scatter = stdev(self._levels) if len(self._levels) > 1 else 0.0
        uncertainty = combine(resolution(_STEP_DBM), scatter)
        aside = [
            Reading(
                value=level,
                unit=Unit.DBM,
                standard_uncertainty=uncertainty,
                source=f"radio, {self._reads} looks",
            )
        ]
        if self._arrival is None:
            reading = unknown(Unit.DECIBEL, _SOURCE, f"{NOTHING_ON_ARRIVAL} Now: {level:.0f} dBm.")
            return Finding(
                readings=(reading,), text=f"{level:.0f} dBm. {NOTHING_ON_ARRIVAL}", aside=tuple(aside)
            )
        before = _strongest(self._arrival)
        if isinstance(before, str):
            reason = f"The level on arrival is not known. Then: {before} Now: {level:.0f} dBm."
            ended = not_found(Unit.DECIBEL, _SOURCE, reason)
            return Finding(readings=ended.readings, text=reason, aside=tuple(aside))
        aside.append(
            Reading(
                value=before,
                unit=Unit.DBM,
                standard_uncertainty=resolution(_STEP_DBM),
                source="radio, on arrival",
            )
        )
        loss = before - level
        text = f"{level:.0f} dBm, on arrival {before:.0f} dBm."
        doubt = None
        if loss > FAULT_DB:
            what = "an antenna lead is off" if loss >= _LEAD_OFF_DB else "an antenna lead may be pinched"
            text += f" Weaker at the same place: {what}. {disturbed_by(ANTENNA, self._work)}"
            if not touched(ANTENNA, self._work):
                doubt = "No work of this ticket touches an antenna: is it the same place and network?"
        reading = Reading(
            value=loss,
            unit=Unit.DECIBEL,
            standard_uncertainty=combine(uncertainty, _PLACE_DB),
            source=_SOURCE,
            reason=doubt,
        )
        return Finding(readings=(reading,), text=text, aside=tuple(aside))


def _strongest(inventory: Inventory) -> float | str:
    """Return the strongest level in dBm, or why there is none."""
    radios: tuple[RadioLevel, ...] = inventory.radios
    levels = [radio.dbm for radio in radios if radio.dbm is not None]
    if levels:
        return max(levels)
    return next((radio.reason for radio in radios if radio.reason), "No wireless network card is seen.")
