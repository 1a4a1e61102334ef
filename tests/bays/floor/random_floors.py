"""Random floors, vehicles and clear zones, each both as the code takes it and as plain arrays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from shapely.geometry import Polygon

from bays.floor import (
    ClearZone,
    FloorPlan,
    Measure,
    Obstacle,
    Part,
    RectPart,
    SectorPart,
    VehicleShape,
    Zone,
    ZoneId,
    resolve,
)
from tests.bays.floor import brute_distance as brute

Random = np.random.Generator


@dataclass(frozen=True)
class Floor:
    """``walls``: outer ring first, then holes. ``zones`` are all occupied. Corners are floats."""

    walls: tuple[np.ndarray, ...]
    solids: tuple[np.ndarray, ...]
    zones: tuple[np.ndarray, ...]
    along_deg: float

    @property
    def all_solids(self) -> tuple[np.ndarray, ...]:
        return (*self.solids, *self.zones)

    @property
    def occupied(self) -> frozenset[ZoneId]:
        return frozenset(ZoneId(f"Z{i}") for i in range(len(self.zones)))

    def plan(self) -> FloorPlan:
        zones = [
            Zone(ZoneId(f"Z{i}"), f"Zone {i}", "bay", Polygon(ring))
            for i, ring in enumerate(self.zones)
        ]
        rings = (self.walls, self.solids, self.zones)
        return FloorPlan(
            name="random",
            outline=Polygon(self.walls[0], list(self.walls[1:])),
            obstacles=tuple(
                Obstacle(f"C{i}", "column", Polygon(ring)) for i, ring in enumerate(self.solids)
            ),
            doors=(),
            zones=MappingProxyType({zone.id: zone for zone in zones}),
            bays=(),
            digest=repr([[ring.tolist() for ring in group] for group in rings]),
            content={},
        )

    def moved(self, change: Callable[[np.ndarray], np.ndarray], along_deg: float) -> Floor:
        groups = [
            tuple(change(ring) for ring in group) for group in (self.walls, self.solids, self.zones)
        ]
        return Floor(groups[0], groups[1], groups[2], along_deg)

    def turned(self, degrees: float) -> Floor:
        return self.moved(lambda ring: _turn(ring, degrees), self.along_deg + degrees)

    def mirrored(self) -> Floor:
        flip = np.array([-1.0, 1.0])
        return self.moved(lambda ring: ring * flip, 180.0 - self.along_deg)

    def with_zones_as_obstacles(self) -> Floor:
        return replace(self, solids=self.all_solids, zones=())


@dataclass(frozen=True)
class Need:
    """A vehicle with its clear zone: the parts, and the same as polygons worked out apart."""

    parts: tuple[Part, ...]
    zone: tuple[np.ndarray, ...]
    has_sector: bool


def random_floor(rng: Random, zones: tuple[int, int] = (0, 3)) -> Floor:
    outline = _outline(rng)
    width, depth = outline.max(axis=0)
    solids = [_placed(rng, _thing(rng), width, depth) for _ in range(int(rng.integers(0, 6)))]
    areas = [
        _placed(rng, brute.rectangle(0, 0, *rng.uniform(800, 3500, 2)), width, depth)
        for _ in range(int(rng.integers(*zones)))
    ]
    floor = Floor((outline, *_hole(rng, outline)), tuple(solids), tuple(areas), 0.0)
    if rng.random() < 0.5:
        floor = floor.turned(float(rng.uniform(0, 360)))
    return floor


def random_need(rng: Random) -> Need:
    width, wheelbase = rng.uniform(1600, 2200), rng.uniform(2300, 3300)
    front, rear = rng.uniform(600, 1000, 2)
    vehicle = VehicleShape(width, wheelbase, front, rear)
    nose, half = wheelbase + front, width / 2
    asked: list[RectPart | SectorPart] = []
    zone = [brute.rectangle(-rear, -half, nose, half)]
    has_sector = False
    for _ in range(int(rng.integers(0, 3))):
        if rng.random() < 0.35:
            has_sector = True
            off, bearing = rng.uniform(-300, 300), rng.uniform(-180, 180)
            half_angle, reach = rng.choice([8.0, 30, 75, 110, 180]), rng.uniform(600, 3500)
            apex = Measure("front", off), Measure("left", -off)
            asked.append(SectorPart(*apex, bearing, half_angle, reach))
            zone.append(brute.sector((nose + off, half - off), bearing, half_angle, reach))
        else:
            behind, ahead, right, left = rng.uniform(0, 1500, 4)
            span = Measure("rear", -behind), Measure("front", ahead)
            if rng.random() < 0.3:  # a target's place, apart from the body
                span = Measure("front_axle", front + 1000), Measure("front", 1000 + ahead + 50)
                x0, x1 = nose + 1000, nose + 1050 + ahead
            else:
                x0, x1 = -rear - behind, nose + ahead
            asked.append(RectPart(*span, Measure("right", -right), Measure("left", left)))
            zone.append(brute.rectangle(x0, -half - right, x1, half + left))
    parts = resolve(ClearZone(tuple(asked)), vehicle)
    return Need(parts, tuple(zone), has_sector)


def _outline(rng: Random) -> np.ndarray:
    w, d = rng.uniform(6500, 16000), rng.uniform(5000, 13000)
    a, b = rng.uniform(0.15, 0.45, 2) * np.array([w, d])
    shapes = [
        [[0, 0], [w, 0], [w, d], [0, d]],
        [[0, 0], [w, 0], [w, d - b], [w - a, d - b], [w - a, d], [0, d]],
        [[0, 0], [w, 0], [w, d], [w - a, d], [w - a, b], [a, b], [a, d], [0, d]],
        [[0, 0], [w, 0], [w, d - b], [w - a, d], [0, d]],
        [[0, 0], [w, 0], [w, d], [w / 2 + 200, d], [w / 2, d - b], [w / 2 - 200, d], [0, d]],
    ]
    return np.array(shapes[int(rng.integers(len(shapes)))], dtype=float)


def _thing(rng: Random) -> np.ndarray:
    a, b = rng.uniform(80, 1200, 2)
    t = rng.uniform(0.2, 0.45) * min(a, b)
    points = np.arange(10) * np.pi / 5
    radii = np.where(np.arange(10) % 2, 0.4, 1.0) * a
    shapes = [
        [[0, 0], [a, 0], [a, b], [0, b]],
        [[0, 0], [a, 0], [a, t], [t, t], [t, b], [0, b]],
        [[0, 0], [a, 0], [a, b], [a - t, b], [a - t, t], [t, t], [t, b], [0, b]],
        np.column_stack([radii * np.cos(points), radii * np.sin(points)]),
        [[0, 0], [a, 0], [0.3 * a, b]],
        [[0, 0], [3 * a, 0], [3 * a, 60], [0, 60]],
    ]
    return np.array(shapes[int(rng.integers(len(shapes)))], dtype=float)


def _placed(rng: Random, ring: np.ndarray, width: float, depth: float) -> np.ndarray:
    if rng.random() < 0.5:
        ring = _turn(ring, float(rng.uniform(0, 360)))
    return ring + rng.uniform(0, 1, 2) * np.array([width, depth])


def _hole(rng: Random, outline: np.ndarray) -> list[np.ndarray]:
    if rng.random() > 0.25:
        return []
    pit = _placed(rng, brute.rectangle(0, 0, *rng.uniform(300, 2000, 2)), *outline.max(axis=0))
    return [pit] if Polygon(outline).contains_properly(Polygon(pit)) else []


def _turn(ring: np.ndarray, degrees: float) -> np.ndarray:
    a = np.radians(degrees)
    c, s = np.cos(a), np.sin(a)
    return ring @ np.array([[c, s], [-s, c]])
