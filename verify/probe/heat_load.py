"""The margin to critical under full load: what a run of it comes to."""

from verify.machine import Sample
from verify.measure.interval import Interval
from verify.probe.heat_reading import SOURCE, Margin
from verify.probe.heat_run import HeatRun, RunEnd
from verify.probe.model import Finding, Working
from verify.probe.watching import unknown
from verify.values import Reading, Unit

__all__ = ["HeatUnderLoad"]


class HeatUnderLoad:
    """Follows a run and reads its smallest margin; all else that was seen stands beside it."""

    def __init__(self, run: HeatRun) -> None:
        self._run = run

    def step(self, sample: Sample) -> Working | Finding:
        """Take in one sample and tell where it stands."""
        ended = self._run.step(sample)
        return ended if isinstance(ended, Working) else self._found(ended)

    def _found(self, ended: RunEnd) -> Finding:
        aside = ended.seen.asides() if ended.loaded_s else ()
        if ended.unknown or ended.least is None:
            why = ended.unknown or "Nothing was read."
            return Finding(
                readings=(unknown(Unit.KELVIN, SOURCE, why),), text=why, aside=aside, stop=ended.stop
            )
        if ended.load_limit_c is not None:
            return self._at_limit(ended, ended.least, ended.load_limit_c, aside)
        least = ended.least
        reading = least.reading(how=", under full load")
        text = (
            f"{least.celsius:.0f} °C at most in {ended.loaded_s:.0f} s of full load; "
            f"critical is {least.critical_c:.0f} °C."
        )
        if ended.early is not None and ended.early.steady_c is not None:
            steady = ended.early.steady_c
            text += f" It would end at {steady.value:.0f} °C ({steady.low:.0f} to {steady.high:.0f} °C)."
            reading = _at_the_end(reading, least, steady)
        return Finding(readings=(reading,), text=text + _noise(ended), aside=aside)

    def _at_limit(
        self, ended: RunEnd, least: Margin, load_limit_c: float, aside: tuple[Reading, ...]
    ) -> Finding:
        when = f"after {ended.loaded_s:.0f} s of full load" if ended.begun else "at rest"
        text = (
            f"{least.celsius:.0f} °C {when}; the load ends at {load_limit_c:.0f} °C, "
            f"critical is {least.critical_c:.0f} °C.{_noise(ended)}"
        )
        doubt = None
        if least.margin_k > 0:
            # At critical nothing is left to doubt.
            doubt = f"The limit of the load was reached {when}: with more load the margin would be smaller."
        reading = least.reading(how=", under full load", doubt=doubt)
        return Finding(readings=(reading,), text=text, aside=aside)


def _at_the_end(reading: Reading, least: Margin, steady: Interval) -> Reading:
    """Return the margin where the warming ends, if that is smaller than what was seen."""
    margin_k = least.critical_c - steady.value
    if margin_k >= least.margin_k:
        return reading
    return Reading(
        value=round(margin_k, 2),
        unit=Unit.KELVIN,
        standard_uncertainty=round(steady.standard_uncertainty, 3),
        source=f"{reading.source}, where it ends",
    )


def _noise(ended: RunEnd) -> str:
    return " Other programs kept the processor busy before." if ended.busy else ""
