"""Reads from the history what changed. Hints only: number, kind and subject."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from django.db.models import Max, Q
from django.utils import timezone

from shopcal.history.models import Event
from shopcal.live.hub import Hint

MOST_HINTS = 200  # of one shop at a time; a page further behind is told that anything may be new
SHOPS_A_QUERY = 100
OVERLAP = timedelta(seconds=2)


def last_seq(shop_id: int) -> int:
    """Number of the shop's newest event, 0 when it has none."""
    return Event.objects.filter(shop_id=shop_id).aggregate(last=Max("seq"))["last"] or 0


def seq_before_page(shop_id: int) -> int:
    """Number after which a page being written now should listen.

    Two seconds back: the page's data was read a little before this is, and what was committed in
    between would be missed. Hearing of an event twice only costs a request.
    """
    earlier = Event.objects.filter(shop_id=shop_id, at__lt=timezone.now() - OVERLAP)
    return earlier.order_by("-seq").values_list("seq", flat=True).first() or 0


def hints_after(shop_id: int, seq: int) -> list[Hint]:
    """The shop's hints after ``seq``, oldest first, at most one more than ``MOST_HINTS``."""
    rows = Event.objects.filter(shop_id=shop_id, seq__gt=seq).order_by("seq")
    return [Hint(*row) for row in rows.values_list("seq", "kind", "subject")[: MOST_HINTS + 1]]


def hints_of_shops(positions: Mapping[int, int]) -> dict[int, list[Hint]]:
    """Per shop the hints after its position, oldest first.

    Plainly what is newer than the last one seen: a shop's events are numbered without gaps in the
    order of their commits, since each writer locks the end of the shop's chain until it commits.
    (Row ids are not: a lower id may appear after a higher one was read.)
    """
    found: dict[int, list[Hint]] = {}
    shops = list(positions.items())
    for start in range(0, len(shops), SHOPS_A_QUERY):
        newer = Q()
        for shop_id, seq in shops[start : start + SHOPS_A_QUERY]:
            newer |= Q(shop_id=shop_id, seq__gt=seq)
        rows = Event.objects.filter(newer).order_by("shop_id", "seq")
        for shop_id, seq, kind, subject in rows.values_list("shop_id", "seq", "kind", "subject"):
            found.setdefault(shop_id, []).append(Hint(seq, kind, subject))
    return found
