"""From verdicts to the outcome: whether the machine may be handed back.

Starts as held; in this order: (1) a hazard that was not made safe holds; (2) a declined repair is returned
unrepaired; (3) nothing to check holds, and so does a list where nothing was found good; (4) a check that
does not conform, is undecided or not done holds unless it was conceded, or is undecided and only a note;
(5) what was conceded makes it fit under concession; (6) otherwise fit.
"""

from collections.abc import Iterable, Sequence
from typing import assert_never

import msgspec

from verify.values import Outcome, Verdict


class Settled(msgspec.Struct, frozen=True, kw_only=True):
    """Where one check stands.

    note_only: undecided does not hold the machine. conceded: accepted by a named person.
    """

    check: str
    verdict: Verdict
    note_only: bool = False
    conceded: bool = False


def lifts_hold(verdict: Verdict, *, note_only: bool) -> bool:
    """Tell whether a check with this verdict lets what it guards go on.

    note_only: undecided is only a note. What does not apply is settled; what was not done never is.
    """
    match verdict:
        case Verdict.CONFORMS | Verdict.NOT_APPLICABLE:
            return True
        case Verdict.UNDECIDED:
            return note_only
        case Verdict.DOES_NOT_CONFORM | Verdict.NOT_DONE:
            return False
        case _:
            assert_never(verdict)


_SAID = {
    Verdict.DOES_NOT_CONFORM: "not good",
    Verdict.UNDECIDED: "cannot tell yet",
    Verdict.NOT_DONE: "not done",
}


def decide_outcome(
    results: Iterable[Settled], *, hazards_open: Sequence[str], returned_unrepaired: bool
) -> tuple[Outcome, tuple[str, ...]]:
    """Decide the outcome and say why it is not plainly fit.

    results: every check of the work. hazards_open: each hazard that was not made safe, in words.
    returned_unrepaired: the owner declined the repair, risks told, signature or why not.
    Returns the outcome and its reasons; no reasons where it is fit.
    """
    results = tuple(results)
    failing = [one for one in results if not lifts_hold(one.verdict, note_only=one.note_only)]
    holding = tuple(f"{one.check}: {_SAID[one.verdict]}." for one in failing if not one.conceded)
    conceded = tuple(
        f"{one.check}: {_SAID[one.verdict]}, accepted with a known flaw." for one in failing if one.conceded
    )
    # (1) No concession lifts a hazard.
    if hazards_open:
        return Outcome.HELD, (*(f"Not made safe: {hazard}" for hazard in hazards_open), *holding)
    # (2)
    if returned_unrepaired:
        return Outcome.RETURNED_UNREPAIRED, ("Returned unrepaired.", *holding, *conceded)
    # (3) All of nothing is not a proof.
    if not results:
        return Outcome.HELD, ("There was nothing to check.",)
    # (4)
    if holding:
        return Outcome.HELD, (*holding, *conceded)
    if not conceded and not any(one.verdict is Verdict.CONFORMS for one in results):
        return Outcome.HELD, ("Nothing was found good: no check applied.",)
    # (5)
    if conceded:
        return Outcome.FIT_UNDER_CONCESSION, conceded
    # (6)
    return Outcome.FIT, ()
