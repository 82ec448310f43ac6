"""The margin to critical under full load, as a stepper: it asks for the load and never sees it.

Each sample, in this order: (1) a hot pack stops it; (2) without a trusted temperature it ends unknown; (3) a
sensor at the limit where a load ends, ends it with the margin reached, in doubt; (4) at first it waits for a
quiet machine; (5) then it counts the time that the processor was seen at full load, to the time asked for;
(6) a load that is not seen for 5 s has ended, or never came: unknown.
"""

from verify.machine import Sample
from verify.probe.full_load import LOST_S, SeenLoad
from verify.probe.heat_reading import SOURCE, Margin, margin_of
from verify.probe.model import Finding, Want, Working
from verify.probe.watching import Watched, hot_stop, not_found
from verify.values import Unit

__all__ = ["HeatUnderLoad"]

QUIET_BELOW = 0.20
"""Load, 0 to 1, below which a machine counts as quiet [common practice, no source]."""

QUIET_S = 10.0
"""How long it has to be quiet, in s [common practice, no source]."""

QUIET_PATIENCE_S = 120.0
"""How long to wait for that before the load begins all the same, in s [common practice, no source]."""

_MOST_BEGINNINGS = 3  # of a load that sleep or a restart cut short [common practice, no source]


class HeatUnderLoad:
    """Waits for quiet, asks for load_s seconds of full load, and reads the smallest margin of that time."""

    def __init__(self, load_s: float) -> None:
        self._load_s = load_s
        self._watched = Watched()
        self._quiet_s = self._unread_s = 0.0
        self._busy = False
        self._beginnings = 0
        self._seen = SeenLoad()
        self._least: Margin | None = None

    def step(self, sample: Sample) -> Working | Finding:
        """Take in one sample and tell where it stands."""
        step_s = self._watched.see(sample.at)
        # (1)
        stop = hot_stop(sample)
        if stop is not None:
            ended = not_found(Unit.KELVIN, SOURCE, "Stopped: the battery is too hot.")
            return Finding(readings=ended.readings, text=ended.text, stop=stop)
        # (2)
        margin = margin_of(sample)
        if isinstance(margin, str):
            if self._beginnings:
                margin = f"The temperature went away under load, so the load ended. {margin} Check again."
            return not_found(Unit.KELVIN, SOURCE, margin)
        if self._least is None or margin.margin_k < self._least.margin_k:
            self._least = margin
        # (3)
        if margin.at_limit:
            return self._at_limit(margin, self._least)
        # (4)
        if self._beginnings == 0:
            waiting = self._wait_for_quiet(sample, step_s)
            if waiting is not None:
                return waiting
            return self._begin(margin)
        # (5) and (6)
        if step_s is None or step_s > LOST_S:
            if self._beginnings >= _MOST_BEGINNINGS:
                reason = "The full load was cut short again and again. Leave the machine awake, try again."
                return not_found(Unit.KELVIN, SOURCE, reason)
            return self._begin(margin)
        return self._count(sample, step_s, margin, self._least)

    def _wait_for_quiet(self, sample: Sample, step_s: float | None) -> Working | Finding | None:
        """Return what to wait for, None where the load may begin, a finding where it never can."""
        load, seconds = sample.cpu.load, step_s or 0.0
        if load is None:
            # The first reading never tells one.
            self._quiet_s, self._unread_s = 0.0, self._unread_s + seconds
            if self._unread_s >= QUIET_S:
                why = sample.cpu.reasons.get("load") or "It is not told here."
                return not_found(
                    Unit.KELVIN, SOURCE, f"Whether the processor is loaded cannot be read. {why}"
                )
            return Working(text="Reading how busy the processor is.")
        self._unread_s = 0.0
        if load >= QUIET_BELOW:
            self._quiet_s = 0.0
            if self._watched.seconds < QUIET_PATIENCE_S:
                return Working(text=f"The processor is {100 * load:.0f} % busy.", want=Want.QUIET)
            self._busy = True
            return None
        self._quiet_s += seconds
        if self._quiet_s >= QUIET_S:
            return None
        return Working(
            text="The processor is quiet; full load comes next.", seconds_left=QUIET_S - self._quiet_s
        )

    def _begin(self, margin: Margin) -> Working:
        if self._beginnings == 0:
            # What was seen at rest is no margin under load.
            self._least = margin
        self._beginnings += 1
        self._seen = SeenLoad()
        return self._working(margin)

    def _count(self, sample: Sample, step_s: float, margin: Margin, least: Margin) -> Working | Finding:
        self._seen.see(sample.cpu.load, step_s)
        if self._seen.seconds >= self._load_s:
            text = (
                f"{least.celsius:.0f} °C at most in {self._load_s:.0f} s of full load; "
                f"critical is {least.critical_c:.0f} °C.{self._noise()}"
            )
            return Finding(readings=(least.reading(how=", under full load"),), text=text)
        if self._seen.lost:
            reason = (
                f"The full load was seen for {self._seen.seconds:.0f} s of {self._load_s:.0f} s: "
                "it ended early, or never came. Check again with nothing else running."
            )
            return not_found(Unit.KELVIN, SOURCE, reason)
        return self._working(margin)

    def _at_limit(self, margin: Margin, least: Margin) -> Finding:
        when = "at rest" if self._beginnings == 0 else f"after {self._seen.seconds:.0f} s of full load"
        text = (
            f"{least.celsius:.0f} °C {when}; the load ends at {margin.load_limit_c:.0f} °C, "
            f"critical is {least.critical_c:.0f} °C.{self._noise()}"
        )
        doubt = None
        if least.margin_k > 0:
            # At critical nothing is left to doubt.
            doubt = f"The limit of the load was reached {when}: with more load the margin would be smaller."
        return Finding(readings=(least.reading(how=", under full load", doubt=doubt),), text=text)

    def _noise(self) -> str:
        return " Other programs kept the processor busy before." if self._busy else ""

    def _working(self, margin: Margin) -> Working:
        return Working(
            text=f"Full load: {margin.celsius:.0f} °C; critical is {margin.critical_c:.0f} °C.",
            fraction=min(1.0, self._seen.seconds / self._load_s),
            seconds_left=self._load_s - self._seen.seconds,
            load=True,
        )
