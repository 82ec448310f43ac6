"""The screw tray: of each kind how many came out, and how many went back in. A table says it best."""

import re

import msgspec

from verify.record.model import Record
from verify.report.capacities import readings_of
from verify.report.words import MARKS, TRAY
from verify.values import Reading, Verdict

__all__ = ["TrayRow", "TrayView", "tray_views"]

_ACCOUNT = re.compile(
    r"(.+) missing: (\d+) out, (\d+) new, (\d+) back((?:, \d+ (?:returned|scrapped))*)", re.DOTALL
)


class TrayRow(msgspec.Struct, frozen=True, kw_only=True):
    """One kind: counts as written, what else became of some, and the account in words.

    accounted: whether nothing is missing and nothing left over; None where it was not counted.
    """

    kind: str
    out: str
    new: str
    back: str
    other: str
    account: str
    accounted: bool | None

    @property
    def shape(self) -> str:
        """Return the mark beside the account."""
        if self.accounted is None:
            return MARKS[Verdict.UNDECIDED]
        return MARKS[Verdict.CONFORMS if self.accounted else Verdict.DOES_NOT_CONFORM]


class TrayView(msgspec.Struct, frozen=True, kw_only=True):
    """A check that counts: its question, and a row for each kind."""

    ask: str
    rows: tuple[TrayRow, ...]


def tray_views(record: Record) -> tuple[TrayView, ...]:
    """Return a table for each count of which the record tells what it was made of; the latest count."""
    views = []
    for result in record.results:
        readings = readings_of(result) if result.kind == "count" else ()
        if any(_ACCOUNT.fullmatch(reading.source) for reading in readings):
            views.append(TrayView(ask=result.ask, rows=tuple(map(_row, readings))))
    return tuple(views)


def _row(reading: Reading) -> TrayRow:
    told = _ACCOUNT.fullmatch(reading.source)
    kind, out, new, back, other = told.groups() if told else (reading.source, *[TRAY["unknown"]] * 3, "")
    return TrayRow(
        kind=kind,
        out=out,
        new=new,
        back=back,
        other=other.removeprefix(", "),
        account=_account(reading.value),
        accounted=None if reading.value is None else reading.value == 0,
    )


def _account(missing: float | None) -> str:
    if missing is None:
        return TRAY["unknown"]
    if missing == 0:
        return TRAY["none_missing"]
    return TRAY["missing" if missing > 0 else "over"].format(count=f"{abs(missing):g}")
