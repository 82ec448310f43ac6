"""What a check may know of what was found and measured before: readings that count, and only those."""

from pathlib import Path

import msgspec
import pytest

from verify.ask.entry import parse_value
from verify.ask.given import parse_answer
from verify.ask.simulated import SimulatedBench
from verify.ask.view import strip_words
from verify.ask.words import band_text
from verify.checklist import Check, Kind
from verify.checklist.answers import Answer, Entered, Measured, Span
from verify.checklist.loader import parse_checklist
from verify.probe import Context, Working, make_probe
from verify.probe.registry import probe_units
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin
from verify.run.findings import judge_answer, readings_of
from verify.values import Quantity, Reading, Unit, Verdict
from verify.values.errors import InvalidValueError, OrderError

LIST = """\
format: checklist/1
id: scale-and-load
revision: 1
title: Scale and load
for_work: [battery]
steps:
  - {id: begin, name: begin, stage: arrived}
  - {id: go-on, name: go on, stage: arrived}
  - {id: hand-back, name: hand the machine back, stage: arrived}
checks:
  - id: pack-grams
    kind: measure
    ask: Weigh it.
    good: A value in grams.
    place: scale
    stage: arrived
    minutes: 1
    stations: [whole battery]
    unit: g
    before: [begin]
    voided_by: [pack-unplugged]
  - id: seen
    kind: probe
    probe: pack-present
    ask: The tool looks.
    good: One.
    place: battery
    stage: arrived
    minutes: 1
    before: [begin]
    voided_by: [pack-unplugged]
    limit: {at_least: 1 pieces, rule: count, source: "common practice, no source"}
  - id: rest-level
    kind: probe
    probe: rest-level
    ask: The tool reads.
    good: Within 6 %.
    place: battery
    stage: arrived
    minutes: 1
    before: [begin]
    voided_by: [pack-unplugged]
    limit: {at_most: 6 %, rule: simple, source: "common practice, no source"}
  - id: truth
    kind: probe
    probe: gauge-told-truth
    ask: The tool compares.
    good: Nothing.
    place: battery
    stage: arrived
    minutes: 1
    before: [go-on]
    voided_by: [pack-unplugged]
    limit: {at_most: 0 pieces, rule: count, source: "common practice, no source"}
"""
CHECKS = {check.id: check for check in parse_checklist(LIST, name="x", known_probes=probe_units()).checks}


@pytest.fixture
def owner(tmp_path: Path):  # type: ignore[no-untyped-def]
    bench = SimulatedBench(faults={})
    label = {"energy": "57.0 Wh", "voltage": "11.4 V", "weight": "236 g"}
    work = (Work(kind="battery", part=Part(source="used", label=label)),)
    with RunFolder(tmp_path / "TW-9") as folder:
        begin(
            folder,
            ticket=Ticket(id="TW-9", work=work),
            checklists=(parse_checklist(LIST, name="x", known_probes=probe_units()),),
            clock=bench.clock,
        )
        held = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        held.bench = bench  # type: ignore[attr-defined]
        yield held
        held.close()


def context(owner: Owner) -> Context:
    return owner._context(owner.composition.checks[0], since=0)


def watch(owner: Owner, seconds: int) -> None:
    for _ in range(seconds // 10):
        sample = owner.bench.sampler.next(0)  # type: ignore[attr-defined]
        if sample is not None:
            owner.take_sample(sample)


def test_a_check_is_told_the_label_what_was_typed_in_and_what_was_found(owner: Owner) -> None:
    assert (context(owner).earlier, context(owner).entered) == ({}, {})
    owner.answer("pack-grams", grams(236.0))
    watch(owner, 300)
    told = context(owner)
    assert told.label == {"energy": "57.0 Wh", "voltage": "11.4 V", "weight": "236 g"}
    assert told.label_wh == 57.0
    assert [(one.value, one.unit) for one in told.entered["pack-grams"]] == [(236.0, Unit.GRAM)]
    # Readings and asides both, of the checks by their ids.
    assert {"seen", "rest-level"} <= set(told.earlier)
    assert any("level at rest by its volts" in one.source for one in told.earlier["rest-level"])


def test_what_is_out_of_date_is_told_to_nobody(owner: Owner) -> None:
    owner.answer("pack-grams", grams(236.0))
    watch(owner, 300)
    owner.reopen(["pack-unplugged"], why="Another battery.")
    told = context(owner)
    assert "rest-level" not in told.earlier
    assert told.entered == {}


def test_what_was_undone_is_told_to_nobody(owner: Owner) -> None:
    owner.answer("pack-grams", grams(236.0))
    assert context(owner).entered
    assert owner.undo()
    assert context(owner).entered == {}


# ---------------------------------------------------------------- values that are typed in


def grams(value: float) -> Entered:
    return Entered(values={"whole battery": Quantity(value=value, unit=Unit.GRAM)})


def test_a_value_without_a_limit_is_recorded_and_holds_nothing() -> None:
    check = CHECKS["pack-grams"]
    assert (check.kind, check.unit) == (Kind.MEASURE, Unit.GRAM)
    judged = judge_answer(check, grams(236.0))
    assert judged.verdict is Verdict.NOT_APPLICABLE
    (reading,) = readings_of(grams(236.0))
    assert (reading.value, reading.unit) == (236.0, Unit.GRAM)
    nothing = judge_answer(check, Entered(values={}))
    assert nothing.verdict is Verdict.NOT_APPLICABLE
    assert "Not measured: whole battery" in nothing.because


@pytest.mark.parametrize(
    "answer",
    [
        Measured(spans={"whole battery": Span(enters_mm=0.1, stops_mm=0.2)}),
        Entered(values={"lid": Quantity(value=1, unit=Unit.GRAM)}),
        Entered(values={"whole battery": Quantity(value=1, unit=Unit.VOLT)}),
    ],
    ids=["leaves at a scale", "another place", "volts at a scale"],
)
def test_an_answer_that_is_none_is_refused(answer: Answer) -> None:
    with pytest.raises(OrderError):
        judge_answer(CHECKS["pack-grams"], answer)


def test_a_value_below_nothing_cannot_be() -> None:
    with pytest.raises(InvalidValueError):
        grams(-1.0)


@pytest.mark.parametrize(
    ("text", "value"),
    [("236", 236.0), ("236 g", 236.0), (" 236,5 ", 236.5), ("-", None), ("", None)],
)
def test_a_value_is_typed_as_people_do(text: str, value: float | None) -> None:
    found = parse_value(text, Unit.GRAM)
    assert (None if found is None else (found.value, found.unit)) == (
        None if value is None else (value, Unit.GRAM)
    )


@pytest.mark.parametrize("text", ["heavy", "236 V", "-5", "1 2", "nan", "inf g", "236 gg"])
def test_what_is_no_value_is_told_with_what_to_type(text: str) -> None:
    with pytest.raises(InvalidValueError) as caught:
        parse_value(text, Unit.GRAM)
    assert "Type the number in g" in caught.value.next_step


def test_a_file_of_answers_names_values_with_their_unit() -> None:
    assert parse_answer(CHECKS["pack-grams"], {"whole battery": "236 g"}) == grams(236.0)
    with pytest.raises(InvalidValueError):
        parse_answer(CHECKS["pack-grams"], {"whole battery": "236"})


def test_a_value_with_a_limit_is_judged() -> None:
    text = LIST.replace(
        "    unit: g\n", '    unit: g\n    limit: {at_least: 200 g, rule: simple, source: "ours"}\n'
    )
    check = parse_checklist(text, name="x", known_probes=probe_units()).checks[0]
    assert judge_answer(check, grams(236.0)).verdict is Verdict.CONFORMS
    assert judge_answer(check, grams(180.0)).verdict is Verdict.DOES_NOT_CONFORM
    assert judge_answer(check, Entered(values={})).verdict is Verdict.UNDECIDED


# ---------------------------------------------------------------- time left, as a band


@pytest.mark.parametrize(
    ("band", "text"),
    [
        ((2400.0, 3300.0), "40 to 55 min left"),
        ((20.0, 40.0), "under 1 min left"),
        ((30.0, 110.0), "up to 2 min left"),
        ((3000.0, 3010.0), "about 50 min left"),
        ((3000.0, 5400.0), "50 min to 1 h 30 min left"),
    ],
)
def test_time_left_is_told_as_a_band(band: tuple[float, float], text: str) -> None:
    assert band_text(*band) == text


def test_the_strip_shows_the_band_and_not_a_single_number(owner: Owner) -> None:
    working = Working(text="Charging.", seconds_left=3000.0, seconds_band=(2400.0, 3300.0))
    check: Check = CHECKS["seen"]
    shown = msgspec.structs.replace(owner.shown(), strip=(check, working))
    words = strip_words(shown)
    assert words is not None
    assert words[2] == "40 to 55 min left"


def test_the_charge_is_watched_with_a_band() -> None:
    bench = SimulatedBench(faults={})
    bench.machine.plug_in()
    probe = make_probe("charge-to-full", {}, Context())
    said = [probe.step(bench.machine.sample())]
    for _ in range(30):
        bench.clock.wait(10)
        said.append(probe.step(bench.machine.sample()))
    last = said[-1]
    assert isinstance(last, Working)
    assert last.seconds_band is not None
    low, high = last.seconds_band
    assert 600 < low < high < 3 * 3600


def test_a_reading_typed_in_has_no_uncertainty_that_nobody_stated() -> None:
    (reading,) = readings_of(grams(236.0))
    assert isinstance(reading, Reading)
    assert reading.standard_uncertainty is None
