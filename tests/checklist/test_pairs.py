"""Every kind of work alone, every pair of works, and some larger jobs: what holds for all of them.

Each rule is a function that returns what is wrong with a composition, so that the last part of this file can
show the rules at work: lists with a mistake put in on purpose are told by one of them.
"""

import itertools
import random
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import msgspec
import pytest

from verify.checklist import (
    BASE,
    COMPLAINT_GONE,
    HAND_BACK,
    OPENINGS,
    STAGES,
    Check,
    Checklist,
    Composition,
    Kind,
    Step,
)
from verify.checklist.compose import compose, hands_minutes, waiting_minutes
from verify.checklist.placing import needs_nobody
from verify.checklist.screens import screens
from verify.checklist.shipped import SPECIMENS_SUFFIX, checklist_files, shipped_checklists, shipped_dir
from verify.checklist.specimen_files import load_specimens
from verify.checklist.specimens import SeesGap, SeesLook, Sight, Specimen, SpecimenFile
from verify.checklist.twice import asked_twice, meant
from verify.checklist.work import called_for, known_work
from verify.judge import Limit, Rule
from verify.record.model import Ticket, Work
from verify.run import plan
from verify.run.events import Answered, Began, Event, Found, Line, Reopened, Stepped, Waited
from verify.run.fold import Fold
from verify.run.outcome import outcome_of
from verify.run.state import State
from verify.testing.good_answers import GoodAnswers
from verify.testing.specimen_run import run_specimen
from verify.values import Instant, Outcome, Reading
from verify.values.errors import ChecklistError

Job = tuple[str, ...]

SHIPPED = shipped_checklists()
WORKS = known_work(SHIPPED)
ALONE: tuple[Job, ...] = tuple((kind,) for kind in WORKS)
PAIRS: tuple[Job, ...] = tuple(itertools.combinations(WORKS, 2))
CHANCE = random.Random(20260302)
LARGER: tuple[Job, ...] = (
    *(tuple(CHANCE.sample(WORKS, size)) for size in (3, 3, 3, 3, 4, 4, 5, 6, 8, 12)),
    WORKS,
)
JOBS = (*ALONE, *PAIRS, *LARGER)
EVERY_JOB = pytest.mark.parametrize("job", JOBS, ids="+".join)


@cache
def composed(job: Job) -> Composition:
    return compose(SHIPPED, job)


def test_there_are_seventeen_kinds_of_work_and_all_their_pairs() -> None:
    assert len(WORKS) == 17
    assert len(set(PAIRS)) == 136


# ---------------------------------------------------------------- nothing is asked twice

Facts = frozenset[tuple[str, str]]


@cache
def specimen_files() -> tuple[SpecimenFile, ...]:
    return tuple(
        load_specimens(path.with_name(path.stem + SPECIMENS_SUFFIX))
        for path in checklist_files(shipped_dir())
    )


@cache
def whole_table() -> tuple[Mapping[str, str], Mapping[str, Sight]]:
    """Return the facts of a sound machine and what is seen of them, from all specimen files together."""
    facts: dict[str, str] = {}
    sees: dict[str, Sight] = {}
    for file in specimen_files():
        for name, value in file.facts.items():
            assert facts.setdefault(name, value) == value, f"two sound machines differ in: {name}"
        for check_id, sight in file.sees.items():
            sees[check_id] = _both(sees.get(check_id), sight)
    return facts, sees


def _both(known: Sight | None, sight: Sight) -> Sight:
    """Return one sight of two: a list that builds on another may see more at the same look."""
    if not (isinstance(known, SeesLook) and isinstance(sight, SeesLook)):
        return sight
    return SeesLook(
        good_when={**known.good_when, **sight.good_when},
        cannot_see_when={**known.cannot_see_when, **sight.cannot_see_when},
    )


def shown_by(check: Check) -> Facts:
    """Return the facts that decide a look or a measure; empty for any other kind."""
    match whole_table()[1].get(check.id):
        case SeesLook(good_when=good_when):
            return frozenset(good_when.items())
        case SeesGap(gap=gap, gap_at=gap_at):
            return frozenset((name, "gap") for name in (gap, *gap_at.values()))
        case _:
            return frozenset()


def stretches(composition: Composition) -> Iterator[tuple[str, tuple[Check, ...]]]:
    """Yield stage and checks of what is asked between two steps that take hands."""
    checks: list[Check] = []
    stage = composition.segments[0].stage
    for segment in composition.segments:
        if segment.stage != stage:
            yield stage, tuple(checks)
            stage, checks = segment.stage, []
        checks += segment.checks
        if segment.step.do is not None:
            yield stage, tuple(checks)
            checks = []
    yield stage, tuple(checks)


def twice(composition: Composition, shown: Callable[[Check], Facts]) -> list[str]:
    """Tell what is asked twice: by id, by sentence, by probe, by what is seen."""
    ids = [check.id for check in composition.checks]
    wrong = [f"{one} stands there twice" for one in sorted(set(ids)) if ids.count(one) > 1]
    wrong += [f"{two.id} asks what {one.id} asks" for one, two in asked_twice(composition)]
    wrong += [
        f"{two.id} sees what {one.id} sees"
        for one, two in itertools.combinations(composition.checks, 2)
        if shown(one) and shown(one) == shown(two) and not meant(one, two)
    ]
    wrong += [
        f"{one.id} and {two.id} see the same before anything was done"
        for _, checks in stretches(composition)
        for one, two in itertools.combinations(checks, 2)
        if (shown(one) and shown(two))
        and (shown(one) < shown(two) or shown(two) < shown(one))
        and not meant(one, two)
    ]
    return wrong


@EVERY_JOB
def test_nothing_is_asked_twice(job: Job) -> None:
    assert twice(composed(job), shown_by) == []


def test_what_is_meant_to_be_asked_twice_is_asked_twice_somewhere() -> None:
    """A "beside" that no job needs would hide the next one."""
    needed = {
        (check.id, other)
        for checklist in SHIPPED
        for check in checklist.checks
        for other in check.beside
        if not any({check.id, other} <= {one.id for one in composed(job).checks} for job in (*ALONE, *PAIRS))
    }
    assert needed == set()


# ---------------------------------------------------------------- work that grows loses nothing


@pytest.mark.parametrize("job", [*PAIRS, *LARGER], ids="+".join)
def test_more_work_takes_no_check_away_that_may_be_answered_already(job: Job) -> None:
    """A journal that names a check which its job does not have any more cannot be read."""
    together = {check.id for check in composed(job).checks}
    for kind in job:
        assert {check.id for check in composed((kind,)).checks} <= together


@pytest.mark.parametrize("job", PAIRS, ids="+".join)
def test_the_order_in_which_work_is_named_changes_nothing(job: Job) -> None:
    assert compose(SHIPPED, reversed(job)).segments == composed(job).segments


@pytest.mark.parametrize("job", PAIRS, ids="+".join)
def test_a_look_is_voided_by_an_opening_however_much_is_repaired(job: Job) -> None:
    voided = {check.id: check.voided_by for check in composed(job).checks}
    for kind in job:
        for check in composed((kind,)).checks:
            assert set(check.voided_by) <= set(voided[check.id])


# ---------------------------------------------------------------- what guards what, and when


def lost_holds(composition: Composition) -> list[str]:
    """Tell checks that name steps to guard, none of which is in this job, though hands still do something."""
    wrong = []
    written = {check.id: check for each in composition.checklists for check in each.checks}
    for index, segment in enumerate(composition.segments):
        left = [one.step for one in composition.segments[index:] if one.step.id != HAND_BACK]
        wrong += [
            f"{check.id} guards nothing here: {', '.join(written[check.id].before)}"
            for check in segment.checks
            if written[check.id].before and not check.before and left
        ]
    return wrong


def unreached(composition: Composition) -> list[str]:
    """Tell checks that are called for and not asked, or asked in another stage than their own."""
    asked = {check.id: segment.stage for segment in composition.segments for check in segment.checks}
    return [
        f"{check.id} is asked in {asked.get(check.id, 'no stage')}"
        for each in composition.checklists
        for check in each.checks
        if called_for(check.work, composition.work) and asked.get(check.id) != check.stage
    ]


def out_of_order(composition: Composition) -> list[str]:
    """Tell stages that come back, and checks on the wrong side of what they guard or come after."""
    stages = [STAGES.index(segment.stage) for segment in composition.segments]
    wrong = [] if stages == sorted(stages) else ["the stages come back"]
    taken: list[str] = []
    for segment in composition.segments:
        for check in segment.checks:
            wrong += [f"{step} waits for {check.id} for ever" for step in check.before if step in taken]
            if check.after is not None and check.after not in taken:
                wrong.append(f"{check.id} is asked before {check.after}")
        taken.append(segment.step.id)
    if taken[-1] != HAND_BACK or composition.checks[-1].id != COMPLAINT_GONE:
        wrong.append("the complaint and the hand-back are not the last")
    if composition.checks[0].kind is not Kind.HAZARD:
        wrong.append("the first question is not the first")
    return wrong


# Earlier, later, why. A step or a check each; told wherever a job has both.
TRAPS = (
    # Feet go on last: to look again under them destroys them.
    ("charge-to-full", "fit-feet", "a new battery that swells has to come out again"),
    ("seam-gaps", "fit-feet", "swelling shows in the seams at full charge"),
    ("touchpad-level", "fit-feet", "a battery that lifts the touchpad has to come out again"),
    ("screw-base", "fit-feet", "screws lie below the feet"),
    ("all-accounted", "fit-feet", "a screw that is left over belongs below a foot"),
    ("bottom-screws", "fit-feet", "screws lie below the feet"),
    ("heat-margin", "fit-feet", "a fan that does not turn lies behind the base"),
    ("long-heat", "fit-feet", "a heat sink that does not sit lies behind the base"),
    ("board-heat", "fit-feet", "the board lies behind the base"),
    ("starts-cold", "fit-feet", "a loose contact lies behind the base"),
    ("keys-after-day", "fit-feet", "the keyboard lies behind the base"),
    ("foot-places", "fit-feet", "a foot on grease drops off"),
    ("feet-wait", "push-feet", "the tape needs its time before it is pushed"),
    # What a wrong battery destroys no test brings back.
    ("pack-flat", "connect-pack", "a damaged battery is not connected"),
    ("pack-label", "connect-pack", "a wrong battery destroys the board"),
    ("pack-volts", "connect-pack", "a wrong battery destroys the board"),
    ("bay-clean", "connect-pack", "the bay is empty only before"),
    ("battery-stains", "connect-pack", "a wet battery is not connected"),
    ("pack-flat", "charge", "a damaged battery is not charged"),
    ("pack-cell-voltage", "charge", "cells too low are not charged by force"),
    ("fit-board", "connect-pack", "no power while the board is screwed in"),
    # No lead of the lid goes in under power: its light has a fuse on the board.
    ("lid-power-off", "work-in-lid", "the fuse of the panel's light"),
    ("lid-power-off", "seat-sink", "nobody works inside under power first"),
    ("lid-power-off", "fit-board", "nobody works inside under power first"),
    ("lid-power-off", "connect-panel", "the fuse of the panel's light"),
    ("connect-panel", "connect-pack", "the battery goes in last"),
    ("power-lid", "connect-pack", "the lid's looks come before its power"),
    ("lid-plugs", "connect-pack", "a plug that is half in shorts under power"),
    ("lid-plugs", "charge", "a plug that is half in shorts under power"),
    # What is hidden is looked at before it is hidden.
    ("fins-clear", "seat-sink", "a plug of dust hides behind the sink"),
    ("pads-paste", "seat-sink", "the paste hides below the sink"),
    ("seat-sink", "sink-screws", "there is no screw before"),
    ("under-board", "fit-board", "films hide below the board"),
    ("board-clean", "fit-board", "the shield hides the crust"),
    ("contacts-bright", "fit-board", "the board hides its plugs"),
    *(
        (check_id, "close-base", "the base hides it")
        for check_id in (
            *("pack-flat", "pack-plug-home", "lead-plugs", "flat-cables", "lead-ways", "nothing-loose"),
            *("all-accounted", "pack-fixed", "sink-screws", "drive-seated", "module-latched", "card-seat"),
            *(
                "antenna-places",
                "speaker-seat",
                "touchpad-earth",
                "port-joints",
                "plugs-ticked",
                "deck-right",
            ),
            *("posts-whole", "hinge-screws", "hinge-turn", "lid-lead-ways"),
        )
    ),
    ("cover-lining", "screw-base", "the base hides it"),
    ("cover-flush", "screw-base", "a screw pulls a gap shut"),
    ("screw-base", "bottom-screws", "there is no screw before"),
    *(
        (check_id, "press-bezel", "the strip below the frame tears")
        for check_id in (
            *("picture-steady", "screen-colours", "camera-picture", "microphone", "radio-angles"),
            *("behind-frame", "ten-openings", "lid-stays", "lid-corners", "lid-switch", "panel-as-arrived"),
        )
    ),
    ("press-bezel", "picture-again", "the frame itself can pinch a lead"),
    ("press-bezel", "bezel-wait", "the glue sets afterwards"),
    ("bezel-wait", HAND_BACK, "the glue sets before it goes home"),
    # The charge is watched to its end, then the plug may be pulled.
    ("plug-cycles", "charge", "ten times in and out would break the watch"),
    ("power-first-way", "turn-plug", "each way round by itself"),
    ("turn-plug", "plug-warm", "the new way round is felt"),
    ("holds-under-load", "charge-to-full", "its level is in the middle only before"),
    ("charge-to-full", "charger-steady", "it would break the watch"),
    ("charger-steady", "port-shared", "a stick in the port takes the charger out"),
    ("plug-wiggle", "port-shared", "one movement, two witnesses"),
    ("charge-to-full", "end-charge", "the watch goes to the end"),
    *(
        ("charge-to-full", check_id, "it would break the watch, or be read below full")
        for check_id in (
            *("seam-gaps", "touchpad-level", "runs-on-battery", "palm-knock", "plug-wiggle", "port-shared"),
            *("touchpad-wakes", "three-sleeps", "second-start", "starts-cold", "memory-pass", "board-heat"),
        )
    ),
    ("charge-to-full", "charge-limit-back", "the owner's limit is set again afterwards"),
    ("charge-limit-back", HAND_BACK, "the owner's limit is set again"),
    ("touchpad-level", "palm-knock", "nobody knocks over a swollen battery"),
    # A contact that is half home holds while it is warm.
    ("board-heat", "cool-off", "hot first, cold after it"),
    ("cool-off", "starts-cold", "a warm machine hides it"),
    ("off-ten-minutes", "end-cold", "a warm machine hides it"),
    ("starts-cold", "size-as-ordered", "the memory is counted after the cold start"),
    # At full, before the machine is left alone or loses charge.
    ("seam-gaps", "soak", "no swelling battery is left alone for a day"),
    ("touchpad-level", "soak", "no swelling battery is left alone for a day"),
    ("soak", "keys-after-day", "what was spilled creeps back"),
    ("a-day", "end-soak", "delayed faults need the time"),
    ("a-day", HAND_BACK, "a late fault has no stage after it"),
    ("delay-told", "open-up", "told before the work"),
    # Last, and never after.
    ("updates-settled", "finish", "an update changes what was tested"),
    ("nothing-kept", HAND_BACK, "old parts are kept until the end"),
    ("wiped-clean", HAND_BACK, "with a dry cloth, at the end"),
    ("first-look", "open-up", "nothing is opened that bulges"),
    ("first-look", "run-up", "nothing is started that bulges"),
    ("first-look", "charge", "nothing is charged that bulges"),
)


def trapped(composition: Composition) -> list[str]:
    """Tell the order traps that this job does not keep out of."""
    step_at = {step.id: index for index, step in enumerate(composition.steps)}
    check_at = {
        check.id: (index, place, check)
        for index, segment in enumerate(composition.segments)
        for place, check in enumerate(segment.checks)
    }

    def guards_by(check: Check, index: int) -> bool:
        # Steps are taken in their order: what holds an earlier one holds the later one.
        return index == step_at[HAND_BACK] or any(step_at[step] <= index for step in check.before)

    def kept(earlier: str, later: str) -> bool:
        first, then = check_at.get(earlier), check_at.get(later)
        if first is None:
            return step_at[earlier] < (step_at[later] if then is None else then[0])
        index, place, check = first
        if then is None:
            return guards_by(check, step_at[later])
        by_hand = not needs_nobody(check) and not needs_nobody(then[2])
        same = by_hand and index == then[0] and place < then[1]
        return same or (index < then[0] and guards_by(check, then[0] - 1))

    both = {*step_at, *check_at}
    return [
        f"{earlier} must come before {later}: {why}"
        for earlier, later, why in TRAPS
        if {earlier, later} <= both and not kept(earlier, later)
    ]


RULES: Mapping[str, Callable[[Composition], list[str]]] = {
    "keeps its holds": lost_holds,
    "reaches each check": unreached,
    "has an order": out_of_order,
    "keeps out of the traps": trapped,
}


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
@EVERY_JOB
def test_every_job(job: Job, rule: Callable[[Composition], list[str]]) -> None:
    assert rule(composed(job)) == []


def test_every_trap_lies_on_the_way_of_some_job() -> None:
    names = [
        {*map(id_of, composed(job).checks), *map(id_of, composed(job).steps)} for job in (*ALONE, *PAIRS)
    ]
    idle = [
        (earlier, later) for earlier, later, _ in TRAPS if not any({earlier, later} <= each for each in names)
    ]
    assert idle == []


def id_of(one: Check | Step) -> str:
    return one.id


# ---------------------------------------------------------------- openings


def opened_by(composition: Composition) -> set[str]:
    """Return what the works of the job open or take off: what has a step that puts it back."""
    return {opening for step in composition.steps if step.do is not None for opening in step.voided_by} - {
        # The charger's steps name both for the sake of rework; they open nothing.
        opening
        for opening in (BASE, "pack-unplugged")
        if "close-base" not in {step.id for step in composition.steps}
    }


def test_every_opening_that_a_check_names_is_opened_by_some_job_that_asks_it() -> None:
    written = {
        (check.id, opening) for each in SHIPPED for check in each.checks for opening in check.voided_by
    }
    opened = {
        (check.id, opening)
        for job in (*ALONE, *PAIRS)
        for check in composed(job).checks
        for opening in opened_by(composed(job)) & set(check.voided_by)
    }
    assert written - opened == set()


# ---------------------------------------------------------------- every hold can be lifted

AT = Instant(wall=datetime(2026, 3, 2, 9, 0, tzinfo=UTC), elapsed_s=0.0)


def within(limit: Limit) -> Reading:
    """Return a reading well within the limit."""
    lower, upper = limit.lower, limit.upper
    bound = lower or upper
    assert bound is not None
    if lower is not None and upper is not None:
        value = (lower.value + upper.value) / 2
    elif limit.rule is Rule.COUNT:
        value = bound.value
    else:
        value = bound.value * (1.1 if upper is None else 0.5)
    return Reading(value=value, unit=bound.unit, standard_uncertainty=0.0, source="a sound machine")


class Walk:
    """A run by the plan alone: a sound machine, nobody waits, nothing is written down."""

    def __init__(self, composition: Composition) -> None:
        self.composition = composition
        self.taken: list[str] = []
        ticket = Ticket(id="WALK", work=tuple(Work(kind=kind) for kind in composition.work))
        began = Began(format="journal/1", tool="test", ticket=ticket, checklists=())
        self._lines = 1
        self._fold = Fold(Line(n=0, before="", at=AT, event=began), composition)
        self._good = GoodAnswers()

    def take(self, event: Event) -> None:
        """Let it happen."""
        self._fold.take(Line(n=self._lines, before="", at=AT, event=event))
        self._lines += 1

    def to_the_end(self) -> list[str]:
        """Go on until all is done; return what is wrong with the end."""
        most = 2 * (len(self.composition.checks) + len(self.composition.steps))
        for _ in range(most):
            state = self._fold.state()
            match plan.due(self.composition, state, on_machine=True):
                case plan.Complete():
                    outcome, reasons = outcome_of(self.composition, state)
                    return [] if outcome is Outcome.FIT else [f"{outcome}: {'; '.join(reasons)}"]
                case plan.Ask(checks=checks, pending=pending):
                    for check in checks:
                        if check.id in pending:
                            self._answer(check)
                case plan.Watching():
                    self._goes_on(state)
                case plan.Do(step=step):
                    self.taken.append(step.id)
                    self.take(Stepped(step=step.id))
                case stuck:
                    return [f"stuck at {stuck}"]
        return [f"not at the end after {most} things were done"]

    def _answer(self, check: Check) -> None:
        answer = self._good.answer(check)
        assert answer is not None
        self.taken.append(check.id)
        self.take(Answered(check=check.id, answer=answer))

    def _goes_on(self, state: State) -> None:
        probe = plan.probe_due(self.composition, state, on_machine=True)
        wait = plan.wait_due(self.composition, state)
        assert probe is not None or wait is not None
        if probe is not None and probe.limit is not None:
            self.taken.append(probe.id)
            readings = (within(probe.limit),)
            self.take(Found(check=probe.id, readings=readings, text="", trace="", samples=1, sha256=""))
        elif wait is not None:
            self.taken.append(wait.id)
            self.take(Waited(check=wait.id, seconds=wait.wait_s))


def walked(composition: Composition) -> list[str]:
    """Walk the job to its end; tell what was not reached exactly once."""
    walk = Walk(composition)
    wrong = walk.to_the_end()
    # Nobody takes the last step here: it waits for the signatures.
    wanted = [*map(id_of, composition.checks), *(id_of(step) for step in composition.steps[:-1])]
    if sorted(walk.taken) != sorted(wanted):
        wrong.append(f"not exactly once: {sorted(set(wanted) ^ set(walk.taken)) or walk.taken}")
    return wrong


@EVERY_JOB
def test_a_sound_machine_comes_to_the_end_of_every_job(job: Job) -> None:
    assert walked(composed(job)) == []


@EVERY_JOB
def test_whatever_is_opened_again_can_be_brought_to_the_end_again(job: Job) -> None:
    composition = composed(job)
    for opening in sorted(opened_by(composition), key=OPENINGS.index):
        walk = Walk(composition)
        assert walk.to_the_end() == []
        walk.taken.clear()
        # The battery's plug lies behind the base.
        opened = (BASE, opening) if opening == "pack-unplugged" else (opening,)
        walk.take(Reopened(opened=opened, why="to try"))
        assert walk.to_the_end() == [], opening
        voided = {check.id for check in composition.checks if set(opened) & set(check.voided_by)}
        assert voided, opening
        asked = set(walk.taken) - {step.id for step in composition.steps}
        assert asked == voided, opening


# Whole runs, with the simulated machine, the journal and its probes: each work alone, some drawn pairs.
DRAWN = tuple(CHANCE.sample(PAIRS, 8))


@pytest.mark.parametrize("job", [*ALONE, *DRAWN, WORKS], ids="+".join)
def test_a_sound_machine_is_fit_after_a_whole_run(job: Job, tmp_path: Path) -> None:
    facts, sees = whole_table()
    file = SpecimenFile(
        name="all",
        own="all",
        to_prove=(),
        checklists=SHIPPED,
        facts=facts,
        sees=sees,
        faults={},
        specimens=(),
    )
    label_wh = 57.0 if "battery" in job else None
    specimen = Specimen(name="sound", expect=Outcome.FIT, work=job, label_wh=label_wh)
    came = run_specimen(file, specimen, tmp_path)
    assert (came.outcome, dict(came.alarms), came.not_done) == (Outcome.FIT, {}, ())


# ---------------------------------------------------------------- screens and minutes within reason

# With arrival, which is a screen of its own [common practice, no source].
MOST_SCREENS = {"cooling": 12, "battery": 18}
MOST_OF_ANOTHER = 21
MOST_OF_ALL = 55
ARRIVAL = 1


def screens_of(job: Job) -> int:
    return len(screens(composed(job))) + ARRIVAL


def in_common(job: Job) -> Composition:
    """Return what two works share: the lists that both call for, without what only one of them asks."""
    both = [
        msgspec.structs.replace(
            each,
            checks=tuple(c for c in each.checks if all(called_for(c.work, (kind,)) for kind in job)),
            steps=tuple(s for s in each.steps if all(called_for(s.work, (kind,)) for kind in job)),
        )
        for each in SHIPPED
        if all(called_for(each.for_work, (kind,)) for kind in job)
    ]
    return compose(both, job if any(each.for_work for each in both) else (), whole=False)


@pytest.mark.parametrize("kind", WORKS)
def test_no_work_alone_takes_more_screens_than_somebody_bears(kind: str) -> None:
    assert screens_of((kind,)) <= MOST_SCREENS.get(kind, MOST_OF_ANOTHER)


def full_screens(job: Job) -> int:
    """Return how often the looks at one place come to more lines than a screen has."""
    found = [one for one in screens(composed(job)) if len(one.checks) > 1 or one.place]
    return sum(
        (one.segment, one.place, one.checks[0].kind) == (two.segment, two.place, two.checks[0].kind)
        for one, two in itertools.pairwise(found)
        if one.checks and two.checks and two.checks[0].kind is Kind.LOOK
    )


def parted(job: Job) -> int:
    """Return how often a place is looked at once more, as a step of the one work parts the other's looks."""
    together, *alone = (
        Counter((stage, place) for stage, place, _ in stops(each))
        for each in (job, *((kind,) for kind in job))
    )
    return sum(max(0, times - max(each[at] for each in alone)) for at, times in together.items())


def stops(job: Job) -> set[tuple[str, str, int]]:
    """Return stage, place and segment of each stop at which hands or eyes are needed."""
    return {
        (segment.stage, check.place, index)
        for index, segment in enumerate(composed(job).segments)
        for check in segment.checks
        if not needs_nobody(check)
    }


def plugged_for_the_lid(job: Job) -> int:
    """Return the screens of the battery plugged in, where the base was opened to unplug it for the lid."""
    steps = {kind: {step.id for step in composed((kind,)).steps} for kind in job}
    together = {step.id for step in composed(job).steps}
    new = "connect-pack" in together and not any("connect-pack" in each for each in steps.values())
    # The step, and the looks inside the base that it parts.
    return 2 if new else 0


@pytest.mark.parametrize("job", PAIRS, ids="+".join)
def test_two_works_take_no_more_screens_than_both_alone_less_what_they_share(job: Job) -> None:
    alone = sum(screens_of((kind,)) for kind in job)
    shared = len(screens(in_common(job))) + ARRIVAL
    assert screens_of(job) <= alone - shared + full_screens(job) + parted(job) + plugged_for_the_lid(job)
    assert screens_of(job) < alone


@pytest.mark.parametrize("job", PAIRS, ids="+".join)
def test_two_works_take_the_minutes_of_both_less_what_they_share(job: Job) -> None:
    first, second = ({check.id: check for check in composed((kind,)).checks} for kind in job)
    both = {check.id: check for check in composed(job).checks}
    # Keys that the charge has warmed are tried once more: neither work alone has both.
    assert both.keys() - (first | second).keys() <= {"keys-again"}
    shared = sum(first[one].minutes for one in first.keys() & second.keys())
    more = sum(both[one].minutes for one in both.keys() - (first | second).keys())
    alone = [hands_minutes(composed((kind,))) + waiting_minutes(composed((kind,))) for kind in job]
    together = hands_minutes(composed(job)) + waiting_minutes(composed(job))
    assert together == pytest.approx(sum(alone) - shared + more)
    assert shared > more


@EVERY_JOB
def test_no_job_takes_longer_than_all_works_together(job: Job) -> None:
    assert screens_of(job) <= screens_of(WORKS) <= MOST_OF_ALL
    assert hands_minutes(composed(job)) <= hands_minutes(composed(WORKS)) <= 120
    days = waiting_minutes(composed(job)) / (24 * 60)
    assert days <= (1.25 if "liquid" in job else 0.25)


# ---------------------------------------------------------------- the rules tell a mistake

Lists = tuple[Checklist, ...]
SEEDS = range(12)
COPY = "copy"


def too_long(composition: Composition) -> list[str]:
    """Tell a job of one kind of work that takes more screens than somebody bears."""
    shown = len(screens(composition)) + ARRIVAL
    most = max([MOST_SCREENS.get(kind, MOST_OF_ANOTHER) for kind in composition.work], default=0)
    return [f"{shown} screens"] if len(composition.work) == 1 and shown > most else []


class Mutant(msgspec.Struct, frozen=True, kw_only=True):
    """Lists with one mistake. jobs: where it has to show. copied: the check that stands there twice."""

    lists: Lists
    jobs: tuple[Job, ...]
    what: str
    copied: Check | None = None


def told(mutant: Mutant) -> list[str]:
    """Return what the first rule that notices the mistake tells; empty where none does."""

    def shown(check: Check) -> Facts:
        return shown_by(mutant.copied) if check.id == COPY and mutant.copied is not None else shown_by(check)

    rules = (*RULES.values(), too_long)
    for job in mutant.jobs:
        try:
            composition = compose(mutant.lists, job)
        except ChecklistError as error:
            return [error.what]
        wrong = [each for rule in rules for each in rule(composition)]
        if wrong := wrong or walked(composition) or twice(composition, shown):
            return wrong
    return []


def put(checklist: Checklist, check: Check, *new: Check, shown: Lists = SHIPPED) -> Lists:
    """Return the lists with other checks in the place of one."""
    checks = tuple(other for each in checklist.checks for other in (new if each is check else (each,)))
    changed = msgspec.structs.replace(checklist, checks=checks)
    return tuple(changed if each is checklist else each for each in shown)


def some_check(
    chance: random.Random, fits: Callable[[Check, Composition], bool]
) -> tuple[Checklist, Check, Job]:
    """Draw a check that fits, its list and a job of one kind of work that asks it."""
    found = [
        (checklist, check, job)
        for job in ALONE
        for checklist in composed(job).checklists
        for check in checklist.checks
        if check.id in {one.id for one in composed(job).checks} and fits(check, composed(job))
    ]
    return chance.choice(found)


def copied_under_another_id(chance: random.Random) -> Mutant:
    checklist, check, job = some_check(chance, lambda *_: True)
    copy = msgspec.structs.replace(check, id=COPY)
    return Mutant(lists=put(checklist, check, check, copy), jobs=(job,), what=check.id, copied=check)


def copied_in_other_words(chance: random.Random) -> Mutant:
    checklist, check, job = some_check(
        chance, lambda one, _: one.kind is Kind.PROBE or shown_by(one) != frozenset()
    )
    copy = msgspec.structs.replace(check, id=COPY, ask="Look once more.", place="somewhere else")
    return Mutant(lists=put(checklist, check, check, copy), jobs=(job,), what=check.id, copied=check)


def hold_on_a_step_that_nobody_has(chance: random.Random) -> Mutant:
    checklist, check, job = some_check(chance, lambda *_: True)
    wrong = msgspec.structs.replace(check, before=(*check.before, "weld-shut"))
    return Mutant(lists=put(checklist, check, wrong), jobs=(job,), what=check.id)


def hold_on_a_step_of_other_work(chance: random.Random) -> Mutant:
    checklist, check, job = some_check(chance, lambda one, _: one.before != () and one.stage != STAGES[-1])
    here = {step.id for step in composed(job).steps}
    elsewhere = [
        step.id
        for each in SHIPPED
        if not called_for(each.for_work, job)
        for step in each.steps
        if step.id not in here
    ]
    wrong = msgspec.structs.replace(check, before=(chance.choice(elsewhere),))
    return Mutant(lists=put(checklist, check, wrong), jobs=(job,), what=check.id)


def hold_dropped(chance: random.Random) -> Mutant:
    steps = {step.id for each in SHIPPED for step in each.steps} - {HAND_BACK}
    trapped_ids = {earlier for earlier, later, _ in TRAPS if later in steps}

    def fits(check: Check, composition: Composition) -> bool:
        later = {then for earlier, then, _ in TRAPS if earlier == check.id}
        return check.id in trapped_ids and bool(later & {step.id for step in composition.steps} & steps)

    _checklist, check, job = some_check(chance, fits)
    shared = [each for each in composed(job).checklists if check.id in {one.id for one in each.checks}]
    lists = SHIPPED
    for each in shared:
        # Another list may ask it as well; the check guards what any of them says.
        own = next(one for one in each.checks if one.id == check.id)
        lists = put(each, own, msgspec.structs.replace(own, before=()), shown=lists)
    return Mutant(lists=lists, jobs=(job,), what=check.id)


def stage_that_nobody_opens(chance: random.Random) -> Mutant:
    checklist, check, job = some_check(
        chance,
        lambda _, composition: {"open", "charged"} - {one.stage for one in composition.segments} != set(),
    )
    missing = sorted({"open", "charged"} - {one.stage for one in composed(job).segments})
    wrong = msgspec.structs.replace(check, stage=chance.choice(missing), after=None)
    return Mutant(lists=put(checklist, check, wrong), jobs=(job,), what=check.id)


def door_to_a_stage_walled_up(chance: random.Random) -> Mutant:
    stage = chance.choice(STAGES[1:])

    def without_door(step: Step) -> Step:
        return msgspec.structs.replace(step, leads_to=None) if step.leads_to == stage else step

    lists = tuple(
        msgspec.structs.replace(each, steps=tuple(map(without_door, each.steps))) for each in SHIPPED
    )
    return Mutant(lists=lists, jobs=ALONE, what=stage)


def hold_on_what_it_comes_after(chance: random.Random) -> Mutant:
    checklist, check, job = some_check(
        chance, lambda one, composition: one.after in {step.id for step in composition.steps}
    )
    wrong = msgspec.structs.replace(check, before=(*check.before, str(check.after)))
    return Mutant(lists=put(checklist, check, wrong), jobs=(job,), what=check.id)


def steps_the_other_way_round(chance: random.Random) -> Mutant:
    checklist = chance.choice([each for each in SHIPPED if len(each.order) > 1])
    swapped = msgspec.structs.replace(checklist, order=tuple(reversed(checklist.order)))
    lists = tuple(swapped if each is checklist else each for each in SHIPPED)
    jobs = [job for job in (*ALONE, *PAIRS) if called_for(checklist.for_work, job)]
    return Mutant(lists=lists, jobs=tuple(jobs), what=checklist.id)


def twelve_looks_at_twelve_places(chance: random.Random) -> Mutant:
    checklist, check, job = some_check(chance, lambda one, _: one.kind is Kind.LOOK)
    more = [
        msgspec.structs.replace(check, id=f"look-{n}", ask=f"Look {n}.", place=f"place {n}", beside=())
        for n in range(12)
    ]
    return Mutant(lists=put(checklist, check, check, *more), jobs=(job,), what=check.id)


MUTATIONS = (
    copied_under_another_id,
    copied_in_other_words,
    hold_on_a_step_that_nobody_has,
    hold_on_a_step_of_other_work,
    hold_dropped,
    stage_that_nobody_opens,
    door_to_a_stage_walled_up,
    hold_on_what_it_comes_after,
    steps_the_other_way_round,
    twelve_looks_at_twelve_places,
)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: one.__name__.replace("_", " "))
def test_a_mistake_put_in_on_purpose_is_told(mutation: Callable[[random.Random], Mutant], seed: int) -> None:
    mutant = mutation(random.Random(f"{mutation.__name__} {seed}"))
    assert mutant.lists != SHIPPED
    assert told(mutant) != [], f"{mutant.what} in {mutant.jobs[0]}"


@pytest.mark.parametrize("job", ALONE, ids="+".join)
def test_nothing_is_told_of_the_lists_as_they_are(job: Job) -> None:
    assert told(Mutant(lists=SHIPPED, jobs=(job,), what="nothing")) == []
