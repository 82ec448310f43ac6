"""Which keys can be pressed, for each thing that is due. Pure. One line for what is asked, one that stays."""

from typing import assert_never

from verify.ask.dialogues import HELD_SHOWN
from verify.ask.lines import Entry
from verify.ask.picturing import can_be_pictured
from verify.checklist import Check, Kind, Shows
from verify.record.arrival import FUNCTIONS
from verify.run import Shown, arrival, plan

_SHOWS = {Shows.TONES: "play tones", Shows.COLOURS: "show colours", Shows.KEYS: "key map"}
_PICTURE = "P picture"
_BRIEF = {Shows.TONES: "tones", Shows.COLOURS: "colours", Shows.KEYS: "keys"}


def can_be_tried(shown: Shown) -> bool:
    """Tell whether what the tool can show means anything here: on the repaired machine only."""
    return shown.on_machine is True


def legend(shown: Shown, entry: Entry | None, *, brief: bool) -> tuple[str, ...]:
    """Return the lines of keys."""
    if entry is not None:
        no_hazard = entry.typed or entry.every_key or isinstance(shown.due, plan.Stopped)
        hazard = "" if no_hazard else "   ! hazard"
        return (f"{entry.keys}{hazard}",)
    asked = _asked(shown, brief=brief)
    always = _always(shown, brief=brief)
    return (asked, always) if asked else (always,)


def _asked(shown: Shown, *, brief: bool) -> str:
    due = shown.due
    match due:
        case plan.Ask():
            check = next(check for check in due.checks if check.id == due.pending[0])
            keys = _of_check(check, pictured=shown.state.has_picture(check.id))
            keys = keys if brief else _and_picture(shown, keys)
            if check.shows is None or not can_be_tried(shown):
                return keys
            return f"{keys}   T {_BRIEF[check.shows] if brief else _SHOWS[check.shows]}"
        case plan.Where():
            return "Y yes, this is it   N no, another computer"
        case plan.Arrive():
            return _of_topic(due)
        case plan.Do():
            return "D done" if brief else _and_picture(shown, "D done")
        case plan.Held() | plan.Watching() | plan.Elsewhere():
            return _of_numbers(due) if brief else _and_picture(shown, _of_numbers(due))
        case plan.Stopped():
            return "S it is made safe"
        case plan.SayWork() | plan.Declined() | plan.Complete():
            return ""
        case _:
            assert_never(due)


def _and_picture(shown: Shown, keys: str) -> str:
    """Add the key for a picture, where it can be of something; a brief screen has it in its last line."""
    return "   ".join(word for word in (keys, _PICTURE if can_be_pictured(shown) else "") if word)


def _of_check(check: Check, *, pictured: bool) -> str:
    if check.kind is Kind.PHOTO and not pictured:
        return "Enter its picture   - no picture"
    if check.kind in (Kind.LOOK, Kind.PHOTO):
        return "G good   N not good   C cannot see"
    if check.kind is Kind.HAZARD:
        return "N no   Y yes   C cannot tell"
    return "Enter type it in"


def _of_topic(due: plan.Arrive) -> str:
    topic = due.pending[0]
    keys = "Enter type it in"
    if topic == arrival.FOUND_AS:
        keys = "R runs   D does not start   A already apart"
    elif topic in FUNCTIONS:
        keys = "W works   F does not work   T not tried"
    return keys if arrival.PICTURES in due.pending else f"{keys}   P more pictures"


def _of_numbers(due: plan.Held | plan.Watching | plan.Elsewhere) -> str:
    parts = []
    again = min(HELD_SHOWN, len(due.blocked))
    if again:
        parts.append(f"{'1' if again == 1 else f'1-{again}'} ask again")
    if plan.may_be_accepted(due):
        parts.append("A accept with a known flaw")
    return "   ".join(parts)


def _always(shown: Shown, *, brief: bool) -> str:
    due = shown.due
    if isinstance(due, plan.Stopped):
        return f"Q leave{'' if brief else ' (everything is kept)'}"
    started = shown.state.started and not isinstance(due, plan.Declined)
    parts = ["U undo"]
    if started:
        parts.append("R opened" if brief else "R opened again")
    if brief and can_be_pictured(shown) and not isinstance(due, plan.Arrive):
        parts.append(_PICTURE)
    parts += [
        "O seen" if brief else "O seen besides",
        "! hazard",
        "Q leave" if brief else "Q leave (all is kept)",
    ]
    return ("  " if brief else "   ").join(parts)
