import msgspec

from verify.ask.closing import closing_lines
from verify.record.model import HazardSeen, Result
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
    for simulated, scripted in ((True, False), (False, True), (True, True)):
        record = msgspec.structs.replace(fit_record(), simulated=simulated, scripted=scripted)
        assert "not an acceptance" in closing_lines(record)[1]
    real = msgspec.structs.replace(fit_record(), simulated=False, scripted=False)
    assert "not an acceptance" not in " ".join(closing_lines(real))
