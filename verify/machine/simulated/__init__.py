"""A simulated machine: physics, faults and hands on a virtual clock; nothing it says is an acceptance."""

from verify.machine.simulated.design import LARKSPUR_13, LARKSPUR_15, SimulatedDesign
from verify.machine.simulated.machine import SimulatedMachine

__all__ = ["LARKSPUR_13", "LARKSPUR_15", "SimulatedDesign", "SimulatedMachine"]
