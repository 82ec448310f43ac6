"""Lid and hinge work: no lead goes in under power, and the frame stays loose until what it hides is good."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist import Check, Composition, Kind
from verify.checklist.answers import Answer, Look, Seen
from verify.checklist.compose import compose
from verify.checklist.model import HAND_BACK
from verify.checklist.screens import screens
from verify.checklist.shipped import shipped_checklists
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, plan
from verify.run.outcome import outcome_of
from verify.testing.good_answers import GoodAnswers
from verify.values import Outcome

ALL = shipped_checklists()
JOBS = (
    "lid",
    "hinge",
    "lid hinge",
    "lid base-cover",
    "lid battery",
    "hinge battery",
    "lid feet",
    "hinge battery feet",
    "keyboard-deck lid hinge speakers wireless",
)
EVERY_JOB = pytest.mark.parametrize("job", JOBS)
WITH_BASE = pytest.mark.parametrize("job", [job for job in JOBS if job not in {"lid", "lid feet"}])

# What the frame hides, or what cannot be mended any more without tearing it off again.
HIDDEN_BY_THE_FRAME = {
    "lid-switch",
    "camera-picture",
    "microphone",
    "radio-angles",
    "picture-steady",
    "screen-colours",
    "screen-patches",
    "light-steps",
    "behind-frame",
}
HIDDEN_IN = {
    "lid": HIDDEN_BY_THE_FRAME | {"camera-shutter", "panel-as-arrived"},
    "hinge": HIDDEN_BY_THE_FRAME | {"ten-openings", "lid-stays", "lid-corners"},
}
PROBES = {"lid-switch", "panel-as-arrived"}
BAD = Look(seen=Seen.NOT_GOOD)


def composed(job: str) -> Composition:
    return compose(ALL, job.split())


def ids(checks: tuple[Check, ...]) -> set[str]:
    return {check.id for check in checks}


def segment_of(composition: Composition, check_id: str) -> int:
    return next(
        index for index, segment in enumerate(composition.segments) if check_id in ids(segment.checks)
    )


# ---------------------------------------------------------------- power


@EVERY_JOB
def test_no_lead_of_the_lid_goes_in_before_the_power_is_off(job: str) -> None:
    composition = composed(job)
    assert "lid-power-off" in ids(composition.guards("connect-panel"))
    steps = [step.id for step in composition.steps]
    assert segment_of(composition, "lid-power-off") < steps.index("connect-panel")


@EVERY_JOB
def test_power_comes_back_only_to_plugs_that_are_home(job: str) -> None:
    composition = composed(job)
    steps = [step.id for step in composition.steps]
    assert ids(composition.guards("power-lid")) == {"lid-plugs", "lid-lead-ways"}
    assert "lid-plugs" in ids(composition.guards("charge"))
    after = [name for name in ("connect-pack", "close-base", "run-up", "charge") if name in steps]
    assert all(steps.index("connect-panel") < steps.index("power-lid") < steps.index(name) for name in after)


@WITH_BASE
def test_the_battery_plug_is_looked_at_only_after_the_plugs_of_the_lid(job: str) -> None:
    composition = composed(job)
    assert segment_of(composition, "lid-plugs") < segment_of(composition, "pack-plug-home")


@pytest.mark.parametrize("other", ["base-cover", "cooling"])
def test_a_battery_unplugged_for_the_lid_is_plugged_in_again(other: str) -> None:
    composition = compose(ALL, ["lid", other])
    steps = [step.id for step in composition.steps]
    assert steps.index("power-lid") < steps.index("connect-pack") < steps.index("close-base")
    assert segment_of(composition, "pack-plug-home") > steps.index("connect-pack")


# ---------------------------------------------------------------- the frame


@EVERY_JOB
def test_the_frame_is_pressed_home_only_when_what_it_hides_is_good(job: str) -> None:
    composition = composed(job)
    wanted = set[str]().union(*(HIDDEN_IN[work] for work in job.split() if work in HIDDEN_IN))
    assert ids(composition.guards("press-bezel")) == wanted
    press = [step.id for step in composition.steps].index("press-bezel")
    assert all(segment_of(composition, check_id) <= press for check_id in wanted)
    assert all(segment_of(composition, check_id) > press for check_id in ("bezel-edges", "picture-again"))


@pytest.mark.parametrize(
    ("job", "step"),
    [
        ("lid feet", "fit-feet"),
        ("hinge battery feet", "fit-feet"),
        ("lid storage", "cool-off"),
        ("hinge main-board", "cool-off"),
        ("lid liquid", "soak"),
    ],
)
def test_no_lid_is_shut_and_no_machine_turned_over_with_the_frame_loose(job: str, step: str) -> None:
    steps = [each.id for each in composed(job).steps]
    assert steps.index("press-bezel") < steps.index(step)


@EVERY_JOB
def test_the_glue_of_the_frame_sets_before_hand_back_and_nothing_else_waits_for_it(job: str) -> None:
    composition = composed(job)
    wait = next(check for check in composition.checks if check.id == "bezel-wait")
    assert wait.kind is Kind.WAIT
    # Frame tape: about half of its hold after 20 minutes (from memory).
    assert wait.wait_s >= 20 * 60
    assert (wait.stage, wait.after, wait.voided_by) == ("finished", "press-bezel", ("lid",))
    held = [step.id for step in composition.steps if "bezel-wait" in ids(composition.guards(step.id))]
    assert held == [HAND_BACK]
    frame = [check for check in composition.checks if check.id in {"bezel-edges", "picture-again"}]
    assert {check.place for check in frame} == {wait.place}, "else they are asked while the glue is wet"


# ---------------------------------------------------------------- the hinge


@pytest.mark.parametrize("job", [job for job in JOBS if "hinge" in job])
def test_a_hinge_turns_freely_before_leads_go_through_it_and_the_base_closes(job: str) -> None:
    composition = composed(job)
    hinges = {"posts-whole", "hinge-screws", "hinge-turn"}
    assert hinges <= ids(composition.guards("connect-panel")) & ids(composition.guards("close-base"))
    # What broke off a post is found by tilting, so that comes afterwards.
    assert all(segment_of(composition, each) < segment_of(composition, "nothing-loose") for each in hinges)


# ---------------------------------------------------------------- two openings, few screens


def test_lid_work_alone_asks_nothing_behind_the_base() -> None:
    assert not {check.place for check in composed("lid").checks} & {"inside the base", "base cover", "tray"}


@pytest.mark.parametrize(("job", "most"), [("lid", 11), ("hinge", 20), ("lid hinge", 21)])
def test_a_run_fits_its_number_of_screens(job: str, most: int) -> None:
    assert len(screens(composed(job))) <= most


@pytest.mark.parametrize("job", ["hinge keyboard-deck", "lid keyboard-deck"])
def test_what_two_lists_need_is_asked_once_and_holds_for_both(job: str) -> None:
    composition = composed(job)
    for check_id in ("lid-switch", "microphone"):
        found = [check for check in composition.checks if check.id == check_id]
        assert len(found) == 1
        assert {"press-bezel", "finish"} <= set(found[0].before)


# ---------------------------------------------------------------- real runs on the simulated bench


class Job:
    """A run of a job from its first question to what is due in the end."""

    def __init__(self, folder: RunFolder, job: str, but: dict[str, Answer | None] | None = None) -> None:
        self.bench = SimulatedBench(faults={})
        part = Part(source="reproduction", label={"energy": "57.0 Wh"})
        work = tuple(Work(kind=kind, part=part if kind == "battery" else None) for kind in job.split())
        ticket = Ticket(id="TW-1042", work=work)
        begin(folder, ticket=ticket, checklists=ALL, clock=self.bench.clock)
        self.owner = Owner(folder, machine=self.bench.machine, scripted=True, on_machine=True)
        self.go_on(but)

    def go_on(self, but: dict[str, Answer | None] | None = None) -> None:
        self.answers = GoodAnswers(but)
        self.due = play(self.owner, self.answers, self.bench.sampler, hands=self.bench)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


@pytest.mark.parametrize("job", ["lid", "hinge", "lid battery", "hinge feet"])
def test_a_sound_job_comes_out_fit_after_the_glue_has_set(job: str, folder: RunFolder) -> None:
    run = Job(folder, job)
    assert isinstance(run.due, plan.Complete)
    assert outcome_of(run.owner.composition, run.owner.state)[0] is Outcome.FIT
    _, pressed = run.owner.state.steps["press-bezel"]
    current = run.owner.state.current("bezel-wait")
    assert current is not None
    assert current.at.elapsed_s - pressed.elapsed_s >= 20 * 60
    edges = run.owner.state.current("bezel-edges")
    assert edges is not None
    assert edges.n > current.n
    marks = run.owner.state.current("no-new-mark")
    assert marks is not None
    assert marks.n < current.n, "what does not move the lid is asked while the glue sets"


@pytest.mark.parametrize(
    ("job", "check_id", "step"),
    [
        ("lid", "lid-power-off", "connect-panel"),
        ("hinge", "lid-power-off", "connect-panel"),
        ("lid battery", "lid-plugs", "connect-pack"),
        ("lid", "lid-plugs", "charge"),
        ("hinge", "hinge-turn", "connect-panel"),
        *(
            (job, check_id, "press-bezel")
            for job, found in HIDDEN_IN.items()
            for check_id in sorted(found - PROBES)
        ),
    ],
)
def test_a_step_is_not_taken_while_its_hold_stands(
    job: str, check_id: str, step: str, folder: RunFolder
) -> None:
    run = Job(folder, job, {check_id: BAD})
    assert isinstance(run.due, plan.Held)
    assert check_id in {block.check.id for block in run.due.blocked}
    assert step not in run.owner.state.steps
    assert outcome_of(run.owner.composition, run.owner.state)[0] is Outcome.HELD


def test_the_lid_opened_again_makes_the_lid_out_of_date_and_not_the_base(folder: RunFolder) -> None:
    run = Job(folder, "hinge", {"picture-again": BAD})
    run.owner.reopen(("lid",), why="the frame pinched the panel lead")
    run.go_on()
    assert isinstance(run.due, plan.Complete)
    asked = set(run.answers.asked)
    assert asked >= {"lid-power-off", "lid-plugs", "picture-steady", "screen-colours", "bezel-edges"}
    behind_the_base = {
        "pack-flat",
        "pack-plug-home",
        "lead-plugs",
        "all-accounted",
        "cover-flush",
        "fan-sound",
    }
    assert not asked & (behind_the_base | {"started-clean", "sound"})


def test_the_base_opened_again_leaves_the_frame_shut(folder: RunFolder) -> None:
    run = Job(folder, "hinge", {"no-new-mark": BAD})
    run.owner.reopen(("base",), why="a screw was left over")
    assert "press-bezel" in run.owner.state.steps
    run.go_on()
    assert isinstance(run.due, plan.Complete)
    assert not set(run.answers.asked) & {"lid-power-off", "lid-plugs", "screen-colours", "bezel-edges"}
    assert set(run.answers.asked) >= {"picture-steady", "picture-again", "hinge-screws"}
