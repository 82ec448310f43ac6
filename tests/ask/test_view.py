from collections.abc import Iterator
from pathlib import Path

import pytest
from rich.console import Console

from verify.ask.canvas import fitting
from verify.ask.simulated import SimulatedBench
from verify.ask.view import Entry, screen
from verify.checklist import Check
from verify.checklist.answers import Answer, Hazard, Look, Seen
from verify.checklist.shipped import shipped_checklists
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, plan
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
        owner = Owner(folder, machine=bench.machine, scripted=True)
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
                bench.clock.wait(10)
                owner.take_sample(bench.machine.sample())
            case _:
                return


def drawn(console: Console, owner: Owner, due: plan.Due, entry: Entry | None = None) -> str:
    lines = console.render_lines(fitting(console, owner, due, entry, ""), pad=False)
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
        text = drawn(console, owner, due)
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
    due = next(
        due for due in every_due(owner, bench) if isinstance(due, plan.Ask) and "seam-gaps" in due.pending
    )
    entry = Entry(
        prompt="left middle, leaf that enters, leaf that does not (mm):",
        typed="0.3 0.2",
        error="A 0.3 mm leaf enters, a 0.2 mm leaf does not: that cannot be.",
        done=tuple(f"place {number}: 0.1 to 0.15 mm" for number in range(7)),
    )
    text = drawn(console, owner, due, entry)
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
    text = drawn(console, owner, held)
    assert "Not yet: close the base" in text
    assert "and 1 more" in text
    for block in held.blocked[:-1]:
        owner.ask_again(block.check.id)
        owner.answer(block.check.id, Look(seen=Seen.GOOD))
        assert isinstance(owner.due(), plan.Held)


def test_a_hazard_says_what_to_do_on_a_small_screen_too(owner: Owner) -> None:
    owner.answer("first-look", Hazard(present=True))
    console = Console(width=40, height=24, force_terminal=True, color_system=None)
    text = drawn(console, owner, owner.due())
    assert shows(text, "STOP: a hazard")
    assert shows(text, "call the fire service.")


def test_good_is_said_only_where_everything_could_be_told(tmp_path: Path) -> None:
    said = []
    for name, faults in (("T-1", {}), ("T-2", {"no-sensors": "yes"})):
        bench = SimulatedBench(faults=faults)
        with RunFolder(tmp_path / name) as folder:
            begin(folder, ticket=Ticket(id=name), checklists=shipped_checklists(), clock=bench.clock)
            owner = Owner(folder, machine=bench.machine, scripted=True)
            *_, due = every_due(owner, bench)
            assert isinstance(due, plan.Complete)
            console = Console(width=80, height=40, force_terminal=True, color_system=None)
            said.append(drawn(console, owner, due))
    assert "Everything is good." in said[0]
    assert "Everything is good." not in said[1]
    assert shows(said[1], "What could not be")
    assert shows(said[1], "reads the processor's temperature.")


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
        assert ("SCRIPTED" in drawn(console, later, later.due())) is scripted


def test_foreign_text_cannot_draw_over_the_screen(tmp_path: Path, bench: SimulatedBench) -> None:
    with RunFolder(tmp_path / "T-1") as folder:
        ticket = Ticket(id="T-1", model="Larkspur\x1b[2J\u202e15")
        begin(folder, ticket=ticket, checklists=shipped_checklists(), clock=bench.clock)
        owner = Owner(folder, machine=bench.machine, scripted=True)
        console = Console(width=80, height=24, force_terminal=True, color_system=None)
        with console.capture() as captured:
            console.print(screen(owner, owner.due(), None))
    assert "\x1b[2J" not in captured.get()
    assert "\u202e" not in captured.get()
