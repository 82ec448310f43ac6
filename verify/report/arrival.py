"""What was taken on arrival, as the rows of a small table. No layout."""

import msgspec

from verify.record.arrival import FUNCTIONS, Arrival
from verify.report.numbers import moment, written
from verify.report.pictures import PictureView, Standing
from verify.report.words import ARRIVAL, FOUND_AS, TRIED


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One line: what, what it was, and a remark that may be empty. Foreign text, not escaped yet."""

    what: str
    told: str
    remark: str = ""


def arrival_rows(arrival: Arrival, pictures: tuple[PictureView, ...]) -> tuple[Row, ...]:
    """Return the rows in the order in which it was asked; what nobody said is told as not said."""
    say = ARRIVAL
    with_it = arrival.accessories
    rows = [
        Row(what=say["at"], told=moment(arrival.at)),
        Row(
            what=say["found_as"],
            told=say["not_said"] if arrival.found_as is None else FOUND_AS[arrival.found_as],
        ),
        Row(
            what=say["accessories"],
            told=say["not_said"] if with_it is None else ", ".join(with_it) or say["nothing"],
        ),
    ]
    rows += [Row(what=_begun(name), told=TRIED[arrival.tried[name]]) for name in _functions(arrival)]
    rows += [
        Row(
            what=_begun(reading.source),
            told=written(reading),
            remark=reading.reason or "" if reading.value is not None else "",
        )
        for reading in arrival.readings
    ]
    if not arrival.readings:
        rows.append(Row(what=say["readings"], told=arrival.readings_note or say["not_said"]))
    elif arrival.readings_note:
        rows.append(Row(what=say["readings_note"], told=arrival.readings_note))
    rows.append(_pictures(arrival, pictures))
    return tuple(rows)


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]


def _functions(arrival: Arrival) -> tuple[str, ...]:
    """Return what was tried in the order of the bench: a record sorts its names."""
    known = [name for name in FUNCTIONS if name in arrival.tried]
    return (*known, *(name for name in arrival.tried if name not in FUNCTIONS))


def _pictures(arrival: Arrival, pictures: tuple[PictureView, ...]) -> Row:
    say = ARRIVAL
    if arrival.pictures is None:
        return Row(what=say["pictures"], told=say["not_said"])
    if not pictures:
        return Row(what=say["pictures"], told=say["no_pictures"])
    unseen = sum(view.standing is not Standing.SHOWN for view in pictures)
    return Row(
        what=say["pictures"],
        told=say["picture_count"].format(count=len(pictures)),
        remark=say["unseen"].format(count=unseen) if unseen else "",
    )
