"""Realistic records for tests and for looking at the page: all invented."""

import msgspec

from verify import VERSION
from verify.judge import Limit, Rule
from verify.record.model import (
    RECORD_FORMAT,
    Attempt,
    HazardSeen,
    Part,
    Record,
    RequiredSigner,
    Result,
    StepTaken,
    Ticket,
    Trace,
    UsedChecklist,
    Work,
)
from verify.values import Outcome, Quantity, Reading, Unit, Verdict

_PRACTICE = "common practice, no source"


def _at(minute: int) -> str:
    return f"2026-03-10T{9 + minute // 60:02d}:{minute % 60:02d}:00Z"


def _result(
    check: str,
    stage: str,
    ask: str,
    good: str,
    attempt: Attempt,
    *,
    kind: str = "look",
    place: str = "inside, right of the battery",
    checklist: str = "every-repair",
    limit: Limit | None = None,
    earlier: tuple[Attempt, ...] = (),
    note_only: bool = False,
    probability: float | None = None,
) -> Result:
    return Result(
        check=check,
        checklist=checklist,
        kind=kind,
        stage=stage,
        place=place,
        ask=ask,
        good=good,
        verdict=attempt.verdict,
        because=attempt.because,
        probability=probability,
        limit=limit,
        note_only=note_only,
        attempts=(*earlier, attempt),
    )


def _good(minute: int, because: str = "Looked at and good.", *readings: Reading, note: str = "") -> Attempt:
    return Attempt(at=_at(minute), verdict=Verdict.CONFORMS, because=because, readings=readings, note=note)


def _results() -> tuple[Result, ...]:
    leads_then = Attempt(
        at=_at(31),
        verdict=Verdict.DOES_NOT_CONFORM,
        because="Looked at and not good.",
        note="The grey lead lay beside its clip.",
        out_of_date="The base was opened again.",
    )
    capacity = Reading(
        value=55.1, unit=Unit.WATT_HOUR, standard_uncertainty=0.6, source="the battery's own gauge, BAT0"
    )
    gap = Reading(value=0.08, unit=Unit.MILLIMETRE, standard_uncertainty=0.012, source="feeler gauge")
    hot = Reading(value=71.0, unit=Unit.CELSIUS, standard_uncertainty=1.2, source="sensor coretemp")
    return (
        _result(
            "hazard-first",
            "arrived",
            "Look, feel and smell before you touch the screws.",
            "Nothing bulges, is hot, wet, smokes or smells.",
            _good(2, "Nothing was found."),
            kind="hazard",
            place="the whole machine",
        ),
        _result(
            "leads-home",
            "open",
            "Follow both radio leads to their plugs.",
            "Both plugs sit flat; no lead is pinched.",
            _good(52),
            earlier=(leads_then,),
        ),
        _result(
            "screws-back",
            "open",
            "Count the screws of the base, by length.",
            "None missing, none left over.",
            _good(
                58,
                "All are accounted for.",
                Reading(value=0.0, unit=Unit.COUNT, standard_uncertainty=0.0, source="counted, long"),
                Reading(value=0.0, unit=Unit.COUNT, standard_uncertainty=0.0, source="counted, short"),
            ),
            kind="count",
            place="screw tray",
            limit=Limit(
                lower=Quantity(value=0, unit=Unit.COUNT),
                upper=Quantity(value=0, unit=Unit.COUNT),
                rule=Rule.COUNT,
                source=_PRACTICE,
            ),
        ),
        _result(
            "claimed-capacity",
            "charged",
            "The tool reads how much the battery says it holds.",
            "At least 90 % of its label.",
            _good(140, "55.1 Wh lies above 51.3 Wh by more than its uncertainty.", capacity),
            kind="probe",
            place="battery",
            checklist="battery",
            limit=Limit(lower=Quantity(value=51.3, unit=Unit.WATT_HOUR), rule=Rule.GUARDED, source=_PRACTICE),
            probability=0.9999,
        ),
        _result(
            "seam-gap",
            "charged",
            "Measure the seam at the palm rest with a plastic leaf.",
            "No more than 0.30 mm.",
            _good(150, "0.08 mm lies below 0.30 mm by more than its uncertainty.", gap),
            kind="measure",
            place="palm rest, middle",
            checklist="battery",
            limit=Limit(
                upper=Quantity(value=0.30, unit=Unit.MILLIMETRE), rule=Rule.GUARDED, source=_PRACTICE
            ),
            probability=1.0,
        ),
        _result(
            "heat-under-load",
            "charged",
            "The tool watches the temperature under load.",
            "Recorded, not judged.",
            _good(156, "Recorded.", hot),
            kind="probe",
            place="processor",
            limit=Limit(upper=Quantity(value=100, unit=Unit.CELSIUS), rule=Rule.INFORM, source="the driver"),
        ),
        _result(
            "hinge-moves",
            "finished",
            "Open and close the lid three times.",
            "Both sides move alike.",
            _good(170, note="A little stiff on the left, as on arrival."),
            place="lid",
        ),
        _result(
            "camera-works",
            "finished",
            "Open the camera and look at the picture.",
            "A live picture in natural colour.",
            Attempt(
                at=_at(172),
                verdict=Verdict.UNDECIDED,
                because="It cannot be seen.",
                note="The owner's account is locked.",
            ),
            place="lid",
            note_only=True,
        ),
        _result(
            "complaint-gone",
            "finished",
            "Do what the owner described. Does it still happen?",
            "The complaint is gone.",
            _good(176, note="Every key typed twice; none sticks or repeats."),
            place="keyboard",
        ),
    )


def fit_record() -> Record:
    """Return the record of a tea spill: keyboard deck, battery and feet renewed; fit, two signers."""
    work = (
        Work(kind="keyboard-deck", part=Part(source="original", identity="KD-15-UK")),
        Work(
            kind="battery",
            part=Part(source="reproduction", identity="no name on it", label={"energy": "57.0 Wh"}),
        ),
        Work(kind="feet", part=Part(source="reproduction")),
        Work(kind="base"),
    )
    ticket = Ticket(
        id="TW-1042",
        shop="Tidewater Repairs",
        bench="Bench 2",
        owner="A. Sample",
        maker="Fennel",
        model="Larkspur 15",
        serial="FN15-000142",
        complaint="Tea went over the keyboard. Some keys stick, others type twice.",
        work=work,
    )
    text = "format: checklist/1\nid: every-repair\n"
    return Record(
        format=RECORD_FORMAT,
        tool=f"handback {VERSION}",
        ticket=ticket,
        simulated=False,
        scripted=False,
        began=_at(0),
        ended=_at(178),
        clock_note="The computer's own clock; it ran evenly during the run.",
        outcome=Outcome.FIT,
        reasons=(),
        machine={"maker": "Fennel", "model": "Larkspur 15", "serial": "FN15-000142"},
        read_by="linux",
        results=_results(),
        steps=(
            StepTaken(step="connect-pack", name="connect the battery", stage="open", at=_at(60)),
            StepTaken(step="close-base", name="close the base", stage="open", at=_at(64)),
            StepTaken(step="fit-feet", name="fit the feet", stage="charged", at=_at(160)),
            StepTaken(step="hand-back", name="hand the machine back", stage="finished", at=_at(178)),
        ),
        hazards=(),
        first_pass={"leads-home": Verdict.DOES_NOT_CONFORM, "screws-back": Verdict.CONFORMS},
        checklists=(
            UsedChecklist(
                id="every-repair",
                revision=3,
                title="What every repair needs",
                sha256="5d2d3ceb7abe552344276d47d36a8175b7aeb250a9bf0bf00e850cd23ecf2e43",
                text=text,
            ),
        ),
        traces=(
            Trace(
                name="charge-1.csv",
                check="claimed-capacity",
                sha256="9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
                samples=4812,
            ),
        ),
        signers=(RequiredSigner(order=1, role="technician"), RequiredSigner(order=2, role="reviewer")),
        journal_head="2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae",
        journal_count=63,
    )


def held_record() -> Record:
    """Return the record of a battery job that is held: the new pack holds far less than its label."""
    capacity = Reading(
        value=31.2, unit=Unit.WATT_HOUR, standard_uncertainty=0.7, source="the battery's own gauge, BAT0"
    )
    low = Attempt(
        at=_at(140),
        verdict=Verdict.DOES_NOT_CONFORM,
        because="31.2 Wh lies below 45.0 Wh by more than its uncertainty.",
        readings=(capacity,),
    )
    fit = fit_record()
    results = []
    for result in fit.results:
        if result.check == "claimed-capacity":
            results.append(
                msgspec.structs.replace(
                    result,
                    verdict=low.verdict,
                    because=low.because,
                    attempts=(low,),
                    probability=0.0,
                    limit=Limit(
                        lower=Quantity(value=45.0, unit=Unit.WATT_HOUR), rule=Rule.GUARDED, source=_PRACTICE
                    ),
                )
            )
        elif result.stage == "finished":
            results.append(
                msgspec.structs.replace(
                    result, verdict=Verdict.NOT_DONE, because="Not done.", attempts=(), note_only=False
                )
            )
        else:
            results.append(result)
    ticket = msgspec.structs.replace(
        fit.ticket,
        id="TW-1057",
        model="Larkspur 13",
        serial="FN13-000057",
        complaint="It only runs for an hour without the charger.",
        work=(Work(kind="battery", part=Part(source="reproduction", label={"energy": "50.0 Wh"})),),
    )
    return msgspec.structs.replace(
        fit,
        ticket=ticket,
        outcome=Outcome.HELD,
        reasons=(
            "claimed-capacity: not good.",
            "hinge-moves: not done.",
            "camera-works: not done.",
            "complaint-gone: not done.",
        ),
        results=tuple(results),
        steps=(
            *fit.steps[:2],
            StepTaken(
                step="fit-feet",
                name="fit the feet",
                stage="charged",
                at=None,
                held_because=("The tool reads how much the battery says it holds: not good.",),
            ),
        ),
        hazards=(
            HazardSeen(
                at=_at(4),
                what="The old battery bulged.",
                made_safe="Taken out, put in the sand box outside, by the technician of bench 2.",
                made_safe_at=_at(12),
            ),
        ),
        machine={"maker": "Fennel", "model": "Larkspur 13", "serial": "FN13-000057"},
    )
