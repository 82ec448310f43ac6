"""The outcome, as a table; and that nothing but good makes fit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.judge import Settled, decide_outcome, lifts_hold
from verify.values import Outcome, Verdict

GOOD, BAD, OPEN = Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED
NONE, NOT_DONE = Verdict.NOT_APPLICABLE, Verdict.NOT_DONE
FIT, CONCESSION, HELD = Outcome.FIT, Outcome.FIT_UNDER_CONCESSION, Outcome.HELD
RETURNED = Outcome.RETURNED_UNREPAIRED


def one(verdict: Verdict, *, check: str = "x", note_only: bool = False, conceded: bool = False) -> Settled:
    return Settled(check=check, verdict=verdict, note_only=note_only, conceded=conceded)


_OK = one(GOOD, check="ok")


@pytest.mark.parametrize(
    ("results", "hazards", "returned", "outcome", "reasons"),
    [
        pytest.param([_OK], [], False, FIT, (), id="all-good"),
        pytest.param([], [], False, HELD, ("There was nothing to check.",), id="nothing-to-check"),
        pytest.param(
            [one(NONE)], [], False, HELD, ("Nothing was found good: no check applied.",), id="nothing-applied"
        ),
        pytest.param([_OK, one(NONE)], [], False, FIT, (), id="one-does-not-apply"),
        pytest.param([_OK, one(BAD)], [], False, HELD, ("x: not good.",), id="not-good"),
        pytest.param([_OK, one(OPEN)], [], False, HELD, ("x: cannot tell yet.",), id="cannot-tell"),
        pytest.param([_OK, one(NOT_DONE)], [], False, HELD, ("x: not done.",), id="not-done"),
        pytest.param([_OK, one(OPEN, note_only=True)], [], False, FIT, (), id="cannot-tell-is-a-note"),
        pytest.param(
            [one(OPEN, note_only=True)],
            [],
            False,
            HELD,
            ("Nothing was found good: no check applied.",),
            id="only-notes",
        ),
        pytest.param(
            [_OK, one(BAD, note_only=True)], [], False, HELD, ("x: not good.",), id="not-good-is-no-note"
        ),
        pytest.param(
            [_OK, one(NOT_DONE, note_only=True)], [], False, HELD, ("x: not done.",), id="not-done-is-no-note"
        ),
        pytest.param(
            [_OK, one(BAD, conceded=True)],
            [],
            False,
            CONCESSION,
            ("x: not good, accepted with a known flaw.",),
            id="conceded",
        ),
        pytest.param(
            [_OK, one(BAD, conceded=True), one(OPEN, check="y")],
            [],
            False,
            HELD,
            ("y: cannot tell yet.", "x: not good, accepted with a known flaw."),
            id="one-conceded-one-not",
        ),
        pytest.param(
            [one(BAD, conceded=True)],
            [],
            False,
            CONCESSION,
            ("x: not good, accepted with a known flaw.",),
            id="nothing-but-conceded",
        ),
        pytest.param([one(GOOD, conceded=True)], [], False, FIT, (), id="concession-no-longer-needed"),
        pytest.param([_OK], ["bulge"], False, HELD, ("Not made safe: bulge",), id="hazard"),
        pytest.param(
            [_OK, one(BAD, conceded=True)],
            ["bulge"],
            False,
            HELD,
            ("Not made safe: bulge",),
            id="no-concession-lifts-a-hazard",
        ),
        pytest.param([_OK], ["bulge"], True, HELD, ("Not made safe: bulge",), id="hazard-is-not-sent-back"),
        pytest.param(
            [one(BAD)], [], True, RETURNED, ("Returned unrepaired.", "x: not good."), id="returned-unrepaired"
        ),
        pytest.param([], [], True, RETURNED, ("Returned unrepaired.",), id="returned-before-any-check"),
    ],
)
def test_outcome(
    *,
    results: list[Settled],
    hazards: list[str],
    returned: bool,
    outcome: Outcome,
    reasons: tuple[str, ...],
) -> None:
    assert decide_outcome(results, hazards_open=hazards, returned_unrepaired=returned) == (outcome, reasons)


_settled = st.builds(
    Settled,
    check=st.sampled_from("abc"),
    verdict=st.sampled_from(list(Verdict)),
    note_only=st.booleans(),
    conceded=st.booleans(),
)


@given(
    results=st.lists(_settled),
    hazards=st.lists(st.just("bulge"), max_size=1),
    returned=st.booleans(),
)
def test_nothing_but_good_makes_fit(*, results: list[Settled], hazards: list[str], returned: bool) -> None:
    outcome, reasons = decide_outcome(results, hazards_open=hazards, returned_unrepaired=returned)
    if outcome is FIT:
        assert not reasons
        assert not hazards
        assert any(result.verdict is GOOD for result in results)
        assert all(
            result.verdict in (GOOD, NONE) or (result.verdict is OPEN and result.note_only)
            for result in results
        )
    else:
        assert reasons
    if outcome is CONCESSION:
        assert not hazards
        assert any(result.conceded for result in results)
        assert all(
            result.conceded or lifts_hold(result.verdict, note_only=result.note_only) for result in results
        )


@given(st.lists(_settled))
def test_results_may_come_once_only(results: list[Settled]) -> None:
    once = decide_outcome(iter(results), hazards_open=(), returned_unrepaired=False)
    assert once == decide_outcome(results, hazards_open=(), returned_unrepaired=False)


@pytest.mark.parametrize("note_only", [True, False])
@pytest.mark.parametrize("verdict", list(Verdict))
def test_hold_is_lifted_by_what_lets_hand_back(*, verdict: Verdict, note_only: bool) -> None:
    results = [_OK, one(verdict, note_only=note_only)]
    outcome, _ = decide_outcome(results, hazards_open=(), returned_unrepaired=False)
    assert lifts_hold(verdict, note_only=note_only) == (outcome is FIT)
