"""Automatic check: whether the machine runs on its battery when the charger is pulled."""

from collections.abc import Mapping

from verify.machine import PackState, Sample
from verify.measure import combine, resolution
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.watching import (
    LONGEST_STEP_S,
    MOST_BLINKS,
    NO_CHARGER_INPUT,
    Asking,
    Watched,
    not_found,
    refuse_others,
    seconds_between,
    why_no_pack,
)
from verify.values import Instant, Reading, Unit

GIVE_UP_S = 90.0
"""After this time without discharging the check ends with the time that passed; a limit must be below it."""

_MOST_UNWATCHED = 3  # after so many chargers gone unwatched the check ends [common practice, no source]


def runs_on_battery(options: Mapping[str, str], context: Context) -> Probe:
    """Time from the charger gone to a pack that reports discharging, as an upper end.

    Unit: s. Wants the charger in, then out. Counted from the last sample with the charger in to the first
    that discharges, so never too short; the steps between samples are its uncertainty. A machine whose pack
    vanishes or never discharges ends after 90 s with the time that passed. Asked for anew where nobody
    watched when the charger went. Unknown where no charger input can be read, where the battery's state is
    doubted, or where the time across a restart cannot be counted.
    Source: discharging within 60 s of unplugging is common practice, no source.
    Caution: save open work first: a machine whose battery does not carry it goes off at once.
    """
    del context
    refuse_others("runs-on-battery", options)
    return _RunsOnBattery()


class _RunsOnBattery:
    _source = "time to discharging"

    def __init__(self) -> None:
        self._in = Asking(want=Want.CHARGER_IN)
        self._out = Asking(want=Want.CHARGER_OUT)
        self._watched = Watched()
        self._last_in: Instant | None = None
        self._first_out: Instant | None = None
        self._before: Instant | None = None
        self._unwatched = 0
        self._blinks = 0

    def step(self, sample: Sample) -> Working | Finding:
        step_s = self._watched.see(sample.at)
        if self._last_in is None and not sample.packs:
            # Pulling the charger of a machine without a battery only switches it off.
            self._blinks += 1
            if self._blinks > MOST_BLINKS:
                return self._unknown(why_no_pack(sample))
            return Working(text="The battery is not seen at the moment.")
        self._blinks = 0
        if sample.charger_seen is True:
            self._in.done()
            self._last_in, self._first_out = sample.at, None
            return self._asked(self._out, sample, "Ready to run on the battery.", "not pulled")
        if self._last_in is not None and step_s is not None and step_s > LONGEST_STEP_S:
            self._last_in = None
            self._unwatched += 1
        if self._last_in is None:
            return self._put_in_first(sample)
        return self._timed(sample, self._last_in)

    def _put_in_first(self, sample: Sample) -> Working | Finding:
        if sample.charger_seen is None:
            return self._unknown(sample.reasons.get("adapters") or NO_CHARGER_INPUT)
        if self._unwatched >= _MOST_UNWATCHED:
            return self._unknown("Nobody watched when the charger went. Leave the machine awake, try again.")
        text = "The charger has to be in first."
        if self._unwatched:
            text = "Nobody watched when the charger went. It has to be in once more."
        return self._asked(self._in, sample, text, "not seen")

    def _unknown(self, reason: str) -> Finding:
        return not_found(Unit.SECOND, self._source, reason)

    def _asked(self, asking: Asking, sample: Sample, text: str, failed: str) -> Working | Finding:
        working = asking.ask(sample, text)
        return working or self._unknown(f"The charger was asked for and {failed}.")

    def _timed(self, sample: Sample, last_in: Instant) -> Working | Finding:
        elapsed_s = seconds_between(last_in, sample.at)
        if elapsed_s is None:
            return self._unknown(
                "The machine started again after the charger was pulled: the time cannot be told."
            )
        if self._first_out is None:
            self._first_out = self._before = sample.at
        discharging = [pack for pack in sample.packs if pack.state is PackState.DISCHARGING]
        doubts = [pack.doubt("state") for pack in discharging]
        if None in doubts:
            return self._found(sample, last_in, elapsed_s, f"On the battery within {elapsed_s:.0f} s.")
        if elapsed_s < GIVE_UP_S:
            self._before = sample.at
            return Working(
                text="The charger is out; waiting for the battery to carry the machine.",
                fraction=elapsed_s / GIVE_UP_S,
                seconds_left=GIVE_UP_S - elapsed_s,
            )
        if doubts:
            return self._unknown(doubts[0] or "")
        if sample.packs and sample.charger_seen is None:
            return self._unknown(sample.reasons.get("adapters") or NO_CHARGER_INPUT)
        what = "it reports no discharging" if sample.packs else "no battery is seen"
        text = f"{elapsed_s:.0f} s after the charger was pulled {what}: it does not run on the battery."
        return self._found(sample, last_in, elapsed_s, text)

    def _found(self, sample: Sample, last_in: Instant, elapsed_s: float, text: str) -> Finding:
        gone_s = seconds_between(last_in, self._first_out or sample.at) or 0.0
        seen_s = seconds_between(self._before or sample.at, sample.at) or 0.0
        reading = Reading(
            value=elapsed_s,
            unit=Unit.SECOND,
            standard_uncertainty=combine(resolution(gone_s), resolution(seen_s)),
            source=self._source,
        )
        return Finding(readings=(reading,), text=text)
