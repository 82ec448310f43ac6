"""A record with nothing but times: for tests of what is made of them."""

from datetime import UTC, datetime, timedelta

import msgspec

from verify.record.model import Attempt, Record, Result
from verify.testing.sample_record import fit_record
from verify.values import Verdict

__all__ = ["at_minute", "record_of", "result_at"]

_BEGAN = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)


def at_minute(minute: float) -> str:
    """Return a moment, in min from the beginning of the run, as a record writes it."""
    return (_BEGAN + timedelta(minutes=minute)).strftime("%Y-%m-%dT%H:%M:%SZ")


def result_at(
    check: str, stage: str, *minutes: float, kind: str = "look", stale: int = 0, because: str = "Good."
) -> Result:
    """Return a check that was answered at these minutes. stale: how many answers are out of date."""
    return Result(
        check=check,
        checklist="a-list",
        kind=kind,
        stage=stage,
        place="inside",
        ask=f"Look at {check}.",
        good="Good.",
        verdict=Verdict.CONFORMS,
        because=because,
        attempts=tuple(
            Attempt(
                at=at_minute(minute),
                verdict=Verdict.CONFORMS,
                because=because,
                out_of_date="It was opened." if number < stale else "",
            )
            for number, minute in enumerate(minutes)
        ),
    )


def record_of(minutes: float = 60, /, **changes: object) -> Record:
    """Return a run of so many minutes in which nothing happened but what `changes` say."""
    bare: dict[str, object] = {
        "began": at_minute(0),
        "ended": at_minute(minutes),
        "clock_note": "Times are from this computer's own clock.",
        "results": (),
        "steps": (),
        "reopenings": (),
        "growths": (),
        "hazards": (),
        "gaps": (),
        "traces": (),
        "first_pass": {},
    }
    return msgspec.structs.replace(fit_record(), **{**bare, **changes})
