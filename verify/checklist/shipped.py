"""Where the shipped checklists lie, and all checklists of a bench."""

from pathlib import Path

from verify.checklist.loader import load_checklist
from verify.checklist.model import Checklist
from verify.values.errors import FileFormatError, WrongUseError

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
    """Return the folder's checklist files by name, specimens left out."""
    return tuple(path for path in sorted(folder.glob("*.yaml")) if not path.name.endswith(SPECIMENS_SUFFIX))


def shipped_checklists(
    extra: Path | None = None, *, known_probes: frozenset[str] | None = None
) -> tuple[Checklist, ...]:
    """Return the shipped checklists, those for every repair first, then a shop's own.

    extra: the shop's folder; a checklist there takes the place of a shipped one with the same id.
    Raises ChecklistError for a mistake in any of them; WrongUseError where `extra` is no folder.
    """
    found: dict[str, Checklist] = {}
    if extra is not None and not extra.is_dir():
        raise WrongUseError(f"{extra} is not a folder.", next_step="Give the folder with your checklists.")
    for folder in (shipped_dir(), extra):
        for path in checklist_files(folder) if folder is not None else ():
            checklist = load_checklist(path, known_probes=known_probes)
            found[checklist.id] = checklist
    return tuple(sorted(found.values(), key=lambda checklist: bool(checklist.for_work)))
