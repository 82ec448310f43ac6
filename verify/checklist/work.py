"""Which work calls for what."""

from collections.abc import Iterable, Sequence

from verify.checklist.blame import blame
from verify.checklist.model import Checklist
from verify.checklist.near_miss import did_you_mean
from verify.values.errors import WrongUseError


def called_for(wanted: Sequence[str], work: Sequence[str]) -> bool:
    """Return whether something for this work applies: `wanted` is empty, or shares a kind with it."""
    return not wanted or not set(wanted).isdisjoint(work)


def known_work(checklists: Iterable[Checklist]) -> tuple[str, ...]:
    """Return the kinds of work that some checklist knows, sorted."""
    found: set[str] = set()
    for checklist in checklists:
        found.update(checklist.for_work)
        found.update(kind for step in checklist.steps for kind in step.work)
        found.update(kind for check in checklist.checks for kind in check.work)
    return tuple(sorted(found))


def with_included(checklists: Iterable[Checklist], kinds: Iterable[str]) -> tuple[str, ...]:
    """Return the kinds of work, then those that they include, directly or through one another."""
    known = tuple(checklists)
    found = dict.fromkeys(kinds)
    waiting = list(found)
    while waiting:
        kind = waiting.pop(0)
        for checklist in known:
            for included in checklist.includes if kind in checklist.for_work else ():
                if included not in found:
                    found[included] = None
                    waiting.append(included)
    return tuple(found)


def refuse_unknown_work(known: tuple[Checklist, ...], kinds: tuple[str, ...]) -> None:
    """Raise WrongUseError for a kind of work that no checklist knows: nothing would be asked for it."""
    words = known_work(known)
    for kind in kinds:
        if kind not in words:
            raise WrongUseError(f'No checklist knows the work "{kind}".', next_step=did_you_mean(kind, words))


def refuse_unknown_included(checklist: Checklist, known: tuple[Checklist, ...]) -> None:
    """Raise ChecklistError where a checklist includes work that no other one is for."""
    words = tuple(sorted({kind for each in known if each is not checklist for kind in each.for_work}))
    for kind in checklist.includes:
        if kind not in words:
            raise blame(checklist, kind, f'No other checklist is for "{kind}".', did_you_mean(kind, words))
