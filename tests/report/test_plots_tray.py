"""The screw tray tells of each kind what came out and went back, and never more than was counted."""

import msgspec
import pytest

from verify.checklist.answers import Counted, Tally
from verify.record.model import Attempt, Record, Result
from verify.report.plots.tray import tray_views
from verify.report.render import render
from verify.run.findings import readings_of
from verify.testing.sample_record import fit_record
from verify.values import Reading, Unit, Verdict


def _counted(readings: tuple[Reading, ...], kind: str = "count") -> Record:
    attempt = Attempt(
        at="2026-03-10T11:20:00Z", verdict=Verdict.CONFORMS, because="Because.", readings=readings
    )
    result = Result(
        check="all-accounted",
        checklist="base-opened",
        kind=kind,
        stage="open",
        place="tray",
        ask="Count.",
        good="Nothing missing.",
        verdict=Verdict.CONFORMS,
        because="Because.",
        attempts=(attempt,),
    )
    return msgspec.structs.replace(fit_record(), results=(result,))


_TALLIES = {
    "inside screws": Tally(out=6, back=6),
    "long base screws": Tally(out=4, new=1, back=3, scrapped=1),
    "short base screws": Tally(out=6, back=7),
}


def test_each_kind_stands_with_its_account() -> None:
    (view,) = tray_views(_counted(readings_of(Counted(tallies=_TALLIES))))
    assert [
        (row.kind, row.out, row.new, row.back, row.other, row.account, row.shape) for row in view.rows
    ] == [
        ("inside screws", "6", "0", "6", "", "all there", "full"),
        ("long base screws", "4", "1", "3", "1 scrapped", "1 missing", "struck"),
        ("short base screws", "6", "0", "7", "", "1 left over", "struck"),
    ]


def test_what_was_not_counted_is_not_good() -> None:
    told = readings_of(Counted(tallies={"inside screws": Tally(out=6, back=6)}))
    unknown = Reading(value=None, unit=Unit.COUNT, source="tools", reason="Nobody looked.")
    (view,) = tray_views(_counted((*told, unknown)))
    assert (view.rows[1].kind, view.rows[1].out, view.rows[1].account) == ("tools", "not known", "not known")
    assert view.rows[1].shape == "half"


@pytest.mark.parametrize(
    "record",
    [
        _counted(()),
        _counted((Reading(value=0.0, unit=Unit.COUNT, source="counted, long"),)),
        _counted(readings_of(Counted(tallies=_TALLIES)), kind="look"),
    ],
    ids=["nothing counted", "no account in the record", "not a count"],
)
def test_no_table_where_the_record_tells_no_account(record: Record) -> None:
    assert tray_views(record) == ()
    assert 'class="tray"' not in render(record).decode()


@pytest.mark.parametrize(
    "name", ["<script>x</script>", "</table><img src=x>", "x\u202e\x1b[2J\u200b", "a\nb"]
)
def test_a_hostile_kind_is_shown_as_text(name: str) -> None:
    record = _counted(readings_of(Counted(tallies={name: Tally(out=2, back=2)})))
    shown = render(record).decode().partition('<pre id="handback-record">')[0]
    assert 'class="tray"' in shown
    for bad in ("<script", "<img", "\u202e", "\x1b", "\u200b"):
        assert bad not in shown
    assert render(record) == render(record)
