"""What is taken already: a quick look before a booking is worked out in full."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q

from bays.models import Hold


def any_taken(shop_id: int, wanted: Iterable[tuple[str, str, datetime, datetime]]) -> bool:
    """Whether somebody holds one of these: kind of resource, its code, and a half-open range.

    "No" is only a first answer: the database's own guard against overlaps has the last word.
    """
    wishes = Q()
    for kind, code, starts_at, ends_at in wanted:
        wishes |= Q(
            resource__kind=kind,
            resource__code=code,
            starts_at__lt=ends_at,
            ends_at__gt=starts_at,
        )
    return bool(wishes) and Hold.objects.for_shop(shop_id).filter(wishes).exists()
