"""One page for the counter: what the owner has to know, on one sheet of A4 or Letter.

Long lists and long texts are cut to what fits, and the page says how much was cut. What stands in the way,
the known flaws and what was not checked get the room that the rest leaves, each at least one line and the
number of those that it does not name.
"""

from collections.abc import Iterable, Mapping

import msgspec

from verify.record.canonical import record_bytes, record_from
from verify.record.model import Record, Result
from verify.record.page import MARKER, PAGE_END, escape_record, parts_of
from verify.record.visible import on_one_line
from verify.report import words
from verify.report.battery import battery_view
from verify.report.letters import clipped, lines_of
from verify.report.numbers import moment
from verify.report.owner import OwnerView, headline_of, kind_words, owner_view, plainly, work_words
from verify.report.render import bands, css_string, template
from verify.report.shop import shop_view
from verify.report.words import PAGE, SHOP, SUMMARY
from verify.values import Verdict
from verify.values.errors import InvalidValueError

SUMMARY_LAYOUT = "summary-page/1"
PART = "summary"
_PARTS = ("head", PART, "record", "end")

# In lines of the printed page and widths of a small letter. Letter is the shorter sheet, A4 the narrower one;
# tests/rig/test_chromium_summary.py prints the fullest page on both.
_LINES = 62.0
_LETTER = 12.9  # a small letter, in the units of verify.report.letters
_FULL, _HALF = 76 * _LETTER, 44 * _LETTER
_OUTCOME, _PLATE_ROW, _COUNTED, _DANGER, _FOOT = 8.0, 2.8, 3.5, 13.5, 4.5
_TITLE, _BESIDE, _GIVEN, _SIGNER, _WHOLE_REPORT = 1.7, 0.8, 3.0, 2.0, 1.6
_MOST_SIGNERS = 3
_ROW = 2  # lines
# How long each text may be, in small letters; where the page gets too full, a share of it.
_SHARES = (1.0, 0.75, 0.5, 0.35, 0.25)
_LONGEST = {
    "ticket": 100,
    "machine": 60,
    "serial": 40,
    "owner": 40,
    "bench": 40,
    "began": 40,
    "ended": 40,
    "complaint": 170,
    "because": 110,
    "battery": 130,
    "entry": 150,
    "work": 120,
    "seen": 100,
    "house": 80,
    "shop": 90,
    "address": 130,
    "telephone": 60,
    "mail": 60,
    "web": 60,
    "warranty": 300,
    "role": 24,
    "given": 150,
}
_WHOLE = {"ticket", "began", "ended", "telephone", "role"}  # a number that was cut helps nobody


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a list: foreign text, on one line, that is not escaped yet. count: how many it names."""

    what: str
    verdict: Verdict | None = None
    accepted: bool = False
    count: int = 1


class Listed(msgspec.Struct, frozen=True, kw_only=True):
    """A list as far as it fits; more: the sentence that says how many it leaves out, or empty."""

    entries: tuple[Entry, ...] = ()
    more: str = ""


class SummaryView(msgspec.Struct, frozen=True, kw_only=True):
    """What the page tells beside the record's own short fields. Everything is clipped."""

    house: str
    plate: tuple[tuple[str, str], ...]
    given_back: tuple[tuple[str, str], ...]
    missing: Listed
    flaws: Listed
    unchecked: Listed
    counted: str
    complaint: str
    complaint_verdict: Verdict
    complaint_says: str
    complaint_because: str
    work: Listed
    battery: str
    battery_verdict: Verdict | None
    seen: Listed
    shop_name: str
    address: str
    ways: tuple[tuple[str, str], ...]
    warranty: str
    signers: Listed


def render_summary(record: Record, pictures: Mapping[str, bytes] | None = None) -> bytes:
    """Return the page, unsigned, ending with `</html>` and a line feed.

    pictures: bytes by the file's name in the record; of those only the shop's mark is shown.
    Raises InvalidValueError where the record has no canonical form.
    """
    from markupsafe import Markup

    data = record_bytes(record)
    record = record_from(data)  # whoever reads it out of the page must get the same page
    text = template("summary.html").render(
        record=record,
        view=summary_view(record, pictures or {}),
        shop=shop_view(record, pictures or {}),
        headline=headline_of(record),
        bands=bands(record),
        layout=SUMMARY_LAYOUT,
        ticket_css=Markup(css_string(on_one_line(record.ticket.id))),  # every character is a code
        embedded=Markup(escape_record(data).decode()),  # escaped by the one rule that takes it out again
    )
    page = text.encode()
    if MARKER in page or not page.endswith(PAGE_END) or tuple(parts_of(page)) != _PARTS:
        raise InvalidValueError("The page did not come out as a page must be.")
    return page


def summary_view(record: Record, pictures: Mapping[str, bytes]) -> SummaryView:
    """Pick what the page tells, and cut it to what fits."""
    views = (_view(record, pictures, _Cut(share)) for share in _SHARES)
    found, room = next(views)
    for tighter in views:
        if room >= 0:
            break
        found, room = tighter
    return found


class _Cut:
    """Cuts foreign texts to their share of what each may be long."""

    def __init__(self, share: float) -> None:
        self._share = share

    def __call__(self, name: str, text: str) -> str:
        return clipped(text, _LETTER * _LONGEST[name] * (1.0 if name in _WHOLE else self._share))

    def lines(self, most: int) -> float:
        """Return how many lines a row may take."""
        return max(1.0, self._share * most)


def _view(record: Record, pictures: Mapping[str, bytes], cut: _Cut) -> tuple[SummaryView, float]:
    """Return the page cut so far, and how many lines are left; below 0 where it does not fit."""
    owner, shop, battery = owner_view(record), shop_view(record, pictures), battery_view(record)
    plate, given_back = _plate(record, cut), _given_back(record, cut)
    complaint = cut("complaint", record.ticket.complaint) or PAGE["no_complaint"]
    because = cut("because", owner.complaint_because)
    told = cut("battery", battery.lines[0])
    house = cut("house", record.ticket.shop)
    shop_name, address = cut("shop", shop.name), cut("address", ", ".join(shop.address))
    warranty = cut("warranty", " ".join(shop.warranty))
    ways = tuple((SHOP[name], cut(name, text)) for name, text in shop.ways)
    signers = _first((Entry(what=cut("role", one.role)) for one in record.signers), _MOST_SIGNERS)
    beside_danger = (shop_name, address, " ".join(f"{word} {text}" for word, text in ways), warranty)
    beside_work = _high(complaint, owner.complaint_says, because)
    beside_seen = _high(told) + 1
    taken = (
        _OUTCOME
        + max(0, lines_of(house, _HALF) - 2)  # beside the mark
        + _PLATE_ROW * ((len(plate) + 2) // 3)
        + _GIVEN * bool(given_back)
        + sum(lines_of(f"{word} {text}", _FULL) for word, text in given_back)
        + _COUNTED
        + beside_work
        + beside_seen
        + max(_DANGER, _high(*beside_danger) + _WHOLE_REPORT)
        + _SIGNER * len(signers.entries)
        + _FOOT
    )
    lists, room = _shared(
        (
            _List(entries=_missing(owner, cut), wide=_FULL),
            _List(entries=_flaws(owner, cut), wide=_FULL),
            _List(entries=_unchecked(owner, cut), wide=_FULL),
            _List(entries=_work(record, cut), wide=_HALF, free=beside_work),
            _List(entries=_seen(owner, cut), wide=_HALF, free=beside_seen),
        ),
        room=_LINES - taken,
    )
    missing, flaws, unchecked, work, seen = lists
    return SummaryView(
        house=house,
        plate=plate,
        given_back=given_back,
        missing=missing,
        flaws=flaws,
        unchecked=unchecked,
        counted=owner.counted,
        complaint=complaint,
        complaint_verdict=owner.complaint_verdict,
        complaint_says=owner.complaint_says,
        complaint_because=because,
        work=work,
        battery=told,
        battery_verdict=battery.verdict,
        seen=seen,
        shop_name=shop_name,
        address=address,
        ways=ways,
        warranty=warranty,
        signers=signers,
    ), room


def _plate(record: Record, cut: _Cut) -> tuple[tuple[str, str], ...]:
    ticket = record.ticket
    pairs = (
        ("ticket", ticket.id),
        ("machine", on_one_line(f"{ticket.maker} {ticket.model}") or PAGE["unnamed"]),
        ("serial", ticket.serial),
        ("owner", ticket.owner) if ticket.owner else ("bench", ticket.bench),
        ("began", moment(record.began)),
        ("ended", moment(record.ended)),
    )
    return tuple((PAGE[name], cut(name, text)) for name, text in pairs if text)


def _given_back(record: Record, cut: _Cut) -> tuple[tuple[str, str], ...]:
    if record.given_back is None:
        return ()
    told = record.given_back
    pairs = (
        (PAGE["given_back_why"], told.why),
        (PAGE["risks_told"], told.risks_told),
        (PAGE["owner_signed"], told.owner_signed),
    )
    return tuple((word, cut("given", text)) for word, text in pairs)


def _told(result: Result, *more: str) -> str:
    """Return what a check is about, and what is said of it."""
    what, why = result.about or result.ask, " ".join(filter(None, more))
    if not why:
        return what
    return SUMMARY["told" if what.endswith((".", "?", "!")) else "named"].format(what=what, why=why)


def _entry(result: Result, cut: _Cut, *more: str) -> Entry:
    accepted = result.accepted is not None
    return Entry(what=cut("entry", _told(result, *more)), verdict=result.verdict, accepted=accepted)


def _missing(view: OwnerView, cut: _Cut) -> tuple[Entry, ...]:
    """Return what stands in the way, a hazard that was not made safe first."""
    return (
        *(Entry(what=cut("entry", line)) for line in view.missing),
        *(_entry(result, cut, plainly(result)) for result in view.wrong),
        *_stuck(view, cut),
    )


def _stuck(view: OwnerView, cut: _Cut) -> tuple[Entry, ...]:
    names = SUMMARY["stuck"].join(view.stuck)
    return (Entry(what=cut("entry", f"{PAGE['not_yet']} {names}"), count=len(view.stuck)),) if names else ()


def _flaws(view: OwnerView, cut: _Cut) -> tuple[Entry, ...]:
    return tuple(
        _entry(result, cut, plainly(result), PAGE["accepted_by"], f"{result.accepted.by}.")
        for result in view.flaws
        if result.accepted is not None
    )


def _unchecked(view: OwnerView, cut: _Cut) -> tuple[Entry, ...]:
    """Return what was not checked, those of one verdict in a row, as many as two lines hold."""
    rows: list[Entry] = []
    for result in sorted(view.unchecked, key=lambda one: (one.verdict, one.accepted is not None)):
        new = _entry(result, cut)
        row = rows[-1] if rows else None
        if row is None or (row.verdict, row.accepted) != (new.verdict, new.accepted):
            rows.append(new)
            continue
        what = SUMMARY["row"].format(before=row.what, what=new.what)
        together = msgspec.structs.replace(row, what=what, count=row.count + 1)
        if _tall(together, _FULL) <= cut.lines(_ROW):
            rows[-1] = together
        else:
            rows.append(new)
    return tuple(rows)


def _seen(view: OwnerView, cut: _Cut) -> tuple[Entry, ...]:
    told = [_told(result, plainly(result)) for result in view.seen]
    return tuple(Entry(what=cut("seen", text)) for text in (*told, *view.beside))


def _work(record: Record, cut: _Cut) -> tuple[Entry, ...]:
    return tuple(
        Entry(what=cut("work", f"{kind_words(work.kind)}: {work_words(record, work)}"))
        for work in record.ticket.work
    )


def _first(entries: Iterable[Entry], most: int) -> Listed:
    """Return the first entries, and the sentence that says how many there are more."""
    found = tuple(entries)
    left = sum(entry.count for entry in found[most:])
    return Listed(entries=found[:most], more=SUMMARY["more"].format(count=left) if left else "")


class _List(msgspec.Struct, frozen=True, kw_only=True):
    """What wants room. wide: of its lines. free: lines that stand empty beside something else."""

    entries: tuple[Entry, ...]
    wide: float
    free: float = 0.0

    def cost(self, count: int) -> float:
        """Return how many lines of room so many entries take, with title and what is said of the rest."""
        if not count:
            return 0.0
        tall = sum(_tall(entry, self.wide) for entry in self.entries[:count])
        title = _BESIDE if self.wide == _FULL else _TITLE
        return max(0.0, title + tall + (count < len(self.entries)) - self.free)


def _shared(lists: tuple[_List, ...], *, room: float) -> tuple[tuple[Listed, ...], float]:
    """Give each list one entry, then in turn one more as long as there is room, in lines.

    Returns them, and what is left of the room.
    """
    kept = [min(1, len(each.entries)) for each in lists]
    room -= sum(each.cost(count) for each, count in zip(lists, kept, strict=True))
    growing = [at for at, each in enumerate(lists) if kept[at] < len(each.entries)]
    while growing:
        for at in tuple(growing):
            each = lists[at]
            more = each.cost(kept[at] + 1) - each.cost(kept[at])
            if more <= max(0.0, room):
                room -= more
                kept[at] += 1
            if more > max(0.0, room) or kept[at] == len(each.entries):
                growing.remove(at)
    return tuple(_first(each.entries, count) for each, count in zip(lists, kept, strict=True)), room


def _high(*texts: str) -> float:
    """Return how many lines a section of half the page's width takes, with its title."""
    return _TITLE + sum(lines_of(text, _HALF) for text in texts)


def _tall(entry: Entry, wide: float) -> int:
    said = "" if entry.verdict is None else words.VERDICTS[entry.verdict]
    accepted = PAGE["accepted"] if entry.accepted else ""
    return lines_of(f"{said} {accepted} {entry.what}", wide)
