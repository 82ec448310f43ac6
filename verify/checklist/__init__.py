"""Checklists: model, loader, composer, specimens."""

from verify.checklist.model import (
    COMPLAINT_GONE,
    HAND_BACK,
    OPENINGS,
    STAGES,
    Check,
    Checklist,
    Composition,
    Concession,
    Kind,
    Segment,
    Step,
)

__all__ = [
    "COMPLAINT_GONE",
    "HAND_BACK",
    "OPENINGS",
    "STAGES",
    "Check",
    "Checklist",
    "Composition",
    "Concession",
    "Kind",
    "Segment",
    "Step",
]
