"""What the later checks of the heat share: what an earlier full load told, or else a load of their own."""

from collections.abc import Callable, Mapping

from verify.machine import Sample
from verify.probe.heat import heat_run
from verify.probe.heat_run import HeatRun
from verify.probe.heat_told import runs_of
from verify.probe.model import Context, Finding, Working
from verify.values import Reading

__all__ = ["OPTIONS", "AfterHeat"]

OPTIONS = ("from", "load", "recover", "whole")
"""What such a check can be told: which checks to look back at, else the run of its own."""

_OWN_LOAD_S = 60.0

Runs = tuple[tuple[Reading, ...], ...]


class AfterHeat:
    """Ends at once where an earlier check told enough, so that one load answers several."""

    def __init__(
        self,
        options: Mapping[str, str],
        context: Context,
        find: Callable[[Runs, str], Finding],
        *,
        enough: Callable[[tuple[Reading, ...]], bool] = lambda _: True,
        recover_s: float = 0.0,
    ) -> None:
        """Make it ready. find: what the runs come to; its second argument says why there is no more.

        enough: whether an earlier run tells what is asked here. recover_s: how long the run of its own
        watches after the load. Raises as `heat_run`.
        """
        told = runs_of(context.fresh, options.get("from", "").split())
        self._runs: Runs = tuple(run for run in told if enough(run))
        self._find = find
        self._own: HeatRun = heat_run(options, default_s=_OWN_LOAD_S, default_recover_s=recover_s)

    def step(self, sample: Sample) -> Working | Finding:
        """Take in one sample and tell where it stands."""
        if self._runs:
            return self._find(self._runs, "")
        ended = self._own.step(sample)
        if isinstance(ended, Working):
            return ended
        asides = ended.seen.asides()
        why = ended.unknown or ("" if ended.load_limit_c is None else "The load's own limit ended it.")
        found = self._find((asides,) if ended.loaded_s else (), why)
        return Finding(readings=found.readings, text=found.text, aside=asides, stop=ended.stop)
