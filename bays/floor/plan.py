"""The floor plan: walls, obstacles, doors, zones and bays, all in whole millimetres.

x to the right, y up on the plan, headings counter-clockwise from +x. Everything outside the outline
and inside its holes is not floor.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NewType

import shapely
from shapely.geometry import MultiPolygon, Polygon

ZoneId = NewType("ZoneId", str)

ZONE_KINDS = ("bay", "rack", "aisle", "rest")


@dataclass(frozen=True)
class Obstacle:
    """A solid thing on the floor: column, lift post, fixed equipment."""

    id: str
    kind: str
    polygon: Polygon


@dataclass(frozen=True)
class Door:
    """An opening in a wall from ``start`` to ``end``; ``height_mm`` is the clear height."""

    id: str
    start: tuple[int, int]
    end: tuple[int, int]
    height_mm: int | None = None

    @property
    def width_mm(self) -> float:
        return float(shapely.Point(self.start).distance(shapely.Point(self.end)))


@dataclass(frozen=True)
class Zone:
    """A piece of floor that only one vehicle may use at a time."""

    id: ZoneId
    name: str
    kind: str
    polygon: Polygon


@dataclass(frozen=True)
class Bay:
    """A place where a vehicle stands: one zone, or several zones used as one (joined bays).

    ``area`` is the union of its zones; a vehicle stands in the bay when its body's centre is there.
    """

    id: str
    name: str
    zones: tuple[ZoneId, ...]
    centre: tuple[int, int]
    heading_deg: float
    area: Polygon | MultiPolygon

    @property
    def headings_deg(self) -> tuple[float, float]:
        """The bay's heading and its reverse, each in 0 <= heading < 360."""
        return self.heading_deg % 360.0, (self.heading_deg + 180.0) % 360.0


@dataclass(frozen=True, eq=False)
class FloorPlan:
    """One edition of the floor. Two plans are equal when their content is (``digest``)."""

    name: str
    outline: Polygon
    obstacles: tuple[Obstacle, ...]
    doors: tuple[Door, ...]
    zones: Mapping[ZoneId, Zone]
    bays: tuple[Bay, ...]
    digest: str
    content: Mapping[str, Any] = field(repr=False)

    @classmethod
    def from_content(cls, content: Mapping[str, Any]) -> FloorPlan:
        """Read and check a drawing.

        Floor that no zone covers becomes zones ``rest-1``, ``rest-2``, ..., one for each connected
        piece, so that every place on the floor belongs to exactly one zone and no two bookings can
        share floor unseen.

        Raises:
            PlanFaults: with every fault found and its path, such as ``zones[2].polygon``.
        """
        from bays.floor.drawing import read_plan

        return read_plan(content)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, FloorPlan) and self.digest == other.digest

    def __hash__(self) -> int:
        return hash(self.digest)

    @cached_property
    def rings(self) -> tuple[Any, ...]:
        """The walls: the outer ring and one ring for each hole."""
        return (self.outline.exterior, *self.outline.interiors)

    def bay(self, bay_id: str) -> Bay | None:
        return next((bay for bay in self.bays if bay.id == bay_id), None)

    def summary(self) -> dict[str, Any]:
        """Counts and sizes for a list or a heading; areas in square metres."""
        west, south, east, north = self.outline.bounds
        rest = [zone for zone in self.zones.values() if zone.kind == "rest"]
        return {
            "name": self.name,
            "width_mm": round(east - west),
            "depth_mm": round(north - south),
            "floor_m2": round(self.outline.area / 1e6, 1),
            "outside_bays_m2": round(sum(zone.polygon.area for zone in rest) / 1e6, 1),
            "bays": len(self.bays),
            "zones": len(self.zones),
            "obstacles": len(self.obstacles),
            "doors": len(self.doors),
        }
