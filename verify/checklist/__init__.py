"""Checklists: model, loader, composer, specimens."""

from verify.checklist.model import (
    BASE,
    COMPLAINT_GONE,
    HAND_BACK,
    OPENINGS,
    PACK_UNPLUGGED,
    STAGES,
    Check,
    Checklist,
    Composition,
    Concession,
    Kind,
    Segment,
    Shows,
    Step,
)

__all__ = [
    "BASE",
    "COMPLAINT_GONE",
    "HAND_BACK",
    "OPENINGS",
    "PACK_UNPLUGGED",
    "STAGES",
    "Check",
    "Checklist",
    "Composition",
    "Concession",
    "Kind",
    "Segment",
    "Shows",
    "Step",
]
