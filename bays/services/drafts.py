"""Drawing the shop: a draft is begun, saved as it is, published or thrown away.

One draft for each shop. Whoever saves says which version they were looking at, so that nobody's
lines are lost to somebody who draws at the same time.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from django.db import transaction
from django.utils import timezone

from bays.floor.edits import as_drawing, for_publishing, settled
from bays.models import FloorDraft, FloorPlanEdition
from bays.selectors.drafts import IMPORTED
from bays.services.checks import locked_shop
from bays.services.floor import publish_floor_plan
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, Invalid, NotFound, Stale
from shopcal.history.record import record_event

# Far more than the largest drawing that can be published.
MOST_CHARACTERS: Final = 4_000_000


def begin_draft(
    *, by: Actor, drawing: Mapping[str, Any], imported: Mapping[str, Any] | None = None
) -> FloorDraft:
    """Begin drawing from what is given: an edition, an empty hall, a file.

    ``imported`` is what a DXF file brought, kept until its layers are told apart.

    Raises:
        NotAllowed: not a manager.
        Conflict: ``draft_there``, somebody is drawing already.
        PlanFaults: it could not even be drawn.
        Invalid: too large to be a drawing, or no plain values.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    content = _content(drawing, imported)
    with transaction.atomic():
        locked_shop(by)
        there = FloorDraft.objects.for_shop(by.shop_id).first()
        if there is not None:
            raise Conflict(
                "draft_there",
                "There is a drawing already that has not been published.",
                detail=f"{there.saved_by} saved it. Go on with it, or discard it first.",
                facts={"version": there.version, "saved_by": there.saved_by},
            )
        draft = FloorDraft.objects.create(
            shop_id=by.shop_id, content=content, saved_at=timezone.now(), saved_by=by.name
        )
        _tell(by, draft, "floor.draft_begun")
    return draft


def save_draft(*, by: Actor, version: int, drawing: Mapping[str, Any]) -> FloorDraft:
    """Keep the drawing as it is, faults and all. The middles of bays move along with their zones.
    What a DXF file brought stays beside it, so that its layers can be told apart anew.

    Raises:
        NotAllowed: not a manager.
        NotFound: it was published or discarded meanwhile.
        Stale: ``draft_changed``, somebody else saved since ``version``; it says who.
        PlanFaults: it could not even be drawn.
        Invalid: too large to be a drawing, or no plain values.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    content = _content(drawing, None)
    with transaction.atomic():
        draft = _locked(by, version)
        kept = draft.content.get(IMPORTED)
        content = settled(draft.content, content)
        if kept is not None:
            content[IMPORTED] = kept
        draft.content, draft.version = content, draft.version + 1
        draft.saved_at, draft.saved_by = timezone.now(), by.name
        draft.save(update_fields=["content", "version", "saved_at", "saved_by"])
        _tell(by, draft, "floor.draft_saved")
    return draft


def publish_draft(*, by: Actor, version: int) -> FloorPlanEdition:
    """Put the draft in force as the next edition and clear the table.

    Raises:
        NotAllowed, NotFound, Stale: as for ``save_draft``.
        PlanFaults: every fault of the drawing.
        Conflict: ``zones_in_use``, zones it no longer has are booked.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    with transaction.atomic():
        draft = _locked(by, version)
        drawing = {key: value for key, value in draft.content.items() if key != IMPORTED}
        edition = publish_floor_plan(by=by, content=for_publishing(drawing))
        draft.delete()
    return edition


def discard_draft(*, by: Actor, version: int) -> None:
    """Throw the draft away.

    Raises:
        NotAllowed, NotFound, Stale: as for ``save_draft``.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    with transaction.atomic():
        draft = _locked(by, version)
        _tell(by, draft, "floor.draft_discarded")
        draft.delete()


def _locked(by: Actor, version: int) -> FloorDraft:
    """The draft, locked: two savings of one version cannot both find it unchanged."""
    draft = FloorDraft.objects.select_for_update().filter(shop_id=by.shop_id).first()
    if draft is None:
        raise NotFound(
            "no_draft",
            "There is no drawing to save: it was published or discarded meanwhile.",
            detail="Begin a new one from the edition in force.",
        )
    if draft.version != version:
        raise Stale(
            "draft_changed",
            f"{draft.saved_by} saved this drawing meanwhile.",
            detail="Take theirs, or keep yours instead of theirs.",
            facts={"version": draft.version, "saved_by": draft.saved_by},
        )
    return draft


def _content(drawing: Mapping[str, Any], imported: Mapping[str, Any] | None) -> dict[str, Any]:
    """What is kept. While a file's layers wait to be told apart there is no drawing yet."""
    if not isinstance(drawing, Mapping):
        return as_drawing(drawing)  # which refuses it in words
    plain = {key: value for key, value in drawing.items() if key != IMPORTED}
    content = as_drawing(plain) if imported is None else {**plain, IMPORTED: imported}
    try:
        size = len(json.dumps(content, allow_nan=False))
    except (TypeError, ValueError, RecursionError):
        raise Invalid(
            "drawing_unreadable", "This is no drawing: it holds no plain values."
        ) from None
    if size > MOST_CHARACTERS:
        raise Invalid("drawing_too_large", "This drawing is too large to keep.")
    return content


def _tell(by: Actor, draft: FloorDraft, kind: str) -> None:
    record_event(
        by=by, kind=kind, subject=f"floor_draft:{draft.pk}", after={"version": draft.version}
    )
