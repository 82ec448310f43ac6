import json
import re
import select
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

import msgspec
import pytest

from verify.ask.practice import Exercise, _go_together, can_be_planted, draw
from verify.ask.practice_bench import STEP_S, Eyes, PracticeBench
from verify.ask.practice_follow import WITHOUT_ASKING, follow
from verify.ask.practice_told import Ending, answers_told, ending_of, practice_json
from verify.ask.script import NoHands, play
from verify.ask.sight import what_is_seen
from verify.ask.simulated import without_camera
from verify.checklist import Check, Kind
from verify.checklist.answers import Answer, Hazard, Look, Seen
from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.checklist.specimens import answer_for
from verify.checklist.work import known_work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.background import MISSED_FROM_S
from verify.run.events import Arrived
from verify.run.live import Live
from verify.testing.good_answers import GoodAnswers
from verify.values import Outcome
from verify.values.errors import WrongUseError

WORKS = known_work(shipped_checklists())


@pytest.fixture(autouse=True)
def _disk_that_keeps_nobody_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out waiting for the medium: hundreds of runs, and no power cut is played here."""
    monkeypatch.setattr("os.fsync", lambda _descriptor: None)


class Truth:
    """Tells what the facts are; what `but` says of a check is answered once instead."""

    def __init__(
        self, exercise: Exercise, owner: Owner, but: Mapping[str, Answer | None] | None = None
    ) -> None:
        self._exercise = exercise
        self._owner = owner
        self._but = dict(but or {})

    def answer(self, check: Check) -> Answer | None:
        if check.id in self._but:
            answer = self._but[check.id]
            if answer is not None:
                del self._but[check.id]
            return answer
        inside = follow(self._exercise, self._owner.composition, self._owner.lines).inside
        return without_camera(answer_for(check, self._exercise.facts_with(inside), self._exercise.sees))

    def arrival(self, topic: str) -> Arrived | None:
        del topic
        return None


class Practising:
    """An exercise that is gone through in a folder, to be mended and asked again until nothing holds."""

    def __init__(self, exercise: Exercise, folder: Path) -> None:
        self.exercise = exercise
        self.reports = folder
        self.bench = PracticeBench(exercise)
        self._folder = RunFolder(folder / "PRACTICE-1")
        self._folder.__enter__()
        begin(self._folder, ticket=exercise.ticket(1), checklists=exercise.checklists, clock=self.bench.clock)
        self.owner = Owner(
            self._folder, machine=self.bench.machine, scripted=False, practice=True, on_machine=True
        )
        self.sampler = self.bench.sampler(self.owner)

    def truthfully(self, but: Mapping[str, Answer | None] | None = None) -> Ending:
        return self.work(Truth(self.exercise, self.owner, but))

    def work(self, answers: Truth | GoodAnswers, *, mend: bool = True) -> Ending:
        due = play(self.owner, answers, self.sampler, hands=NoHands())
        for _ in range(30):
            if not mend or not isinstance(due, plan.Held | plan.Stopped):
                break
            if isinstance(due, plan.Held):
                self.owner.ask_again(due.blocked[0].check.id)
            else:
                self.owner.made_safe("in the sand box outside", by="Demo Technician")
            due = play(self.owner, answers, self.sampler, hands=NoHands())
        return self.leave()

    def leave(self) -> Ending:
        ending = ending_of(self.exercise, self.owner)
        self.owner.close()
        self._folder.__exit__(None, None, None)
        return ending


def planted(name: str, *, work: tuple[str, ...] = ("battery",)) -> Exercise:
    """Return an exercise with this one fault planted."""
    fault = next(fault for fault in can_be_planted(work) if fault.name == name)
    return msgspec.structs.replace(draw(seed=1, work=work, faults=0), planted=(fault,))


@pytest.mark.parametrize("work", [*((kind,) for kind in WORKS), WORKS], ids="+".join)
def test_whoever_tells_what_is_so_catches_everything_in_ten_exercises(
    work: tuple[str, ...], tmp_path: Path
) -> None:
    for seed in range(10):
        exercise = draw(seed=seed, work=work)
        ending = Practising(exercise, tmp_path / str(seed)).truthfully()
        names = {fault.name for fault in exercise.planted}
        assert set(ending.followed.caught) == names, f"seed {seed}: {answers_told(ending)}"
        assert not ending.followed.missed, f"seed {seed}: {answers_told(ending)}"
        assert not ending.followed.refused, f"seed {seed}: {answers_told(ending)}"
        assert ending.said is Outcome.FIT, f"seed {seed}: {answers_told(ending)}"
        assert ending.passed, f"seed {seed}"


def exercises_with_all(work: tuple[str, ...], known: set[str]) -> Iterator[Exercise]:
    """Plant every fault that this work finds and that is not known yet, those that go together at once."""
    sound = draw(seed=1, work=work, faults=0)
    left = [fault for fault in can_be_planted(work) if fault.name not in known]
    while left:
        together = _go_together(left, len(left))
        yield msgspec.structs.replace(sound, planted=tuple(fault for fault in left if fault in together))
        known.update(fault.name for fault in together)
        left = [fault for fault in left if fault not in together]


def test_every_fault_that_can_be_planted_is_caught_where_the_specimen_says(tmp_path: Path) -> None:
    planted_once: set[str] = set()
    number = 0
    # What one kind of work finds is planted there; the rest in all work together.
    for work in (*((kind,) for kind in WORKS), WORKS):
        for exercise in exercises_with_all(work, planted_once):
            number += 1
            ending = Practising(exercise, tmp_path / str(number)).truthfully()
            told = f"{work}: {answers_told(ending)}"
            assert ending.passed, told
            assert ending.followed.caught.keys() == {fault.name for fault in exercise.planted}, told
            for fault in exercise.planted:
                # A dead charger fails checks before those that are for it.
                assert fault.machine or ending.followed.caught[fault.name] in fault.catches, told
    assert planted_once == {fault.name for fault in can_be_planted(WORKS)}
    assert {
        "battery swollen",
        "charger dead",
        "holds 31 Wh",
        "key repeats",
        "gap at the limit",
    } <= planted_once


@pytest.mark.parametrize("seed", range(12))
def test_whoever_calls_everything_good_is_told_each_fault_that_was_missed(seed: int, tmp_path: Path) -> None:
    exercise = draw(seed=seed, work=WORKS)
    ending = Practising(exercise, tmp_path).work(GoodAnswers())
    told = "\n".join(answers_told(ending))
    for fault in exercise.planted:
        assert f"{fault.name}. In fact: {fault.plainly}." in told
        if fault.machine:
            # What the tool reads by itself nobody can call good.
            assert fault.name in ending.followed.caught
            continue
        assert fault.name in ending.followed.missed
        assert fault.name not in ending.followed.caught
        for check_id in ending.followed.missed[fault.name]:
            check = next(check for check in ending.composition.checks if check.id == check_id)
            assert f"x Missed here: {check.ask}" in told
        first = next(c for c in ending.composition.checks if c.id == ending.followed.missed[fault.name][0])
        assert f"Good is: {first.good}" in told
    overlooked = [fault.name for fault in exercise.planted if not fault.machine]
    assert ending.passed is not bool(overlooked)
    # What is only told holds nothing: it was caught, and may be left in. Where it was not good it was mended.
    notes = {check.id for check in ending.composition.checks if check.note_only}
    left = [fault.name for fault in ending.followed.inside]
    told_only = {fault.name for fault in exercise.planted if notes.issuperset(fault.catches)}
    assert set(overlooked) <= set(left) <= set(overlooked) | told_only
    if overlooked:
        assert ending.said is Outcome.FIT
        assert "Your run says: ready." in told
        assert f"In truth: not ready. Still in it: {', '.join(left)}." in told


def test_a_sound_thing_that_is_refused_is_told_and_fails_the_exercise(tmp_path: Path) -> None:
    exercise = draw(seed=3, work=("base-cover",), faults=0)
    practising = Practising(exercise, tmp_path)
    ending = practising.truthfully(but={"lead-plugs": Look(seen=Seen.NOT_GOOD, note="loose?")})
    told = "\n".join(answers_told(ending))
    assert ending.followed.refused == ("lead-plugs",)
    assert "Sound, and you did not call it good:" in told
    assert "antenna plug: snapped on; speaker plug: snapped on; fan plug: pushed home. Good is:" in told
    assert not ending.passed
    assert ending.said is Outcome.FIT


def test_a_fault_missed_first_and_found_later_is_told_as_both(tmp_path: Path) -> None:
    exercise = planted("antenna lead off")
    ending = Practising(exercise, tmp_path).truthfully(but={"lead-plugs": Look(seen=Seen.GOOD)})
    assert ending.followed.missed == {"antenna lead off": ("lead-plugs",)}
    assert ending.followed.caught == {"antenna lead off": "network"}
    told = "\n".join(answers_told(ending))
    assert told.index("x Missed here: Look at each antenna, speaker") < told.index(
        "+ Caught here: Open a page"
    )


def test_an_answer_that_was_taken_back_does_not_count(tmp_path: Path) -> None:
    exercise = draw(seed=1, work=("base-cover",), faults=0)
    practising = Practising(exercise, tmp_path)
    practising.owner.answer("first-look", Hazard(present=False))
    practising.owner.answer("pack-flat", Look(seen=Seen.GOOD))
    practising.owner.answer("lead-plugs", Look(seen=Seen.NOT_GOOD))
    assert ending_of(exercise, practising.owner).followed.refused == ("lead-plugs",)
    assert practising.owner.undo()
    assert ending_of(exercise, practising.owner).followed.refused == ()
    practising.leave()


def test_a_planted_hazard_stops_everything_until_it_is_made_safe(tmp_path: Path) -> None:
    exercise = planted("battery swollen")
    practising = Practising(exercise, tmp_path)
    truth = Truth(exercise, practising.owner)
    due = play(practising.owner, truth, practising.sampler, hands=NoHands())
    assert isinstance(due, plan.Stopped)
    with pytest.raises(WrongUseError):
        practising.owner.made_safe("", by="")
    practising.owner.made_safe("battery in the sand box", by="Demo Technician")
    first = next(check for check in practising.owner.composition.checks if check.id == "first-look")
    inside = follow(exercise, practising.owner.composition, practising.owner.lines).inside
    assert "battery shape: flat" in what_is_seen(first, exercise.facts_with(inside), exercise.sees)
    ending = practising.leave()
    told = "\n".join(answers_told(ending))
    assert "it was made safe. An exercise may end there." in told
    assert "You left before the end." not in told
    assert ending.passed


def test_a_hazard_key_counts_where_a_hazard_is_and_is_only_remarked_on_elsewhere(tmp_path: Path) -> None:
    for name, work in (("battery too thick", ("battery",)), ("scratch", ("feet",))):
        practising = Practising(planted(name, work=work), tmp_path / name.replace(" ", "-"))
        practising.owner.answer("first-look", Hazard(present=False))
        practising.owner.meet_hazard("the touchpad stands up")
        ending = practising.leave()
        told = "\n".join(answers_told(ending))
        is_hazard = name == "battery too thick"
        assert (ending.followed.caught == {name: WITHOUT_ASKING}) is is_hazard
        assert ("Caught: you stopped everything." in told) is is_hazard
        assert ("where no hazard was planted" in told) is not is_hazard
        assert ending.followed.refused == ()


def test_leaving_half_way_tells_what_was_planted_and_is_no_success(tmp_path: Path) -> None:
    exercise = planted("scratch", work=("feet",))
    practising = Practising(exercise, tmp_path)
    practising.owner.answer("first-look", Hazard(present=False))
    ending = practising.leave()
    told = answers_told(ending)
    assert told[0] == "You left before the end."
    assert any("scratch. In fact: outside: one new scratch." in line for line in told)
    assert any("You never came to it." in line for line in told)
    assert [fault.name for fault in ending.never] == ["scratch"]
    assert not ending.passed


def test_leaving_a_sound_machine_at_once_is_no_success(tmp_path: Path) -> None:
    practising = Practising(draw(seed=0, work=("feet",), faults=0), tmp_path)
    ending = practising.leave()
    assert "Nothing was planted: the machine was sound." in answers_told(ending)
    assert not ending.passed


def test_held_and_left_is_an_end_and_what_was_not_reached_is_told(tmp_path: Path) -> None:
    exercises = (draw(seed=seed, faults=2) for seed in range(500))
    exercise = next(one for one in exercises if one.planted[0].name == "lead over a screw post")
    practising = Practising(exercise, tmp_path)
    ending = practising.work(Truth(exercise, practising.owner), mend=False)
    assert ending.said is Outcome.HELD
    assert ending.to_the_end
    assert "lead over a screw post" in ending.followed.caught
    told = answers_told(ending)
    assert told[0] == 'You left it on "not yet: close the base". That is an end, too.'
    assert any(line.startswith("In truth: not ready. Still in it: lead over a screw post") for line in told)


def test_a_thing_that_cannot_be_seen_is_told_to_be_just_that(tmp_path: Path) -> None:
    ending = Practising(planted("battery hidden"), tmp_path).work(GoodAnswers())
    told = "\n".join(answers_told(ending))
    assert told.count("Right is: cannot see.") == 1
    assert "Caught: 0 of 1. Sound, and refused: 0." in told


def test_the_same_seed_gives_the_same_exercise_and_seeds_differ() -> None:
    assert draw(seed=7) == draw(seed=7)
    assert draw(seed=7, work=("battery",), faults=2) == draw(seed=7, work=("battery",), faults=2)
    drawn = [draw(seed=seed) for seed in range(60)]
    assert {exercise.work for exercise in drawn} == {(kind,) for kind in WORKS}
    assert {len(exercise.planted) for exercise in drawn} == {0, 1, 2, 3}
    assert {exercise.design.model for exercise in drawn} == {"Larkspur 13", "Larkspur 15"}
    assert len({tuple(fault.name for fault in exercise.planted) for exercise in drawn}) > 30


def test_planted_faults_belong_to_the_work_and_do_not_hide_each_other() -> None:
    for seed in range(60):
        exercise = draw(seed=seed, faults=3)
        composition = compose(exercise.checklists, exercise.work)
        found = [check_id for fault in exercise.planted for check_id in fault.catches]
        assert set(found) <= {check.id for check in composition.checks}
        assert len(found) == len(set(found))
        assert all(fault.catches for fault in exercise.planted)
        assert sum(bool(fault.machine) for fault in exercise.planted) <= 1
        assert sum(fault.hazard for fault in exercise.planted) <= 1


def test_more_faults_than_go_together_are_refused_with_how_many_do() -> None:
    with pytest.raises(WrongUseError, match=r"Only \d+ faults go together") as caught:
        draw(seed=1, work=("feet",), faults=200)
    most = int(re.findall(r"--faults (\d+)", caught.value.next_step)[0])
    assert len(draw(seed=1, work=("feet",), faults=most).planted) == most


def test_unknown_work_is_refused() -> None:
    with pytest.raises(WrongUseError, match="No checklist knows"):
        draw(seed=1, work=("sails",))


def test_what_is_seen_is_facts_and_never_the_verdict() -> None:
    for seed in range(60):
        exercise = draw(seed=seed, work=WORKS)
        facts = exercise.facts_with(exercise.planted)
        for check in compose(exercise.checklists, exercise.work).checks:
            if check.kind in (Kind.PROBE, Kind.WAIT):
                assert what_is_seen(check, facts, exercise.sees) == ""
                continue
            seen = what_is_seen(check, facts, exercise.sees)
            assert seen
            rest = seen
            for name, value in facts.items():
                rest = rest.replace(f"{name}: {value}", "")
            assert not re.search(r"good|conform|wrong|fault|hazard|cannot|fine|bad", rest), seen


def test_two_machines_that_look_alike_are_told_alike_but_for_the_fault() -> None:
    exercise = planted("holders left out")
    check = next(
        check for check in compose(exercise.checklists, exercise.work).checks if check.id == "pack-fixed"
    )
    sound = what_is_seen(check, exercise.facts, exercise.sees)
    with_it = what_is_seen(check, exercise.facts_with(exercise.planted), exercise.sees)
    assert sound == "battery holders: all screwed down"
    assert with_it == "battery holders: two left out"


def test_a_gap_is_told_as_what_the_leaves_do_with_alike_places_together() -> None:
    exercise = planted("gap at the limit")
    check = next(
        check for check in compose(exercise.checklists, exercise.work).checks if check.id == "seam-gaps"
    )
    assert what_is_seen(check, exercise.facts_with(exercise.planted), exercise.sees) == (
        "front left corner, front middle, front right corner: "
        "a 0.30 mm leaf enters, a 0.35 mm leaf does not; "
        "right middle, rear right corner, rear middle, rear left corner, left middle: "
        "a 0.15 mm leaf enters, a 0.20 mm leaf does not"
    )
    assert what_is_seen(check, exercise.facts, exercise.sees) == (
        "everywhere: a 0.15 mm leaf enters, a 0.20 mm leaf does not"
    )


def test_the_run_is_marked_as_practice_and_simulation_and_is_never_an_acceptance(tmp_path: Path) -> None:
    practising = Practising(draw(seed=2, work=("feet",), faults=0), tmp_path)
    ending = practising.truthfully()
    record = load_record(tmp_path, "PRACTICE-1")
    assert ending.passed
    assert record.outcome is Outcome.FIT
    assert record.practice
    assert record.simulated
    assert record.ticket.shop == "Tidewater Repairs"


def test_the_answers_are_a_file_for_whoever_teaches(tmp_path: Path) -> None:
    exercise = planted("antenna lead off")
    ending = Practising(exercise, tmp_path).truthfully(but={"lead-plugs": Look(seen=Seen.GOOD)})
    told = json.loads(practice_json(ending))
    assert told["format"] == "practice/1"
    assert told["seed"] == exercise.seed
    assert told["planted"] == [
        {
            "fault": "antenna lead off",
            "in_fact": "antenna plug: lies beside its socket",
            "shows_at": ["lead-plugs", "network"],
            "caught_at": "network",
            "missed_at": ["lead-plugs"],
        }
    ]
    assert told["passed"] is True


def test_a_charge_of_hours_takes_about_a_minute_and_leaves_no_gap_in_the_record(tmp_path: Path) -> None:
    practising = Practising(draw(seed=2, work=("battery",), faults=0), tmp_path)
    assert practising.truthfully().passed
    assert STEP_S < MISSED_FROM_S
    record = load_record(tmp_path, "PRACTICE-1")
    assert record.gaps == ()
    charge = next(trace for trace in record.traces if trace.check == "charge-to-full")
    # Five samples a real second: how long somebody sits there.
    assert 30 <= charge.samples / 5 <= 100


def _go_on(owner: Owner, truth: Truth, practising: Practising) -> None:
    match owner.due():
        case plan.Ask() as due:
            check = next(check for check in due.checks if check.id == due.pending[0])
            answer = truth.answer(check)
            assert answer is not None
            owner.answer(check.id, answer)
        case plan.Do(step=step):
            owner.take_step(step.id)
        case plan.Held(blocked=blocked):
            owner.ask_again(blocked[0].check.id)
        case _:
            # Stands in for the fifth of a second after which the thread takes a sample by itself.
            sample = practising.sampler.next(0)
            if sample is not None and owner.wants_samples():
                owner.take_sample(sample)


def test_the_hands_follow_a_run_that_lives_in_its_own_thread(tmp_path: Path) -> None:
    exercise = planted("charger dead", work=("feet",))
    practising = Practising(exercise, tmp_path)
    truth = Truth(exercise, practising.owner)
    live = Live(practising.owner, practising.sampler)
    try:
        for _ in range(2000):
            if isinstance(live.shown.due, plan.Complete):
                break
            live.do(lambda owner: _go_on(owner, truth, practising))
        assert isinstance(live.shown.due, plan.Complete)
    finally:
        live.close()
    ending = practising.leave()
    assert ending.followed.caught.keys() == {"charger dead"}
    assert ending.passed


def test_the_thread_takes_its_samples_and_the_hands_their_step_by_themselves(tmp_path: Path) -> None:
    practising = Practising(draw(seed=2, work=("battery",), faults=0), tmp_path)
    truth = Truth(practising.exercise, practising.owner, {"bottom-screws": None})
    play(practising.owner, truth, practising.sampler, hands=NoHands())
    live = Live(practising.owner, practising.sampler)
    try:
        end = time.monotonic() + 30
        while live.shown.state.current("pack-present") is None:
            assert time.monotonic() < end
            select.select([live.woken], [], [], 1.0)
            live.rest()
    finally:
        live.close()
    practising.leave()


def test_time_goes_on_in_the_background_while_a_check_is_looked_at(tmp_path: Path) -> None:
    practising = Practising(planted("scratch", work=("battery",)), tmp_path)
    truth = Truth(practising.exercise, practising.owner, {"sound": None})
    due = play(practising.owner, truth, practising.sampler, hands=NoHands())
    assert isinstance(due, plan.Ask)
    sound = next(check for check in due.checks if check.id == "sound")
    live = Live(practising.owner, practising.sampler)
    eyes = Eyes(live, practising.exercise)
    done = len(practising.owner.state.found)
    try:
        end = time.monotonic() + 60
        while len(live.shown.state.found) == done:
            assert time.monotonic() < end, "a screen that is drawn keeps the samples from coming"
            # As the terminal does: drawn anew as soon as anything changed.
            select.select([live.woken], [], [], 1.0)
            live.rest()
            assert eyes(sound) == "speaker plug: snapped on; left speaker: clear; right speaker: clear"
    finally:
        live.close()
    practising.leave()


def test_what_the_eyes_tell_changes_once_it_is_mended(tmp_path: Path) -> None:
    practising = Practising(planted("lead over a screw post", work=("base-cover",)), tmp_path)
    truth = Truth(practising.exercise, practising.owner)
    due = play(practising.owner, truth, practising.sampler, hands=NoHands())
    assert isinstance(due, plan.Held)
    live = Live(practising.owner, practising.sampler)
    eyes = Eyes(live, practising.exercise)
    check = due.blocked[0].check
    try:
        assert eyes(check) == "lead ways: one over a screw post"
        live.do(lambda owner: owner.ask_again(check.id))
        end = time.monotonic() + 10
        while eyes(check) != "lead ways: in their clips":
            assert time.monotonic() < end
    finally:
        live.close()
    practising.leave()


def test_what_was_found_is_mended_by_opening_it_again_too(tmp_path: Path) -> None:
    exercise = planted("antenna lead off", work=("base-cover", "feet"))
    practising = Practising(exercise, tmp_path)
    owner = practising.owner
    truth = Truth(exercise, owner, {"lead-plugs": Look(seen=Seen.GOOD), "sound": None})
    play(owner, truth, practising.sampler, hands=NoHands())
    assert follow(exercise, owner.composition, owner.lines).caught == {"antenna lead off": "network"}
    assert follow(exercise, owner.composition, owner.lines).inside == exercise.planted
    owner.reopen(["feet-removed"], why="something else")
    assert follow(exercise, owner.composition, owner.lines).inside == exercise.planted
    owner.reopen(["base"], why="the antenna plug")
    assert follow(exercise, owner.composition, owner.lines).inside == ()
    assert practising.truthfully().said is Outcome.FIT
