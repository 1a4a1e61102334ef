"""What a file leaves unsaid about a thing the shop has already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from shopcal.accounts.scoping import ShopOwned


def over_stored(
    model: type[ShopOwned], shop_id: int, given: Mapping[str, Any], names: Iterable[str]
) -> dict[str, Any]:
    """The fields given, and for the others of ``names`` what the row with this code has now."""
    same: dict[str, Any] = {"code": given["code"]}
    rows = model.objects.filter(shop_id=shop_id, **same)
    now: Mapping[str, Any] = rows.values(*names).first() or {}
    return {**now, **given}
