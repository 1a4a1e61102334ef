"""Proofs that no manoeuvre of any kind leads from one pose to another.

Three of them, each for the vehicle as if it could also move sideways and turn on the spot, so they
hold for every steering:

* the body meets something solid at one of the two poses;
* a door is narrower than the body, or the largest disc that fits into the body cannot get through
  (a disc's poses are places only: the free floor drawn in by its radius falls into pieces);
* the body cannot get through at any heading. Headings are cut into intervals; over one interval
  the body always contains its core, the part common to all its turned positions. Where the core is
  free is a superset of where the vehicle is; pieces of it are joined where neighbouring intervals
  overlap. If no chain of pieces leads from start to goal, no motion does. (Approximate cell
  decomposition, J.-C. Latombe, "Robot Motion Planning", 1991, chapter 6, with exact slices.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Set
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import rotate
from shapely.geometry import Point, Polygon, box

from bays.floor.placement import Pose
from bays.floor.plan import Door, FloorPlan, ZoneId
from bays.floor.room import free_floor, inward_deg
from bays.floor.shapes import VehicleShape

Floats = NDArray[np.float64]

# In proofs the body is this much smaller all round, so that touching never decides.
PROOF_DRAWN_IN_MM = 0.5
# Outside a door anything is taken to be free within this distance.
YARD_MM = 12_000.0
INTERVALS = (12, 36, 90, 240, 480)
MOST_SLICES = 900


@dataclass(frozen=True)
class Proof:
    """Why it cannot be: a stable ``reason`` and a sentence."""

    reason: str
    says: str


def why_impossible(
    plan: FloorPlan,
    vehicle: VehicleShape,
    start: Door | Pose,
    goal: Pose,
    occupied: Set[ZoneId] = frozenset(),
    most_slices: int = MOST_SLICES,
) -> Proof | None:
    """A proof that the vehicle cannot get from start to goal, or ``None``: nothing is known.

    From a door the vehicle may start anywhere and at any heading outside it.
    """
    return quick_proof(plan, vehicle, start, goal, occupied) or sliced_proof(
        plan, vehicle, start, goal, occupied, most_slices
    )


def quick_proof(
    plan: FloorPlan,
    vehicle: VehicleShape,
    start: Door | Pose,
    goal: Pose,
    occupied: Set[ZoneId] = frozenset(),
) -> Proof | None:
    if isinstance(start, Door) and start.width_mm < vehicle.width_mm - 2 * PROOF_DRAWN_IN_MM:
        return Proof(
            "door_too_narrow",
            f"The door is {start.width_mm:.0f} mm wide and the vehicle {vehicle.width_mm:.0f} mm.",
        )
    floor = _proof_floor(plan, start, occupied)
    core = _core(vehicle, 0.0)
    for name, pose in (("start", start), ("goal", goal)):
        if not isinstance(pose, Door) and not _covers(floor, core, vehicle, pose):
            against = "walls, obstacles or occupied floor"
            return Proof(f"{name}_blocked", f"The vehicle's body meets {against} at the {name}.")
    radius = min(vehicle.width_mm, vehicle.length_mm) / 2 - PROOF_DRAWN_IN_MM
    # chords of a drawn-in outline lie on the generous side of its round corners
    room = shapely.get_parts(shapely.buffer(floor, -radius, quad_segs=32))
    ends = [_places(plan, vehicle, pose, floor) for pose in (start, goal)]
    if not any(_met(piece, ends[0]) and _met(piece, ends[1]) for piece in room):
        return Proof(
            "too_narrow",
            f"Every way there is narrower somewhere than the vehicle's {vehicle.width_mm:.0f} mm.",
        )
    return None


def sliced_proof(
    plan: FloorPlan,
    vehicle: VehicleShape,
    start: Door | Pose,
    goal: Pose,
    occupied: Set[ZoneId] = frozenset(),
    most_slices: int = MOST_SLICES,
) -> Proof | None:
    """Slices of headings, ever thinner, until they come apart or ``most_slices`` were cut."""
    floor = _proof_floor(plan, start, occupied)
    for intervals in INTERVALS:
        if intervals > most_slices:
            break
        slices = _Slices(floor, vehicle, intervals)
        begins = list(_standing(plan, slices, start, floor))
        joined = _joined(slices, begins, list(_standing(plan, slices, goal, floor)))
        most_slices -= slices.cut
        if not joined:
            return Proof(
                "no_room_to_turn",
                "The vehicle's body cannot be brought there at any heading, even if it could move "
                f"sideways and turn on the spot (checked in {intervals} slices of headings).",
            )
    return None


class _Slices:
    """Pieces of free places for the body's core, by interval of headings, worked out when asked."""

    def __init__(self, floor: Any, vehicle: VehicleShape, intervals: int) -> None:
        self.floor, self.vehicle, self.intervals = floor, vehicle, intervals
        self.width_deg = 360.0 / intervals
        self.core = _core(vehicle, self.width_deg / 2)
        self._edges = _edges_of(floor)
        self._pieces: dict[int, list[Any]] = {}

    @property
    def cut(self) -> int:
        return len(self._pieces)

    def pieces(self, interval: int) -> list[Any]:
        if interval not in self._pieces:
            shape = shapely.get_coordinates(rotate(self.core, interval * self.width_deg, (0, 0)))
            sums = self._edges[:, :, None, :] - shape[None, None, :-1, :]
            clouds = sums.reshape(len(sums), -1, 2)
            indices = np.repeat(np.arange(len(clouds)), clouds.shape[1])
            met = shapely.convex_hull(shapely.multipoints(clouds.reshape(-1, 2), indices=indices))
            free = self.floor.difference(shapely.union_all(met))
            found = [p for p in shapely.get_parts(free) if not p.is_empty]
            shapely.prepare(found)
            self._pieces[interval] = found
        return self._pieces[interval]

    def at(self, pose: Pose) -> Iterable[tuple[int, int]]:
        """The pieces in which the body's middle lies, in every interval that holds the heading."""
        turns = (pose.heading_deg % 360.0) / self.width_deg
        middle = Point(_middle(self.vehicle, pose))
        for interval in range(self.intervals):
            off = abs((turns - interval + self.intervals / 2) % self.intervals - self.intervals / 2)
            if off <= 0.5 + 1e-9:
                pieces = self.pieces(interval)
                yield from (
                    (interval, n)
                    for n, piece in enumerate(pieces)
                    if piece.distance(middle) < PROOF_DRAWN_IN_MM
                )

    def next_to(self, node: tuple[int, int]) -> Iterable[tuple[int, int]]:
        here = self.pieces(node[0])[node[1]]
        for interval in ((node[0] - 1) % self.intervals, (node[0] + 1) % self.intervals):
            for n, piece in enumerate(self.pieces(interval)):
                if piece.intersects(here):
                    yield interval, n


def _joined(slices: _Slices, begins: list[tuple[int, int]], ends: list[tuple[int, int]]) -> bool:
    """Spread from both ends in turn; apart as soon as one side has nowhere to go."""
    sides = [(set(begins), list(begins)), (set(ends), list(ends))]
    while all(waiting for _, waiting in sides):
        if sides[0][0] & sides[1][0]:
            return True
        for seen, waiting in sides:
            if waiting:
                for node in slices.next_to(waiting.pop(0)):
                    if node not in seen:
                        seen.add(node)
                        waiting.append(node)
    return bool(sides[0][0] & sides[1][0])


def _standing(
    plan: FloorPlan, slices: _Slices, start: Door | Pose, floor: Any
) -> Iterable[tuple[int, int]]:
    if isinstance(start, Door):
        outside = _yard(plan, start)
        for interval in range(slices.intervals):
            for n, piece in enumerate(slices.pieces(interval)):
                if piece.intersects(outside):
                    yield interval, n
    else:
        yield from slices.at(start)


def _core(vehicle: VehicleShape, half_width_deg: float) -> Polygon:
    """What the body, turned about its middle by up to so much either way, always covers.

    A side at distance d from the middle, turned by -a to a, leaves free what lies beyond both of
    its turned lines and beyond the arc between them; the arc's chord is at d cos(a).
    """
    along = vehicle.length_mm / 2 - PROOF_DRAWN_IN_MM
    aside = vehicle.width_mm / 2 - PROOF_DRAWN_IN_MM
    a = math.radians(half_width_deg)
    whole = box(-along, -aside, along, aside)
    chords = box(
        -along * math.cos(a), -aside * math.cos(a), along * math.cos(a), aside * math.cos(a)
    )
    turned = [rotate(whole, sign * half_width_deg, (0, 0)) for sign in (1, -1)]
    return shapely.intersection_all([chords, *turned])


def _middle(vehicle: VehicleShape, pose: Pose) -> tuple[float, float]:
    ahead = vehicle.length_mm / 2 - vehicle.rear_overhang_mm
    a = math.radians(pose.heading_deg)
    return pose.x_mm + ahead * math.cos(a), pose.y_mm + ahead * math.sin(a)


def _covers(floor: Any, core: Polygon, vehicle: VehicleShape, pose: Pose) -> bool:
    x, y = _middle(vehicle, pose)
    a = math.radians(pose.heading_deg)
    turn = [math.cos(a), -math.sin(a), math.sin(a), math.cos(a), x, y]
    return bool(floor.covers(shapely.affinity.affine_transform(core, turn)))


def _places(plan: FloorPlan, vehicle: VehicleShape, pose: Door | Pose, floor: Any) -> Any:
    """Where a disc about the body's middle may be: outside the door, or at the pose."""
    if isinstance(pose, Door):
        return _yard(plan, pose)
    return Point(_middle(vehicle, pose)).buffer(PROOF_DRAWN_IN_MM)


def _met(piece: Any, place: Any) -> bool:
    return bool(piece.intersects(place))


def _yard(plan: FloorPlan, door: Door) -> Any:
    """All places outside near the door, the building's own floor left out."""
    return _all_round(door).difference(plan.outline)


def _proof_floor(plan: FloorPlan, start: Door | Pose, occupied: Set[ZoneId]) -> Any:
    """Never less than the floor that can be driven on."""
    if not isinstance(start, Door):
        return free_floor(plan, occupied)
    a = math.radians(inward_deg(plan, start) + 180.0)
    away = np.array([math.cos(a), math.sin(a)])
    start_at, end_at = np.array(start.start, float), np.array(start.end, float)
    corners = [start_at - 10 * away, end_at - 10 * away, end_at + 10 * away, start_at + 10 * away]
    yard = _yard(plan, start).difference(_walls(plan, start))
    return free_floor(plan, occupied, shapely.union_all([Polygon(corners), yard]))


def _walls(plan: FloorPlan, door: Door) -> Any:
    """Hairlines of wall that keep yard and floor apart everywhere but at the door."""
    return plan.outline.boundary.buffer(1.0, join_style="mitre")


def _all_round(door: Door) -> Any:
    return shapely.LineString([door.start, door.end]).buffer(YARD_MM)


def _edges_of(floor: Any) -> Floats:
    rings = [
        shapely.get_coordinates(ring)
        for piece in shapely.get_parts(floor)
        for ring in (piece.exterior, *piece.interiors)
    ]
    return np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
