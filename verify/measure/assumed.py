"""What is assumed of the sensors in a pack: the errors that no reading tells. A shop can set its own.

No public standard bounds them for a laptop's gauge; each figure is an assumption, marked as such.
"""

import msgspec

from verify.values.errors import InvalidValueError

__all__ = ["ASSUMED", "Assumed"]


class Assumed(msgspec.Struct, frozen=True, kw_only=True):
    """Half-widths of errors, each as likely anywhere within (rectangular, JCGM 100:2008 4.3.7).

    gain: of the current and power sensor, a share of the reading. offset_a: of the current sensor, in A.
    level: of the level of a gauge that has learned and is believed, 0 to 1. unproven: of a start level that
    the gauge alone tells. full: of the end of charge as the charger draws it, 0 to 1. cell_v: of a rest
    voltage, in V a cell (what is left of the load before, temperature). meter: of an inline meter, a share.
    Raises InvalidValueError where one is below 0 or not a small number.
    """

    gain: float = 0.03
    offset_a: float = 0.003
    level: float = 0.01
    unproven: float = 0.06
    full: float = 0.005
    cell_v: float = 0.010
    meter: float = 0.02

    def __post_init__(self) -> None:
        for name in self.__struct_fields__:
            value: float = getattr(self, name)
            if not 0 <= value < 0.5:
                raise InvalidValueError(f'The assumed error "{name}" is {value:g}: it must be 0 to 0.5.')


ASSUMED = Assumed()
"""The defaults: ±3 % is what a gauge's current sensor is trusted with elsewhere here [common practice]."""
