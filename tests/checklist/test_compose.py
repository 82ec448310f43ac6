"""Checklists put together: nothing twice, in an order that protects the work."""

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.checklist import Check, Checklist, Composition, Kind, Step
from verify.checklist.compose import compose, hands_minutes, waiting_minutes
from verify.checklist.loader import parse_checklist
from verify.checklist.placing import needs_nobody
from verify.checklist.proofread import checklist_mistakes
from verify.checklist.screens import MOST_LOOKS, screens
from verify.checklist.shipped import shipped_checklists
from verify.checklist.step_order import ContradictionError, merge_orders
from verify.checklist.twice import asked_twice
from verify.values.errors import ChecklistError, WrongUseError

OPEN = Step(id="open-up", name="open", stage="arrived", leads_to="open")
CLOSE = Step(id="close-base", name="close", do="Close it.", stage="open", leads_to="closed")
CHARGE = Step(id="charge", name="charge", do="Plug in.", stage="closed")
FEET = Step(id="fit-feet", name="feet", do="Fit.", stage="closed", leads_to="finished", work=("feet",))
FINISH = Step(id="finish", name="finish", stage="closed", leads_to="finished")
HAND_BACK = Step(id="hand-back", name="hand back", stage="finished")
STEPS = (OPEN, CLOSE, CHARGE, FEET, FINISH, HAND_BACK)


def look(name: str, stage: str, *, before: tuple[str, ...] = (), after: str | None = None) -> Check:
    return Check(
        id=name,
        kind=Kind.LOOK,
        ask="Look.",
        good="Good.",
        place="here",
        stage=stage,
        minutes=1,
        before=before,
        after=after,
    )


def but(check: Check, **changes: object) -> Check:
    return msgspec.structs.replace(check, **changes)


def checklist(
    *checks: Check, name: str = "base", steps: tuple[Step, ...] = STEPS, **more: object
) -> Checklist:
    return msgspec.convert(
        {"id": name, "revision": 1, "title": name, "steps": steps, "checks": checks, **more}, Checklist
    )


def segments(composition: Composition) -> dict[str, tuple[str, ...]]:
    return {segment.step.id: tuple(check.id for check in segment.checks) for segment in composition.segments}


# ---------------------------------------------------------------- where a check goes


def test_a_check_is_asked_in_the_segment_of_the_earliest_step_that_it_guards() -> None:
    check = look("flush", "closed", before=("finish", "charge"))
    assert segments(compose([checklist(check)], []))["charge"] == ("flush",)


def test_a_check_that_guards_only_a_later_stage_is_asked_last_in_its_own() -> None:
    check = look("flat", "open", before=("charge",))
    assert segments(compose([checklist(check)], []))["close-base"] == ("flat",)


def test_a_check_that_guards_nothing_is_asked_last_in_its_stage() -> None:
    assert segments(compose([checklist(look("sound", "closed"))], []))["finish"] == ("sound",)


def test_a_check_is_never_asked_before_the_step_that_it_comes_after() -> None:
    check = look("light", "closed", after="charge")
    assert segments(compose([checklist(check)], []))["finish"] == ("light",)


def test_a_hold_that_can_never_be_lifted_is_refused() -> None:
    with pytest.raises(ChecklistError, match="can never be lifted"):
        compose([checklist(look("late", "closed", before=("close-base",)))], [])
    with pytest.raises(ChecklistError, match="can never be lifted"):
        compose([checklist(look("late", "closed", before=("charge",), after="charge"))], [])


def test_a_check_in_a_stage_that_is_never_reached_is_refused() -> None:
    with pytest.raises(ChecklistError, match="never reaches"):
        compose([checklist(look("gap", "charged"))], [])


def test_a_check_after_a_step_that_ends_its_stage_is_refused() -> None:
    with pytest.raises(ChecklistError, match='when "open" is over'):
        compose([checklist(look("late", "open", after="close-base"))], [])


@pytest.mark.parametrize("field", ["before", "after"])
def test_a_step_that_no_checklist_has_is_refused_with_the_nearest_name(field: str) -> None:
    check = look("flat", "open")
    wrong = but(check, before=("close-bsae",)) if field == "before" else but(check, after="close-bsae")
    with pytest.raises(ChecklistError, match='Did you mean "close-base"') as caught:
        compose([checklist(wrong, text="id: base\nchecks:\n  - id: flat\n    before: [close-bsae]\n")], [])
    assert caught.value.where == "base.yaml:4"


def test_a_step_of_other_work_guards_nothing_here() -> None:
    composition = compose([checklist(look("screws", "closed", before=("fit-feet",)))], [])
    assert composition.checks[0].before == ()
    assert "fit-feet" not in segments(composition)
    with_feet = compose([checklist(look("screws", "closed", before=("fit-feet",)))], ["feet"])
    assert segments(with_feet)["fit-feet"] == ("screws",)
    assert [check.id for check in with_feet.guards("fit-feet")] == ["screws"]


# ---------------------------------------------------------------- order inside a segment


def test_hazard_first_then_what_runs_by_itself_then_place_by_place() -> None:
    checks = (
        but(look("a1", "open"), place="a"),
        but(look("b1", "open"), place="b"),
        but(look("a2", "open"), place="a"),
        but(look("watch", "open"), kind=Kind.PROBE),
        but(look("wait", "open"), kind=Kind.WAIT),
        but(look("hazard", "open"), kind=Kind.HAZARD),
    )
    asked = segments(compose([checklist(*checks)], []))["close-base"]
    assert asked == ("hazard", "watch", "wait", "a1", "a2", "b1")


def test_the_complaint_comes_last_whatever_another_checklist_adds() -> None:
    first = checklist(look("complaint-gone", "finished"), but(look("marks", "finished"), place="outside"))
    second = checklist(look("feet", "finished"), name="more", steps=())
    composition = compose([first, second], [])
    assert composition.checks[-1].id == "complaint-gone"
    assert len(composition.checks) == 3


# ---------------------------------------------------------------- several checklists


def test_only_the_checklists_and_checks_that_the_work_calls_for_are_asked() -> None:
    base = checklist(look("always", "open"), but(look("keys", "open"), work=("keyboard-deck",)))
    battery = checklist(look("label", "open"), name="battery", steps=(), for_work=("battery",))
    assert [check.id for check in compose([base, battery], []).checks] == ["always"]
    composition = compose([base, battery], ["battery", "battery"])
    assert [check.id for check in composition.checks] == ["always", "label"]
    assert [each.id for each in composition.checklists] == ["base", "battery"]
    assert composition.work == ("battery",)


def test_a_note_holds_for_the_work_that_says_so_and_only_for_that() -> None:
    told = but(look("told", "open"), note_only=True, held_for=("doubtful",))
    sure = checklist(name="sure", steps=(), for_work=("doubtful",), includes=("battery",))
    both = checklist(told, name="plain", for_work=("battery",)), sure
    assert [check.note_only for check in compose(both, ["battery"]).checks] == [True]
    assert [check.note_only for check in compose(both, ["doubtful"]).checks] == [False]


def test_work_that_no_checklist_knows_is_refused_with_the_nearest_name() -> None:
    battery = checklist(look("label", "open"), name="battery", for_work=("battery",))
    with pytest.raises(WrongUseError, match=r'the work "batery".*Did you mean "battery"'):
        compose([checklist(), battery], ["batery"])


def test_a_check_of_two_checklists_is_asked_once_and_guards_what_both_say() -> None:
    first = but(look("flat", "open", before=("close-base",)), voided_by=("base",))
    second = but(look("flat", "open", before=("charge",)), voided_by=("pack-unplugged",))
    composition = compose([checklist(first), checklist(second, name="more", steps=())], [])
    assert len(composition.checks) == 1
    assert composition.checks[0].before == ("close-base", "charge")
    assert composition.checks[0].voided_by == ("base", "pack-unplugged")


@pytest.mark.parametrize(
    "change", [{"ask": "Feel."}, {"good": "Fine."}, {"stage": "closed"}, {"stop": True, "caution": "Stop."}]
)
def test_a_check_that_two_checklists_word_differently_is_refused(change: dict[str, object]) -> None:
    other = checklist(but(look("flat", "open"), **change), name="more", steps=())
    with pytest.raises(ChecklistError, match=f'another "{"|".join(change)}"'):
        compose([checklist(look("flat", "open")), other], [])


def test_a_step_that_two_checklists_describe_differently_is_refused() -> None:
    other = checklist(name="more", steps=(msgspec.structs.replace(CHARGE, do="Do not."),))
    with pytest.raises(ChecklistError, match="described otherwise"):
        compose([checklist(), other], [])


def test_steps_of_two_checklists_are_merged_where_each_wants_them() -> None:
    connect = Step(id="connect-pack", name="connect", stage="open")
    other = checklist(name="more", steps=(connect,), order=("open-up", "connect-pack", "close-base"))
    assert list(segments(compose([checklist(), other], []))) == [
        "open-up", "connect-pack", "close-base", "charge", "finish", "hand-back",
    ]  # fmt: skip


def test_orders_that_contradict_each_other_are_refused() -> None:
    other = checklist(name="more", steps=(), order=("charge", "close-base"))
    with pytest.raises(ChecklistError, match="contradict each other on the order of: c"):
        compose([checklist(), other], [])


def test_a_reference_to_a_step_that_nobody_defines_is_refused() -> None:
    other = checklist(name="more", steps=(), order=("chrge",))
    with pytest.raises(ChecklistError, match='Did you mean "charge"'):
        compose([checklist(), other], [])


def test_hand_back_comes_last_and_must_exist() -> None:
    late = Step(id="label-it", name="label it", stage="finished")
    other = checklist(name="more", steps=(late,), order=("hand-back",))
    composition = compose([checklist(), checklist(name="more", steps=(late,))], [])
    assert composition.steps[-1].id == "hand-back"
    with pytest.raises(ChecklistError, match='has the step "hand-back"'):
        compose([checklist(steps=(OPEN, CLOSE))], [])
    with pytest.raises(ChecklistError, match='has the step "hand-back"'):
        compose([], [])
    assert other.steps == (late,)


def test_a_step_before_its_stage_is_refused() -> None:
    with pytest.raises(ChecklistError, match='stands at "arrived" by then'):
        compose([checklist(steps=(CHARGE, HAND_BACK))], [])


def test_an_automatic_step_to_a_stage_already_reached_is_left_out() -> None:
    assert "finish" not in segments(compose([checklist()], ["feet"]))
    assert "finish" in segments(compose([checklist()], []))


def test_a_step_with_words_to_a_stage_already_reached_is_refused() -> None:
    again = msgspec.structs.replace(FINISH, do="Finish it.")
    with pytest.raises(ChecklistError, match="stands already"):
        compose([checklist(steps=(OPEN, CLOSE, FEET, again, HAND_BACK))], ["feet"])


def test_minutes_of_hands_and_of_waiting_are_kept_apart() -> None:
    watch = but(look("watch", "closed"), kind=Kind.PROBE, minutes=90)
    wait = but(look("wait", "closed"), kind=Kind.WAIT, minutes=20)
    composition = compose([checklist(look("a", "open"), watch, wait)], [])
    assert (hands_minutes(composition), waiting_minutes(composition)) == (1, 110)


# ---------------------------------------------------------------- work that includes other work

COVER = checklist(look("flat", "open"), name="cover", steps=(), for_work=["base-cover"])
DEEP = checklist(look("seat", "open"), name="socket", steps=(), for_work=["socket"], includes=["base-cover"])


def test_a_new_kind_of_work_brings_what_it_includes() -> None:
    composition = compose([checklist(), COVER, DEEP], ["socket"])
    assert {check.id for check in composition.checks} == {"flat", "seat"}
    assert composition.work == ("socket",)
    assert {check.id for check in compose([checklist(), COVER, DEEP], ["base-cover"]).checks} == {"flat"}


def test_what_is_included_includes_more_and_a_circle_ends() -> None:
    through = checklist(
        look("glue", "open"), name="glue", steps=(), for_work=["base-cover"], includes=["glue", "socket"]
    )
    glue = checklist(look("dry", "open"), name="dry", steps=(), for_work=["glue"])
    composition = compose([checklist(), COVER, DEEP, through, glue], ["socket"])
    assert {check.id for check in composition.checks} == {"flat", "seat", "glue", "dry"}


def test_a_check_and_a_step_for_included_work_are_asked() -> None:
    press = but(look("press", "open"), work=("base-cover",))
    composition = compose(
        [checklist(press), checklist(name="deep", steps=(), for_work=["socket"], includes=["feet"]), COVER],
        ["socket"],
        whole=False,
    )
    assert "fit-feet" not in {step.id for step in compose([checklist(press), COVER], ["base-cover"]).steps}
    assert "fit-feet" in {step.id for step in composition.steps}
    assert "press" in {check.id for check in compose([checklist(press), COVER, DEEP], ["socket"]).checks}


def test_included_work_that_no_other_checklist_is_for_is_refused() -> None:
    wrong = msgspec.structs.replace(DEEP, includes=("base-cvoer",), text="id: socket\nincludes: [base-cvoer]")
    with pytest.raises(
        ChecklistError, match=r'socket\.yaml:2: No other checklist is for "base-cvoer"'
    ) as caught:
        compose([checklist(), COVER, wrong], ["base-cover"])
    assert caught.value.next_step == 'Did you mean "base-cover"?'


SHOP = """\
format: checklist/1
id: socket
revision: 1
title: Audio socket
for_work: [socket]
includes: [base-cover]
checks:
  - id: socket-firm
    kind: look
    ask: Push a plug into the audio socket. Rock it gently.
    good: It clicks and does not give way.
    place: socket
    stage: open
    minutes: 0.3
    before: [close-base]
    voided_by: [base]
"""


def test_a_shops_own_kind_of_work_opens_the_base_of_the_shipped_lists() -> None:
    shop = parse_checklist(SHOP, name="socket.yaml")
    assert checklist_mistakes(SHOP, name="socket.yaml", others=shipped_checklists()) == []
    composition = compose([*shipped_checklists(), shop], ["socket"])
    plain = compose(shipped_checklists(), ["base-cover"])
    asked = {check.id for check in composition.checks}
    assert asked == {"socket-firm"} | {check.id for check in plain.checks}
    assert composition.steps == plain.steps
    assert "socket-firm" in {check.id for check in composition.guards("close-base")}
    assert_order_protects(composition)


# ---------------------------------------------------------------- asked twice


@pytest.mark.parametrize("beside", [(), ("other",)], ids=["by mistake", "meant"])
@pytest.mark.parametrize("changed", [{"ask": "look."}, {"probe": "heat-margin", "ask": "Heat it."}])
def test_what_is_asked_twice_is_told_unless_it_is_meant(
    changed: dict[str, object], beside: tuple[str, ...]
) -> None:
    first = but(look("first", "open"), probe="heat-margin", options={"load": "60 s"})
    other = but(look("other", "open"), **changed)
    composition = compose([checklist(but(first, beside=beside), other)], [])
    assert [(one.id, two.id) for one, two in asked_twice(composition)] == (
        [] if beside else [("first", "other")]
    )


def test_lint_tells_the_same_question_under_another_id_on_its_line() -> None:
    ask = next(each for each in shipped_checklists() if each.id == "base-opened").checks[2].ask
    text = SHOP.replace("Push a plug into the audio socket. Rock it gently.", ask)
    (found,) = checklist_mistakes(text, name="socket.yaml", others=shipped_checklists())
    assert found.where == "socket.yaml:8"
    assert '"socket-firm"' in found.what
    assert "beside: [" in found.next_step
    meant = text + "    beside: [lead-plugs, pack-plug-home, flat-cables]\n    why: It is hidden later.\n"
    assert checklist_mistakes(meant, name="socket.yaml", others=shipped_checklists()) == []


@pytest.mark.parametrize(
    ("was", "now", "line", "said"),
    [
        ("includes: [base-cover]", "includes: [base-cvoer]", 6, 'Did you mean "base-cover"?'),
        ("for_work: [socket]\n", "", 5, "for_work: [fan-lead]"),
        ("voided_by: [base]\n", "voided_by: [base]\n    beside: [sound]\n", 17, 'Add "why"'),
        ("voided_by: [base]\n", "voided_by: [base]\n    beside: [soundd]\n    why: So.\n", 17, '"sound"'),
    ],
    ids=["work that nobody knows", "no work of its own", "no reason", "a check that nobody has"],
)
def test_lint_tells_mistakes_in_what_goes_together(was: str, now: str, line: int, said: str) -> None:
    found = checklist_mistakes(SHOP.replace(was, now), name="socket.yaml", others=shipped_checklists())
    assert [error.where for error in found] == [f"socket.yaml:{line}"]
    assert said in found[0].next_step


# ---------------------------------------------------------------- merging orders


def test_a_circle_names_its_steps() -> None:
    with pytest.raises(ContradictionError) as caught:
        merge_orders([("a", "b", "x"), ("b", "c"), ("c", "a")])
    assert sorted(caught.value.steps) == ["a", "b", "c"]


@given(st.permutations(list("abcdefgh")), st.lists(st.sets(st.sampled_from("abcdefgh")), max_size=4))
def test_a_merged_order_keeps_every_order(whole: list[str], parts: list[set[str]]) -> None:
    orders = [[name for name in whole if name in part] for part in parts]
    merged = merge_orders(orders)
    assert sorted(merged) == sorted({name for order in orders for name in order})
    for order in orders:
        assert [name for name in merged if name in order] == order


def test_where_there_is_a_choice_the_first_named_comes_first() -> None:
    assert merge_orders([("a", "c"), ("b", "c")]) == ("a", "b", "c")
    assert merge_orders([("b", "c"), ("a", "c")]) == ("b", "a", "c")


# ---------------------------------------------------------------- screens


def test_looks_and_pictures_at_one_place_share_a_screen_and_all_else_stands_alone() -> None:
    checks = (
        but(look("hazard", "arrived"), kind=Kind.HAZARD),
        but(look("a1", "open"), place="a"),
        but(look("a2", "open"), place="a"),
        but(look("a3", "open"), place="a", kind=Kind.PHOTO),
        but(look("gap", "open"), place="a", kind=Kind.MEASURE),
        but(look("screws", "open"), place="a", kind=Kind.COUNT),
        but(look("b1", "open"), place="b"),
        but(look("watch", "open"), kind=Kind.PROBE),
        but(look("wait", "open"), kind=Kind.WAIT),
    )
    shown = [
        tuple(check.id for check in screen.checks) or (f"step {screen.step.id}" if screen.step else "")
        for screen in screens(compose([checklist(*checks)], []))
    ]
    assert shown == [
        ("hazard",), ("a1", "a2", "a3"), ("gap",), ("screws",), ("b1",), "step close-base", "step charge",
    ]  # fmt: skip


def test_a_screen_has_at_most_seven_lines() -> None:
    checks = [look(f"look-{number}", "open") for number in range(MOST_LOOKS + 1)]
    sizes = [len(screen.checks) for screen in screens(compose([checklist(*checks)], []))]
    assert sizes[:2] == [7, 1]


# ---------------------------------------------------------------- what always holds

PLACES = st.sampled_from("abc")
STAGES_OF = {"open": ("close-base", "charge", "finish"), "closed": ("charge", "finish"), "finished": ()}


@st.composite
def random_checks(draw: st.DrawFn) -> list[Check]:
    checks = []
    for number in range(draw(st.integers(0, 12))):
        stage = draw(st.sampled_from(sorted(STAGES_OF)))
        guards = tuple(step for step in STAGES_OF[stage] if draw(st.booleans()))
        kind = draw(st.sampled_from([Kind.LOOK, Kind.PHOTO, Kind.PROBE, Kind.COUNT, Kind.WAIT]))
        checks.append(but(look(f"c{number}", stage, before=guards), kind=kind, place=draw(PLACES)))
    return checks


def assert_order_protects(composition: Composition) -> None:
    ids = [check.id for check in composition.checks]
    assert len(ids) == len(set(ids)), "asked twice"
    closed: list[str] = []
    for segment in composition.segments:
        for check in segment.checks:
            assert check.stage == segment.stage
            assert not set(check.before) & set(closed), f"{check.id} is asked after what it guards"
            assert check.after is None or check.after in closed, f"{check.id} is asked too early"
        closed.append(segment.step.id)
    assert closed[-1] == "hand-back"
    assert composition.guards("hand-back") == composition.checks


@settings(deadline=None)
@given(random_checks(), st.sampled_from([[], ["feet"]]))
def test_every_check_is_asked_once_and_before_each_step_that_it_guards(
    checks: list[Check], work: list[str]
) -> None:
    composition = compose([checklist(*checks)], work)
    assert sorted(check.id for check in composition.checks) == sorted(check.id for check in checks)
    assert_order_protects(composition)
    shown = [check for screen in screens(composition) for check in screen.checks]
    assert shown == [check for check in composition.checks if not needs_nobody(check)]


@pytest.mark.parametrize(
    "work",
    [
        [],
        ["battery"],
        ["feet"],
        ["keyboard-deck"],
        ["battery", "feet"],
        ["battery", "keyboard-deck", "feet"],
    ],
    ids=" ".join,
)
def test_the_shipped_checklists_protect_the_work(work: list[str]) -> None:
    composition = compose(shipped_checklists(), work)
    assert_order_protects(composition)
    assert composition.checks[0].kind is Kind.HAZARD
    assert composition.segments[0].checks == composition.checks[:1]
    assert composition.checks[-1].id == "complaint-gone"
