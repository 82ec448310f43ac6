"""The run: journal, fold, plan, holds and their one owner."""

from verify.run.conclude import load_record, record_of
from verify.run.folder import RunFolder, ticket_folder
from verify.run.owner import TOOL, Owner, begin

__all__ = [
    "TOOL",
    "Owner",
    "RunFolder",
    "begin",
    "load_record",
    "record_of",
    "ticket_folder",
]
