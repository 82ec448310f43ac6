"""Find all mistakes of checklist and specimen files, and whether a checklist goes with the others.

A checklist is read by itself first. Only where that is good it is composed, for every kind of work that it
knows, with the shipped ones and those beside it.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path

from verify.checklist.blame import blame
from verify.checklist.compose import compose
from verify.checklist.loader import find_mistakes, load_checklist, parse_checklist
from verify.checklist.model import Checklist, Composition
from verify.checklist.near_miss import did_you_mean, nearest
from verify.checklist.nodes import read_text
from verify.checklist.overrides import find_limit_mistakes, is_shop, is_shop_limits
from verify.checklist.shipped import SPECIMENS_SUFFIX, checklist_files, shipped_checklists
from verify.checklist.shop import find_shop_mistakes
from verify.checklist.specimen_files import find_specimen_mistakes, load_specimens
from verify.checklist.specimens import uncaught
from verify.checklist.twice import asked_twice
from verify.checklist.work import known_work
from verify.values import Unit
from verify.values.errors import ChecklistError, SpecimenError, WrongUseError

_NEARLY = 0.8  # a letter or two of a word; common practice, no source


def proofread(
    paths: Iterable[Path], *, known_probes: Mapping[str, Unit | None] | None = None
) -> list[ChecklistError]:
    """Return the mistakes of all files, file by file in the order of their lines; empty where all is good.

    known_probes: names that a probe check may use, each with its unit; None: not checked.
    Raises WrongUseError where a file cannot be opened.
    """
    found: list[ChecklistError] = []
    shipped = shipped_checklists()
    beside: dict[Path, Checklist | None] = {}
    for path in dict.fromkeys(paths):
        if path.name.endswith(SPECIMENS_SUFFIX):
            found += _specimen_mistakes(path)
            continue
        try:
            text = read_text(path)
        except ChecklistError as error:
            found.append(error)
            continue
        if is_shop(path):
            found += find_shop_mistakes(text, path=path, checklists=shipped)
        elif is_shop_limits(path):
            found += find_limit_mistakes(text, name=str(path), checklists=shipped)
        else:
            others = (*shipped, *_beside(path, beside))
            found += checklist_mistakes(text, name=str(path), others=others, known_probes=known_probes)
    return found


def files_of(paths: Iterable[Path]) -> tuple[Path, ...]:
    """Return the files, with all YAML files of each folder in its place.

    Raises WrongUseError where a folder has none.
    """
    found: list[Path] = []
    for path in paths:
        inside = sorted(one for one in path.glob("*.yaml") if one.is_file()) if path.is_dir() else [path]
        if not inside:
            raise WrongUseError(
                f"{path} holds no checklist.", next_step="Name a folder with files that end in .yaml."
            )
        found += inside
    return tuple(dict.fromkeys(found))


def checklist_mistakes(
    text: str,
    *,
    name: str,
    others: Iterable[Checklist],
    known_probes: Mapping[str, Unit | None] | None = None,
) -> list[ChecklistError]:
    """Return the mistakes of a checklist's text, by itself and together with the others; `name`: its file.

    others: all that it may be composed with; a later one takes the place of an earlier one of its id.
    """
    known = {checklist.id: checklist for checklist in others}
    steps = frozenset(step.id for checklist in known.values() for step in checklist.steps)
    found = find_mistakes(text, name=name, known_probes=known_probes, known_steps=steps)
    if found:
        return found
    checklist = parse_checklist(text, name=name)
    together = _together(tuple(known.values()), checklist)
    misspelt = _misspelt_work(checklist, known.values())
    if misspelt:
        return [_at(error, checklist, name) for error in misspelt]
    found = [_at(error, checklist, name) for error in _unknown_checks(checklist, together)]
    for work in ((), *((kind,) for kind in known_work([checklist]))):
        try:
            composition = compose(together, work)
        except ChecklistError as error:
            return [_at(error, checklist, name)]
        found += [_at(error, checklist, name) for error in _asked_twice(composition, checklist)]
    return list({(error.what, error.where): error for error in found}.values())


def _misspelt_work(checklist: Checklist, others: Iterable[Checklist]) -> list[ChecklistError]:
    """Return the kinds of work that nobody could mean: what hangs on one of them would never be asked.

    A checklist may be for a kind of its own. One without `includes` that nearly is a known kind is that kind.
    """
    words = {kind for each in others for kind in each.for_work}
    found = []
    for kind in checklist.for_work if not checklist.includes else ():
        near = None if kind in words else nearest(kind, words, cutoff=_NEARLY)
        if near is not None:
            hint = f'Did you mean "{near}"? Else say what the new work opens: includes: [{near}].'
            found.append(blame(checklist, kind, f'No other checklist is for "{kind}".', hint))
    words.update(checklist.for_work)
    inner = [
        *(kind for step in checklist.steps for kind in step.work),
        *(kind for check in checklist.checks for kind in (*check.work, *check.held_for)),
    ]
    found += [
        blame(checklist, kind, f'No checklist is for "{kind}".', did_you_mean(kind, words))
        for kind in dict.fromkeys(inner)
        if kind not in words
    ]
    return found


def _unknown_checks(checklist: Checklist, together: tuple[Checklist, ...]) -> list[ChecklistError]:
    words = {check.id for each in together for check in each.checks}
    return [
        blame(checklist, named, f'No checklist has a check "{named}".', did_you_mean(named, words))
        for check in checklist.checks
        for named in (*check.reads, *check.beside)
        if named not in words
    ]


def _asked_twice(composition: Composition, checklist: Checklist) -> list[ChecklistError]:
    """Return what this checklist asks although another check, or one of its own, asks it as well."""
    own = {check.id for check in checklist.checks}
    return [
        blame(
            checklist,
            mine,
            f'"{later.id}" asks what "{earlier.id}" asks.',
            f'Take one out; or write in "{later.id}" "beside: [{earlier.id}]", and why.',
        )
        for earlier, later in asked_twice(composition)
        for mine in [each.id for each in (later, earlier) if each.id in own][:1]
    ]


def _beside(path: Path, loaded: dict[Path, Checklist | None]) -> tuple[Checklist, ...]:
    """Return the checklists beside the file, as far as they can be read; loaded: those that were."""
    found = []
    for other in checklist_files(path.parent):
        if other.resolve() == path.resolve():
            continue
        if other not in loaded:
            try:
                loaded[other] = load_checklist(other)
            except ChecklistError:
                loaded[other] = None  # its mistakes are told when it is proofread itself
        found.append(loaded[other])
    return tuple(each for each in found if each is not None)


def _together(others: tuple[Checklist, ...], checklist: Checklist) -> tuple[Checklist, ...]:
    kept = [other for other in others if other.id != checklist.id]
    return tuple(sorted((*kept, checklist), key=lambda each: bool(each.for_work)))


def _at(error: ChecklistError, checklist: Checklist, name: str) -> ChecklistError:
    """Return the error with the file's name, where it is this file that is to blame."""
    blamed, _, line = error.where.rpartition(":")
    if blamed != f"{checklist.id}.yaml":
        return error
    what = error.what.removeprefix(f"{error.where}: ")
    return ChecklistError(what, where=f"{name}:{line}", next_step=error.next_step)


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
