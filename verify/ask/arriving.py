"""What is taken on arrival: single keys, and typed lines. Each is sent at once, so nothing is lost."""

from collections.abc import Callable
from pathlib import Path

from verify.ask.entry import parse_list, parse_paths
from verify.ask.lines import Entry, Prompt, Still, TypedLine
from verify.record.arrival import FUNCTIONS, FoundAs, Picture, Tried
from verify.record.visible import on_one_line
from verify.run import arrival, plan
from verify.run.events import Arrived
from verify.run.state import State
from verify.values.errors import WrongUseError

FOUND_KEYS = {"r": FoundAs.RUNS, "d": FoundAs.DEAD, "a": FoundAs.APART}
TRIED_KEYS = {"w": Tried.WORKS, "f": Tried.FAILS, "t": Tried.NOT_TRIED}

Take = Callable[[Arrived], None]
"""Hands what was said on."""


def said_by_key(topic: str, key: str) -> Arrived | None:
    """Return what a single key says of the topic; None where it says nothing."""
    if topic == arrival.FOUND_AS and key in FOUND_KEYS:
        return Arrived(found_as=FOUND_KEYS[key])
    if topic in FUNCTIONS and key in TRIED_KEYS:
        return Arrived(tried={topic: TRIED_KEYS[key]})
    return None


def is_typed(topic: str) -> bool:
    """Tell whether the topic is answered by a typed line."""
    return topic in (arrival.COMPLAINT, arrival.PICTURES, arrival.ACCESSORIES)


def line_for(topic: str, take: Take, *, picture: Callable[[Path], Picture]) -> Prompt:
    """Return the line to be typed for the topic. picture: takes a file over into the run's folder."""
    if topic == arrival.PICTURES:
        return _picture_line(take, picture, first=True)
    if topic == arrival.ACCESSORIES:
        entry = Entry(prompt="What came with it, separated by commas (empty: nothing):")
        return TypedLine(entry, lambda text: take(Arrived(accessories=parse_list(text))), still=_asks(topic))

    def complaint(text: str) -> None:
        if not text:
            raise WrongUseError("Type what the owner says, in the owner's words.")
        take(Arrived(complaint=text))

    return TypedLine(Entry(prompt="The complaint, in the owner's words:"), complaint, still=_asks(topic))


def more_pictures(take: Take, *, picture: Callable[[Path], Picture]) -> Prompt:
    """Return the line for one more picture after the topic was answered."""
    return _picture_line(take, picture, first=False)


def _asks(topic: str) -> Still:
    return lambda due: isinstance(due, plan.Arrive) and due.pending[0] == topic


def _picture_line(
    take: Take, picture: Callable[[Path], Picture], *, first: bool, done: tuple[str, ...] = ()
) -> Prompt:
    def taken(text: str) -> Prompt | None:
        if not text or text.lower() == "none":
            if first and not done:
                take(Arrived(pictures=()))
            return None
        more = done
        for path in parse_paths(text):
            take(Arrived(pictures=(picture(path),)))
            more = (*more, path.name)
        return _picture_line(take, picture, first=first, done=more)

    asked = "Path of a picture, or drag it in (empty: none):"
    prompt = asked if first and not done else "Next picture (empty: that is all):"
    # After the first one the topic is no longer open; more may follow.
    return TypedLine(
        Entry(prompt=prompt, done=done, topic=arrival.PICTURES),
        taken,
        still=lambda due: isinstance(due, plan.Arrive),
    )


def answered(topic: str, state: State) -> str | None:
    """Return what was said of a topic, in words; None where nothing was."""
    said = state.arrival
    if topic == arrival.FOUND_AS:
        return None if said.found_as is None else str(said.found_as)
    if topic == arrival.COMPLAINT:
        return on_one_line(state.ticket.complaint) or None
    if topic == arrival.PICTURES:
        return None if said.pictures is None else str(len(said.pictures) or "none")
    if topic == arrival.ACCESSORIES:
        return None if said.accessories is None else on_one_line(", ".join(said.accessories)) or "nothing"
    tried = (said.tried or {}).get(topic)
    return None if tried is None else str(tried)
