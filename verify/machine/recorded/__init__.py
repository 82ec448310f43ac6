"""A log that was recorded earlier: a text table of readings, read into columns, whatever state it is in."""

from verify.machine.recorded.reader import KNOWN_COLUMNS, RecordedLog, read_log
from verify.machine.recorded.remark import Remark

__all__ = ["KNOWN_COLUMNS", "RecordedLog", "Remark", "read_log"]
