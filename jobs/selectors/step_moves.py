"""What a person has moved by hand and not taken back yet."""

from __future__ import annotations

from datetime import datetime, timedelta

from shopcal.history.models import Event

MOVED, UNDONE = "step.moved", "step.move_undone"
# A move of yesterday is not undone by a slip of the hand.
UNDO_WITHIN = timedelta(hours=12)
MOST = 100


def last_move_of(shop_id: int, membership_id: int | None, now: datetime) -> Event | None:
    """The person's last move that they have not taken back; None where there is none."""
    if membership_id is None:
        return None
    events = (
        Event.objects.for_shop(shop_id)
        .filter(
            actor_membership_id=membership_id, kind__in=(MOVED, UNDONE), at__gte=now - UNDO_WITHIN
        )
        .order_by("-seq")[:MOST]
    )
    undone: set[int] = set()
    for event in events:
        if event.kind == UNDONE:
            undone.add((event.after or {}).get("undoes", 0))
        elif event.seq not in undone:
            return event
    return None
