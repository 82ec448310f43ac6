"""Errors that only show when checklists are put together, pointed at the line that is to blame."""

import re

from verify.checklist.model import Checklist
from verify.checklist.near_miss import did_you_mean
from verify.values.errors import ChecklistError


def blame(checklist: Checklist, word: str, what: str, next_step: str) -> ChecklistError:
    """Return an error at the first line of the checklist that names the step or check."""
    named = re.compile(rf"(?<![\w-]){re.escape(word)}(?![\w-])")
    lines = checklist.text.splitlines()
    line = next((number for number, text in enumerate(lines, 1) if named.search(text)), 1)
    return ChecklistError(what, where=f"{checklist.id}.yaml:{line}", next_step=next_step)


def refuse_unknown_step(checklist: Checklist, step_id: str, known: set[str]) -> None:
    """Raise ChecklistError where `step_id` is none of the known steps."""
    if step_id not in known:
        raise blame(checklist, step_id, f'No checklist has a step "{step_id}".', did_you_mean(step_id, known))
