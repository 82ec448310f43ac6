"""The run: journal, fold, plan, holds and their one owner."""

from verify.run.beginning import begin
from verify.run.conclude import load_record, record_of
from verify.run.folder import RunFolder, ticket_folder
from verify.run.owner import Owner
from verify.run.shown import Shown
from verify.run.signing_place import is_repaired_machine

__all__ = [
    "Owner",
    "RunFolder",
    "Shown",
    "begin",
    "is_repaired_machine",
    "load_record",
    "record_of",
    "ticket_folder",
]
