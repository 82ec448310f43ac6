import shutil
from pathlib import Path

import pytest

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist.answers import Answer, Hazard, Look, Seen
from verify.checklist.shipped import shipped_checklists
from verify.ledger import TicketLine, ticket_lines
from verify.record.demo_key import demo_signing_key
from verify.record.model import Ticket, Work
from verify.report.page_kind import PageKind
from verify.report.sign_off import prepare, sign_off
from verify.run import Owner, RunFolder, begin, load_record
from verify.testing.good_answers import GoodAnswers
from verify.values import Outcome

BAD = Look(seen=Seen.NOT_GOOD)


def made(reports: Path, ticket: str, but: dict[str, Answer | None], *kinds: str) -> SimulatedBench:
    bench = SimulatedBench(faults={})
    with RunFolder(reports / ticket) as folder:
        begin(
            folder,
            ticket=Ticket(
                id=ticket, maker="Fennel", model="Larkspur 15", work=tuple(Work(kind=kind) for kind in kinds)
            ),
            checklists=shipped_checklists(),
            clock=bench.clock,
            signers=("technician", "reviewer"),
        )
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        play(owner, GoodAnswers(but), bench.sampler, hands=bench)
        owner.close()
    return bench


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One ticket at each place where a run can wait."""
    reports = tmp_path_factory.mktemp("shop")
    made(reports, "T-1-hazard", {"first-look": Hazard(present=None)})
    made(reports, "T-2-look", {"lead-plugs": None}, "base-cover")
    made(reports, "T-3-held", {"lead-plugs": BAD, "flat-cables": BAD}, "base-cover")
    made(reports, "T-4-whole", {})
    made(reports, "T-5-time", {"feet-hold": None, "no-new-mark": None}, "feet")
    return reports


def line(reports: Path, ticket: str) -> TicketLine:
    return next(one for one in ticket_lines(reports) if one.ticket == ticket)


@pytest.mark.parametrize(
    ("ticket", "waits_for", "outcome", "complete"),
    [
        ("T-1-hazard", "A hazard: it must be made safe.", Outcome.HELD, False),
        ("T-2-look", "Someone to look: inside the base.", Outcome.HELD, False),
        ("T-3-held", "2 checks before: close the base.", Outcome.HELD, False),
        ("T-4-whole", "Signing: technician.", Outcome.FIT, True),
        ("T-5-time", "Someone to look: outside.", Outcome.HELD, False),
    ],
)
def test_each_ticket_says_what_it_waits_for(
    shop: Path, ticket: str, waits_for: str, outcome: Outcome, *, complete: bool
) -> None:
    one = line(shop, ticket)
    assert one.waits_for == waits_for
    assert one.outcome is outcome
    assert one.complete is complete
    assert one.machine == "Fennel Larkspur 15"
    assert one.simulated
    assert one.scripted
    assert not one.problem
    assert (one.reasons == ()) is (outcome is Outcome.FIT)
    assert (one.done == one.screens) is complete


def test_all_are_listed_by_name_and_other_folders_are_passed_over(shop: Path) -> None:
    (shop / "photos").mkdir()
    (shop / "notes.txt").write_text("", encoding="utf-8")
    listed = [one.ticket for one in ticket_lines(shop)]
    assert listed == ["T-1-hazard", "T-2-look", "T-3-held", "T-4-whole", "T-5-time"]


def test_no_folder_is_no_ticket(tmp_path: Path) -> None:
    assert ticket_lines(tmp_path / "nothing") == ()


@pytest.fixture
def copied(shop: Path, tmp_path: Path) -> Path:
    reports = tmp_path / "shop"
    shutil.copytree(shop, reports)
    return reports


def broken(journal: Path) -> None:
    journal.write_bytes(journal.read_bytes().replace(b'"good"', b'"mood"', 1))


def emptied(journal: Path) -> None:
    journal.write_bytes(b"")


def garbage(journal: Path) -> None:
    journal.write_bytes(b"\xff\x00\n")


def newer(journal: Path) -> None:
    journal.write_bytes(journal.read_bytes().replace(b"journal/1", b"journal/9", 1))


@pytest.mark.parametrize("harm", [broken, emptied, garbage, newer])
def test_a_run_that_cannot_be_read_says_so_and_hides_no_other(copied: Path, harm: object) -> None:
    harm(copied / "T-2-look" / "journal.jsonl")  # type: ignore[operator] # one of the above
    lines = ticket_lines(copied)
    assert len(lines) == 5
    assert [one.ticket for one in lines if one.problem] == ["T-2-look"]
    assert line(copied, "T-2-look").outcome is Outcome.HELD
    assert not line(copied, "T-2-look").complete


def test_a_line_that_is_being_written_is_not_a_broken_journal(copied: Path) -> None:
    before = line(copied, "T-2-look")
    with (copied / "T-2-look" / "journal.jsonl").open("ab") as file:
        file.write(b'{"n":99,"be')
    assert line(copied, "T-2-look") == before


def sign(reports: Path, ticket: str, *roles: str) -> Path:
    folder = reports / ticket
    bench = SimulatedBench(faults={})
    path = folder
    for role in roles:
        prepared = prepare(folder, load_record(reports, ticket))
        path = sign_off(folder, prepared, key=demo_signing_key(role), at=bench.clock.now().wall)
    return path


def test_signing_waits_for_the_next_who_has_to_and_then_for_nothing(copied: Path) -> None:
    sign(copied, "T-4-whole", "technician")
    assert line(copied, "T-4-whole").waits_for == "Signing: reviewer."
    sign(copied, "T-4-whole", "reviewer")
    assert line(copied, "T-4-whole").waits_for == "Nothing: all have signed."


def test_a_signed_page_that_was_altered_is_no_signature(copied: Path) -> None:
    page = sign(copied, "T-4-whole", "technician", "reviewer")
    page.write_bytes(page.read_bytes().replace(b"Larkspur", b"Larkspuk", 1))
    assert line(copied, "T-4-whole").waits_for.startswith("Signing again:")


def test_a_signed_summary_in_the_report_s_place_is_no_signature_on_the_report(copied: Path) -> None:
    folder = copied / "T-4-whole"
    page = folder / PageKind.SUMMARY.file_name
    for role in ("technician", "reviewer"):
        prepared = prepare(folder, load_record(copied, "T-4-whole"), kind=PageKind.SUMMARY)
        clock = SimulatedBench(faults={}).clock
        sign_off(folder, prepared, key=demo_signing_key(role), at=clock.now().wall)
    (folder / "report.html").write_bytes(page.read_bytes())
    assert line(copied, "T-4-whole").waits_for == "Signing again: the summary lies in the report's place."


def test_a_run_that_went_on_after_it_was_signed_is_signed_again(copied: Path) -> None:
    sign(copied, "T-4-whole", "technician", "reviewer")
    bench = SimulatedBench(faults={})
    with RunFolder(copied / "T-4-whole") as folder:
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        assert owner.undo()
        play(owner, GoodAnswers(), bench.sampler, hands=bench)
        owner.close()
    assert "gone on" in line(copied, "T-4-whole").waits_for
