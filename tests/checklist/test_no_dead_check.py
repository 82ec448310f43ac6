"""No shipped check is dead: a physical fault makes it not good, and without that fault the machine is fit."""

import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import msgspec
import pytest

from verify.checklist import Kind
from verify.checklist.shipped import SPECIMENS_SUFFIX, checklist_files, shipped_dir
from verify.checklist.specimen_files import load_specimens
from verify.checklist.specimens import Specimen, SpecimenFile, answer_for, facts_of, machine_faults
from verify.testing.specimen_run import SpecimenRun, run_specimen
from verify.values import Outcome

FILES = {
    path.stem: load_specimens(path.with_name(path.stem + SPECIMENS_SUFFIX))
    for path in checklist_files(shipped_dir())
}
CHECKS = [
    pytest.param(file, check_id, id=f"{name}: {check_id}")
    for name, file in FILES.items()
    for check_id in file.to_prove
]
MENDED = [
    pytest.param(name, work, label_wh, id=f"{name}: {' and '.join(work) or 'no work'}, {label_wh}")
    for name, work, label_wh in sorted(
        {
            (name, specimen.work, specimen.label_wh)
            for name, file in FILES.items()
            for specimen in file.specimens
            if specimen.caught_by
        },
        key=repr,
    )
]


# A quick plan counts from a start that nothing proves: a sound pack may be told as undecided.
NOT_DECIDED_WITHOUT_A_DRAIN: dict[tuple[str, ...], set[str]] = {
    ("battery",): {"gauge-told-truth", "measured-capacity"}
}


def catching(file: SpecimenFile, check_id: str) -> Iterator[Specimen]:
    return (specimen for specimen in file.specimens if check_id in specimen.caught_by)


def mended(specimen: Specimen) -> Specimen:
    return msgspec.structs.replace(specimen, faults=(), caught_by=(), expect=Outcome.FIT)


@cache
def run_when_mended(name: str, work: tuple[str, ...], label_wh: float | None) -> SpecimenRun:
    memory = Path("/dev/shm")
    sound = Specimen(name="mended", work=work, label_wh=label_wh, expect=Outcome.FIT)
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        return run_specimen(FILES[name], sound, Path(folder))


@pytest.mark.parametrize(("file", "check_id"), CHECKS)
def test_what_makes_a_check_not_good_is_a_fault_and_nothing_else(file: SpecimenFile, check_id: str) -> None:
    check = next(each for checklist in file.checklists for each in checklist.checks if each.id == check_id)
    if check.kind is Kind.WAIT:
        pytest.fail("A wait proves nothing by itself.") if tuple(catching(file, check_id)) else None
        return
    with_fault = 0
    for specimen in catching(file, check_id):
        if check.kind is Kind.PROBE:
            # The run of the specimen shows that the probe catches it.
            with_fault += bool(machine_faults(file, specimen))
            continue
        faulty = answer_for(check, facts_of(file, specimen), file.sees)
        sound = answer_for(check, facts_of(file, mended(specimen)), file.sees)
        with_fault += faulty != sound
    assert with_fault, "no specimen has a fault that changes what is seen or read here"


@pytest.mark.parametrize(("name", "work", "label_wh"), MENDED)
def test_without_its_fault_the_machine_is_fit(
    name: str, work: tuple[str, ...], label_wh: float | None
) -> None:
    came = run_when_mended(name, work, label_wh)
    assert (came.outcome, dict(came.alarms)) == (Outcome.FIT, {})
    catchers = {
        check_id
        for specimen in FILES[name].specimens
        if (specimen.work, specimen.label_wh) == (work, label_wh)
        for check_id in specimen.caught_by
    }
    # What was told of the fault is told no more, but where a fault makes "cannot tell" a "not good".
    assert not (catchers - NOT_DECIDED_WITHOUT_A_DRAIN.get(work, set())) & set(came.notes)


UNDECIDED_WHEN_SOUND = [
    pytest.param(work, check_id, id=f"{' and '.join(work)}: {check_id}")
    for work, checks in NOT_DECIDED_WITHOUT_A_DRAIN.items()
    for check_id in sorted(checks)
]


@pytest.mark.parametrize(("work", "check_id"), UNDECIDED_WHEN_SOUND)
def test_what_cannot_be_told_of_a_sound_machine_is_not_good_with_the_fault(
    work: tuple[str, ...], check_id: str, tmp_path: Path
) -> None:
    file = FILES["battery"]
    caught = [each for each in catching(file, check_id) if each.work == work]
    assert any(each.expect is Outcome.HELD for each in caught)
    for place, specimen in enumerate(caught):
        folder = tmp_path / str(place)
        folder.mkdir()
        came = run_specimen(file, specimen, folder)
        # A specimen that comes out fit all the same is told as undecided.
        assert check_id in (came.alarms if specimen.expect is Outcome.HELD else came.notes), specimen.name
