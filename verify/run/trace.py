"""A trace file: every sample that an automatic check was fed, one JSON line each.

Put on the disk every 10 s; sealed by its hash when the check ends. A torn last line is cut on resume.
"""

import hashlib
import os
from pathlib import Path

import msgspec

from verify.machine import Sample
from verify.record.files import sync
from verify.values.errors import JournalWriteError

SYNC_EVERY_S = 10.0
_decoder = msgspec.json.Decoder(Sample)


class Trace:
    """An open trace file. Its earlier samples, after a resume, are in `earlier`."""

    def __init__(self, path: Path) -> None:
        """Open the file, or go on with it.

        Raises JournalWriteError where it cannot be written.
        """
        self._path = path
        self.samples = 0
        self._synced_at_s = float("-inf")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self.earlier = self._take_up()
            self._file = path.open("ab")
        except OSError as error:
            raise self._failure(error) from error

    def _take_up(self) -> tuple[Sample, ...]:
        if not self._path.exists():
            return ()
        data = self._path.read_bytes()
        samples: list[Sample] = []
        whole = 0
        for text in data.splitlines(keepends=True):
            try:
                samples.append(_decoder.decode(text))
            except (msgspec.MsgspecError, UnicodeDecodeError):
                break
            if not text.endswith(b"\n"):
                samples.pop()
                break
            whole += len(text)
        if whole < len(data):
            os.truncate(self._path, whole)
        self.samples = len(samples)
        return tuple(samples)

    def _failure(self, error: OSError) -> JournalWriteError:
        return JournalWriteError(
            f"The measurement could not be written to {self._path.name}: {error.strerror or error}.",
            next_step="The answers are kept. Free some space or mend the drive, then run again.",
        )

    def write(self, sample: Sample) -> None:
        """Append one sample.

        Raises JournalWriteError where it cannot be written.
        """
        try:
            self._file.write(msgspec.json.encode(sample) + b"\n")
            self.samples += 1
            if sample.at.elapsed_s - self._synced_at_s >= SYNC_EVERY_S:
                self._sync()
                self._synced_at_s = sample.at.elapsed_s
        except OSError as error:
            raise self._failure(error) from error

    def _sync(self) -> None:
        self._file.flush()
        sync(self._file.fileno())

    def seal(self) -> str:
        """Put the rest on the disk, close the file and return its SHA-256 as it lies there.

        Raises JournalWriteError where it cannot be written.
        """
        try:
            self._sync()
            self._file.close()
            return hashlib.sha256(self._path.read_bytes()).hexdigest()
        except OSError as error:
            raise self._failure(error) from error

    def close(self) -> None:
        """Put the rest on the disk and close the file; it can be gone on with later."""
        try:
            self._sync()
            self._file.close()
        except OSError as error:
            raise self._failure(error) from error
