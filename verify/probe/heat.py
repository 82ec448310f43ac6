"""Automatic check: how far the processor is from its own critical temperature, at rest or under full load."""

from collections.abc import Mapping

from verify.machine import Sample
from verify.probe.full_load import load_option
from verify.probe.heat_load import HeatUnderLoad
from verify.probe.heat_reading import SOURCE, margin_of
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import not_found, refuse_others
from verify.values import Unit


def heat_margin(options: Mapping[str, str], context: Context) -> Probe:
    """Read the margin between the hottest processor sensor and its own critical temperature.

    Unit: K. Below 0 where it is beyond. Unknown where no processor sensor that can be trusted states a
    critical temperature. The sensor's own error cancels, as it is what trips; its step of 1 K remains.
    With "load" (10 s to 30 min): waits for a quiet machine, asks for full load on all cores for so long, and
    reads the smallest margin of that time. In doubt where the load's own limit ended it before; unknown where
    the load did not last or no temperature could be trusted.
    Source: critical as the driver states it; the range of 1 to 115 °C is common practice, no source.
    Caution: hot metal burns, and a fan turns: look, do not touch. Under load keep all air openings free.
    """
    del context
    refuse_others("heat-margin", options, "load")
    if "load" in options:
        return HeatUnderLoad(load_option(options))
    return _HeatAtRest()


class _HeatAtRest:
    def step(self, sample: Sample) -> Finding:
        margin = margin_of(sample)
        if isinstance(margin, str):
            return not_found(Unit.KELVIN, SOURCE, margin)
        text = f"{margin.celsius:.0f} °C; critical is {margin.critical_c:.0f} °C."
        return Finding(readings=(margin.reading(),), text=text)
