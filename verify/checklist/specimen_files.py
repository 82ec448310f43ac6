"""Specimen files: read one with all it builds on, or find its mistakes.

What can be judged without the checklist (keys, facts, faults) is judged first; then whether the table and
the specimens speak of checks that exist, and whether every manual check can be answered.
"""

from collections.abc import Mapping
from pathlib import Path

from verify.checklist.fields import Fields, head, words_of
from verify.checklist.loader import load_checklist
from verify.checklist.model import Check, Checklist, Kind
from verify.checklist.near_miss import did_you_mean
from verify.checklist.nodes import Mistakes, Table, read_text, read_tree
from verify.checklist.shipped import (
    SPECIMENS_SUFFIX,
    limit_files,
    limits_in,
    sets_limits,
    shipped_checklists,
    shipped_dir,
    shop_limits,
    with_limits,
)
from verify.checklist.specimens import (
    LEAVES_MM,
    Fault,
    SeesGap,
    SeesHazard,
    SeesLook,
    SeesPhoto,
    SeesTally,
    SeesValue,
    Sight,
    Specimen,
    SpecimenFile,
)
from verify.checklist.work import known_work
from verify.values import Outcome, Unit, parse_quantity
from verify.values.errors import ChecklistError, InvalidValueError, SpecimenError

SPECIMENS_FORMAT = "specimens/1"

_KEYS = ("format", "checklist", "builds_on", "facts", "sees", "faults", "specimens")
_COLUMNS = ("out", "new", "back", "returned", "scrapped")
_SIGHT_KEYS: Mapping[Kind, tuple[str, ...]] = {
    Kind.HAZARD: ("present_when",),
    Kind.LOOK: ("good_when", "cannot_see_when"),
    Kind.MEASURE: ("gap", "gap_at", "leaves", "value"),
    Kind.COUNT: ("tally",),
    Kind.PHOTO: ("good_when", "cannot_see_when", "no_picture_when"),
}


def load_specimens(path: Path) -> SpecimenFile:
    """Read NAME.specimens.yaml with the checklist NAME.yaml beside it, and the files it builds on.

    Those lie in the same folder, or are the shipped ones.

    Raises SpecimenError ("file:line", what was probably meant) for the first mistake, ChecklistError for
    one in a checklist; WrongUseError where a file cannot be opened.
    """
    file, found = _read(path, building=())
    if file is None or found:
        first = found[0]
        raise SpecimenError(first.what, next_step=first.next_step)
    return file


def find_specimen_mistakes(path: Path) -> list[ChecklistError]:
    """Return all mistakes of a specimen file, in the order of their lines; empty where it is good.

    Raises SpecimenError or ChecklistError for a mistake in a file that it stands on; WrongUseError where
    one cannot be opened.
    """
    return _read(path, building=())[1]


class _Base:
    """What a file builds on: tables and checklists of the files named."""

    def __init__(self) -> None:
        self.checklists: dict[str, Checklist] = {}
        self.facts: dict[str, str] = {}
        self.sees: dict[str, Sight] = {}
        self.faults: dict[str, Fault] = {}

    @property
    def checks(self) -> dict[str, Check]:
        """All checks of the checklists, by id."""
        return {check.id: check for checklist in self.checklists.values() for check in checklist.checks}


def _read(path: Path, *, building: tuple[str, ...]) -> tuple[SpecimenFile | None, list[ChecklistError]]:
    mistakes = Mistakes(str(path))
    try:
        top = head(read_tree(read_text(path), mistakes), expected=SPECIMENS_FORMAT, mistakes=mistakes)
    except ChecklistError as error:
        mistakes.end(error)
        return None, mistakes.in_order()
    try:
        return _read_below(path, top, mistakes, building=building), mistakes.in_order()
    except ChecklistError as error:
        if not any(error is noted for noted in mistakes.found):
            raise  # of another file
        return None, mistakes.in_order()


def _read_below(
    path: Path, top: Table, mistakes: Mistakes, *, building: tuple[str, ...]
) -> SpecimenFile | None:
    fields = Fields(top, known=_KEYS, owner="specimen file", mistakes=mistakes)
    own = fields.identifier("checklist")
    if own and path.name != own + SPECIMENS_SUFFIX:
        fields.wrong("checklist", f"The file must be named {own}{SPECIMENS_SUFFIX}.", "Rename it.")
    base = _base(path, fields, building=(*building, own))
    if mistakes.found:
        return None
    own_file = path.with_name(f"{own}.yaml")
    own_checks: tuple[Check, ...] = ()
    if sets_limits(own_file):
        limits = limits_in(own_file, shipped_checklists())
        to_prove = tuple(each.check for each in limits)
    else:
        base.checklists[own] = load_checklist(own_file)
        own_checks = base.checklists[own].checks
        to_prove = tuple(check.id for check in own_checks if _finds(check))
    if not building and limit_files(path.parent):
        _put_limits(base, path.parent)
    base.facts.update(fields.words("facts"))
    _read_sees(fields, base, own_checks, mistakes)
    _read_faults(fields, base, mistakes)
    specimens = _read_specimens(fields, base, mistakes)
    return SpecimenFile(
        name=str(path),
        own=own,
        to_prove=to_prove,
        checklists=tuple(base.checklists.values()),
        facts=base.facts,
        sees=base.sees,
        faults=base.faults,
        specimens=specimens,
    )


def _finds(check: Check) -> bool:
    """Tell whether a check finds anything by itself.

    A wait makes the check after it worth asking; a value that is only recorded, the one that reads it.
    """
    return check.kind is not Kind.WAIT and (check.kind is not Kind.MEASURE or check.limit is not None)


def _put_limits(base: _Base, folder: Path) -> None:
    """Put the folder's shop limits into the shipped checklists, as a run does."""
    shipped = {each.id: each for each in shipped_checklists()}
    overrides = shop_limits(limit_files(folder), shipped.values())
    for name, checklist in base.checklists.items():
        if name in shipped and checklist.text == shipped[name].text:
            base.checklists[name] = with_limits(checklist, overrides)


def _base(path: Path, fields: Fields, *, building: tuple[str, ...]) -> _Base:
    base = _Base()
    for name in fields.identifiers("builds_on"):
        if name in building:
            fields.wrong("builds_on", f'"{name}" builds on this file: a circle.', "Take one of them out.")
            continue
        other = path.with_name(name + SPECIMENS_SUFFIX)
        if not other.is_file() and not path.with_name(f"{name}.yaml").exists():
            # A shop's own checklist stands on the shipped ones, but for those that it has replaced.
            other = shipped_dir() / other.name
        if not other.is_file():
            fields.wrong(
                "builds_on", f"There is no file {name}{SPECIMENS_SUFFIX} here.", "Check the name, or add it."
            )
            continue
        file, found = _read(other, building=building)
        if file is None or found:
            raise SpecimenError(found[0].what, next_step=found[0].next_step)
        base.checklists.update({checklist.id: checklist for checklist in file.checklists})
        base.facts.update(file.facts)
        base.sees.update(file.sees)
        base.faults.update(file.faults)
    return base


def _read_sees(fields: Fields, base: _Base, own: tuple[Check, ...], mistakes: Mistakes) -> None:
    table = fields.inner("sees")
    checks = base.checks
    for key, node in table.entries if table is not None else ():
        check = checks.get(key.text)
        if check is None or check.kind not in _SIGHT_KEYS:
            manual = [each.id for each in checks.values() if each.kind in _SIGHT_KEYS]
            mistakes.add(key.line, f'No manual check is named "{key.text}".', did_you_mean(key.text, manual))
        elif not isinstance(node, Table):
            mistakes.add(key.line, f'"{key.text}" must have keys of its own.', "Say what is seen.")
        else:
            base.sees[check.id] = _sight(check, node, base, mistakes)
    for check in own:
        if check.kind in _SIGHT_KEYS and check.id not in base.sees:
            fields.wrong(
                "sees", f'"sees" does not say what is seen at "{check.id}".', "Add it: it is a manual check."
            )


def _sight(check: Check, node: Table, base: _Base, mistakes: Mistakes) -> Sight:
    fields = Fields(node, known=_SIGHT_KEYS[check.kind], owner=f"sight of a {check.kind}", mistakes=mistakes)
    if check.kind is Kind.HAZARD:
        return SeesHazard(present_when=_facts(fields, "present_when", base, needed=True))
    if check.kind is Kind.LOOK:
        return SeesLook(
            good_when=_facts(fields, "good_when", base, needed=True),
            cannot_see_when=_facts(fields, "cannot_see_when", base),
        )
    if check.kind is Kind.PHOTO:
        return SeesPhoto(
            good_when=_facts(fields, "good_when", base, needed=True),
            cannot_see_when=_facts(fields, "cannot_see_when", base),
            no_picture_when=_facts(fields, "no_picture_when", base),
        )
    if check.kind is Kind.MEASURE:
        by_leaves = check.unit is Unit.MILLIMETRE
        return _gap(check, fields, base) if by_leaves else _value(check, fields, base)
    return _tally(check, fields, base)


def _facts(fields: Fields, key: str, base: _Base, *, needed: bool = False) -> Mapping[str, str]:
    """Return fact to value; the facts must be known."""
    found = fields.words(key)
    if needed and not found:
        fields.wrong(key, f'"{key}" names no fact.', f"Write: {key}: {{fact: value}}.")
    for name in found:
        _refuse_unknown_fact(fields, key, name, base)
    return found


def _gap(check: Check, fields: Fields, base: _Base) -> SeesGap:
    gap, gap_at = fields.text("gap"), fields.words("gap_at")
    for name in (gap, *gap_at.values()):
        if name:
            _refuse_unknown_fact(fields, "gap_at" if name in gap_at.values() else "gap", name, base)
    for station in gap_at:
        if station not in check.stations:
            fields.wrong(
                "gap_at", f'"{station}" is no station of "{check.id}".', did_you_mean(station, check.stations)
            )
    leaves = []
    for text in fields.texts("leaves"):
        try:
            leaves.append(parse_quantity(text).to(Unit.MILLIMETRE).value)
        except InvalidValueError as error:
            fields.wrong("leaves", error.what, error.next_step)
    return SeesGap(gap=gap, gap_at=gap_at, leaves_mm=tuple(leaves) or LEAVES_MM)


def _value(check: Check, fields: Fields, base: _Base) -> SeesValue:
    value = fields.words("value")
    for name in value.values():
        _refuse_unknown_fact(fields, "value", name, base)
    for station in (*value, *check.stations):
        if station not in check.stations or station not in value:
            fields.wrong(
                "value",
                f'"value" and the stations of "{check.id}" differ at "{station}".',
                "Write: value: {station: fact}, for each station.",
            )
    return SeesValue(value=value)


def _tally(check: Check, fields: Fields, base: _Base) -> SeesTally:
    found: dict[str, Mapping[str, str]] = {}
    table = fields.inner("tally")
    for kind, node in table.entries if table is not None else ():
        if check.counts and kind.text not in check.counts:
            fields.mistakes.add(
                kind.line, f'"{kind.text}" is not counted here.', did_you_mean(kind.text, check.counts)
            )
        if not isinstance(node, Table):
            fields.mistakes.add(kind.line, f'"{kind.text}" must have keys of its own.', "Name out and back.")
            continue
        columns = Fields(node, known=_COLUMNS, owner="tally", mistakes=fields.mistakes)
        for column in ("out", "back"):
            columns.text(column)
        found[kind.text] = words_of(node, fields.mistakes)
        for column, name in found[kind.text].items():
            _refuse_unknown_fact(columns, column, name, base)
    for kind_text in check.counts:
        if kind_text not in found:
            fields.wrong("tally", f'"{kind_text}" has no tally.', "Name the facts of its out and back.")
    return SeesTally(tally=found)


def _refuse_unknown_fact(fields: Fields, key: str, name: str, base: _Base) -> None:
    if name not in base.facts:
        fields.wrong(key, f'There is no fact "{name}".', did_you_mean(name, base.facts))


def _read_faults(fields: Fields, base: _Base, mistakes: Mistakes) -> None:
    table = fields.inner("faults")
    for key, node in table.entries if table is not None else ():
        if not isinstance(node, Table) or not node.entries:
            mistakes.add(key.line, f'The fault "{key.text}" changes nothing.', 'Add "facts" or "machine".')
            continue
        if key.text in base.faults:
            mistakes.add(key.line, f'The fault "{key.text}" is known already.', "Give it another name.")
        inner = Fields(node, known=("facts", "machine"), owner="fault", mistakes=mistakes)
        facts = _facts(inner, "facts", base)
        for name, value in facts.items():
            if base.facts.get(name) == value:
                inner.wrong("facts", f'"{name}: {value}" is how a sound machine is.', "A fault changes it.")
        base.faults[key.text] = Fault(facts=facts, machine=inner.words("machine"))


def _read_specimens(fields: Fields, base: _Base, mistakes: Mistakes) -> tuple[Specimen, ...]:
    nodes = fields.entries("specimens")
    if not nodes:
        fields.wrong("specimens", "There is no specimen.", "Add a sound one first.")
    found: list[Specimen] = []
    for node in nodes:
        if not isinstance(node, Table):
            mistakes.add(node.line, "A specimen has keys with values.", 'Start it with "- name: …".')
            continue
        specimen = _specimen(node, base, mistakes)
        if specimen is None:
            continue
        if specimen.name in {each.name for each in found}:
            mistakes.add(node.line, f'"{specimen.name}" stands here a second time.', "Rename it.")
        found.append(specimen)
    if found and not any(each.expect is Outcome.FIT and not each.faults for each in found):
        fields.wrong("specimens", "No specimen is sound and fit.", 'Add one without faults, "expect: fit".')
    return tuple(found)


def _specimen(node: Table, base: _Base, mistakes: Mistakes) -> Specimen | None:
    before = len(mistakes.found)
    keys = ("name", "work", "label", "faults", "expect", "caught_by")
    fields = Fields(node, known=keys, owner="specimen", mistakes=mistakes)
    name = fields.text("name")
    work = fields.choices("work", known_work(base.checklists.values()))
    label = fields.quantity("label", of=Unit.WATT_HOUR)
    faults = fields.choices("faults", base.faults)
    caught_by = fields.choices("caught_by", base.checks)
    expect = fields.choice("expect", tuple(Outcome))
    if caught_by and not faults:
        fields.wrong("caught_by", "There is no fault to be caught.", 'Add "faults".')
    if len(mistakes.found) > before:
        return None
    return Specimen(
        name=name,
        expect=Outcome(expect),
        work=work,
        label_wh=None if label is None else label.value,
        faults=faults,
        caught_by=caught_by,
    )
