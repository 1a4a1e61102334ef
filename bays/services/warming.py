"""Owes the work of finding places and ways in before anybody waits for them.

The handlers live above, with the vehicles and procedures they need.
"""

from __future__ import annotations

from typing import Final

from shopcal.outbox import enqueue

WARM_FLOOR: Final = "floor.warm"
WARM_VEHICLE: Final = "floor.warm_vehicle"


def owe_warming(*, shop_id: int, cause: str) -> None:
    """Have the floor's answers worked out after this transaction; once for each ``cause``."""
    enqueue(kind=WARM_FLOOR, payload={}, key=f"{WARM_FLOOR}:{shop_id}:{cause}", shop_id=shop_id)
