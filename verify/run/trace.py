"""A trace file: every sample that an automatic check was fed, one line each; see `verify.record.trace_lines`.

Put on the disk every 10 s; sealed by its hash when the check ends. What cannot be read on resume, as a torn
last line, is cut off and kept beside.
"""

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

from verify.machine import Sample
from verify.record.files import given_blocks, keep_torn, make_folder, sync, sync_folder, sync_places
from verify.record.trace_lines import HEAD, LineReader, LineWriter, is_old
from verify.run.journal import what_to_mend
from verify.values.errors import JournalWriteError

SYNC_EVERY_S = 10.0


class Trace:
    """An open trace file. After a resume its earlier samples can be taken once."""

    def __init__(self, path: Path) -> None:
        """Open the file, or go on with it, in the format that it has.

        Raises JournalWriteError where it cannot be written, UnknownFormatError where a later tool wrote it.
        """
        self._path = path
        self.samples = 0
        self._synced_at_s = float("-inf")
        try:
            make_folder(path.parent, still=path.parent.parent / "lock")
            new = not path.exists()
            self._old = False
            self._earlier = self._take_up()
            self._lines = LineWriter(old=self._old)
            self._file = path.open("ab")
            if not self._file.tell():
                self._file.write(HEAD)
            self._blocks = given_blocks(self._file.fileno())
            # The line that seals the file must not outlive the file's name.
            if new:
                sync_folder(path.parent)
        except OSError as error:
            raise self._failure(error) from error

    def take_earlier(self) -> Iterator[Sample]:
        """Return the samples of earlier sessions, once: a day of them is not kept in memory."""
        earlier, self._earlier = self._earlier, []
        reader = LineReader()
        for line in earlier:
            reader.take(line)
            yield reader.sample()

    def _take_up(self) -> list[bytes]:
        """Cut off what cannot be read, and return the lines that are samples."""
        if not self._path.exists():
            return []
        data = self._path.read_bytes()
        lines = data[: data.rfind(b"\n") + 1].split(b"\n")[:-1]
        self._old = bool(lines) and is_old(lines[0])
        heads = 0 if self._old else len(lines[:1])
        good = heads + self._good(lines[heads:])
        whole = sum(len(line) + 1 for line in lines[:good])
        if whole < len(data):
            keep_torn(self._path, data[whole:])
        # Always: a plug pulled while it grew may have left it more places on FAT than its length needs.
        os.truncate(self._path, whole)
        self._old = self._old and good > 0
        self.samples = good - heads
        return lines[heads:good]

    @staticmethod
    def _good(lines: list[bytes]) -> int:
        """Return how many lines from the first on are samples."""
        reader = LineReader()
        return next((number for number, line in enumerate(lines) if not reader.take(line)), len(lines))

    def _failure(self, error: OSError) -> JournalWriteError:
        return JournalWriteError(
            f"The measurement could not be written to {self._path.name}: {error.strerror or error}.",
            next_step=f"The answers are kept. {what_to_mend(error)}, then run again.",
        )

    def write(self, sample: Sample) -> Sample:
        """Append one sample, and return it as it will be read back: a check is fed no other.

        Raises JournalWriteError where it cannot be written.
        """
        try:
            line, kept = self._lines.line(sample)
            self._file.write(line + b"\n")
            self.samples += 1
            if sample.at.elapsed_s - self._synced_at_s >= SYNC_EVERY_S:
                self._sync()
                self._synced_at_s = sample.at.elapsed_s
        except OSError as error:
            raise self._failure(error) from error
        return kept

    def _sync(self) -> None:
        self._file.flush()
        descriptor = self._file.fileno()
        sync_places(descriptor, self._path.parent, blocks_before=self._blocks)
        sync(descriptor)
        self._blocks = given_blocks(descriptor)

    def seal(self) -> str:
        """Put the rest on the disk, close the file and return its SHA-256 as it lies there.

        Raises JournalWriteError where it cannot be written.
        """
        try:
            self._end()
            return hashlib.sha256(self._path.read_bytes()).hexdigest()
        except OSError as error:
            raise self._failure(error) from error

    def close(self) -> None:
        """Put the rest on the disk and close the file; it can be gone on with later."""
        try:
            self._end()
        except OSError as error:
            raise self._failure(error) from error

    def _end(self) -> None:
        # Sealed in vain, as the file was gone by then: it is closed, and closed again when the run is left.
        if not self._file.closed:
            self._sync()
            self._file.close()
