"""Drive an automatic check on a simulated machine: what the owner of a run does, without the run."""

import msgspec

from verify.machine import Load, Sample
from verify.machine.simulated import SimulatedMachine
from verify.probe import Finding, Probe, Working
from verify.values.errors import WrongUseError


def drive(
    probe: Probe, machine: SimulatedMachine, *, every_s: float = 10.0, until_s: float = 12 * 3600.0
) -> Finding:
    """Feed the check samples, do what it wants, and return its finding.

    every_s: time between samples, in s, 3 or less for a check that asks for load. until_s: virtual time after
    which a check that has not ended is a mistake; raises WrongUseError.
    """
    load: Load | None = None
    wants_inventory = False
    for _ in range(int(until_s / every_s) + 1):
        sample = machine.sample()
        if wants_inventory:
            sample = msgspec.structs.replace(sample, inventory=machine.inventory(salt="TW-1042"))
        said = probe.step(sample)
        match said:
            case Finding():
                if load is not None:
                    load.stop()
                return said
            case Working():
                wants_inventory = said.inventory
                if said.want is not None:
                    machine.obey(said.want)
                if said.load and load is None:
                    load = machine.start_load(longest_s=until_s)
                if load is not None and not said.load:
                    load.stop()
                    load = None
                if load is not None:
                    load.renew(sample)
        machine.clock.wait(every_s)
    raise WrongUseError(f"The automatic check has not ended after {until_s:.0f} s.")


def settled(probe: Probe, sample: Sample) -> Finding:
    """Feed the check this one sample again and again, 10 s apart, and return its finding.

    Raises WrongUseError where it has not ended after 2 min.
    """
    for look in range(13):
        at = msgspec.structs.replace(sample.at, elapsed_s=sample.at.elapsed_s + 10.0 * look)
        said = probe.step(msgspec.structs.replace(sample, at=at))
        if isinstance(said, Finding):
            return said
    raise WrongUseError("The automatic check has not ended after 2 min of one sample.")
