"""The floor in force, and where a vehicle with its clear zone fits on it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from bays import floor
from bays.models import FloorPlanEdition
from bays.selectors.surveys import Surveys
from shopcal.errors import NotFound


class CurrentFloor(NamedTuple):
    """The published edition, the plan read from it, and the surveys of floor and light."""

    edition: FloorPlanEdition
    plan: floor.FloorPlan
    surveys: Surveys


def current_floor(shop_id: int) -> CurrentFloor:
    """The newest edition.

    Raises:
        NotFound: the shop has published no floor plan yet.
    """
    edition = FloorPlanEdition.objects.for_shop(shop_id).order_by("-number").first()
    if edition is None:
        raise NotFound(
            "no_floor_plan",
            "This shop has no floor plan yet.",
            detail="Import a shop file or publish a floor plan under Setup.",
        )
    return CurrentFloor(edition, plan_of_edition(edition), Surveys(shop_id))


def plan_of(shop_id: int) -> floor.FloorPlan | None:
    """The plan in force, None where the shop has published none."""
    try:
        return current_floor(shop_id).plan
    except NotFound:
        return None


def plan_of_edition(edition: FloorPlanEdition) -> floor.FloorPlan:
    """The plan of an edition, read once per digest: editions never change."""
    return _plan_by_digest(edition.digest, _Unhashed(edition.content))


class _Unhashed:
    """Carries the content past the cache key, which is the digest alone."""

    def __init__(self, content: Mapping[str, Any]) -> None:
        self.content = content

    def __hash__(self) -> int:
        return 0

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Unhashed)


@lru_cache(maxsize=32)
def _plan_by_digest(digest: str, carried: _Unhashed) -> floor.FloorPlan:
    return floor.FloorPlan.from_content(dict(carried.content))
