"""Where the shipped checklists lie, and all checklists of a bench."""

from collections.abc import Iterable, Mapping
from pathlib import Path

from verify.checklist.loader import load_checklist, parse_checklist
from verify.checklist.model import Checklist
from verify.checklist.nodes import read_text
from verify.checklist.overrides import Override, extended, is_shop, is_shop_limits, parse_shop_limits
from verify.checklist.shop import parse_shop
from verify.values import Unit
from verify.values.errors import ChecklistError, FileFormatError, WrongUseError

SPECIMENS_SUFFIX = ".specimens.yaml"


def shipped_dir() -> Path:
    """Return the folder of the shipped checklists: in the package, or at the top of the sources.

    Raises FileFormatError where the tool was installed without them.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "shipped", package.parent / "checklists"):
        if folder.is_dir():
            return folder
    raise FileFormatError("The shipped checklists are missing.", next_step="Install the tool again.")


def checklist_files(folder: Path) -> tuple[Path, ...]:
    """Return the folder's checklist files by name; specimens and a shop's own files are left out."""
    return tuple(path for path in _yaml_files(folder) if not sets_limits(path))


def sets_limits(path: Path) -> bool:
    """Return whether the file is of a kind that sets a shop's limits."""
    return is_shop_limits(path) or is_shop(path)


def limit_files(folder: Path) -> tuple[Path, ...]:
    """Return the folder's files that may set a shop's limits, by name."""
    return tuple(path for path in _yaml_files(folder) if sets_limits(path))


def limits_in(path: Path, checklists: Iterable[Checklist]) -> tuple[Override, ...]:
    """Return the limits of one file of either kind for checks of these shipped checklists.

    Raises ChecklistError for the first mistake; WrongUseError where it cannot be opened.
    """
    if is_shop(path):
        return parse_shop(read_text(path), path=path, checklists=checklists).limits
    return parse_shop_limits(read_text(path), name=str(path), checklists=checklists)


def shipped_checklists(
    extra: Path | None = None,
    *,
    shop: Path | None = None,
    known_probes: Mapping[str, Unit | None] | None = None,
) -> tuple[Checklist, ...]:
    """Return the shipped checklists, those for every repair first, then a shop's own.

    extra: the shop's folder; a checklist there takes the place of a shipped one with the same id, and its
    limits that of the shipped checks. shop: the shop's file, whose limits count beside those.
    Raises ChecklistError for a mistake in any of them; WrongUseError where `extra` is no folder.
    """
    if extra is not None and not extra.is_dir():
        raise WrongUseError(f"{extra} is not a folder.", next_step="Give the folder with your checklists.")
    shipped = _loaded(shipped_dir(), known_probes)
    own = {} if extra is None else _loaded(extra, known_probes)
    kept = {name: each for name, each in shipped.items() if name not in own}
    overrides = shop_limits((*_limit_files(extra), *(() if shop is None else (shop,))), kept.values())
    found = [*(with_limits(each, overrides) for each in kept.values()), *own.values()]
    return tuple(sorted(found, key=lambda checklist: bool(checklist.for_work)))


def shop_limits(paths: Iterable[Path], checklists: Iterable[Checklist]) -> tuple[Override, ...]:
    """Return the limits that the files set for checks of these shipped checklists; each file counts once.

    Raises ChecklistError for a mistake, and where two files set the limit of one check.
    """
    known = tuple(checklists)
    found: dict[str, Override] = {}
    set_by: dict[str, Path] = {}
    for path in {each.resolve(): each for each in paths}.values():
        for override in limits_in(path, known):
            if override.check in found:
                raise ChecklistError(
                    f'"{override.check}" has a limit in {set_by[override.check].name} already.',
                    where=f"{path}:{override.line}",
                    next_step="Keep one of them.",
                )
            found[override.check], set_by[override.check] = override, path
    return tuple(found.values())


def with_limits(checklist: Checklist, overrides: Iterable[Override]) -> Checklist:
    """Return a shipped checklist with a shop's limits in its text and its checks."""
    text = extended(checklist, tuple(overrides))
    return checklist if text == checklist.text else parse_checklist(text, name=f"{checklist.id}.yaml")


def _yaml_files(folder: Path) -> tuple[Path, ...]:
    return tuple(
        path
        for path in sorted(folder.glob("*.yaml"))
        if path.is_file() and not path.name.endswith(SPECIMENS_SUFFIX)
    )


def _limit_files(folder: Path | None) -> tuple[Path, ...]:
    return () if folder is None else limit_files(folder)


def _loaded(folder: Path, known_probes: Mapping[str, Unit | None] | None) -> dict[str, Checklist]:
    found = [load_checklist(path, known_probes=known_probes) for path in checklist_files(folder)]
    return {checklist.id: checklist for checklist in found}
