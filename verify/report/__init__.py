"""The report: its words, its page, and the proof that it is whole."""

from verify.report.issue import issue_report

__all__ = ["issue_report"]
