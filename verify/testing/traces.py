"""What a trace file tells, sample by sample: for tests that look at what a check was fed."""

from verify.machine import Sample
from verify.record.trace_lines import LineReader, is_old

__all__ = ["samples_in"]


def samples_in(data: bytes) -> list[Sample]:
    """Return the samples of a whole trace file.

    Raises AssertionError for a line that is no sample, UnknownFormatError for a format that is not known.
    """
    lines = data.splitlines()
    if lines and not is_old(lines[0]):
        del lines[0]
    reader, samples = LineReader(), []
    for number, line in enumerate(lines):
        if not reader.take(line):
            raise AssertionError(f"Line {number + 1} of the samples cannot be read.")
        samples.append(reader.sample())
    return samples
