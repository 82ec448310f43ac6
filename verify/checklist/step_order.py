"""One order for the steps of several checklists.

Each checklist says in which order it wants its steps. The merged order keeps every one of these; where
they leave a choice, the step that was named first comes first, so the same checklists always give the
same order. Hand-back comes last whatever was said.
"""

import itertools
from collections.abc import Sequence

from verify.checklist.model import HAND_BACK


class ContradictionError(Exception):
    """The orders contradict each other; `steps` cannot be put in any order."""

    def __init__(self, steps: tuple[str, ...]) -> None:
        super().__init__(", ".join(steps))
        self.steps = steps


def merge_orders(orders: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Merge the orders into one, stable (Kahn's topological sort, 1962, first named first).

    Raises ContradictionError, which the caller turns into its own error with file and line.
    """
    names = list(dict.fromkeys(step for order in orders for step in order))
    follows: dict[str, set[str]] = {name: set() for name in names}
    for order in orders:
        for earlier, later in itertools.pairwise(order):
            follows[later].add(earlier)
    if HAND_BACK in follows:
        follows[HAND_BACK] |= set(names) - {HAND_BACK}
    merged: dict[str, None] = {}
    while len(merged) < len(names):
        free = next((name for name in names if name not in merged and follows[name] <= merged.keys()), None)
        if free is None:
            raise ContradictionError(_cycle(follows, list(merged)))
        merged[free] = None
    return tuple(merged)


def _cycle(follows: dict[str, set[str]], done: list[str]) -> tuple[str, ...]:
    """Return the steps of one circle: each of the left ones waits for another left one."""
    path = [next(name for name in follows if name not in done)]
    while True:
        earlier = next(name for name in follows if name in follows[path[-1]] and name not in done)
        if earlier in path:
            return tuple(reversed(path[path.index(earlier) :]))
        path.append(earlier)
