"""A trace file: every sample that an automatic check was fed, one JSON line each.

The serials of batteries are left out: the file goes with the report, to whoever is shown it.
Put on the disk every 10 s; sealed by its hash when the check ends. What cannot be read on resume, as a torn
last line, is cut off and kept beside.
"""

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

import msgspec

from verify.machine import Sample
from verify.record.files import given_blocks, keep_torn, make_folder, sync, sync_folder, sync_places
from verify.run.journal import what_to_mend
from verify.values.errors import JournalWriteError

SYNC_EVERY_S = 10.0
_decoder = msgspec.json.Decoder(Sample)


class Trace:
    """An open trace file. After a resume its earlier samples can be taken once."""

    def __init__(self, path: Path) -> None:
        """Open the file, or go on with it.

        Raises JournalWriteError where it cannot be written.
        """
        self._path = path
        self.samples = 0
        self._synced_at_s = float("-inf")
        try:
            make_folder(path.parent, still=path.parent.parent / "lock")
            new = not path.exists()
            self._earlier = self._take_up()
            self._file = path.open("ab")
            self._blocks = given_blocks(self._file.fileno())
            # The line that seals the file must not outlive the file's name.
            if new:
                sync_folder(path.parent)
        except OSError as error:
            raise self._failure(error) from error

    def take_earlier(self) -> Iterator[Sample]:
        """Return the samples of earlier sessions, once: a day of them is not kept in memory."""
        earlier, self._earlier = self._earlier, []
        return map(_decoder.decode, earlier)

    def _take_up(self) -> list[bytes]:
        if not self._path.exists():
            return []
        data = self._path.read_bytes()
        whole = data.rfind(b"\n") + 1
        lines = data[:whole].split(b"\n")[:-1]
        good = self._good(lines)
        if good < len(lines):
            whole = sum(len(line) + 1 for line in lines[:good])
        if whole < len(data):
            keep_torn(self._path, data[whole:])
        # Always: a plug pulled while it grew may have left it more places on FAT than its length needs.
        os.truncate(self._path, whole)
        self.samples = good
        return lines[:good]

    @staticmethod
    def _good(lines: list[bytes]) -> int:
        """Return how many lines from the first on are samples."""
        for number, line in enumerate(lines):
            try:
                _decoder.decode(line)
            except (msgspec.MsgspecError, UnicodeDecodeError):
                return number
        return len(lines)

    def _failure(self, error: OSError) -> JournalWriteError:
        return JournalWriteError(
            f"The measurement could not be written to {self._path.name}: {error.strerror or error}.",
            next_step=f"The answers are kept. {what_to_mend(error)}, then run again.",
        )

    def write(self, sample: Sample) -> None:
        """Append one sample.

        Raises JournalWriteError where it cannot be written.
        """
        try:
            self._file.write(msgspec.json.encode(_without_serials(sample)) + b"\n")
            self.samples += 1
            if sample.at.elapsed_s - self._synced_at_s >= SYNC_EVERY_S:
                self._sync()
                self._synced_at_s = sample.at.elapsed_s
        except OSError as error:
            raise self._failure(error) from error

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


def _without_serials(sample: Sample) -> Sample:
    packs = tuple(
        msgspec.structs.replace(
            pack,
            serial=None,
            raw={name: text for name, text in pack.raw.items() if "serial" not in name.lower()},
        )
        for pack in sample.packs
    )
    return msgspec.structs.replace(sample, packs=packs)
