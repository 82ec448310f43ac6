"""Records of runs with a history: taken in, opened again, grown, conceded, given back. All invented."""

from functools import cache
from io import BytesIO

import msgspec

from verify.record.arrival import FUNCTIONS, Arrival, FoundAs, Picture, Tried
from verify.record.canonical import sha256_hex
from verify.record.model import (
    Accepted,
    Gap,
    GivenBack,
    Growth,
    HazardSeen,
    Record,
    Reopening,
    Result,
    SeenBeside,
)
from verify.testing.sample_record import fit_record, held_record
from verify.values import Outcome, Reading, Unit, Verdict

_WET, _SEAM = "pictures/01.jpg", "pictures/02.jpg"


@cache
def sample_pictures() -> dict[str, bytes]:
    """Return two drawn pictures as JPEG, by the file's name in the records below."""
    from PIL import Image, ImageDraw

    keys = Image.new("RGB", (1600, 1067), (46, 50, 53))
    draw = ImageDraw.Draw(keys)
    for row in range(5):
        for column in range(13):
            x, y = 60 + column * 115 + row * 8, 150 + row * 160
            draw.rounded_rectangle((x, y, x + 96, y + 130), 14, fill=(28, 30, 32), outline=(95, 99, 102))
    draw.ellipse((520, 260, 1180, 760), fill=(120, 84, 48), outline=(84, 56, 30), width=10)
    seam = Image.new("RGB", (900, 1600), (203, 205, 204))
    draw = ImageDraw.Draw(seam)
    draw.rectangle((0, 760, 900, 780), fill=(38, 39, 40))
    draw.polygon(((0, 780), (900, 780), (900, 1010), (0, 860)), fill=(168, 170, 170))
    found = {}
    for name, image in ((_WET, keys), (_SEAM, seam)):
        data = BytesIO()
        image.save(data, "JPEG", quality=82)
        found[name] = data.getvalue()
    return found


def arrival() -> Arrival:
    """Return what was taken of a machine that runs, with two pictures."""
    shows = {_WET: "Tea between the keys.", _SEAM: "The seam at the palm rest."}
    return Arrival(
        at="2026-03-10T09:01:00Z",
        found_as=FoundAs.RUNS,
        accessories=("charger, 65 W", "sleeve"),
        tried=dict(
            zip(
                FUNCTIONS,
                (Tried.WORKS, Tried.FAILS, Tried.NOT_TRIED, Tried.WORKS, Tried.WORKS),
                strict=True,
            )
        ),
        pictures=tuple(
            Picture(file=name, shows=shows[name], sha256=sha256_hex(data))
            for name, data in sample_pictures().items()
        ),
        readings=(
            Reading(value=83.0, unit=Unit.PERCENT, source="battery BAT0, level"),
            Reading(value=31.4, unit=Unit.WATT_HOUR, source="battery BAT0, full capacity as it reports it"),
            Reading(value=None, unit=Unit.RPM, source="fan 1", reason="The sensor gave no number."),
        ),
        readings_note="The wireless network was switched off.",
    )


def full_record() -> Record:
    """Return a fit record in which everything happened that does not stand in the way of it."""
    fit = fit_record()
    return msgspec.structs.replace(
        fit,
        hazards=(
            HazardSeen(
                at="2026-03-10T09:05:00Z",
                what="The old battery bulged.",
                made_safe="Taken out, in the sand box outside.",
                made_safe_by="Demo Technician",
                made_safe_at="2026-03-10T09:12:00Z",
            ),
        ),
        arrival=arrival(),
        reopenings=(
            Reopening(
                at="2026-03-10T09:45:00Z",
                opened=("base", "pack-unplugged"),
                why="The touchpad did not click.",
                voided=("leads-home",),
            ),
            Reopening(at="2026-03-10T11:44:00Z", opened=("lid",), why="A look at the hinge."),
        ),
        growths=(Growth(at="2026-03-10T09:40:00Z", work=("battery", "feet")),),
        seen_beside=(
            SeenBeside(at="2026-03-10T09:50:00Z", what="The left hinge cover has a hair crack."),
            SeenBeside(at="2026-03-10T09:58:00Z", what="Dust in the fan; it was not asked for."),
        ),
        gaps=(
            Gap(
                at="2026-03-10T10:40:00Z",
                check="claimed-capacity",
                seconds=720.0,
                asleep_s=600.0,
                lid_closed=True,
            ),
            Gap(at="2026-03-10T11:10:00Z", check="claimed-capacity", seconds=41.0),
        ),
        first_pass={result.check: _first(result) for result in fit.results},
        first_pass_outcome=Outcome.HELD,
    )


def _first(result: Result) -> Verdict:
    return result.attempts[0].verdict


def conceded_record() -> Record:
    """Return a record that is fit under concession: a capacity with the owner's yes, a look without."""
    accepted = {
        "claimed-capacity": Accepted(
            at="2026-03-10T11:30:00Z",
            by="Demo Reviewer",
            reason="No better pack can be had before May; it will be exchanged then.",
            owner_agreed="On the telephone, 10 March, 12:20; repeated back to us.",
        ),
        "hinge-moves": Accepted(
            at="2026-03-10T11:52:00Z", by="Demo Reviewer", reason="Stiff since it was new; within its travel."
        ),
    }
    full = full_record()
    low = next(result for result in held_record().results if result.check == "claimed-capacity")
    results = []
    for result in full.results:
        if result.check == "claimed-capacity":
            results.append(msgspec.structs.replace(low, accepted=accepted[result.check]))
        elif result.check == "hinge-moves":
            last = msgspec.structs.replace(
                result.attempts[-1], verdict=Verdict.UNDECIDED, because="It cannot be told."
            )
            results.append(
                msgspec.structs.replace(
                    result,
                    verdict=last.verdict,
                    because=last.because,
                    attempts=(last,),
                    accepted=accepted[result.check],
                )
            )
        else:
            results.append(result)
    return msgspec.structs.replace(
        full,
        outcome=Outcome.FIT_UNDER_CONCESSION,
        reasons=(
            "claimed-capacity: not good, accepted with a known flaw.",
            "hinge-moves: cannot tell yet, accepted with a known flaw.",
        ),
        results=tuple(results),
        first_pass={result.check: _first(result) for result in results},
    )


def returned_record() -> Record:
    """Return the record of a repair that the owner declined: the machine came in dead."""
    held = held_record()
    undone = tuple(
        result
        if result.check in {"hazard-first", "claimed-capacity"}
        else msgspec.structs.replace(
            result,
            verdict=Verdict.NOT_DONE,
            because="Not done.",
            attempts=(),
            note_only=False,
            probability=None,
        )
        for result in held.results
    )
    return msgspec.structs.replace(
        held,
        outcome=Outcome.RETURNED_UNREPAIRED,
        reasons=(
            "Returned unrepaired.",
            *(f"{one.check}: not done." for one in undone if one.verdict is Verdict.NOT_DONE),
        ),
        results=undone,
        arrival=Arrival(
            at="2026-03-10T09:01:00Z",
            found_as=FoundAs.DEAD,
            accessories=(),
            pictures=(),
            readings_note="It does not start.",
        ),
        given_back=GivenBack(
            at="2026-03-10T11:57:00Z",
            why="The owner declined the repair: it costs more than the machine is worth to her.",
            risks_told="By Demo Technician: the machine has no battery now, and runs on the charger only.",
            owner_signed="Signed on paper, sheet kept with the ticket.",
        ),
        seen_beside=(
            SeenBeside(at="2026-03-10T09:50:00Z", what="The charger's lead is worn near the plug."),
        ),
        first_pass={"hazard-first": Verdict.CONFORMS, "claimed-capacity": Verdict.DOES_NOT_CONFORM},
    )


def practice_record() -> Record:
    """Return a run for learning: simulated, and marked as practice."""
    return msgspec.structs.replace(full_record(), practice=True, simulated=True)
