"""The drawing a manager is at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from bays.models import FloorDraft

# Beside the drawing a draft may hold what a DXF file brought, until its layers are given a meaning.
IMPORTED = "imported"


@dataclass(frozen=True)
class Draft:
    """A draft as it was read: ``drawing`` in the shape that ``FloorPlan.from_content`` reads.

    ``drawing`` is empty while ``imported`` waits for its layers to be told apart.
    """

    drawing: Mapping[str, Any]
    imported: Mapping[str, Any] | None
    version: int
    saved_at: datetime
    saved_by: str


def draft_of(shop_id: int) -> Draft | None:
    """The shop's draft, or None where nobody is drawing."""
    row = FloorDraft.objects.for_shop(shop_id).first()
    if row is None:
        return None
    drawing = dict(row.content) if isinstance(row.content, dict) else {}
    imported = drawing.pop(IMPORTED, None)
    return Draft(drawing, imported, row.version, row.saved_at, row.saved_by)
