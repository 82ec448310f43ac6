"""Limits, decision rules and the outcome: pure functions."""

from verify.judge.model import Judgement, Limit, Rule

__all__ = ["Judgement", "Limit", "Rule"]
