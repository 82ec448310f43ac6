"""Handback: decide, and be able to show, whether a repaired laptop may be handed back."""

__all__ = ["TOOL", "VERSION"]

VERSION = "0.2.0"
TOOL = f"handback {VERSION}"  # as records and pages name it
