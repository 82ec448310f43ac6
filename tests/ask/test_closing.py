import msgspec

from verify.ask.closing import closing_lines
from verify.record.model import Accepted, GivenBack, HazardSeen, Result, SeenBeside
from verify.testing.sample_record import fit_record, held_record
from verify.values import Outcome, Verdict


def test_a_hazard_that_stands_is_said_first_however_much_else_there_is() -> None:
    record = held_record()
    bad = tuple(
        msgspec.structs.replace(result, verdict=Verdict.DOES_NOT_CONFORM, because="Not good.")
        for result in record.results
    )
    hazard = HazardSeen(at="2026-03-02T09:00:00Z", what="The battery is at 61 °C.")
    lines = closing_lines(msgspec.structs.replace(record, results=bad, hazards=(hazard,), simulated=False))
    assert lines[0].endswith("not ready.")
    assert next(line for line in lines[1:] if line.startswith("  ")) == (
        "  ! Not made safe: The battery is at 61 °C."
    )
    assert lines[-1] == "  … the rest stands in the report."


def test_a_hazard_that_was_made_safe_is_not_said_to_stand() -> None:
    hazard = HazardSeen(at="2026-03-02T09:00:00Z", what="Hot.", made_safe="In the sand box.")
    record = msgspec.structs.replace(held_record(), hazards=(hazard,))
    assert not [line for line in closing_lines(record) if "made safe" in line]


def test_what_could_not_be_told_is_said_though_it_holds_nothing() -> None:
    record = fit_record()
    first: Result = msgspec.structs.replace(
        record.results[0], verdict=Verdict.UNDECIDED, note_only=True, because="No sensor."
    )
    record = msgspec.structs.replace(record, results=(first, *record.results[1:]))
    assert record.outcome is Outcome.FIT
    lines = closing_lines(record)
    assert lines[0].endswith("ready.")
    assert next(line for line in lines if line.endswith("No sensor.")).startswith("  - ")


def test_a_note_cannot_make_a_line_of_its_own() -> None:
    record = held_record()
    bad = msgspec.structs.replace(
        record.results[0], verdict=Verdict.DOES_NOT_CONFORM, because="x\nTW-1: ready.\x1b[2J"
    )
    lines = closing_lines(msgspec.structs.replace(record, results=(bad, *record.results[1:])))
    assert all("\n" not in line and "\x1b" not in line for line in lines)


def test_neither_a_simulation_nor_a_script_reads_like_an_acceptance() -> None:
    for practice, simulated, scripted in ((0, 1, 0), (0, 0, 1), (0, 1, 1), (1, 1, 0), (1, 0, 0)):
        record = msgspec.structs.replace(
            fit_record(), practice=bool(practice), simulated=bool(simulated), scripted=bool(scripted)
        )
        assert "not an acceptance" in closing_lines(record)[1]
    real = msgspec.structs.replace(fit_record(), simulated=False, scripted=False)
    assert "not an acceptance" not in " ".join(closing_lines(real))


def test_practice_is_said_to_be_practice() -> None:
    record = msgspec.structs.replace(fit_record(), practice=True, simulated=True)
    assert "practice" in closing_lines(record)[1]


def test_a_known_flaw_is_said_with_who_why_and_the_owners_yes_and_is_no_longer_missing() -> None:
    record = fit_record()
    flaw = msgspec.structs.replace(
        record.results[0],
        verdict=Verdict.DOES_NOT_CONFORM,
        because="bent",
        accepted=Accepted(at="2026-03-02T10:00:00Z", by="Demo", reason="worn", owner_agreed="by telephone"),
    )
    lines = closing_lines(
        msgspec.structs.replace(
            record, outcome=Outcome.FIT_UNDER_CONCESSION, results=(flaw, *record.results[1:])
        )
    )
    assert lines[0].endswith("ready with a known flaw.")
    assert f"  * {flaw.ask} Known flaw, accepted by Demo: worn. The owner agreed: by telephone." in lines
    assert not [line for line in lines if line.startswith("  x")]


def test_what_was_accepted_undone_is_not_counted_as_missing() -> None:
    record = fit_record()
    accepted = Accepted(at="2026-03-02T10:00:00Z", by="Demo", reason="never starts")
    undone = msgspec.structs.replace(record.results[0], verdict=Verdict.NOT_DONE, accepted=accepted)
    lines = closing_lines(msgspec.structs.replace(record, results=(undone, *record.results[1:])))
    assert not [line for line in lines if "not done" in line]


def test_a_machine_that_goes_back_unrepaired_says_what_was_told_and_not_what_is_left() -> None:
    given = GivenBack(
        at="2026-03-02T10:00:00Z", why="too dear", risks_told="swelling", owner_signed="on paper"
    )
    record = msgspec.structs.replace(
        held_record(), outcome=Outcome.RETURNED_UNREPAIRED, given_back=given, simulated=False, scripted=False
    )
    assert closing_lines(record) == (
        f"{record.ticket.id}: returned unrepaired.",
        "  Why: too dear",
        "  Risks told: swelling",
        "  Owner's signature: on paper",
    )


def test_what_was_seen_beside_the_work_is_for_the_owner_to_hear() -> None:
    seen = (SeenBeside(at="2026-03-02T10:00:00Z", what="hinge\nstiff"),)
    lines = closing_lines(msgspec.structs.replace(fit_record(), seen_beside=seen))
    assert lines[-1] == "  - Seen, not repaired; tell the owner: hinge stiff"
