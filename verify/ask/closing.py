"""The words at the end of a session: where the ticket stands, and what to do next. Pure."""

from verify.record.model import Record, Result
from verify.record.visible import on_one_line
from verify.values import Outcome, Verdict

OUTCOME_WORDS = {
    Outcome.FIT: "ready",
    Outcome.FIT_UNDER_CONCESSION: "ready with a known flaw",
    Outcome.HELD: "not ready",
    Outcome.RETURNED_UNREPAIRED: "returned unrepaired",
}
_SHOWN_AT_MOST = 6


def closing_lines(record: Record) -> tuple[str, ...]:
    """Say the outcome, then what is missing, worst first; the rest stands in the report."""
    lines = [f"{record.ticket.id}: {OUTCOME_WORDS[record.outcome]}."]
    standing = _standing(record)
    if standing:
        lines.append(standing)
    # A hazard is never cut off, however much else there is to say.
    lines += [
        f"  ! Not made safe: {on_one_line(hazard.what)}" for hazard in record.hazards if not hazard.made_safe
    ]
    if record.given_back is not None:
        # What was not looked at is of no weight any more.
        return (*lines, *_given_back(record), *_seen_beside(record))
    lines += [_flaw(result) for result in record.results if result.accepted is not None]
    found = _found(record)
    lines += found[:_SHOWN_AT_MOST]
    if len(found) > _SHOWN_AT_MOST:
        lines.append("  … the rest stands in the report.")
    undone = sum(result.verdict is Verdict.NOT_DONE and result.accepted is None for result in record.results)
    if undone:
        lines.append(f"  {undone} of {len(record.results)} checks are not done.")
    return (*lines, *_seen_beside(record))


def _standing(record: Record) -> str:
    """Say what nobody may take for an acceptance; empty where it is one."""
    if record.practice:
        return "This was practice on a simulated machine. It is not an acceptance."
    if record.simulated:
        return "This was a simulation. It is not an acceptance."
    return "The answers came from a script. It is not an acceptance." if record.scripted else ""


def _given_back(record: Record) -> list[str]:
    given = record.given_back
    if given is None:
        return []
    return [
        f"  Why: {on_one_line(given.why)}",
        f"  Risks told: {on_one_line(given.risks_told)}",
        f"  Owner's signature: {on_one_line(given.owner_signed)}",
    ]


def _flaw(result: Result) -> str:
    accepted = result.accepted
    if accepted is None:
        return ""
    agreed = f" The owner agreed: {_ended(accepted.owner_agreed)}" if accepted.owner_agreed else ""
    said = f"accepted by {on_one_line(accepted.by)}: {_ended(accepted.reason)}"
    return f"  * {result.ask} Known flaw, {said}{agreed}"


def _ended(text: str) -> str:
    """End what somebody typed as a sentence ends."""
    line = on_one_line(text)
    return line if line.endswith((".", "!", "?")) else f"{line}."


def _seen_beside(record: Record) -> list[str]:
    return [
        f"  - Seen, not repaired; tell the owner: {on_one_line(seen.what)}" for seen in record.seen_beside
    ]


def _found(record: Record) -> list[str]:
    """Say each check that is not good, then those that hold because they cannot be told, then mere notes."""
    open_ones = [result for result in record.results if result.accepted is None]
    bad = [result for result in open_ones if result.verdict is Verdict.DOES_NOT_CONFORM]
    untold = [result for result in open_ones if result.verdict is Verdict.UNDECIDED]
    untold.sort(key=lambda result: result.note_only)
    return [
        *(f"  x {result.ask} {on_one_line(result.because)}" for result in bad),
        *(
            f"  {'-' if result.note_only else '?'} {result.ask} {on_one_line(result.because)}"
            for result in untold
        ),
    ]
