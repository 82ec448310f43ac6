"""The words at the end of a session: where the ticket stands, and what to do next. Pure."""

from verify.record.model import Record
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
    if record.outcome is Outcome.HELD:
        bad = [result for result in record.results if result.verdict is Verdict.DOES_NOT_CONFORM]
        unsure = [
            result
            for result in record.results
            if result.verdict is Verdict.UNDECIDED and not result.note_only
        ]
        undone = [result for result in record.results if result.verdict is Verdict.NOT_DONE]
        lines += [f"  x {result.ask} {result.because}" for result in bad]
        lines += [f"  ? {result.ask} {result.because}" for result in unsure]
        if len(lines) > _SHOWN_AT_MOST:
            lines = [*lines[:_SHOWN_AT_MOST], "  … the rest stands in the report."]
        if undone:
            lines.append(f"  {len(undone)} of {len(record.results)} checks are not done.")
    return tuple(lines)
