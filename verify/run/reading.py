"""A run as it lies on disk, read without holding it: for the record and for the list of tickets."""

from pathlib import Path

import msgspec

from verify.checklist import Composition
from verify.run.beginning import composition_of
from verify.run.events import Began, Line
from verify.run.folder import RunFolder
from verify.run.journal import head_of, read_lines, split_torn


class RunOnDisk(msgspec.Struct, frozen=True, kw_only=True):
    """What a journal holds. head: SHA-256 of its last whole line."""

    lines: tuple[Line, ...]
    composition: Composition
    head: str


def read_run(folder: Path) -> RunOnDisk | None:
    """Read the run in the folder; a torn last line is left out. None where its journal is empty.

    Raises OSError where the journal cannot be read; JournalError where it is broken; ChecklistError where
    this version reads its checklists differently.
    """
    whole, _ = split_torn(RunFolder(folder).journal_path.read_bytes())
    lines = read_lines(whole)
    if not lines or not isinstance(lines[0].event, Began):
        return None
    return RunOnDisk(lines=lines, composition=composition_of(lines), head=head_of(whole))
