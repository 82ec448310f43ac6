"""Checklists: model, loader, composer, specimens."""

from verify.checklist.model import (
    HAND_BACK,
    OPENINGS,
    STAGES,
    Check,
    Checklist,
    Composition,
    Kind,
    Segment,
    Step,
)

__all__ = [
    "HAND_BACK",
    "OPENINGS",
    "STAGES",
    "Check",
    "Checklist",
    "Composition",
    "Kind",
    "Segment",
    "Step",
]
