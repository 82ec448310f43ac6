"""Judge a reading against its limit, under the limit's decision rule.

In this order: (1) units must fit; (2) a limit that only informs never fails; (3) an unknown value and
(4) a doubted one are undecided, with their reason; (5) the rule decides. What a guarded verdict is:

    surely inside (95 %)   conforms
    surely outside (95 %)  does not conform
    between                undecided, with the side it leans to and the probability

which is the non-binary statement of ILAC-G8:09/2019 with the guard band of ISO 14253-1:2017
(1.645 u, one-sided) and the conformance probability of JCGM 106:2012.
"""

from typing import assert_never

from verify.judge.bounds import Bounds
from verify.judge.model import Judgement, Limit, Rule
from verify.judge.probability import ONE_SIDED_Z, SURE, conformance_probability
from verify.measure.rounding import write_reading
from verify.values import Quantity, Reading, Unit, Verdict
from verify.values.errors import InvalidValueError

_SAID = {
    Verdict.CONFORMS: "good",
    Verdict.DOES_NOT_CONFORM: "not good",
    Verdict.UNDECIDED: "cannot tell yet",
}


def judge(reading: Reading, limit: Limit) -> Judgement:
    """Judge one reading against one limit.

    Returns the verdict with one plain sentence; `probability` under the guarded rule only. An unknown or
    doubted reading is UNDECIDED; under INFORM everything is NOT_APPLICABLE (recorded, nothing judged).
    Raises UnitMismatchError where reading and limit have different dimensions.
    Source: ILAC-G8:09/2019, ISO 14253-1:2017, JCGM 106:2012.
    """
    # (1)
    bounds = Bounds(limit)
    reading = bounds.reading(reading)
    written = write_reading(reading, apart_from=bounds.marks)
    # (2)
    if limit.rule is Rule.INFORM:
        known = written if reading.value is not None else f"Not read ({_stripped(reading.reason)})"
        return Judgement(verdict=Verdict.NOT_APPLICABLE, because=f"{known}: recorded only, no limit judged.")
    # (3)
    if reading.value is None:
        return Judgement(verdict=Verdict.UNDECIDED, because=f"Cannot tell yet: {_stripped(reading.reason)}.")
    # (4)
    if reading.reason:
        return Judgement(
            verdict=Verdict.UNDECIDED,
            because=f"{written} against {bounds.written()}: cannot tell yet, the reading is in doubt. "
            f"{reading.reason}",
        )
    # (5)
    match limit.rule:
        case Rule.SIMPLE:
            return _simple(reading.value, written, bounds)
        case Rule.COUNT:
            return _count(reading.value, written, bounds)
        case Rule.GUARDED:
            return _guarded(reading.value, reading.standard_uncertainty, written, bounds)
        case _:
            assert_never(limit.rule)


def _stripped(reason: str | None) -> str:
    return (reason or "").rstrip(" .")


def _say(
    verdict: Verdict, written: str, bounds: Bounds, more: str = "", *, probability: float | None = None
) -> Judgement:
    because = f"{written} against {bounds.written()}: {_SAID[verdict]}.{more}"
    return Judgement(verdict=verdict, because=because, probability=probability)


def _simple(value: float, written: str, bounds: Bounds) -> Judgement:
    verdict = Verdict.CONFORMS if bounds.within(value) else Verdict.DOES_NOT_CONFORM
    return _say(verdict, written, bounds)


def _count(value: float, written: str, bounds: Bounds) -> Judgement:
    if not float(value).is_integer():
        return _say(Verdict.UNDECIDED, written, bounds, " A count is a whole number.")
    return _simple(value, written, bounds)


def _guarded(value: float, uncertainty: float | None, written: str, bounds: Bounds) -> Judgement:
    if uncertainty is None:
        return _say(Verdict.UNDECIDED, written, bounds, " Nobody stated how sure the reading is.")
    lower, upper = bounds.lower, bounds.upper
    probability = conformance_probability(value, uncertainty, lower=lower, upper=upper)
    guard = ONE_SIDED_Z * uncertainty
    surely_out = (lower is not None and value < lower - guard) or (
        upper is not None and value > upper + guard
    )
    if surely_out:
        return _say(Verdict.DOES_NOT_CONFORM, written, bounds, probability=probability)
    if lower is not None and upper is not None:
        # A reading in the very middle is the best that can happen: if not even that would be sure,
        # there is no acceptance zone.
        best = conformance_probability((lower + upper) / 2, uncertainty, lower=lower, upper=upper)
        if best < SURE:
            more = " The method is not good enough for this limit: measure with a better one."
            return _say(Verdict.UNDECIDED, written, bounds, more, probability=probability)
    surely_in = (lower is None or value >= lower + guard) and (upper is None or value <= upper - guard)
    # Between two near bounds both tails count, so the acceptance limits alone are not enough.
    if surely_in and (lower is None or upper is None or probability >= SURE):
        return _say(Verdict.CONFORMS, written, bounds, probability=probability)
    return _say(
        Verdict.UNDECIDED, written, bounds, _leaning(value, probability, bounds), probability=probability
    )


def _leaning(value: float, probability: float, bounds: Bounds) -> str:
    side, sure = ("good", probability) if bounds.within(value) else ("not good", 1 - probability)
    # Cut, not rounded: 94.9 % is not to be read as 95 %.
    return f" Leans to {side}, {int(100 * sure)} % sure; {100 * SURE:g} % is asked."


def judge_bracket(enters: float, stops: float | None, limit: Limit, unit: Unit) -> Judgement:
    """Judge a span: the true value is at least `enters` and below `stops`, both in `unit`.

    enters: the thickest leaf that enters, 0 where none does. stops: the thinnest that does not; None where
    even the thickest enters. The interval rule, whatever the limit's rule: good if the whole span is within
    the limit, not good if the whole span is outside, else undecided: take the next leaf. The error of the
    leaves themselves is not counted.
    Raises InvalidValueError where the leaf that stops is not the thicker one, UnitMismatchError as `judge`.
    Source: the interval is all that is known, a rectangular distribution (JCGM 100:2008, 4.3.7).
    """
    if enters < 0 or (stops is not None and stops <= enters):
        raise InvalidValueError(
            f"A {enters:g} {unit} leaf enters and a {stops} {unit} leaf does not: that cannot be.",
            next_step="The leaf that does not enter is the thicker one.",
        )
    bounds = Bounds(limit)
    low = bounds.of(Quantity(value=enters, unit=unit))
    high = None if stops is None else bounds.of(Quantity(value=stops, unit=unit))
    written = f"{low:g} {bounds.unit} or more" if high is None else f"{low:g} to {high:g} {bounds.unit}"
    if limit.rule is Rule.INFORM:
        return Judgement(
            verdict=Verdict.NOT_APPLICABLE, because=f"{written}: recorded only, no limit judged."
        )
    above = bounds.upper is not None and low >= bounds.upper
    below = bounds.lower is not None and high is not None and high <= bounds.lower
    if above or below:
        return _say(Verdict.DOES_NOT_CONFORM, written, bounds)
    under_upper = bounds.upper is None or (high is not None and high <= bounds.upper)
    over_lower = bounds.lower is None or low >= bounds.lower
    if under_upper and over_lower:
        return _say(Verdict.CONFORMS, written, bounds)
    return _say(Verdict.UNDECIDED, written, bounds, " Take the next leaf.")


def judge_tally(missing: int) -> Judgement:
    """Judge an account of parts: exact, no uncertainty; one too many is as wrong as one missing.

    missing: how many are not accounted for; below 0 where more came back than went out.
    """
    if missing == 0:
        return Judgement(verdict=Verdict.CONFORMS, because="All accounted for: good.")
    if missing > 0:
        return Judgement(verdict=Verdict.DOES_NOT_CONFORM, because=f"{missing} missing: not good.")
    return Judgement(
        verdict=Verdict.DOES_NOT_CONFORM, because=f"{-missing} more than came out: not good. Count again."
    )
