"""Find all mistakes of checklist and specimen files, and whether a checklist goes with the others.

A checklist is read by itself first. Only where that is good it is composed, for every kind of work that it
knows, with the shipped ones and those beside it.
"""

from collections.abc import Iterable
from pathlib import Path

from verify.checklist.compose import compose
from verify.checklist.loader import find_mistakes, load_checklist, parse_checklist
from verify.checklist.model import Checklist
from verify.checklist.nodes import read_text
from verify.checklist.shipped import SPECIMENS_SUFFIX, checklist_files, shipped_checklists
from verify.checklist.specimen_files import find_specimen_mistakes, load_specimens
from verify.checklist.specimens import uncaught
from verify.checklist.work import known_work
from verify.values.errors import ChecklistError, SpecimenError


def proofread(paths: Iterable[Path], *, known_probes: frozenset[str] | None = None) -> list[ChecklistError]:
    """Return the mistakes of all files, file by file in the order of their lines; empty where all is good.

    known_probes: names that a probe check may use; None: not checked.
    Raises WrongUseError where a file cannot be opened.
    """
    found: list[ChecklistError] = []
    for path in dict.fromkeys(paths):
        if path.name.endswith(SPECIMENS_SUFFIX):
            found += _specimen_mistakes(path)
        else:
            found += _checklist_mistakes(path, known_probes)
    return found


def _checklist_mistakes(path: Path, known_probes: frozenset[str] | None) -> list[ChecklistError]:
    try:
        text = read_text(path)
    except ChecklistError as error:
        return [error]
    others = _others(path)
    steps = frozenset(step.id for checklist in others for step in checklist.steps)
    found = find_mistakes(text, name=str(path), known_probes=known_probes, known_steps=steps)
    if found:
        return found
    checklist = parse_checklist(text, name=str(path))
    together = _together(others, checklist)
    for work in ((), *((kind,) for kind in known_work([checklist]))):
        try:
            compose(together, work)
        except ChecklistError as error:
            return [_at(error, checklist, path)]
    return []


def _others(path: Path) -> tuple[Checklist, ...]:
    """Return the shipped checklists and those beside the file, as far as they can be read."""
    found = {checklist.id: checklist for checklist in shipped_checklists()}
    for other in checklist_files(path.parent):
        if other.resolve() == path.resolve():
            continue
        try:
            checklist = load_checklist(other)
        except ChecklistError:
            continue  # its mistakes are told when it is proofread itself
        found[checklist.id] = checklist
    return tuple(found.values())


def _together(others: tuple[Checklist, ...], checklist: Checklist) -> tuple[Checklist, ...]:
    kept = [other for other in others if other.id != checklist.id]
    return tuple(sorted((*kept, checklist), key=lambda each: bool(each.for_work)))


def _at(error: ChecklistError, checklist: Checklist, path: Path) -> ChecklistError:
    """Return the error with the file's path, where it is this file that is to blame."""
    name, _, line = error.where.rpartition(":")
    if name != f"{checklist.id}.yaml":
        return error
    what = error.what.removeprefix(f"{error.where}: ")
    return ChecklistError(what, where=f"{path}:{line}", next_step=error.next_step)


def _specimen_mistakes(path: Path) -> list[ChecklistError]:
    try:
        found = find_specimen_mistakes(path)
        if found:
            return found
        missed = uncaught(load_specimens(path))
    except ChecklistError as error:
        return [error]
    except SpecimenError as error:
        # Told of a file that this one builds on: it is the first thing to mend.
        return [ChecklistError(error.what, where=f"{path}:1", next_step=error.next_step)]
    return [
        ChecklistError(
            f'No specimen is caught by the check "{check_id}".',
            where=f"{path}:1",
            next_step="Add a specimen with a fault that this check is for.",
        )
        for check_id in missed
    ]
