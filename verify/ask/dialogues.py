"""What can be said at nearly any moment: made safe, opened again, accepted, seen beside.

Each is a prompt, mostly on a screen of its own, that ends in one command to the owner.
"""

from collections.abc import Callable
from typing import Any

import msgspec

from verify.ask.keys import ENTER
from verify.ask.lines import Entry, Numbers, Prompt, TypedLine, no_hazard
from verify.ask.words import OPENING_WORDS, counted, verdict_text
from verify.checklist import OPENINGS, Check, Concession
from verify.run import Owner, Shown, plan
from verify.run.commands import openings
from verify.run.state import State
from verify.values.errors import WrongUseError

Do = Callable[[Callable[[Owner], Any], str], None]
"""Sends a command to the owner; the words are shown when it was taken."""

HELD_SHOWN = 5
"""A held step's checks on one screen of 24 rows."""

WAITING_SHOWN = 4
"""Checks that wait for the machine, on the same screen; together no more than there are digits."""

_OWNER = "The report shows it. The owner will notice it, so the owner must have agreed."
_SHOP = "The report shows it. The owner cannot notice it: your shop decides."


def numbered(due: plan.Due) -> tuple[Check, ...]:
    """Return the checks that stand on the screen with a number, from 1."""
    blocked = tuple(block.check for block in plan.may_be_asked_again(due)[:HELD_SHOWN])
    waiting = due.checks[:WAITING_SHOWN] if isinstance(due, plan.Elsewhere) else ()
    return blocked + waiting


def picked(due: plan.Due, key: str) -> Check | None:
    """Return the check that stands on the screen with this number; None where none does."""
    shown = numbered(due)
    return shown[int(key) - 1] if key in map(str, range(1, len(shown) + 1)) else None


# A hazard, made safe.


def made_safe(due: plan.Stopped, do: Do) -> Prompt:
    """Ask who isolated the part, then which it is and where."""
    told = any(hazard.check for hazard in due.hazards)

    def who(by: str) -> Prompt:
        if not by:
            raise WrongUseError("Say who.")

        def where(how: str) -> None:
            do(
                lambda owner: owner.made_safe(how, by=by),
                "Made safe. If anything was opened for it: R says what.",
            )

        asked = "Which part is it, and where is it now?"
        prompt = asked if told else f"What was seen? {asked}"
        return TypedLine(
            Entry(prompt=prompt, done=(f"isolated by {by}",)), where, still=lambda due: not no_hazard(due)
        )

    return TypedLine(Entry(prompt="Who isolated the part?"), who, still=lambda due: not no_hazard(due))


# Opened again.


def opened_again(shown: Shown, do: Do) -> Prompt:
    """Ask what was opened, by number, then why."""
    return _openings(shown, frozenset(), do)


def _openings(shown: Shown, opened: frozenset[str], do: Do) -> Prompt:
    def press(key: str) -> Entry | Prompt | None:
        nonlocal opened
        if key == ENTER:
            if not opened:
                raise WrongUseError("Press the number of what was opened.")
            openings(shown.composition, shown.state, opened)
            return _why_opened(shown, tuple(name for name in OPENINGS if name in opened), do)
        if key in map(str, range(1, len(OPENINGS) + 1)):
            opened ^= {OPENINGS[int(key) - 1]}
        return _openings_entry(shown, opened)

    return Numbers(_openings_entry(shown, opened), press, still=no_hazard)


def _openings_entry(shown: Shown, opened: frozenset[str]) -> Entry:
    lines = [
        f"{number}  {'*' if name in opened else '.'} {OPENING_WORDS[name]}"
        for number, name in enumerate(OPENINGS, start=1)
    ]
    return Entry(
        title="OPENED AGAIN",
        about=(
            "What was opened or undone since? What that may have disturbed is asked again.",
            "",
            *lines,
            "",
            _asked_again(shown, opened),
        ),
        prompt="Press numbers, then Enter.",
        keys=f"1-{len(OPENINGS)} opened or not   Enter go on   Esc back",
    )


def _why_opened(shown: Shown, opened: tuple[str, ...], do: Do) -> Prompt:
    def take(why: str) -> None:
        do(lambda owner: owner.reopen(opened, why=why), f"Opened again. {_asked_again(shown, opened)}")

    return TypedLine(
        Entry(
            title="OPENED AGAIN",
            about=(f"Opened: {', '.join(OPENING_WORDS[name] for name in opened)}.",),
            prompt="Why was it opened again?",
        ),
        take,
        still=no_hazard,
    )


def _asked_again(shown: Shown, opened: frozenset[str] | tuple[str, ...]) -> str:
    """Say how much an opening makes out of date."""
    state, wanted = shown.state, set(opened)
    checks = sum(
        bool(wanted & set(check.voided_by)) and _answered(state, check) for check in shown.composition.checks
    )
    steps = sum(
        bool(wanted & set(step.voided_by)) and step.id in state.steps for step in shown.composition.steps
    )
    return (
        f"To be checked again: {counted(checks, 'check', 'checks')}. "
        f"To be done again: {counted(steps, 'step', 'steps')}."
    )


def _answered(state: State, check: Check) -> bool:
    return state.current(check.id) is not None or check.id in state.accepted


# Accepted with a known flaw.


def accept(shown: Shown, do: Do) -> Prompt | None:
    """Ask which check is accepted, by whom, why, and how the owner agreed; None where there is none."""
    due = shown.due
    may = plan.may_be_accepted(due)
    if not may:
        if numbered(due):
            raise WrongUseError("Nobody may accept this. It has to be mended.")
        return None
    if len(numbered(due)) == 1:
        return _who(shown, may[0], do)

    def press(key: str) -> Prompt | None:
        check = picked(due, key)
        if check is None:
            raise WrongUseError("That number is not on the screen.")
        if check not in may:
            raise WrongUseError("Nobody may accept this one. It has to be mended.")
        return _who(shown, check, do)

    entry = Entry(
        prompt="Which number is accepted with a known flaw?",
        keys=f"1-{len(numbered(due))} this one   Esc back",
    )
    return Numbers(entry, press, still=lambda later: later == due)


def _who(shown: Shown, check: Check, do: Do) -> Prompt:
    by_owner = check.concession is Concession.OWNER
    current = shown.state.current(check.id)
    because = "" if current is None else current.judgement.because
    entry = Entry(
        title="ACCEPTED WITH A KNOWN FLAW",
        about=(
            check.ask,
            verdict_text(shown.state.verdict(check.id), because),
            "",
            _OWNER if by_owner else _SHOP,
            "",
        ),
        prompt="Who accepts it?",
    )

    def ask(entry: Entry, take: Callable[[str], Prompt | None]) -> Prompt:
        def said(text: str) -> Prompt | None:
            if not text:
                raise WrongUseError("It cannot be accepted without that.")
            return take(text)

        return TypedLine(entry, said, still=lambda due: check in plan.may_be_accepted(due))

    def who(by: str) -> Prompt:
        told = _next(entry, "Why?", f"accepted by {by}")
        return ask(told, lambda reason: why(told, by, reason))

    def why(told: Entry, by: str, reason: str) -> Prompt | None:
        if not by_owner:
            send(by, reason, "")
            return None
        asked = _next(told, "How and when did the owner agree?", f"because: {reason}")
        return ask(asked, lambda agreed: send(by, reason, agreed))

    def send(by: str, reason: str, agreed: str) -> None:
        do(
            lambda owner: owner.accept(check.id, by=by, reason=reason, owner_agreed=agreed),
            "Accepted with a known flaw. The report shows it.",
        )

    return ask(entry, who)


def _next(entry: Entry, prompt: str, done: str) -> Entry:
    return msgspec.structs.replace(entry, prompt=prompt, done=(*entry.done, done))


# Seen besides the work.


def seen_beside(do: Do) -> Prompt:
    """Ask what was seen outside the work."""

    def take(what: str) -> None:
        do(lambda owner: owner.notice(what), "Kept: seen, not repaired.")

    return TypedLine(
        Entry(
            title="SEEN, NOT REPAIRED",
            about=("Something outside the work. It is told to the owner. It holds nothing.", ""),
            prompt="What was seen?",
        ),
        take,
        still=no_hazard,
    )
