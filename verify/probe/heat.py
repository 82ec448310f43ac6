"""Automatic check: how far the processor is from its own critical temperature, at rest or under full load."""

from collections.abc import Mapping

from verify.machine import Sample
from verify.probe.full_load import load_option
from verify.probe.heat_load import HeatUnderLoad
from verify.probe.heat_reading import SOURCE, margin_of
from verify.probe.heat_run import HeatRun
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import not_found, refuse_others, seconds_option
from verify.values import Unit
from verify.values.errors import WrongUseError

_MOST_RECOVERY_S = 900.0


def heat_margin(options: Mapping[str, str], context: Context) -> Probe:
    """Read the margin between the hottest processor sensor and its own critical temperature.

    Unit: K. Below 0 where it is beyond. Unknown where no processor sensor that can be trusted states a
    critical temperature. The sensor's own error cancels, as it is what trips; its step of 1 K remains.
    With "load" (10 s to 30 min): waits for a quiet machine, asks for full load on all cores for so long, and
    reads the smallest margin of that time. After three minutes it ends before its time where the end of the
    warming is known within 3 K (two time constants fitted, 95 %) and stays below the load's own limit; then
    the margin there counts. "whole: yes" lets it go on to its time. With "recover" (up to 15 min) it then
    watches the heat go. In doubt where the load's own limit ended it before; unknown where the load did not
    last or no temperature could be trusted. Beside it, told only: that end, both time constants, the lowest
    clock, how often it was taken back, fan speeds, temperatures at rest and after.
    Source: critical as the driver states it; the range of 1 to 115 °C is common practice, no source.
    Caution: hot metal burns, and a fan turns: look, do not touch. Under load keep all air openings free.
    """
    del context
    refuse_others("heat-margin", options, "load", "recover", "whole")
    if "load" in options:
        return HeatUnderLoad(heat_run(options))
    if options:
        raise WrongUseError(f'"{min(options)}" needs "load" beside it: at rest there is nothing to watch.')
    return _HeatAtRest()


def heat_run(
    options: Mapping[str, str], *, default_s: float = 0.0, default_recover_s: float = 0.0
) -> HeatRun:
    """Return a run of full load as the options "load", "recover" and "whole" ask for.

    default_s, default_recover_s: how long, in s, where "load" and "recover" are not given.
    Raises as `load_option`; WrongUseError where "recover" is above 15 min or "whole" is anything but yes.
    """
    recover_s = seconds_option(options, "recover", default_recover_s)
    if recover_s > _MOST_RECOVERY_S:
        raise WrongUseError(f'"recover" is "{options["recover"]}": it must be 15 min at most.')
    if options.get("whole", "yes") != "yes":
        raise WrongUseError(f'"whole" is "{options["whole"]}": it can be yes, or be left out.')
    load_s = load_option(options) if "load" in options else default_s
    return HeatRun(load_s, recover_s=recover_s, whole="whole" in options)


class _HeatAtRest:
    def step(self, sample: Sample) -> Finding:
        margin = margin_of(sample)
        if isinstance(margin, str):
            return not_found(Unit.KELVIN, SOURCE, margin)
        text = f"{margin.celsius:.0f} °C; critical is {margin.critical_c:.0f} °C."
        return Finding(readings=(margin.reading(),), text=text)
