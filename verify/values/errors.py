"""The one error family. Each error says what happened and what to do next.

HandbackError
├── WrongUseError            a command, option or ticket name that cannot be
├── FileFormatError          a file of ours that cannot be read as what it should be
│   ├── ChecklistError       a checklist: file, line, what was probably meant
│   └── UnknownFormatError   a format or major version that this tool does not know
├── FileWriteError           a whole file that could not be put on disk
├── InvalidValueError        a value that breaks its own rules
│   └── UnitMismatchError    two quantities that cannot be compared
├── MachineError             the machine cannot be read at all
├── JournalError             the run's journal
│   ├── BrokenJournalError   a line that does not belong where it stands
│   └── JournalWriteError    a line that could not be put on disk
├── FolderBusyError          another run holds this folder
├── OrderError               an answer or step that is not due now
├── SigningKeyError          a key that cannot be read, opened or used
├── ProofError               a report that is not what it claims
│   ├── NotAReportError      no signed report at all
│   ├── AlteredError         bytes differ from what was signed
│   └── KeyNotTrustedError   whole, but signed by a key that is not known or was revoked
├── SpecimenError            a specimen file that contradicts itself or its checklist
└── DeliveryError            a report that could not be put where it should go
"""

__all__ = [
    "AlteredError",
    "BrokenJournalError",
    "ChecklistError",
    "DeliveryError",
    "FileFormatError",
    "FileWriteError",
    "FolderBusyError",
    "HandbackError",
    "InvalidValueError",
    "JournalError",
    "JournalWriteError",
    "KeyNotTrustedError",
    "MachineError",
    "NotAReportError",
    "OrderError",
    "ProofError",
    "SigningKeyError",
    "SpecimenError",
    "UnitMismatchError",
    "UnknownFormatError",
    "WrongUseError",
]


class HandbackError(Exception):
    """Root of the family: what happened, and what to do next.

    what: one sentence, a fact, for the log and the screen.
    next_step: one sentence, an instruction; empty where nothing can be done.
    """

    def __init__(self, what: str, *, next_step: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.next_step = next_step

    def __str__(self) -> str:
        return f"{self.what} {self.next_step}".strip()


class WrongUseError(HandbackError):
    """A command, option or name that cannot be."""


class FileFormatError(HandbackError):
    """A file of ours that cannot be read as what it should be."""


class ChecklistError(FileFormatError):
    """A mistake in a checklist; `where` is "file:line"."""

    def __init__(self, what: str, *, where: str, next_step: str = "") -> None:
        super().__init__(f"{where}: {what}", next_step=next_step)
        self.where = where


class UnknownFormatError(FileFormatError):
    """A format or major version that this tool does not know."""


class FileWriteError(HandbackError):
    """A whole file that could not be put on disk; what stood there before still stands."""


class InvalidValueError(HandbackError):
    """A value that breaks its own rules."""


class UnitMismatchError(InvalidValueError):
    """Two quantities that cannot be compared or converted."""


class MachineError(HandbackError):
    """The machine cannot be read at all."""


class JournalError(HandbackError):
    """The run's journal cannot be used."""


class BrokenJournalError(JournalError):
    """A journal line that does not belong where it stands."""


class JournalWriteError(JournalError):
    """A journal line that could not be put on disk."""


class FolderBusyError(HandbackError):
    """Another run holds this folder."""


class OrderError(HandbackError):
    """An answer or a step that is not due now."""


class SigningKeyError(HandbackError):
    """A key that cannot be read, opened or used."""


class ProofError(HandbackError):
    """A report that is not what it claims."""


class NotAReportError(ProofError):
    """No signed report at all."""


class AlteredError(ProofError):
    """Bytes that differ from what was signed."""


class KeyNotTrustedError(ProofError):
    """A whole report, signed by a key that is not known or was revoked."""


class SpecimenError(FileFormatError):
    """A specimen file that contradicts itself or its checklist."""


class DeliveryError(HandbackError):
    """A report that could not be put where it should go."""
