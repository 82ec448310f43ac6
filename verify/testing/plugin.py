"""pytest runs specimens: `pytest FOLDER` collects every NAME.specimens.yaml in it.

Each specimen is one test; one more for each file: every check of its checklist catches something. A
checklist or a file of shop limits without specimens is a test that fails: nothing proves it.
"""

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from verify.checklist.specimens import Specimen, SpecimenFile

_ENDING = ".specimens.yaml"


def pytest_collect_file(parent: pytest.Collector, file_path: Path) -> "SpecimensFile | UnprovedFile | None":
    """Collect a file of specimens, or a file of ours that has none beside it; no other YAML file."""
    if file_path.name.endswith(_ENDING):
        return SpecimensFile.from_parent(parent, path=file_path)
    if file_path.suffix == ".yaml" and not file_path.with_name(file_path.stem + _ENDING).exists():
        from verify.checklist.overrides import format_word

        if format_word(file_path) in {"checklist", "shop-limits"}:
            return UnprovedFile.from_parent(parent, path=file_path)
    return None


class SpecimenFailure(Exception):  # noqa: N818 - a failed test, not an error of the tool
    """A specimen came out otherwise than told."""


class SpecimensFile(pytest.File):
    """A file of specimens. A mistake in it is told by file and line, not as a traceback."""

    def collect(self) -> Iterator[pytest.Item]:
        """Give a test for each specimen, and one for the whole file."""
        from verify.checklist.specimen_files import load_specimens
        from verify.values.errors import HandbackError

        try:
            file = load_specimens(self.path)
        except HandbackError as error:
            raise self.CollectError(str(error)) from error
        for specimen in file.specimens:
            yield SpecimenItem.from_parent(self, name=specimen.name, file=file, specimen=specimen)
        yield CoverageItem.from_parent(self, name="every check catches something", file=file)


class UnprovedFile(pytest.File):
    """A checklist, or a file of shop limits, without specimens."""

    def collect(self) -> Iterator[pytest.Item]:
        """Give the one test, which fails."""
        yield UnprovedItem.from_parent(self, name="has specimens")


class _Item(pytest.Item):
    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: object = None) -> object:  # type: ignore[override] # the words alone, whatever the style
        """Show the words alone for a specimen's failure, or for a mistake that shows only when it is run."""
        from verify.values.errors import HandbackError

        if isinstance(excinfo.value, SpecimenFailure | HandbackError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style=None if style is None else "long")

    def reportinfo(self) -> tuple[Path, int, str]:
        """Name the file and the specimen."""
        return self.path, 0, self.name


class SpecimenItem(_Item):
    """One specimen as a test."""

    def __init__(self, *, file: "SpecimenFile", specimen: "Specimen", **rest: object) -> None:
        super().__init__(**rest)  # type: ignore[arg-type] # pytest's own
        self._file = file
        self._specimen = specimen

    def runtest(self) -> None:
        """Run the specimen; fail with every difference."""
        from verify.testing.specimen_run import differences, run_specimen

        with tempfile.TemporaryDirectory() as folder:
            came = run_specimen(self._file, self._specimen, Path(folder))
        wrong = differences(self._specimen, came)
        if wrong:
            raise SpecimenFailure(f"{self._specimen.name}: " + "; ".join(wrong) + ".")


class UnprovedItem(_Item):
    """What no specimen proves."""

    def runtest(self) -> None:
        """Fail, and say which file is missing."""
        name = self.path.stem + _ENDING
        raise SpecimenFailure(f"Nothing proves {self.path.name}: there is no {name} beside it. Write one.")


class CoverageItem(_Item):
    """Every check catches something. That a sound machine is among them was asked when the file was read."""

    def __init__(self, *, file: "SpecimenFile", **rest: object) -> None:
        super().__init__(**rest)  # type: ignore[arg-type] # pytest's own
        self._file = file

    def runtest(self) -> None:
        """Fail with the checks that no specimen is caught by."""
        from verify.checklist.specimens import uncaught

        idle = uncaught(self._file)
        if idle:
            raise SpecimenFailure(f"No specimen is caught by: {', '.join(idle)}.")
