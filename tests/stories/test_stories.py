"""Ten repairs told as stories, each a whole run: taken in, worked on, caught, held there, mended, and ended.

The machine is simulated, its faults are physical and come by name, and the technician answers what is so.
Complaints, names and numbers are invented. A simulated run is never released: the outcome is asserted.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest

from verify.ask.simulated import EVERY_S, SimulatedBench
from verify.checklist.specimens import Fault
from verify.machine import Sample
from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15, SimulatedDesign
from verify.record.model import Part, Record, Result, Work
from verify.run import plan
from verify.run.sampling import VirtualSampler
from verify.testing.story import Story, caught
from verify.values import Outcome, Verdict
from verify.values.errors import OrderError

Begin = Callable[..., Story]


@pytest.fixture
def begin(tmp_path: Path) -> Iterator[Begin]:
    """Give a function that takes a machine in, with the owner's words; its session ends with the test."""
    begun: list[Story] = []

    def take_in(
        complaint: str,
        *,
        design: SimulatedDesign = LARKSPUR_15,
        level: float = 0.35,
        faults: Mapping[str, str] | None = None,
        own: Mapping[str, Fault] | None = None,
        notes: Mapping[str, str] | None = None,
    ) -> Story:
        bench = SimulatedBench(faults=faults or {}, design=design, level=level)
        story = Story(tmp_path / "reports", complaint=complaint, bench=bench, own=own, notes=notes)
        begun.append(story)
        assert isinstance(story.take_in(), plan.SayWork)
        return story

    yield take_in
    for story in begun:
        story.close()


def battery(label: str, source: str = "original") -> Work:
    return Work(kind="battery", part=Part(source=source, label={"energy": label}))


def result(record: Record, check: str) -> Result:
    return next(each for each in record.results if each.check == check)


def held_before(due: plan.Due) -> str:
    """Return the step that is held, and see that nothing else is awaited."""
    assert isinstance(due, plan.Held), due
    return due.step.id


def told(story: Story, outcome: Outcome) -> Record:
    """Return the record; its page is rendered, says how it came out, names what was caught, and is marked."""
    record, page = story.told()
    assert record.outcome is outcome
    assert record.simulated
    assert record.scripted
    assert "SIMULATED" in page.upper()
    for check in caught(record):
        assert result(record, check).ask in page
    return record


def mended(record: Record, check: str) -> None:
    """See that a check was caught, that this answer stays, out of date, and that it is good now."""
    attempts = result(record, check).attempts
    assert attempts[0].verdict is Verdict.DOES_NOT_CONFORM
    assert attempts[0].out_of_date
    assert attempts[-1].verdict is Verdict.CONFORMS
    assert record.first_pass[check] is Verdict.DOES_NOT_CONFORM


# ---------------------------------------------------------------------- batteries


def test_a_reproduction_pack_holds_far_less_than_its_label(begin: Begin) -> None:
    story = begin("It runs for half an hour only.", design=LARKSPUR_13, level=0.11)
    gauge = story.bench.machine.sample().packs[0]
    story.befall("holds 31 Wh")
    boasts = story.bench.machine.sample().packs[0]
    assert boasts.full_charge_wh == boasts.design_wh == 50.0
    assert boasts.full_charge_wh != gauge.full_charge_wh

    due = story.work(battery("50.0 Wh", "reproduction"))

    assert held_before(due) == "finish"
    record = told(story, Outcome.HELD)
    assert caught(record) == ("claimed-capacity", "measured-capacity", "gauge-told-truth")
    said = result(record, "claimed-capacity").attempts[-1]
    # As good as the gauge's own sensor, which it learned by.
    assert said.readings[0].value == pytest.approx(62.0, abs=1.0)
    assert re.search(r"3[01]\.\d Wh", said.note)
    # Less went in than the label says that it holds, from nearly empty to full.
    _, page = story.told()
    # Counted by a sensor that is up to 1 % off, from a level that is not proven.
    holds = re.search(r"about (\d+) of the 50 watt-hours \(Wh\) printed on it", page)
    assert holds is not None
    assert int(holds[1]) == pytest.approx(31, abs=2)
    watched = result(record, "charge-to-full").attempts[-1]
    went_in = next(each for each in watched.readings if each.unit.value == "Wh")
    assert went_in.value is not None
    assert 26.0 < went_in.value < 31.0


def test_a_gauge_that_never_learns_is_told_and_never_called_good(begin: Begin) -> None:
    # What it holds has to be counted while it charges; until then the gauge's word is no proof of either.
    story = begin("It runs for half an hour only.", design=LARKSPUR_13, level=0.11)
    story.befall("holds 31 Wh", "gauge not learned")
    story.work(battery("50.0 Wh", "reproduction"))
    record, page = story.told()
    said = result(record, "claimed-capacity")
    assert said.verdict is Verdict.UNDECIDED
    assert "has not learned" in said.because
    assert "has not learned" in page
    assert "Wh went in." in page


def test_an_antenna_plug_knocked_off_beside_a_perfect_pack(begin: Begin) -> None:
    off = ("antenna lead off", "antenna lead beside its socket")
    story = begin("It goes off without the charger.")
    # It was home at the last look inside, and goes off as the base goes on.
    story.then["screw-base"] = lambda: story.befall(*off)

    due = story.work(battery("57.0 Wh"))

    assert held_before(due) == "finish"
    record = told(story, Outcome.HELD)
    assert caught(record) == ("radio-as-arrived", "network")
    levels = {each.source: each.value for each in result(record, "radio-as-arrived").attempts[-1].readings}
    assert levels["radio, on arrival"] == -44
    assert levels["radio, 5 looks"] == -71

    story.owner.reopen(["base"], why="The network is weak: an antenna plug is off.")
    story.mend(*off)
    assert isinstance(story.go_on(), plan.Complete)

    record = told(story, Outcome.FIT)
    mended(record, "radio-as-arrived")
    mended(record, "network")
    # What lies behind the base is looked at again; what the pack holds and its charge stand.
    voided = record.reopenings[0].voided
    assert {"lead-plugs", "nothing-loose", "bottom-screws", "sound", "heat-margin"} <= set(voided)
    assert not {"claimed-capacity", "charge-to-full", "pack-volts", "pack-label"} & set(voided)
    assert set(voided) <= {each.check for each in record.results if len(each.attempts) > 1}
    assert record.first_pass_outcome is Outcome.HELD


def test_a_used_pack_that_lets_the_machine_go_off_under_load(begin: Begin) -> None:
    stops = Fault(machine={"stops-under-load": "44 %"})
    story = begin("The touchpad clicks hard.", own={"tired cells": stops}, level=0.478)
    machine = story.bench.machine
    story.befall("tired cells")

    # The tool runs on the machine: it goes off with it.
    story.bench.sampler = _GoesOffToo(story.bench)
    with pytest.raises(_WentOff):
        story.work(battery("57.0 Wh", "used"))
    assert set(story.owner.state.watching) == {"holds-under-load"}
    before, _ = story.told()
    answered = set(story.owner.state.tries)

    # On the charger it starts, and shows the same level: the charge was there all the time.
    machine.plug_in()
    assert machine.sample().packs[0].state_of_charge == pytest.approx(0.435, abs=0.005)
    story.boot_again()
    after, _ = story.told()
    assert after.journal_head == before.journal_head
    assert after.results == before.results
    due = story.go_on()

    # The watch is taken up: what it saw is enough, and nothing is asked twice.
    assert not answered & set(story.asked)
    assert held_before(due) == "go-on-charging"
    record = told(story, Outcome.HELD)
    # Nobody had to complain of it, and what the gauge shows on the charger does not excuse it.
    assert caught(record) == ("holds-under-load",)
    (attempt,) = result(record, "holds-under-load").attempts
    assert "stopped by itself at 44 %, under full load" in attempt.note
    assert "Now it shows 4" in attempt.note
    assert attempt.readings[0].value == 1
    assert len({trace.name for trace in record.traces}) == len(record.traces)

    # The pack is refused; another one holds.
    story.owner.reopen(["base", "pack-unplugged"], why="The battery lets go under load: another one.")
    story.mend("tired cells")
    assert isinstance(story.go_on(), plan.Complete)
    record = told(story, Outcome.FIT)
    mended(record, "holds-under-load")
    assert "It held for 60 s of full load" in result(record, "holds-under-load").attempts[-1].note
    assert result(record, "claimed-capacity").verdict is Verdict.CONFORMS


class _GoesOffToo(VirtualSampler):
    """The bench's sampler, on the machine itself: once that is off, nothing is read any more."""

    def __init__(self, bench: SimulatedBench) -> None:
        super().__init__(bench.machine, bench.clock, every_s=EVERY_S)
        self._was_on = False

    def next(self, timeout_s: float) -> Sample | None:
        """Return the next sample, as long as the machine is on."""
        sample = super().next(timeout_s)
        on = sample is not None and bool(sample.packs or sample.adapters)
        if self._was_on and not on:
            raise _WentOff
        self._was_on = on
        return sample


class _WentOff(Exception):  # noqa: N818 - what happens to a machine, not an error of the tool
    """The machine went off, and the tool on it with it."""


# ---------------------------------------------------------------------- cooling, lid, deck, base, hinge


def test_the_second_fan_s_lead_comes_off_and_the_first_fan_hides_it(begin: Begin) -> None:
    off = ("second fan stands still", "second fan stands")
    story = begin("It is loud and hot.")
    story.then["screw-base"] = lambda: story.befall(*off)

    due = story.work(Work(kind="cooling"), Work(kind="feet"))

    assert held_before(due) == "fit-feet"
    assert "fit-feet" not in story.steps
    record = told(story, Outcome.HELD)
    assert caught(record) == ("fan-answers", "fans-as-arrived", "fan-air")
    assert "second fan" in result(record, "fans-as-arrived").attempts[-1].note

    story.owner.reopen(["base"], why="The second fan stands: its lead is off.")
    story.mend(*off)
    assert isinstance(story.go_on(), plan.Complete)

    record = told(story, Outcome.FIT)
    mended(record, "fans-as-arrived")
    mended(record, "fan-air")
    assert story.steps.count("fit-feet") == 1
    assert "2 of 2 fans turned" in result(record, "fans-as-arrived").attempts[-1].note
    assert "It would end at 82 °C" in result(record, "long-heat").attempts[-1].note


def test_a_fan_plug_left_off_is_seen_before_the_base_goes_on(begin: Begin) -> None:
    story = begin("It is loud and hot.")
    story.befall("fan lead off", "second fan stands")
    due = story.work(Work(kind="cooling"), Work(kind="feet"))
    assert held_before(due) == "close-base"
    assert caught(told(story, Outcome.HELD)) == ("lead-plugs",)


def test_a_dumb_microphone_behind_a_camera_that_is_good(begin: Begin) -> None:
    story = begin("The screen has a crack.")
    story.befall("microphone wire broken")

    due = story.work(Work(kind="lid", part=Part(source="used")))

    # The frame is still loose: nothing has to be torn off again.
    assert held_before(due) == "press-bezel"
    assert "press-bezel" not in story.steps
    record = told(story, Outcome.HELD)
    assert caught(record) == ("microphone",)
    assert result(record, "camera-picture").verdict is Verdict.CONFORMS

    story.owner.reopen(["lid"], why="The microphone is dumb.")
    story.mend("microphone wire broken")
    assert isinstance(story.go_on(), plan.Complete)

    record = told(story, Outcome.FIT)
    mended(record, "microphone")
    assert story.steps.count("press-bezel") == 1
    assert {"lid-plugs", "camera-picture", "picture-steady"} <= set(record.reopenings[0].voided)
    assert "heat-margin" not in record.reopenings[0].voided


@pytest.mark.parametrize(
    ("works", "fault", "second_run"),
    [
        (("keyboard-deck", "battery"), "key repeats once warm", "keys-again"),
        (("keyboard-deck", "liquid"), "tea in a key", "keys-after-day"),
    ],
    ids=["after the charge", "after a day, as liquid was cleaned up"],
)
def test_a_key_that_writes_twice_only_after_the_soak(
    begin: Begin, works: tuple[str, ...], fault: str, second_run: str
) -> None:
    story = begin("Tea over the keyboard.")
    story.befall(fault)

    due = story.work(*(battery("57.0 Wh") if kind == "battery" else Work(kind=kind) for kind in works))

    assert isinstance(due, plan.Held)
    record = told(story, Outcome.HELD)
    assert caught(record) == (second_run,)
    assert result(record, "every-key").verdict is Verdict.CONFORMS
    with pytest.raises(OrderError, match="mended"):
        story.owner.accept(second_run, by="Demo Reviewer", reason="One key.", owner_agreed="At the counter.")

    story.owner.reopen(["base", "pack-unplugged"], why="Another deck.")
    story.mend(fault)
    assert isinstance(story.go_on(), plan.Complete)
    record = told(story, Outcome.FIT)
    mended(record, second_run)
    assert len(result(record, "every-key").attempts) == 2


@pytest.mark.parametrize(
    ("own", "step", "catching"),
    [
        # It fell to the floor after the count, and a hole without a foot looks like a place of a foot.
        ({"screws below the feet": "one hole empty"}, "fit-feet", ("foot-places",)),
        (
            {
                "screws below the feet": "one hole empty",
                "base screw heads": "one hole empty",
                "tray after screwing": "one screw",
            },
            "charge",
            ("bottom-screws",),
        ),
        ({"short base screws on the tray": "5"}, "close-base", ("all-accounted",)),
    ],
    ids=["lost after the count", "still on the tray", "lost before the count"],
)
def test_nine_of_ten_screws_are_in_and_no_foot_is_lost(
    begin: Begin, own: Mapping[str, str], step: str, catching: tuple[str, ...]
) -> None:
    story = begin("It rattles.", own={"the tenth screw": Fault(facts=own)})
    story.befall("the tenth screw")

    due = story.work(Work(kind="base-cover"), Work(kind="feet", part=Part(source="original")))

    assert held_before(due) == step
    assert "fit-feet" not in story.steps
    record = told(story, Outcome.HELD)
    assert caught(record) == catching

    story.mend("the tenth screw")
    for check in catching:
        story.owner.ask_again(check)
    assert isinstance(story.go_on(), plan.Complete)
    assert story.steps.count("fit-feet") == 1
    record = told(story, Outcome.FIT)
    for check in catching:
        mended(record, check)
    assert not record.reopenings


def test_a_hairline_in_the_paint_is_accepted_by_name_and_for_the_paint_only(begin: Begin) -> None:
    hairline = Fault(facts={"outside": "a hairline in the paint at the left hinge corner"})
    story = begin(
        "The left hinge has torn out.",
        own={"hairline": hairline},
        notes={"ten-openings": "No gap. A hairline in the paint at the left corner, in picture 2."},
    )
    story.befall("hairline")

    due = story.work(Work(kind="hinge"))

    assert held_before(due) == "hand-back"
    record = told(story, Outcome.HELD)
    assert caught(record) == ("no-new-mark",)
    assert "hairline" in result(record, "no-new-mark").attempts[-1].note
    assert "hairline" in result(record, "ten-openings").attempts[-1].note

    story.owner.accept(
        "no-new-mark",
        by="Demo Reviewer",
        reason="Paint only: the post below is whole, ten openings are good.",
        owner_agreed="At the counter, with the picture in hand, 2 March, 16:10.",
    )
    assert isinstance(story.go_on(), plan.Complete)
    record = told(story, Outcome.FIT_UNDER_CONCESSION)
    _, page = story.told()
    for words in ("Demo Reviewer", "Paint only", "with the picture in hand"):
        assert words in page

    # The paint only: a hinge that lets go later is not covered, nor is the mark once the lid is open again.
    story.owner.reopen(["lid"], why="It creaks.")
    story.befall("hinge screw loose")
    due = story.go_on()
    assert isinstance(due, plan.Held)
    assert "hinge-screws" in caught(told(story, Outcome.HELD))
    assert story.owner.state.is_open("no-new-mark")


# ---------------------------------------------------------------------- charging port, charge limit


def test_a_charging_port_that_is_weak_one_way_round_and_lets_go(begin: Begin) -> None:
    weak = Fault(
        facts={"charging pins": "one lets go when pushed up"},
        machine={"weak-one-way": "15 W", "loose-port": "3 pieces"},
    )
    story = begin("It charges only when I hold the plug.", own={"cold joint": weak})
    story.befall("cold joint")

    due = story.work(Work(kind="charging-port"))

    assert held_before(due) == "try-sockets"
    record = told(story, Outcome.HELD)
    # The machine's own witness and the eye, at one movement.
    assert caught(record) == ("charge-power", "charger-steady", "plug-wiggle")
    # Away and back, three times.
    assert result(record, "charger-steady").attempts[-1].readings[0].value == 6
    assert result(record, "power-first-way").verdict is Verdict.CONFORMS
    for check in ("charger-steady", "plug-wiggle"):
        with pytest.raises(OrderError, match="mended"):
            story.owner.accept(check, by="Demo Reviewer", reason="x", owner_agreed="x")

    # Run down first: how fast a battery charges can be told below 80 % only.
    story.bench.machine.pull_out()
    story.bench.clock.wait(2 * 3600)
    story.owner.reopen(["base", "pack-unplugged"], why="The port is soldered again.")
    story.mend("cold joint")
    assert isinstance(story.go_on(), plan.Complete)
    record = told(story, Outcome.FIT)
    mended(record, "charge-power")
    mended(record, "plug-wiggle")
    mended(record, "charger-steady")
    assert result(record, "charger-steady").attempts[-1].readings[0].value == 0
    rate = result(record, "charge-power").attempts[-1].readings[0].value
    assert rate is not None
    assert rate > 0.2


def capped(begin: Begin) -> Story:
    return begin("It is slow.", faults={"charge-limit": "80 %"}, level=0.85)


def test_the_owner_s_charge_limit_is_told_and_nothing_waits_for_ever(begin: Begin) -> None:
    # Storage work asks for no full charge: the limit stands as the owner set it, and is no fault.
    story = capped(begin)
    assert isinstance(story.work(Work(kind="storage", part=Part(source="original"))), plan.Complete)
    record = told(story, Outcome.FIT)
    assert caught(record) == ()
    assert story.bench.machine.sample().packs[0].charge_limit == 0.8
    limit_is_named(story, record)


def limit_is_named(story: Story, record: Record) -> None:
    """See that arrival and page tell the owner's limit of 80 %."""
    assert record.arrival is not None
    limit = next(each for each in record.arrival.readings if "charge limit" in each.source)
    assert limit.value == 80.0
    _, page = story.told()
    # As the page's text reads, without its marks.
    assert re.search(r"charge limit\s+80\b", re.sub(r"<[^>]*>", " ", page))


def test_the_owner_s_charge_limit_is_lifted_for_the_charge_and_set_again(begin: Begin) -> None:
    story = capped(begin)
    machine = story.bench.machine

    def look_at_the_limit() -> None:
        now = machine.sample().packs[0].charge_limit
        story.facts["charge limit"] = "as on arrival" if now == 0.8 else "lifted"

    story.looking["charge-limit-back"] = look_at_the_limit
    due = story.work(Work(kind="storage"), Work(kind="charging-port"))

    # Held by a setting is no fault of the pack: it cannot be told, and it is said what to do.
    assert held_before(due) == "end-charge"
    record = told(story, Outcome.HELD)
    assert caught(record) == ("charge-to-full",)
    held = result(record, "charge-to-full")
    assert held.verdict is Verdict.UNDECIDED
    assert "limit" in held.because

    story.owner.notice("Charge limit of 80 %, lifted for the charge; the owner said yes on the telephone.")
    machine.mend("charge-limit")
    story.owner.ask_again("charge-to-full")
    due = story.go_on()
    assert held_before(due) == "finish"
    record = told(story, Outcome.HELD)
    assert caught(record) == ("charge-limit-back",)
    assert result(record, "charge-to-full").verdict is Verdict.CONFORMS

    machine.befall({"charge-limit": "80 %"})
    story.owner.ask_again("charge-limit-back")
    assert isinstance(story.go_on(), plan.Complete)
    record = told(story, Outcome.FIT)
    mended(record, "charge-limit-back")
    assert machine.sample().packs[0].charge_limit == 0.8
    limit_is_named(story, record)
    assert "the owner said yes on the telephone" in story.told()[1]
