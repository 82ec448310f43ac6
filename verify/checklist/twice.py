"""Whether a composition asks the same thing twice.

Two checks establish the same where the same sentence is asked, or where the same probe reads: a longer load
is the same question again. Both can be right: one of them then names the other in `beside`, and says in
`why` what it adds. What two looks show is told by specimens only.
"""

from collections.abc import Iterator
from itertools import combinations

from verify.checklist.model import Check, Composition


def asked_twice(composition: Composition) -> Iterator[tuple[Check, Check]]:
    """Yield the pairs, earlier one first, that establish the same where neither says that this is meant."""
    for earlier, later in combinations(composition.checks, 2):
        if _same(earlier, later) and not meant(earlier, later):
            yield earlier, later


def meant(one: Check, other: Check) -> bool:
    """Return whether one of the checks says that it is right to ask both."""
    return one.id in other.beside or other.id in one.beside


def _same(one: Check, other: Check) -> bool:
    same_probe = one.probe is not None and one.probe == other.probe
    return same_probe or one.ask.casefold() == other.ask.casefold()
