"""A run of full load as a stepper: idle, loaded, recovered. It asks for the load and never sees it.

Each sample, in this order: (1) a hot pack stops it; (2) without a trusted temperature it ends unknown; (3) a
sensor at the limit where a load ends, ends it with the margin reached, in doubt; (4) at first it waits for a
quiet machine; (5) then it counts the time that the processor was seen at full load, to the time asked for, or
to where the end of the warming is known and far from any limit; (6) a load that is not seen for 5 s has
ended, or never came: unknown; (7) at last, where it was asked for, it watches the heat go.
"""

import msgspec

from verify.machine import Sample
from verify.measure.warming import LOST_S, Warmed
from verify.probe.full_load import SeenLoad
from verify.probe.heat_reading import Margin, margin_of
from verify.probe.heat_seen import HeatSeen
from verify.probe.model import Want, Working
from verify.probe.watching import LONGEST_STEP_S, Watched, hot_stop

__all__ = ["HeatRun", "RunEnd"]

QUIET_BELOW = 0.20
"""Load, 0 to 1, below which a machine counts as quiet [common practice, no source]."""

QUIET_S = 10.0
"""How long it has to be quiet, in s [common practice, no source]."""

QUIET_PATIENCE_S = 120.0
"""How long to wait for that before the load begins all the same, in s [common practice, no source]."""

_MOST_BEGINNINGS = 3  # of a load that sleep or a restart cut short [common practice, no source]
_LEAST_EARLY_S = 180.0  # what ends before has not warmed the case at all [common practice, no source]
_ASK_EVERY_S = 30.0
_LEAST_RECOVERY_S = 60.0


class RunEnd(msgspec.Struct, frozen=True, kw_only=True):
    """How a run ended. unknown: why nothing was established, empty where it was; stop: a hazard, or None.

    least: the smallest margin, under load as far as one was. at_limit: whether the load's own limit ended it.
    early: what was known of the warming where that ended the load before its time. busy: other programs.
    """

    unknown: str = ""
    stop: str | None = None
    least: Margin | None = None
    load_limit_c: float | None = None
    early: Warmed | None = None
    loaded_s: float = 0.0
    begun: bool = False
    busy: bool = False
    seen: HeatSeen


class HeatRun:
    """Waits for quiet, asks for load_s seconds of full load, watches recover_s more, and tells what it saw.

    whole: whether the load goes on for its whole time whatever is known.
    """

    def __init__(self, load_s: float, *, recover_s: float = 0.0, whole: bool = False) -> None:
        self._load_s, self._recover_s, self._whole = load_s, recover_s, whole
        self._watched = Watched()
        self._quiet_s = self._unread_s = 0.0
        self._busy = False
        self._beginnings = 0
        self._load = SeenLoad()
        self._tell = HeatSeen()
        self._least: Margin | None = None
        self._asked_s = 0.0
        self._early: Warmed | None = None
        self._after_s: float | None = None
        self._disturbed_s = 0.0

    def step(self, sample: Sample) -> Working | RunEnd:
        """Take in one sample and tell where it stands."""
        step_s = self._watched.see(sample.at)
        # (1)
        stop = hot_stop(sample)
        if stop is not None:
            return self._end(unknown="Stopped: the battery is too hot.", stop=stop)
        margin = margin_of(sample)
        # (7)
        if self._after_s is not None:
            return self._recover(sample, margin, step_s)
        # (2)
        if isinstance(margin, str):
            if self._beginnings:
                margin = f"The temperature went away under load, so the load ended. {margin} Check again."
            return self._end(unknown=margin)
        if self._least is None or margin.margin_k < self._least.margin_k:
            self._least = margin
        # (3)
        if margin.at_limit:
            return self._end(load_limit_c=margin.load_limit_c)
        # (4)
        if self._beginnings == 0:
            if sample.cpu.load is not None and sample.cpu.load < QUIET_BELOW:
                self._tell.at_rest(sample, margin.celsius, margin.sensor)
            waiting = self._wait_for_quiet(sample, step_s)
            return self._begin(margin) if waiting is None else waiting
        # (5) and (6)
        if step_s is None or step_s > LOST_S:
            if self._beginnings >= _MOST_BEGINNINGS:
                return self._end(
                    unknown="The full load was cut short again and again. Leave the machine awake, try again."
                )
            return self._begin(margin)
        return self._count(sample, step_s, margin)

    def _wait_for_quiet(self, sample: Sample, step_s: float | None) -> Working | RunEnd | None:
        """Return what to wait for, None where the load may begin, an end where it never can."""
        load, seconds = sample.cpu.load, step_s or 0.0
        if load is None:
            # The first reading never tells one.
            self._quiet_s, self._unread_s = 0.0, self._unread_s + seconds
            if self._unread_s >= QUIET_S:
                why = sample.cpu.reasons.get("load") or "It is not told here."
                return self._end(unknown=f"Whether the processor is loaded cannot be read. {why}")
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
        self._load = SeenLoad()
        self._tell.again()
        self._asked_s = 0.0
        return self._working(margin)

    def _count(self, sample: Sample, step_s: float, margin: Margin) -> Working | RunEnd:
        before_s = self._load.seconds
        self._load.see(sample.cpu.load, step_s)
        if self._load.seconds > before_s:
            self._tell.loaded(sample, margin.celsius, step_s)
            self._tell.loaded_s = self._load.seconds
        if self._load.seconds >= self._load_s or self._is_known(margin):
            if not self._recover_s:
                return self._end()
            self._after_s = 0.0
            return self._recovering(margin.celsius)
        if self._load.lost:
            return self._end(
                unknown=f"The full load was seen for {self._load.seconds:.0f} s of {self._load_s:.0f} s: "
                "it ended early, or never came. Check again with nothing else running."
            )
        return self._working(margin)

    def _is_known(self, margin: Margin) -> bool:
        """Tell whether more load would tell nothing more: the end is known, and no limit is near it."""
        seconds = self._load.seconds
        if self._whole or seconds < max(_LEAST_EARLY_S, self._asked_s + _ASK_EVERY_S):
            return False
        self._asked_s = seconds
        known = self._tell.known()
        if known.steady_c is None or known.steady_c.high >= margin.load_limit_c:
            return False
        self._early = known
        return True

    def _recover(self, sample: Sample, margin: Margin | str, step_s: float | None) -> Working | RunEnd:
        # What was seen under load stands, whatever becomes of the watch after it.
        if isinstance(margin, str) or step_s is None or step_s > LONGEST_STEP_S:
            return self._end()
        if sample.cpu.load is not None and sample.cpu.load >= QUIET_BELOW:
            # Something else works on: what cools now is no answer to the end of the load.
            self._disturbed_s += step_s
            if self._disturbed_s < QUIET_S:
                return self._recovering(margin.celsius)
            self._tell.forget_after()
            return self._end()
        self._after_s = (self._after_s or 0.0) + step_s
        self._tell.after(sample, margin.celsius)
        calm = self._tell.calmed and self._after_s >= _LEAST_RECOVERY_S
        if calm or self._after_s >= self._recover_s:
            return self._end()
        return self._recovering(margin.celsius)

    def _recovering(self, celsius: float) -> Working:
        left_s = self._recover_s - (self._after_s or 0.0)
        return Working(
            text=f"The load is over: {celsius:.0f} °C. Watching heat and fans go down.",
            seconds_left=left_s,
            often=True,
        )

    def _working(self, margin: Margin) -> Working:
        return Working(
            text=f"Full load: {margin.celsius:.0f} °C; critical is {margin.critical_c:.0f} °C.",
            fraction=min(1.0, self._load.seconds / self._load_s),
            seconds_left=self._load_s - self._load.seconds,
            load=True,
        )

    def _end(
        self, *, unknown: str = "", stop: str | None = None, load_limit_c: float | None = None
    ) -> RunEnd:
        return RunEnd(
            unknown=unknown,
            stop=stop,
            least=self._least,
            load_limit_c=load_limit_c,
            early=self._early,
            loaded_s=self._load.seconds,
            begun=self._beginnings > 0,
            busy=self._busy,
            seen=self._tell,
        )
