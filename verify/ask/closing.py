"""The words at the end of a session: where the ticket stands, and what to do next. Pure."""

from verify.record.model import Record
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
    if record.simulated:
        lines.append("This was a simulation. It is not an acceptance.")
    elif record.scripted:
        lines.append("The answers came from a script. It is not an acceptance.")
    # A hazard is never cut off, however much else there is to say.
    lines += [
        f"  ! Not made safe: {on_one_line(hazard.what)}" for hazard in record.hazards if not hazard.made_safe
    ]
    found = _found(record)
    lines += found[:_SHOWN_AT_MOST]
    if len(found) > _SHOWN_AT_MOST:
        lines.append("  … the rest stands in the report.")
    undone = sum(result.verdict is Verdict.NOT_DONE for result in record.results)
    if undone:
        lines.append(f"  {undone} of {len(record.results)} checks are not done.")
    return tuple(lines)


def _found(record: Record) -> list[str]:
    """Say each check that is not good, then those that hold because they cannot be told, then mere notes."""
    bad = [result for result in record.results if result.verdict is Verdict.DOES_NOT_CONFORM]
    untold = [result for result in record.results if result.verdict is Verdict.UNDECIDED]
    untold.sort(key=lambda result: result.note_only)
    return [
        *(f"  x {result.ask} {on_one_line(result.because)}" for result in bad),
        *(
            f"  {'-' if result.note_only else '?'} {result.ask} {on_one_line(result.because)}"
            for result in untold
        ),
    ]
