"""Handback: decide, and be able to show, whether a repaired laptop may be handed back."""

__all__ = ["VERSION"]

VERSION = "0.1.0"
