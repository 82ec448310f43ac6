"""How a check comes by the inventory: it asks, the next sample carries it; where none comes, it ends."""

from collections.abc import Callable

from verify.machine import Inventory, Sample
from verify.probe.model import Finding, Working
from verify.probe.watching import not_found
from verify.values import Unit

__all__ = ["NOTHING_ON_ARRIVAL", "Once", "Taking"]

NOTHING_ON_ARRIVAL = "Nothing was taken on arrival, so nothing can be compared."

_MOST_ASKED = 3  # samples without one: whoever feeds the check has none to give
_NONE = "What the machine has cannot be read here."


class Taking:
    """Takes the inventory out of the samples."""

    def __init__(self) -> None:
        self._asked = 0

    def take(self, sample: Sample) -> Inventory | Working | str:
        """Return the inventory, the wish for one, or why there is none."""
        if sample.inventory is not None:
            self._asked = 0
            return sample.inventory
        self._asked += 1
        if self._asked > _MOST_ASKED:
            return _NONE
        return Working(text="Reading what the machine has.", inventory=True)


class Once:
    """A check that one inventory decides."""

    def __init__(self, decide: Callable[[Inventory], Finding], unit: Unit, source: str) -> None:
        self._decide = decide
        self._unit, self._source = unit, source
        self._taking = Taking()

    def step(self, sample: Sample) -> Working | Finding:
        """Take in one sample and tell where it stands."""
        taken = self._taking.take(sample)
        if isinstance(taken, Working):
            return taken
        if isinstance(taken, str):
            return not_found(self._unit, self._source, taken)
        return self._decide(taken)
