"""What a machine can tell, behind one interface."""

from verify.machine.model import (
    Adapter,
    Cpu,
    Fan,
    Identity,
    Machine,
    Pack,
    PackState,
    Sample,
    Temperature,
)

__all__ = [
    "Adapter",
    "Cpu",
    "Fan",
    "Identity",
    "Machine",
    "Pack",
    "PackState",
    "Sample",
    "Temperature",
]
