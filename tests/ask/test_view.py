from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from rich.console import Console

from verify.ask.arriving import answered
from verify.ask.canvas import fitting
from verify.ask.legend import legend
from verify.ask.lines import Entry
from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.ask.view import screen
from verify.ask.words import left_text
from verify.checklist import COMPLAINT_GONE, Check, Kind
from verify.checklist.answers import Answer, Hazard, Look, Seen
from verify.checklist.shipped import shipped_checklists
from verify.record.arrival import FUNCTIONS, FoundAs, Tried
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, plan
from verify.run.events import Arrived
from verify.testing.good_answers import GoodAnswers


@pytest.fixture
def bench() -> SimulatedBench:
    return SimulatedBench(faults={})


@pytest.fixture
def owner(tmp_path: Path, bench: SimulatedBench) -> Iterator[Owner]:
    part = Part(source="reproduction", label={"energy": "57.0 Wh"})
    work = (Work(kind="keyboard-deck"), Work(kind="battery", part=part), Work(kind="feet"))
    with RunFolder(tmp_path / "T-1") as folder:
        begin(
            folder,
            ticket=Ticket(id="T-1", model="Larkspur 15", work=work),
            checklists=shipped_checklists(),
            clock=bench.clock,
        )
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        yield owner
        owner.close()


def every_due(
    owner: Owner, bench: SimulatedBench, but: dict[str, Answer | None] | None = None
) -> Iterator[plan.Due]:
    """Go through the run, one answer or step at a time, and stop where nothing is due any more."""
    answers = GoodAnswers(but)
    while True:
        due = owner.due()
        yield due
        match due:
            case plan.Ask():
                check = next(check for check in due.checks if check.id in due.pending)
                answer = answers.answer(check)
                assert answer is not None
                owner.answer(check.id, answer)
            case plan.Do():
                bench.did(due.step)
                owner.take_step(due.step.id)
            case plan.Watching():
                if owner.strip is not None and owner.strip[1].want is not None:
                    bench.give(owner.strip[1].want)
                # A load hangs on fresh samples.
                bench.clock.wait(1 if owner.loads else 30)
                owner.take_sample(bench.machine.sample())
            case _:
                return


def drawn(
    console: Console, owner: Owner, entry: Entry | None = None, *, message: str = "", sees: str = ""
) -> str:
    lines = console.render_lines(fitting(console, owner.shown(), entry, message, sees), pad=False)
    assert len(lines) <= console.height, "\n".join("".join(part.text for part in line) for line in lines)
    return " ".join("".join(part.text for part in line) for line in lines)


def words(text: str) -> list[str]:
    return text.split()


def shows(text: str, asked: str) -> bool:
    """Whether the words stand in the text in their order, however they are wrapped."""
    left = iter(words(text))
    return all(word in left for word in words(asked))


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (60, 20), (40, 24), (200, 50), (100, 16)])
def test_what_is_asked_and_its_keys_are_on_the_screen_whatever_its_size(
    owner: Owner, bench: SimulatedBench, columns: int, rows: int
) -> None:
    console = Console(width=columns, height=rows, force_terminal=True, color_system=None)
    seen = set()
    for due in every_due(owner, bench):
        seen.add(type(due))
        text = drawn(console, owner)
        assert "SIMULATION" in text
        assert "Q leave" in " ".join(words(text))
        match due:
            case plan.Ask():
                check: Check = next(check for check in due.checks if check.id in due.pending)
                assert shows(text, check.ask)
                assert shows(text, check.good)
                assert check.caution is None or shows(text, check.caution)
            case plan.Do():
                assert shows(text, due.step.do or "")
                assert due.step.caution is None or shows(text, due.step.caution)
            case _:
                pass
    assert seen == {plan.Ask, plan.Do, plan.Watching, plan.Complete}


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (40, 24), (200, 50)])
def test_what_is_typed_and_what_was_wrong_with_it_are_on_the_screen(
    owner: Owner, bench: SimulatedBench, columns: int, rows: int
) -> None:
    console = Console(width=columns, height=rows, force_terminal=True, color_system=None)
    next(due for due in every_due(owner, bench) if isinstance(due, plan.Ask) and "seam-gaps" in due.pending)
    entry = Entry(
        prompt="left middle, leaf that enters, leaf that does not (mm):",
        typed="0.3 0.2",
        error="A 0.3 mm leaf enters, a 0.2 mm leaf does not: that cannot be.",
        done=tuple(f"place {number}: 0.1 to 0.15 mm" for number in range(7)),
    )
    text = drawn(console, owner, entry)
    assert shows(text, entry.prompt)
    assert shows(text, entry.error)
    assert "0.3 0.2_" in " ".join(words(text))


def test_a_hazard_and_a_held_step_fit_with_all_that_is_to_be_done(
    owner: Owner, bench: SimulatedBench
) -> None:
    console = Console(width=80, height=24, force_terminal=True, color_system=None)
    bad = Look(seen=Seen.NOT_GOOD, note="A long tale of all that is wrong with it, over more than one line.")
    looks = ("lead-plugs", "flat-cables", "lead-ways", "nothing-loose", "pack-fixed", "pack-plug-home")
    *_, held = every_due(owner, bench, dict.fromkeys(looks, bad))
    assert isinstance(held, plan.Held)
    assert len(held.blocked) == len(looks)
    text = drawn(console, owner)
    assert "Not yet: close the base" in text
    assert "and 1 more" in text
    for block in held.blocked[:-1]:
        owner.ask_again(block.check.id)
        owner.answer(block.check.id, Look(seen=Seen.GOOD))
        assert isinstance(owner.due(), plan.Held)


def test_a_hazard_says_what_to_do_on_a_small_screen_too(owner: Owner) -> None:
    owner.answer("first-look", Hazard(present=True))
    console = Console(width=40, height=24, force_terminal=True, color_system=None)
    text = drawn(console, owner)
    assert shows(text, "STOP: a hazard")
    assert shows(text, "call the fire service.")


def test_good_is_said_only_where_everything_could_be_told(tmp_path: Path) -> None:
    said = []
    for name, faults, arriving in (
        ("T-1", {}, True),
        ("T-2", {"no-sensors": "yes"}, True),
        ("T-3", {}, False),
    ):
        bench = SimulatedBench(faults=faults)
        with RunFolder(tmp_path / name) as folder:
            begin(
                folder,
                ticket=Ticket(id=name),
                checklists=shipped_checklists(),
                clock=bench.clock,
                arriving=arriving,
            )
            owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
            if arriving:
                assert isinstance(play(owner, GoodAnswers(), bench.sampler, hands=bench), plan.SayWork)
                owner.add_work([], shipped_checklists())
            *_, due = every_due(owner, bench)
            assert isinstance(due, plan.Complete)
            console = Console(width=80, height=40, force_terminal=True, color_system=None)
            said.append(drawn(console, owner))
    whole, blind, not_taken_in = said
    assert "Everything is good." in whole
    assert "Everything is good." not in blind
    assert shows(blind, "What could not be")
    assert shows(blind, "no sensor that can be read.")
    # Nothing was read on arrival: what is there now can be compared with nothing.
    assert "Everything is good." not in not_taken_in
    assert shows(not_taken_in, "What could not be")


@pytest.mark.parametrize("scripted", [True, False])
def test_every_screen_of_a_run_that_a_script_answered_says_so(
    tmp_path: Path, bench: SimulatedBench, *, scripted: bool
) -> None:
    bench.machine.simulated = False
    with RunFolder(tmp_path / "T-1") as folder:
        begin(folder, ticket=Ticket(id="T-1"), checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=scripted)
        owner.answer("first-look", Hazard(present=False))
        later = Owner(folder, machine=bench.machine, scripted=False)
        console = Console(width=80, height=24, force_terminal=True, color_system=None)
        assert ("SCRIPTED" in drawn(console, later)) is scripted


def test_foreign_text_cannot_draw_over_the_screen(tmp_path: Path, bench: SimulatedBench) -> None:
    with RunFolder(tmp_path / "T-1") as folder:
        ticket = Ticket(id="T-1", model="Larkspur\x1b[2J\u202e15")
        begin(folder, ticket=ticket, checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        console = Console(width=80, height=24, force_terminal=True, color_system=None)
        with console.capture() as captured:
            console.print(screen(owner.shown(), None))
    assert "\x1b[2J" not in captured.get()
    assert "\u202e" not in captured.get()


# ------------------------------------------------------------------ what does not come up in a plain run

SIZES = [(80, 24), (60, 20), (40, 24), (100, 34), (132, 50)]


def console_of(columns: int, rows: int) -> Console:
    return Console(width=columns, height=rows, force_terminal=True, color_system=None)


def taken_in(folder: RunFolder, bench: SimulatedBench, *, on_machine: bool | None = None) -> Owner:
    ticket = Ticket(id="T-1", model="Larkspur 15")
    begin(folder, ticket=ticket, checklists=shipped_checklists(), clock=bench.clock, arriving=True)
    owner = Owner(folder, machine=bench.machine, scripted=False, on_machine=on_machine)
    owner.answer("first-look", Hazard(present=False))
    return owner


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_what_is_taken_on_arrival_stays_on_the_screen_with_its_answer(
    tmp_path: Path, bench: SimulatedBench, columns: int, rows: int
) -> None:
    console = console_of(columns, rows)
    with RunFolder(tmp_path / "T-2") as folder:
        owner = taken_in(folder, bench)
        assert shows(drawn(console, owner), "Is this computer the one that was brought in")
        owner.stand(on_machine=True)
        for said in (
            Arrived(found_as=FoundAs.RUNS),
            Arrived(complaint="It dies " + "again and " * 20),
            Arrived(pictures=()),
            Arrived(accessories=("charger", "sleeve")),
            *(Arrived(tried={name: Tried.FAILS}) for name in FUNCTIONS),
        ):
            due = owner.due()
            assert isinstance(due, plan.Arrive)
            assert shows(drawn(console, owner), f"> {due.pending[0]}")
            owner.arrive(said)
            if not isinstance(owner.due(), plan.Arrive) or (columns, rows) not in ((80, 24), (100, 34)):
                continue
            answer = answered(due.pending[0], owner.state)
            begun = " ".join((answer or "").split()[:3])
            assert shows(drawn(console, owner), f"+ {due.pending[0]} {begun}")
        assert isinstance(owner.due(), plan.SayWork)
        assert shows(drawn(console, owner), "handback start T-1 --work battery")


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_away_from_the_machine_every_screen_says_what_waits_for_it(
    tmp_path: Path, bench: SimulatedBench, columns: int, rows: int
) -> None:
    bench.machine.simulated = False
    console = console_of(columns, rows)
    with RunFolder(tmp_path / "T-2") as folder:
        ticket = Ticket(id="T-2", work=(Work(kind="battery"),))
        begin(folder, ticket=ticket, checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=False, on_machine=False)
        bad = Look(seen=Seen.NOT_GOOD, note="A screw stands out.")
        *_, due = every_due(owner, bench, {"bottom-screws": bad})
        assert isinstance(due, plan.Elsewhere)
        text = drawn(console, owner)
        assert shows(text, "Open this folder there: handback run T-2")
        assert shows(text, "1 x Look at the tray")
        assert shows(text, "2 ~ Start the machine")
        if (columns, rows) == (80, 24):
            assert "not on the machine: 3 automatic checks wait" in text


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_what_is_not_good_meanwhile_stands_beside_what_runs(
    owner: Owner, bench: SimulatedBench, columns: int, rows: int
) -> None:
    bad = Look(seen=Seen.NOT_GOOD, note="bent")
    for due in every_due(owner, bench, {"sound": bad}):
        if isinstance(due, plan.Watching) and due.blocked:
            text = drawn(console_of(columns, rows), owner)
            assert shows(text, "1 x Play the left")
            assert shows(text, "1 ask again A accept with a known flaw")
            assert shows(text, due.checks[0].ask)
            return
    pytest.fail("Nothing ran while it was not good.")


def test_a_repair_that_was_declined_says_what_was_told(owner: Owner) -> None:
    owner.answer("first-look", Hazard(present=False))
    owner.give_back(why="too dear", risks_told="swelling", owner_signed="on paper")
    text = drawn(console_of(80, 24), owner)
    assert shows(text, "RETURNED UNREPAIRED")
    assert shows(text, "Risks told: swelling")
    assert shows(text, "handback sign T-1")
    assert "opened again" not in text


def test_a_known_flaw_is_named_where_the_run_is_complete(owner: Owner, bench: SimulatedBench) -> None:
    bad = Look(seen=Seen.NOT_GOOD, note="bent")
    *_, due = every_due(owner, bench, {"bottom-screws": bad})
    assert isinstance(due, plan.Held)
    owner.accept("bottom-screws", by="Demo", reason="worn thread", owner_agreed="by telephone")
    owner.notice("Left hinge is stiff.")
    *_, due = every_due(owner, bench)
    assert isinstance(due, plan.Complete)
    text = drawn(console_of(80, 24), owner)
    assert shows(text, "Ready with a known flaw.")
    assert shows(text, "By Demo: worn thread")
    assert shows(text, "Tell the owner: - Left hinge is stiff.")
    assert "Everything is good" not in text


def test_practice_is_marked_on_every_screen_though_it_is_simulated_too(
    tmp_path: Path, bench: SimulatedBench
) -> None:
    with RunFolder(tmp_path / "T-2") as folder:
        begin(folder, ticket=Ticket(id="T-2"), checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=False, practice=True, on_machine=True)
        for size in SIZES:
            text = drawn(console_of(*size), owner, sees="a flat and dry battery " * 3)
            assert "PRACTICE: nothing here is real" in text
            assert shows(text, "You see: a flat and dry battery")


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_what_to_set_by_hand_so_that_it_stays_awake_is_beside_what_runs(
    owner: Owner, bench: SimulatedBench, columns: int, rows: int
) -> None:
    next(due for due in every_due(owner, bench) if isinstance(due, plan.Watching))
    shown = msgspec.structs.replace(owner.shown(), awake_note="Switch off sleep in the power settings.")
    console = console_of(columns, rows)
    lines = console.render_lines(fitting(console, shown, None), pad=False)
    text = " ".join("".join(part.text for part in line) for line in lines)
    assert shows(text, "! Switch off sleep")


@pytest.mark.parametrize("size", [(80, 24), (100, 34)])
def test_keys_take_two_lines_and_no_line_is_cut(
    owner: Owner, bench: SimulatedBench, size: tuple[int, int]
) -> None:
    for _ in every_due(owner, bench):
        keys = legend(owner.shown(), None, brief=False)
        assert len(keys) <= 2
        assert all(len(line) < size[0] for line in keys)
        assert "! hazard" in keys[-1]


def rows_of(owner: Owner, console: Console, entry: Entry | None = None, message: str = "") -> list[str]:
    lines = console.render_lines(fitting(console, owner.shown(), entry, message), pad=False)
    return ["".join(part.text for part in line) for line in lines]


@pytest.mark.parametrize("columns", [20, 40, 80, 132])
def test_the_head_takes_one_line_and_the_ticket_stays_readable(
    owner: Owner, bench: SimulatedBench, columns: int
) -> None:
    whole, small = console_of(columns, 200), console_of(columns, 16)
    for _ in every_due(owner, bench):
        head, rule, *_ = rows_of(owner, whole)
        assert head.startswith("T-1")
        assert " done" in head
        assert rule.startswith("─")
        assert columns < 80 or head.rstrip().endswith("min")
        # With few rows the rest of the head goes, but nobody answers for the wrong ticket.
        assert rows_of(owner, small)[0].startswith("T-1")


def test_what_runs_takes_one_line_while_feet_are_waited_for(owner: Owner, bench: SimulatedBench) -> None:
    strips = [
        rows_of(owner, console_of(80, 40))[2:4]
        for _ in every_due(owner, bench)
        if owner.strip is not None and owner.strip[0].kind is Kind.WAIT
    ]
    assert strips
    for strip, below in strips:
        assert strip.startswith(" ~ Waiting: ")
        assert "left" in strip
        assert strip.rstrip().endswith("]")
        assert below.startswith("─")


@pytest.mark.parametrize(
    ("seconds", "said"), [(20, "under 1 min left"), (600, "about 10 min left")], ids=["short", "long"]
)
def test_the_time_left_is_said_as_people_say_it(seconds: float, said: str) -> None:
    assert left_text(seconds) == said


@pytest.mark.parametrize(
    ("complaint", "said"),
    [
        ("It goes off when I pull the charger out.", '"It goes off when I pull the charger out."'),
        ("", "No complaint was taken down."),
        ("too hot " * 300, "too hot too"),
    ],
    ids=["said", "none", "endless"],
)
@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (40, 24)])
def test_the_owners_words_stand_where_the_complaint_is_tried(
    tmp_path: Path, bench: SimulatedBench, complaint: str, said: str, columns: int, rows: int
) -> None:
    with RunFolder(tmp_path / "T-2") as folder:
        ticket = Ticket(id="T-2", complaint=complaint, work=(Work(kind="feet"),))
        begin(folder, ticket=ticket, checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        for due in every_due(owner, bench):
            if isinstance(due, plan.Ask) and due.pending[0] == COMPLAINT_GONE:
                text = drawn(console_of(columns, rows), owner)
                assert shows(text, said)
                assert "G good" in text
                assert "Make the window larger" not in text
                break
        else:
            pytest.fail("The complaint was never asked for.")
        owner.close()


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (40, 12)])
def test_the_end_of_what_is_typed_and_the_keys_are_seen_however_long_it_gets(
    owner: Owner, bench: SimulatedBench, columns: int, rows: int
) -> None:
    next(due for due in every_due(owner, bench) if isinstance(due, plan.Ask) and "pack-flat" in due.pending)
    typed = "it is bent " * 300 + "at the corner"
    for entry in (Entry(prompt="What is wrong?", typed=typed), Entry(prompt="What?", error=typed)):
        lines = rows_of(owner, console_of(columns, rows), entry)
        assert len(lines) <= rows
        assert entry.error or "corner_" in " ".join(lines)
        assert "Esc back" in " ".join(" ".join(lines[-2:]).split())


def test_a_window_with_few_rows_says_that_there_is_more_to_read(owner: Owner) -> None:
    owner.meet_hazard("")
    text = " ".join(words(drawn(console_of(40, 10), owner)))
    assert "Make the window larger to read on." in text
    assert "S it is made safe" in text
