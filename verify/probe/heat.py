"""Automatic check: how far the processor is from its own critical temperature."""

from collections.abc import Mapping

from verify.machine import Sample, Temperature, bounds
from verify.machine.bounds import within
from verify.measure import resolution
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import not_found, refuse_others
from verify.values import Reading, Unit

# Kernel drivers whose sensors sit in the processor; firmware zones do not say what they measure.
_PROCESSOR_CHIPS = frozenset(
    {"coretemp", "k10temp", "zenpower", "cpu_thermal", "cpu-thermal", "x86_pkg_temp"}
)
_TRUSTED_CRITICAL_C = (60.0, 125.0)
_STEP_C = 1.0


def heat_margin(options: Mapping[str, str], context: Context) -> Probe:
    """Read the margin between the hottest processor sensor and its own critical temperature.

    Unit: K. Below 0 where it is beyond. Unknown where no processor sensor that can be trusted states a
    critical temperature. The sensor's own error cancels, as it is what trips; its step of 1 K remains.
    Source: critical as the driver states it; the range of 1 to 115 °C is common practice, no source.
    Caution: hot metal burns, and a fan turns: look, do not touch.
    """
    del context
    refuse_others("heat-margin", options)
    return _HeatMargin()


def _trusted(sensor: Temperature) -> bool:
    return (
        sensor.chip in _PROCESSOR_CHIPS
        and sensor.reason is None
        and sensor.celsius is not None
        and within(sensor.celsius, bounds.CELSIUS)
    )


class _HeatMargin:
    def step(self, sample: Sample) -> Finding:
        source = "processor temperature"
        trusted = [sensor for sensor in sample.temperatures if _trusted(sensor)]
        if not trusted:
            reason = sample.reasons.get("temperatures") or "No processor temperature can be read."
            return not_found(Unit.KELVIN, source, reason)
        margins = [
            (sensor.critical - sensor.celsius, sensor)
            for sensor in trusted
            if sensor.critical is not None
            and sensor.celsius is not None
            and within(sensor.critical, _TRUSTED_CRITICAL_C)
        ]
        if not margins:
            reason = "The processor's sensor states no critical temperature."
            return not_found(Unit.KELVIN, source, reason)
        margin_k, hottest = min(margins, key=lambda one: one[0])
        reading = Reading(
            value=margin_k,
            unit=Unit.KELVIN,
            standard_uncertainty=resolution(_STEP_C),
            source=f"{hottest.chip} {hottest.label}".strip(),
        )
        text = f"{hottest.celsius:.0f} °C; critical is {hottest.critical:.0f} °C."
        return Finding(readings=(reading,), text=text)
