"""What the first screen says beside the outcome: a line each for what the owner must not miss. No layout."""

from collections.abc import Iterator

import msgspec

from verify.record.model import Record
from verify.report import words
from verify.report.owner import OwnerView


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One line. mark: the shape beside it."""

    what: str
    told: str
    mark: str


def glance_of(record: Record, view: OwnerView) -> tuple[Line, ...]:
    """Return what is dangerous, what stands against it, known flaws, the complaint, what was not checked.

    The last two always; the others where there is something to tell.
    """
    return tuple(_lines(record, view))


def _lines(record: Record, view: OwnerView) -> Iterator[Line]:
    if view.unmade:
        yield Line(what=words.GLANCE["unmade"], told=_count("hazards", len(view.unmade)), mark="struck")
    against = len(view.wrong) + len(view.missing) - len(view.unmade)
    if not view.unmade:
        against = against or len(view.stuck)
    if against:
        what = words.GLANCE["left" if record.given_back else "against"]
        yield Line(what=what, told=_count("things", against), mark="struck")
    if view.flaws:
        told = _count("flaws", len(view.flaws))
        yield Line(what=words.GLANCE["accepted"], told=told, mark="half")
    yield Line(
        what=words.GLANCE["complaint"],
        told=view.complaint_says,
        mark=words.MARKS[view.complaint_verdict],
    )
    unchecked = len(view.unchecked)
    told = _count("unchecked", unchecked) if unchecked else words.GLANCE["unchecked_none"]
    if not record.results:
        told = words.GLANCE["no_checks"]
    mark = "full" if record.results and not unchecked else "empty"
    yield Line(what=words.GLANCE["not_checked"], told=told, mark=mark)
    seen = len(view.seen) + len(view.beside)
    if seen:
        yield Line(what=words.GLANCE["seen"], told=_count("things", seen), mark="half")


def _count(name: str, count: int) -> str:
    return words.GLANCE[f"{name}_one"] if count == 1 else words.GLANCE[name].format(count=count)
