"""Pictures at a check: of what is asked now, or of an answer just given. Each is kept at once."""

from collections.abc import Callable
from pathlib import Path

from verify.ask.entry import parse_paths
from verify.ask.lines import Entry, Numbers, Prompt, TypedLine, no_hazard
from verify.ask.words import counted, shortened
from verify.checklist import Check, Kind
from verify.checklist.placing import needs_nobody
from verify.run import Shown, plan
from verify.values.errors import WrongUseError

Add = Callable[[Check, Path], None]
"""Takes a file over and adds it to the check."""

_ASK_SHOWN = 60


def can_be_pictured(shown: Shown) -> tuple[Check, ...]:
    """Return what a picture may be of here: the check that is asked, and what a hand answered last."""
    may = plan.may_be_pictured(shown.composition, shown.state, shown.due)
    asked = tuple(check for check in may if _is_asked(check, shown.due))
    given = (check for check in may if not needs_nobody(check) and shown.state.current(check.id) is not None)
    last = next(given, None)
    return asked if last is None else (*asked, last)


def _is_asked(check: Check, due: plan.Due) -> bool:
    return isinstance(due, plan.Ask) and due.pending[0] == check.id


def picture_of(shown: Shown, add: Add) -> Prompt:
    """Ask of what, where it can be of two things, then for the file.

    Raises WrongUseError where it can be of nothing.
    """
    may = can_be_pictured(shown)
    if not may:
        raise WrongUseError("Nothing is asked or answered yet that a picture could belong to.")
    if len(may) == 1:
        return picture_line(may[0], add)

    def press(key: str) -> Prompt:
        if key not in map(str, range(1, len(may) + 1)):
            raise WrongUseError("That number is not on the screen.")
        return picture_line(may[int(key) - 1], add)

    return Numbers(
        Entry(
            title="A PICTURE",
            about=(
                "",
                *(f"{number}  {check.ask}" for number, check in enumerate(may, start=1)),
                "",
            ),
            prompt="Of what is asked now (1), or of what was answered before (2)?",
            keys="1-2 this one   Esc back",
        ),
        press,
        still=no_hazard,
    )


def picture_line(check: Check, add: Add, *, none: Callable[[], Prompt] | None = None) -> Prompt:
    """Ask for the file. none: what "-" leads to, where it can be said that there is no picture.

    What cannot be taken over is told here, and asked for again.
    """

    def taken(text: str) -> Prompt | None:
        if text == "-" and none is not None:
            return none()
        for path in parse_paths(text):
            add(check, path)
        return None

    other = "Enter alone: back" if none is None else "- no picture"
    return TypedLine(
        Entry(
            prompt=f"Path of the picture, or drag it in ({other}):",
            done=() if check.kind is Kind.PHOTO else (f"of: {shortened(check.ask, _ASK_SHOWN)}",),
        ),
        taken,
        still=no_hazard,
    )


def pictures_words(shown: Shown, check: Check) -> str:
    """Say how many pictures count at the check; empty where none does."""
    taken = [each for each in shown.state.pictures.get(check.id, ()) if not each.out_of_date]
    return counted(len(taken), "picture taken", "pictures taken") if taken else ""
