"""Run a specimen end to end on the simulated bench and say where it came out otherwise than told."""

from collections.abc import Mapping
from pathlib import Path

import msgspec

from verify.ask.drawn import DrawingCamera
from verify.ask.script import play
from verify.ask.simulated import SimulatedBench, Truthful
from verify.checklist.specimens import Specimen, SpecimenFile, facts_of, machine_faults
from verify.record.model import BATTERY_WORK, Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, plan
from verify.run.outcome import outcome_of
from verify.values import Outcome, Verdict


class SpecimenRun(msgspec.Struct, frozen=True, kw_only=True):
    """What came of a specimen. alarms: checks that were found not good or could not be told."""

    outcome: Outcome
    alarms: Mapping[str, str]
    notes: tuple[str, ...]
    not_done: tuple[str, ...]


def run_specimen(file: SpecimenFile, specimen: Specimen, folder: Path) -> SpecimenRun:
    """Run the specimen in an empty folder: a sound machine is taken in, then its faults come over it.

    What was seen on arrival is what the later readings stand against.
    """
    bench = SimulatedBench(faults={})
    label = {} if specimen.label_wh is None else {"energy": f"{specimen.label_wh} Wh"}
    work = tuple(
        Work(kind=kind, part=Part(source="reproduction", label=label) if kind in BATTERY_WORK else None)
        for kind in specimen.work
    )
    with RunFolder(folder / "SPECIMEN") as held:
        begin(
            held,
            ticket=Ticket(id="SPECIMEN", complaint="As the specimen tells."),
            checklists=file.checklists,
            clock=bench.clock,
            arriving=True,
            whole=False,
        )
        owner = Owner(held, machine=bench.machine, scripted=True, on_machine=True)
        truth = Truthful(facts_of(file, specimen), file.sees, camera=DrawingCamera(held.path))
        if isinstance(play(owner, truth, bench.sampler, hands=bench), plan.SayWork):
            bench.machine.befall(machine_faults(file, specimen))
            owner.add_work(work, file.checklists, whole=False)
            play(owner, truth, bench.sampler, hands=bench)
        owner.close()
    alarms: dict[str, str] = {}
    notes: list[str] = []
    not_done: list[str] = []
    for check in owner.composition.checks:
        current = owner.state.current(check.id)
        match owner.state.verdict(check.id):
            case Verdict.CONFORMS | Verdict.NOT_APPLICABLE:
                pass
            case Verdict.NOT_DONE:
                not_done.append(check.id)
            case Verdict.UNDECIDED if check.note_only:
                notes.append(check.id)
            case Verdict.UNDECIDED | Verdict.DOES_NOT_CONFORM:
                alarms[check.id] = "" if current is None else current.judgement.because
    # An open hazard whose check was answered good afterwards still holds; it is an alarm of its check.
    for hazard in owner.state.hazards_open:
        alarms.setdefault(hazard.check, hazard.what)
    outcome, _ = outcome_of(owner.composition, owner.state)
    return SpecimenRun(outcome=outcome, alarms=alarms, notes=tuple(notes), not_done=tuple(not_done))


def differences(specimen: Specimen, came: SpecimenRun) -> tuple[str, ...]:
    """Say where the run came out otherwise than the specimen tells: missed faults and false alarms.

    A check that was never reached has caught nothing.
    """
    wrong = []
    if came.outcome is not specimen.expect:
        wrong.append(f'the outcome is "{came.outcome}", not "{specimen.expect}"')
    for check_id in specimen.caught_by:
        if check_id not in came.alarms and check_id not in came.notes:
            state = "was never reached" if check_id in came.not_done else "found everything good"
            wrong.append(f'"{check_id}" should have caught it, but {state}')
    for check_id, because in came.alarms.items():
        if check_id not in specimen.caught_by:
            wrong.append(f'"{check_id}" raised a false alarm: {because.rstrip(".")}')
    return tuple(wrong)
