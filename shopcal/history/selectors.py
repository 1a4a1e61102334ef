"""Reading the history."""

from __future__ import annotations

from shopcal.history.models import Event, ShopChain


def events_of_visit(shop_id: int, visit_id: int) -> list[Event]:
    """Everything that happened in a visit, oldest first."""
    return list(Event.objects.for_shop(shop_id).filter(visit_id=visit_id).order_by("seq"))


def events_of_subject(shop_id: int, subject: str) -> list[Event]:
    """Everything that happened to one thing (``unit:7``), oldest first."""
    return list(Event.objects.for_shop(shop_id).filter(subject=subject).order_by("seq"))


def events_after(shop_id: int, seq: int, limit: int = 500) -> list[Event]:
    """The shop's next events after ``seq``, oldest first.

    Within a shop none appears later with a smaller ``seq``: the chain is locked until commit.
    """
    return list(Event.objects.for_shop(shop_id).filter(seq__gt=seq).order_by("seq")[:limit])


def latest_seqs() -> dict[int, int]:
    """The last ``seq`` of every shop: one small row a shop, for a poller to compare."""
    return dict(ShopChain.objects.values_list("shop_id", "seq"))
