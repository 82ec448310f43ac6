"""Limits, decision rules and the outcome: pure functions."""

from verify.judge.bounds import Bounds, write_limited
from verify.judge.decide import judge, judge_bracket, judge_tally
from verify.judge.model import Judgement, Limit, Rule
from verify.judge.outcome import Settled, decide_outcome, lifts_hold

__all__ = [
    "Bounds",
    "Judgement",
    "Limit",
    "Rule",
    "Settled",
    "decide_outcome",
    "judge",
    "judge_bracket",
    "judge_tally",
    "lifts_hold",
    "write_limited",
]
