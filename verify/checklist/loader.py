"""Checklist files: read one, or find all its mistakes.

The steps: text to tree (`nodes`), head of the file, then each step and check by itself (`convert`), then
what they say of each other: ids twice, steps and probes that do not exist.
"""

import functools
from collections.abc import Mapping
from pathlib import Path

from verify.checklist.convert import read_check, read_step
from verify.checklist.fields import Fields, head, is_id
from verify.checklist.model import HAND_BACK, Check, Checklist, Step
from verify.checklist.near_miss import did_you_mean
from verify.checklist.nodes import Mistakes, Node, Scalar, Table, read_text, read_tree
from verify.checklist.overrides import KEY, applied, read_overrides
from verify.values import Unit
from verify.values.errors import ChecklistError

CHECKLIST_FORMAT = "checklist/1"

_KEYS = ("format", "id", "revision", "title", "for_work", "includes", "signers", "steps", "checks", KEY)


def load_checklist(path: Path, *, known_probes: Mapping[str, Unit | None] | None = None) -> Checklist:
    """Read a checklist file.

    Raises ChecklistError ("file:line", what was probably meant) for the first mistake; WrongUseError where
    the file cannot be opened.
    """
    return parse_checklist(read_text(path), name=str(path), known_probes=known_probes)


def parse_checklist(
    text: str, *, name: str, known_probes: Mapping[str, Unit | None] | None = None
) -> Checklist:
    """Read a checklist from its text; `name` stands for the file in errors.

    known_probes: names a probe check may use, each with its unit; None: not checked here.
    Raises ChecklistError for the first mistake.
    """
    return _parsed(text, name, None if known_probes is None else frozenset(known_probes.items()))


# Reading a text takes far longer than looking whether it is still the same, and nearly always it is.
@functools.lru_cache(maxsize=128)
def _parsed(text: str, name: str, probes: frozenset[tuple[str, Unit | None]] | None) -> Checklist:
    mistakes = Mistakes(name)
    checklist = None
    try:
        checklist = _read(
            text, mistakes, known_probes=None if probes is None else dict(probes), known_steps=None
        )
    except ChecklistError as error:
        mistakes.end(error)
    if checklist is None or mistakes.found:
        raise mistakes.in_order()[0]
    return checklist


def find_mistakes(
    text: str,
    *,
    name: str,
    known_probes: Mapping[str, Unit | None] | None = None,
    known_steps: frozenset[str] | None = None,
) -> list[ChecklistError]:
    """Return all mistakes of a checklist's text, in the order of their lines; empty where it is good.

    known_steps: steps that other checklists define; None: step names are not checked.
    """
    mistakes = Mistakes(name)
    try:
        _read(text, mistakes, known_probes=known_probes, known_steps=known_steps)
    except ChecklistError as error:
        mistakes.end(error)
    return mistakes.in_order()


class _Steps:
    """The steps of a file: those it defines, and all that it names, in their order."""

    def __init__(self) -> None:
        self.steps: list[Step] = []
        self.order: list[Scalar] = []
        self.defined: set[str] = set()


def _read(
    text: str,
    mistakes: Mistakes,
    *,
    known_probes: Mapping[str, Unit | None] | None,
    known_steps: frozenset[str] | None,
) -> Checklist | None:
    top = head(read_tree(text, mistakes), expected=CHECKLIST_FORMAT, mistakes=mistakes)
    fields = Fields(top, known=_KEYS, owner="checklist", mistakes=mistakes)
    steps = _read_steps(fields.entries("steps"), mistakes)
    checks = _read_checks(fields.entries("checks"), mistakes, known_probes=known_probes)
    if known_steps is not None:
        _find_unknown_steps(steps, checks, known_steps | steps.defined | {HAND_BACK}, mistakes)
    if not fields.entries("steps") and not fields.entries("checks"):
        fields.wrong("checks", "The checklist asks nothing.", "Add a list of checks.")
    shop_limits = fields.inner(KEY)
    overrides = (
        () if shop_limits is None else read_overrides(shop_limits, (one for one, _ in checks), mistakes)
    )
    identity = fields.identifier("id")
    revision = fields.whole("revision", least=1)
    title = fields.text("title")
    for_work, includes = fields.identifiers("for_work"), fields.identifiers("includes")
    if includes and not for_work:
        fields.wrong("includes", '"includes" has no work to go with.', "Name the work: for_work: [fan-lead].")
    signers = fields.texts("signers")
    if mistakes.found:
        return None
    return Checklist(
        id=identity,
        revision=revision,
        title=title,
        for_work=for_work,
        includes=includes,
        signers=signers,
        steps=tuple(steps.steps),
        order=tuple(each.text for each in steps.order),
        checks=applied((check for check, _ in checks), overrides),
        text=text,
    )


def _read_steps(nodes: tuple[Node, ...], mistakes: Mistakes) -> _Steps:
    found = _Steps()
    for node in nodes:
        if isinstance(node, Scalar):
            # A name alone: another checklist defines the step; here it only has its place in the order.
            if is_id(node.text):
                found.order.append(node)
            else:
                mistakes.add(node.line, f'"{node.text}" cannot be a step.', "Write a step's id, or its keys.")
        elif isinstance(node, Table):
            step = read_step(node, mistakes)
            found.steps += [] if step is None else [step]
            written = node.get("id")
            if isinstance(written, Scalar):
                found.order.append(written)
                found.defined.add(written.text)
        else:
            mistakes.add(node.line, "A step is a name, or keys with values.", "Take the brackets out.")
    _find_twice(found.order, "step", mistakes)
    return found


def _read_checks(
    nodes: tuple[Node, ...], mistakes: Mistakes, *, known_probes: Mapping[str, Unit | None] | None
) -> list[tuple[Check, Table]]:
    checks: list[tuple[Check, Table]] = []
    ids: list[Scalar] = []
    for node in nodes:
        if not isinstance(node, Table):
            mistakes.add(node.line, "A check has keys with values.", 'Start it with "- id: …".')
            continue
        check = read_check(node, mistakes, known_probes=known_probes)
        if check is not None:
            checks.append((check, node))
        written = node.get("id")
        if isinstance(written, Scalar):
            ids.append(written)
    _find_twice(ids, "check", mistakes)
    return checks


def _find_twice(ids: list[Scalar], what: str, mistakes: Mistakes) -> None:
    first: dict[str, int] = {}
    for each in ids:
        if each.text in first:
            mistakes.add(
                each.line,
                f'The {what} "{each.text}" stands here a second time (first in line {first[each.text]}).',
                "Give it an id of its own, or take one out.",
            )
        first.setdefault(each.text, each.line)


def _find_unknown_steps(
    steps: _Steps, checks: list[tuple[Check, Table]], known: frozenset[str], mistakes: Mistakes
) -> None:
    named = [(each.text, each.line) for each in steps.order]
    for check, table in checks:
        before, after = table.get("before"), table.get("after")
        named += [(step_id, before.line) for step_id in check.before if before is not None]
        named += [(check.after, after.line)] if check.after and after is not None else []
    for step_id, line in named:
        if step_id not in known:
            mistakes.add(line, f'No checklist has a step "{step_id}".', did_you_mean(step_id, known))
