"""The same floor with something taken away or made solid."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import replace
from types import MappingProxyType

from bays.floor.plan import FloorPlan, Obstacle, ZoneId


def without(plan: FloorPlan, obstacle_ids: Set[str]) -> FloorPlan:
    """The floor with these obstacles removed."""
    kept = tuple(thing for thing in plan.obstacles if thing.id not in obstacle_ids)
    mark = "\n".join(sorted(obstacle_ids))
    return replace(plan, obstacles=kept, digest=f"{plan.digest} without {mark}")


def with_solid(plan: FloorPlan, zones: Set[ZoneId]) -> FloorPlan:
    """The floor on which these zones are obstacles, under their own ids."""
    if not zones:
        return plan
    solid = [Obstacle(zone, "occupied zone", plan.zones[zone].polygon) for zone in sorted(zones)]
    left = {zone.id: zone for zone in plan.zones.values() if zone.id not in zones}
    return replace(
        plan,
        obstacles=(*plan.obstacles, *solid),
        zones=MappingProxyType(left),
        digest=f"{plan.digest} solid {'+'.join(sorted(zones))}",
    )
