"""The margin of the hottest processor sensor to its own critical temperature, in one sample."""

import msgspec

from verify.machine import Sample
from verify.machine.bounds import within
from verify.machine.load_limit import CRITICAL_C, load_limit_c, processor_sensors
from verify.measure import resolution
from verify.values import Reading, Unit

__all__ = ["SOURCE", "Margin", "margin_of"]

SOURCE = "processor temperature"
_STEP_C = 1.0


class Margin(msgspec.Struct, frozen=True, kw_only=True):
    """What the sensor with the smallest margin says, in °C and K.

    load_limit_c: where a load ends; at_limit: whether any trusted processor sensor has reached its own.
    """

    margin_k: float
    celsius: float
    critical_c: float
    load_limit_c: float
    at_limit: bool
    sensor: str

    def reading(self, *, how: str = "", doubt: str | None = None) -> Reading:
        """Return it as a reading in K, with the sensor's step as its uncertainty."""
        return Reading(
            value=self.margin_k,
            unit=Unit.KELVIN,
            standard_uncertainty=resolution(_STEP_C),
            source=f"{self.sensor}{how}",
            reason=doubt,
        )


def margin_of(sample: Sample) -> Margin | str:
    """Return the smallest margin, or why there is none."""
    trusted = processor_sensors(sample.temperatures)
    if not trusted:
        return sample.reasons.get("temperatures") or "No processor temperature can be read."
    margins = [
        (sensor.critical - celsius, celsius, sensor.critical, sensor)
        for sensor, celsius in trusted
        if sensor.critical is not None and within(sensor.critical, CRITICAL_C)
    ]
    if not margins:
        return "The processor's sensor states no critical temperature."
    margin_k, celsius, critical_c, sensor = min(margins, key=lambda one: one[0])
    return Margin(
        margin_k=margin_k,
        celsius=celsius,
        critical_c=critical_c,
        load_limit_c=load_limit_c(sensor),
        at_limit=any(degrees >= load_limit_c(each) for each, degrees in trusted),
        sensor=f"{sensor.chip} {sensor.label}".strip(),
    )
