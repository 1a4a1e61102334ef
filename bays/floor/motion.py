"""How a vehicle moves: along straight lines and circular arcs, forward and in reverse.

The middle of the rear axle follows the path and the vehicle points along it (tyres do not slip
sideways). No curve is tighter than the least radius of the rear axle's middle.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from bays.floor.placement import Pose
from bays.floor.shapes import VehicleShape

FORWARD, REVERSE = 1, -1
# Between neighbours of a path no more than this is driven or turned.
PATH_STEP_MM = 20.0
PATH_STEP_DEG = 0.2
# Walking pace, and what it takes to stop, change gear and look: common practice, no source.
WALKING_PACE_M_PER_S = 1.2
SECONDS_PER_DIRECTION_CHANGE = 5.0
SHORTEST_PIECE_MM = 1e-6


class PathPose(NamedTuple):
    """A pose of the rear axle's middle; ``direction`` is 1 driving forward, -1 in reverse."""

    x_mm: float
    y_mm: float
    heading_deg: float
    direction: int

    @property
    def pose(self) -> Pose:
        return Pose(self.x_mm, self.y_mm, self.heading_deg)


class Piece(NamedTuple):
    """A line or arc: ``per_mm`` is 1/radius, left positive; ``length_mm`` negative in reverse."""

    per_mm: float
    length_mm: float


@dataclass(frozen=True)
class Turning:
    """``min_radius_mm``: the least radius on which the middle of the rear axle can be driven."""

    min_radius_mm: float

    @classmethod
    def from_turning_circle(
        cls, turning_circle_mm: float, wheelbase_mm: float, track_mm: float
    ) -> Turning:
        return cls(rear_axle_radius_mm(turning_circle_mm, wheelbase_mm, track_mm))


def rear_axle_radius_mm(turning_circle_mm: float, wheelbase_mm: float, track_mm: float) -> float:
    """The least radius of the rear axle's middle, from the turning circle as the trade quotes it.

    The kerb-to-kerb turning circle is the diameter of the outer front wheel's path. All wheels
    turn about one point on the rear axle's line (Ackermann steering), so the outer front wheel is
    wheelbase ahead of and radius + track / 2 beside that point.

    Raises:
        ValueError: no vehicle with this wheelbase and track turns so tightly.
    """
    beside_squared = (turning_circle_mm / 2) ** 2 - wheelbase_mm**2
    if beside_squared <= (track_mm / 2) ** 2:
        raise ValueError("a turning circle of this size is too small for the wheelbase and track")
    return math.sqrt(beside_squared) - track_mm / 2


@dataclass(frozen=True)
class TurningPath:
    """Radii about the turning point while the rear axle's middle follows a circle."""

    inner_mm: float
    outer_front_corner_mm: float
    outer_rear_corner_mm: float


def turning_path(vehicle: VehicleShape, radius_mm: float) -> TurningPath:
    """The ring that the body sweeps on a full circle, and how far its tail swings out."""
    outer = radius_mm + vehicle.width_mm / 2
    return TurningPath(
        inner_mm=radius_mm - vehicle.width_mm / 2,
        outer_front_corner_mm=math.hypot(outer, vehicle.wheelbase_mm + vehicle.front_overhang_mm),
        outer_rear_corner_mm=math.hypot(outer, vehicle.rear_overhang_mm),
    )


def moved(pose: Pose, piece: Piece) -> Pose:
    """Where the piece leads."""
    start = math.radians(pose.heading_deg)
    turned = piece.per_mm * piece.length_mm
    # chord of the arc: length x sinc(half the turn), along the middle heading
    half = turned / 2
    chord = piece.length_mm * (math.sin(half) / half if abs(half) > 1e-9 else 1 - half * half / 6)
    return Pose(
        pose.x_mm + chord * math.cos(start + half),
        pose.y_mm + chord * math.sin(start + half),
        pose.heading_deg + math.degrees(turned),
    )


def drawn_out(
    start: Pose,
    pieces: Iterable[Piece],
    step_mm: float = PATH_STEP_MM,
    step_deg: float = PATH_STEP_DEG,
) -> tuple[PathPose, ...]:
    """The path as poses so close that straight lines between them will do.

    Each pose carries the direction of the move that leads to it; the first, of the move that
    leaves it. Headings run on without a jump at 360 degrees.
    """
    path: list[PathPose] = []
    for piece in pieces:
        if abs(piece.length_mm) < SHORTEST_PIECE_MM:
            continue
        direction = FORWARD if piece.length_mm > 0 else REVERSE
        if not path:
            path.append(PathPose(*start, direction))
        turned_deg = abs(math.degrees(piece.per_mm * piece.length_mm))
        count = max(math.ceil(abs(piece.length_mm) / step_mm), math.ceil(turned_deg / step_deg), 1)
        along = piece.length_mm * np.arange(1, count + 1) / count
        half = piece.per_mm * along / 2
        chord = along * np.sinc(half / np.pi)
        middle = half + math.radians(start.heading_deg)
        x, y = start.x_mm + chord * np.cos(middle), start.y_mm + chord * np.sin(middle)
        heading = start.heading_deg + np.degrees(2 * half)
        path.extend(
            PathPose(*spot, direction)
            for spot in zip(x.tolist(), y.tolist(), heading.tolist(), strict=True)
        )
        start = path[-1].pose
    return tuple(path) or (PathPose(*start, FORWARD),)


def end_of(start: Pose, pieces: Iterable[Piece]) -> Pose:
    for piece in pieces:
        start = moved(start, piece)
    return start


def reversed_pieces(pieces: Sequence[Piece]) -> tuple[Piece, ...]:
    """The same track driven the other way round: every motion can be undone."""
    return tuple(Piece(piece.per_mm, -piece.length_mm) for piece in reversed(pieces))


def merged(pieces: Iterable[Piece]) -> tuple[Piece, ...]:
    """Neighbours on one line or circle in one direction become one piece."""
    kept: list[Piece] = []
    for piece in pieces:
        if abs(piece.length_mm) < SHORTEST_PIECE_MM:
            continue
        last = kept[-1] if kept else None
        if last and last.per_mm == piece.per_mm and last.length_mm * piece.length_mm > 0:
            kept[-1] = Piece(last.per_mm, last.length_mm + piece.length_mm)
        else:
            kept.append(piece)
    return tuple(kept)


def length_of(pieces: Iterable[Piece]) -> float:
    return sum(abs(piece.length_mm) for piece in pieces)


def direction_changes(pieces: Sequence[Piece]) -> int:
    return sum(1 for a, b in pairwise(pieces) if a.length_mm * b.length_mm < 0)


def minutes_for(length_mm: float, changes: int) -> float:
    """Driving time at walking pace with a stop for every change of direction."""
    seconds = length_mm / 1000 / WALKING_PACE_M_PER_S + changes * SECONDS_PER_DIRECTION_CHANGE
    return seconds / 60
