"""What a machine can tell, behind one interface."""

from verify.machine.choose import open_machine
from verify.machine.model import (
    NO_BATTERY,
    Adapter,
    Awake,
    Cpu,
    Fan,
    Identity,
    Load,
    Machine,
    Pack,
    PackState,
    Sample,
    Temperature,
)

__all__ = [
    "NO_BATTERY",
    "Adapter",
    "Awake",
    "Cpu",
    "Fan",
    "Identity",
    "Load",
    "Machine",
    "Pack",
    "PackState",
    "Sample",
    "Temperature",
    "open_machine",
]
