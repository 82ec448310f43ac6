"""An exercise: a simulated machine with planted faults, drawn from the shipped specimens by a seed.

What is planted are the faults that the shipped checklists are proven with; what the technician would see
are the facts behind each check. The same seed, work and number give the same exercise.
"""

import functools
import random
from collections.abc import Iterable, Mapping

import msgspec

from verify.ask.sight import stops_all, truth_is_bad
from verify.checklist import Checklist
from verify.checklist.compose import compose
from verify.checklist.shipped import SPECIMENS_SUFFIX, shipped_checklists, shipped_dir
from verify.checklist.specimen_files import load_specimens
from verify.checklist.specimens import Fault, Sight, Specimen
from verify.checklist.work import known_work
from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15, SimulatedDesign
from verify.machine.simulated.faults import FAULTS
from verify.record.model import Part, Ticket, Work
from verify.values import Outcome
from verify.values.errors import WrongUseError

SHOP, BENCH = "Tidewater Repairs", "Bench 2"

# A sound machine is a lesson, too: whoever always finds something learns nothing from it.
_HOW_MANY, _HOW_OFTEN = (0, 1, 2, 3), (1, 3, 3, 2)

_DESIGNS: tuple[SimulatedDesign, ...] = (LARKSPUR_13, LARKSPUR_15)

# What the owner says, by work; all invented.
_COMPLAINTS = {
    "battery": "It goes off when I pull the charger out.",
    "keyboard-deck": "Tea over the keyboard. Some keys are dead.",
    "feet": "It rocks on the table. One foot is gone.",
}
_COMPLAINT = "It does not do what it should."
_DOES = {fault.name: fault.does for fault in FAULTS}


class Planted(msgspec.Struct, frozen=True, kw_only=True):
    """A planted fault: what is so (`facts`), what the simulated machine does (`machine`).

    catches: checks that find it, in their order. hazard: whether one of them stops everything.
    """

    name: str
    facts: Mapping[str, str]
    machine: Mapping[str, str]
    catches: tuple[str, ...]
    hazard: bool

    @property
    def plainly(self) -> str:
        """What is wrong, in words."""
        told = [f"{name}: {value}" for name, value in self.facts.items()]
        told += [_DOES[name].rstrip(".") for name in self.machine]
        return "; ".join(told)


class Exercise(msgspec.Struct, frozen=True, kw_only=True):
    """One exercise. facts: what the machine is like without the planted faults; sees: as in specimens."""

    seed: int
    work: tuple[str, ...]
    design: SimulatedDesign
    facts: Mapping[str, str]
    sees: Mapping[str, Sight]
    planted: tuple[Planted, ...]
    checklists: tuple[Checklist, ...]

    def facts_with(self, planted: Iterable[Planted]) -> Mapping[str, str]:
        """Return what the machine is like with these of the planted faults in it."""
        facts = dict(self.facts)
        for fault in planted:
            facts.update(fault.facts)
        return facts

    def machine_faults(self) -> Mapping[str, str]:
        """Return the faults of the simulated machine, by name."""
        return {name: text for fault in self.planted for name, text in fault.machine.items()}

    def ticket(self, number: int) -> Ticket:
        """Return the invented ticket with this number."""
        return Ticket(
            id=f"PRACTICE-{number}",
            shop=SHOP,
            bench=BENCH,
            maker=self.design.maker,
            model=self.design.model,
            serial=self.design.serial,
            complaint=next((_COMPLAINTS[kind] for kind in self.work if kind in _COMPLAINTS), _COMPLAINT),
            work=tuple(Work(kind=kind, part=self._part(kind)) for kind in self.work),
        )

    def _part(self, kind: str) -> Part:
        pack = self.design.pack
        if kind != "battery":
            return Part(source="reproduction")
        return Part(source="reproduction", identity=pack.model, label={"energy": f"{pack.design_wh} Wh"})


def draw(*, seed: int, work: tuple[str, ...] = (), faults: int | None = None) -> Exercise:
    """Draw an exercise.

    work: empty draws one kind. faults: how many are planted; None draws 0 to 3.
    Raises WrongUseError where no checklist knows the work, or so many faults do not go together in it.
    """
    # Everything is drawn whatever is given, so that a seed means the same machine with each option.
    chance = random.Random(seed)
    kind = chance.choice(known_work(shipped().checklists))
    count = chance.choices(_HOW_MANY, weights=_HOW_OFTEN)[0]
    design = chance.choice(_DESIGNS)
    work = tuple(dict.fromkeys(work)) or (kind,)
    can_be = list(can_be_planted(work))
    chance.shuffle(can_be)
    planted = _go_together(can_be, count if faults is None else faults)
    if faults is not None and len(planted) < faults:
        raise WrongUseError(
            f"Only {len(planted)} faults go together in this work.", next_step=f"Use --faults {len(planted)}."
        )
    # In the order in which they show, so that the answers follow the run.
    return Exercise(
        seed=seed,
        work=work,
        design=design,
        facts=shipped().facts,
        sees=shipped().sees,
        planted=tuple(fault for fault in can_be_planted(work) if fault in planted),
        checklists=shipped().checklists,
    )


@functools.cache
def can_be_planted(work: tuple[str, ...]) -> tuple[Planted, ...]:
    """Return the faults of specimens that are held by one fault alone, as far as this work finds them.

    They come in the order in which the run meets them.
    Raises WrongUseError where no checklist knows the work.
    """
    known = shipped()
    checks = compose(known.checklists, work).checks
    found: dict[str, Planted] = {}
    for specimen, fault in known.specimens:
        facts = {**known.facts, **fault.facts}
        catches = [
            check
            for check in checks
            if (fault.machine and check.id in specimen.caught_by)
            or (fault.facts and check.id in known.sees and truth_is_bad(check, facts, known.sees))
        ]
        # The specimen's own checks are those that it is for: without one of them it is another lesson.
        if any(check.id in specimen.caught_by for check in catches):
            found[specimen.faults[0]] = Planted(
                name=specimen.faults[0],
                facts=fault.facts,
                machine=fault.machine,
                catches=tuple(check.id for check in catches),
                hazard=any(stops_all(check) for check in catches),
            )
    place = {check.id: number for number, check in enumerate(checks)}
    return tuple(sorted(found.values(), key=lambda fault: place[fault.catches[0]]))


class Shipped(msgspec.Struct, frozen=True, kw_only=True):
    """The shipped checklists with all that their specimens say; specimens: those held by one fault."""

    checklists: tuple[Checklist, ...]
    facts: Mapping[str, str]
    sees: Mapping[str, Sight]
    specimens: tuple[tuple[Specimen, Fault], ...]


@functools.cache
def shipped() -> Shipped:
    """Return what is shipped, read once.

    Raises SpecimenError or ChecklistError for a mistake in it.
    """
    files = [load_specimens(path) for path in sorted(shipped_dir().glob(f"*{SPECIMENS_SUFFIX}"))]
    return Shipped(
        checklists=shipped_checklists(),
        facts={name: value for file in files for name, value in file.facts.items()},
        sees={check: sight for file in files for check, sight in file.sees.items()},
        specimens=tuple(
            (specimen, file.faults[specimen.faults[0]])
            for file in files
            for specimen in file.specimens
            if specimen.expect is Outcome.HELD and len(specimen.faults) == 1
        ),
    )


def _go_together(can_be: Iterable[Planted], count: int) -> list[Planted]:
    """Return the first `count` that do not hide each other, fewer where there are no more.

    No check finds two of them. One fault of the machine itself at most: a dead charger hides a weak one.
    One hazard at most: it ends many exercises.
    """
    planted: list[Planted] = []
    for fault in can_be:
        if len(planted) == count:
            break
        if not any(
            set(fault.catches) & set(other.catches)
            or (fault.machine and other.machine)
            or (fault.hazard and other.hazard)
            for other in planted
        ):
            planted.append(fault)
    return planted
