from datetime import UTC, datetime

import pytest

from verify.machine import Sample
from verify.machine.simulated import LARKSPUR_15, SimulatedMachine
from verify.run.sampling import ThreadSampler
from verify.values import VirtualClock
from verify.values.errors import HandbackError, MachineError


class Failing(SimulatedMachine):
    def __init__(self, error: Exception) -> None:
        clock = VirtualClock(start=datetime(2026, 3, 2, tzinfo=UTC))
        super().__init__(clock=clock, seed=0, faults={}, description=LARKSPUR_15)
        self._error = error

    def sample(self) -> Sample:
        raise self._error


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (ZeroDivisionError("by zero"), "ZeroDivisionError: by zero"),
        (OSError(5, "Input/output error", "/sys/x"), "Input/output error"),
        (MachineError("The sensor bus is stuck.", next_step="Start the machine again."), "bus is stuck"),
    ],
    ids=["a fault of ours", "a read that fails", "an error of the family"],
)
def test_a_machine_that_cannot_be_read_is_told_as_a_sentence(error: Exception, says: str) -> None:
    sampler = ThreadSampler(Failing(error), every_s=60)
    with pytest.raises(HandbackError, match=says) as caught:
        sampler.next(10)
    sampler.close()
    assert caught.value.next_step


def test_samples_come_from_the_machine_until_closed() -> None:
    clock = VirtualClock(start=datetime(2026, 3, 2, tzinfo=UTC))
    machine = SimulatedMachine(clock=clock, seed=0, faults={}, description=LARKSPUR_15)
    sampler = ThreadSampler(machine, every_s=60)
    sample = sampler.next(10)
    assert sample is not None
    assert sample.packs
    assert sampler.next(0) is None
    sampler.close()
