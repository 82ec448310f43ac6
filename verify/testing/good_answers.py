"""A technician who finds everything good, but for what a test says."""

from collections.abc import Iterable, Mapping

from verify.ask.drawn import DrawingCamera
from verify.checklist import Check, Kind
from verify.checklist.answers import (
    Answer,
    Counted,
    Entered,
    Hazard,
    Look,
    Measured,
    Photo,
    Seen,
    Span,
    Tally,
)
from verify.record.arrival import FoundAs, Picture, Tried
from verify.run import arrival
from verify.run.events import Arrived
from verify.values import Unit

NO_CAMERA = "No camera at hand."


def good_script(checks: Iterable[Check]) -> dict[str, object]:
    """Return the `answers:` of an answer file that finds everything good; automatic checks need none."""
    given: dict[str, object] = {}
    for check in checks:
        match check.kind:
            case Kind.LOOK:
                given[check.id] = "good"
            case Kind.HAZARD:
                given[check.id] = "no"
            case Kind.MEASURE if check.unit is not Unit.MILLIMETRE:
                given[check.id] = {}
            case Kind.MEASURE:
                given[check.id] = {station: [0.10, 0.15] for station in check.stations}
            case Kind.COUNT:
                given[check.id] = {counted: {"out": 6, "back": 6} for counted in check.counts}
            case Kind.PHOTO:
                given[check.id] = {"answer": "none", "note": NO_CAMERA}
            case Kind.PROBE | Kind.WAIT:
                pass
    return given


class GoodAnswers:
    """Finds everything good, or what `but` says of a check; without a camera there is no picture."""

    def __init__(
        self, but: Mapping[str, Answer | None] | None = None, *, camera: DrawingCamera | None = None
    ) -> None:
        self.but = dict(but or {})
        self.camera = camera
        self.asked: list[str] = []

    def answer(self, check: Check) -> Answer | None:
        """Return the answer; None where `but` says None."""
        self.asked.append(check.id)
        if check.id in self.but:
            return self.but[check.id]
        match check.kind:
            case Kind.HAZARD:
                return Hazard(present=False)
            case Kind.MEASURE if check.unit is not Unit.MILLIMETRE:
                # No scale, no inline meter: the tool's own reading has to do.
                return Entered(values={})
            case Kind.MEASURE:
                span = Span(enters_mm=0.10, stops_mm=0.15)
                return Measured(spans=dict.fromkeys(check.stations, span))
            case Kind.COUNT:
                return Counted(tallies=dict.fromkeys(check.counts or ("all",), Tally(out=6, back=6)))
            case Kind.PHOTO:
                return Photo(seen=None, note=NO_CAMERA) if self.camera is None else Photo(seen=Seen.GOOD)
            case _:
                return Look(seen=Seen.GOOD)

    def pictures(self, check: Check, *, number: int) -> tuple[Picture, ...]:
        """Take the check's pictures over."""
        return () if self.camera is None else self.camera.pictures(check, number=number)

    def arrival(self, topic: str) -> Arrived:
        """Say that it runs, works, and came with its charger."""
        said = {
            arrival.FOUND_AS: Arrived(found_as=FoundAs.RUNS),
            arrival.COMPLAINT: Arrived(complaint="It does not charge."),
            arrival.PICTURES: Arrived(pictures=()),
            arrival.ACCESSORIES: Arrived(accessories=("charger",)),
        }
        return said.get(topic, Arrived(tried={topic: Tried.WORKS}))
