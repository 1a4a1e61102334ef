"""Driving in and out: a path found and verified, not found, or proven impossible.

A path is believed only after its swept floor was checked as polygons (:mod:`bays.floor.swept`);
"impossible" is said only with a proof (:mod:`bays.floor.passage`). Motion can be undone: the way
in, driven the other way round, is a way out.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace
from typing import NamedTuple

from shapely.geometry import MultiPolygon, Polygon

from bays.floor.motion import (
    PathPose,
    direction_changes,
    drawn_out,
    length_of,
    minutes_for,
)
from bays.floor.onward import only_with_reverse
from bays.floor.passage import MOST_SLICES, quick_proof, sliced_proof
from bays.floor.placement import Pose
from bays.floor.plan import Door, FloorPlan, ZoneId
from bays.floor.reach import (
    COARSE,
    FINE,
    FINER,
    FINEST,
    Directions,
    Entry,
    Fineness,
    ReachMap,
    fresh_map,
)
from bays.floor.shapes import VehicleShape
from bays.floor.swept import swept_floor, zones_met
from bays.floor.track import Track, find_track

QUERY_FINENESS = (COARSE, FINE)
THOROUGH_FINENESS = (COARSE, FINE, FINER, FINEST)
QUERY_SLICES = 250


@dataclass(frozen=True)
class Drive:
    """A path that was checked as polygons: the body stays on free floor from end to end.

    ``swept`` is the floor the body passes over; ``zones_crossed`` the zones it overlaps, those at
    either end included. ``enters`` tells how the vehicle passes the door (or leaves its start).
    ``minutes`` is at walking pace with a stop for each change of direction.
    """

    path: tuple[PathPose, ...]
    swept: Polygon | MultiPolygon
    zones_crossed: frozenset[ZoneId]
    direction_changes: int
    length_mm: float
    minutes: float
    enters: Entry

    @property
    def reverses(self) -> bool:
        """Whether some of it is driven in reverse."""
        return any(pose.direction < 0 for pose in self.path)

    def out_again(self) -> Drive:
        """The same track driven back, from the goal to the start.

        ``enters`` then tells how the vehicle leaves: in reverse where it came in forward.
        """
        poses = self.path
        moves = [-pose.direction for pose in poses[1:]] or [-poses[0].direction]
        back = [pose.pose for pose in reversed(poses)]
        directions = [moves[-1], *reversed(moves)] if len(poses) > 1 else moves
        path = tuple(PathPose(*p, d) for p, d in zip(back, directions, strict=True))
        return replace(self, path=path, enters="reverse" if self.enters == "forward" else "forward")


@dataclass(frozen=True)
class NotFound:
    """No path was found, and nothing was proven."""

    says: str = "No way was found to drive there; that none exists is not proven."


@dataclass(frozen=True)
class Impossible:
    """No manoeuvre of any kind leads there; ``proof`` says why in one sentence.

    ``reason`` is stable: door_too_narrow, start_blocked, goal_blocked, too_narrow, no_room_to_turn.
    """

    says: str
    proof: str
    reason: str = ""


@dataclass(frozen=True)
class WaysIn:
    """The answer for each way of passing the door."""

    forward: Drive | NotFound | Impossible
    reverse: Drive | NotFound | Impossible

    @property
    def only_in_reverse(self) -> bool:
        """A path is known in reverse and none forward; that there is none forward is not proven."""
        return isinstance(self.reverse, Drive) and not isinstance(self.forward, Drive)


def drive_in(
    reach_map: ReachMap, pose: Pose, finenesses: Sequence[Fineness] = QUERY_FINENESS
) -> Drive | NotFound | Impossible:
    """From the door (or start pose) to the pose; a short way with few changes of direction."""
    return _answer(reach_map, pose, None, finenesses, QUERY_SLICES)


def ways_in(reach_map: ReachMap, pose: Pose) -> WaysIn:
    """As :func:`drive_in`, apart for passing the door forward and in reverse."""
    forward, reverse = (
        _answer(reach_map, pose, entry, QUERY_FINENESS, QUERY_SLICES)
        for entry in ("forward", "reverse")
    )
    return WaysIn(forward, reverse)


def drive_between(
    plan: FloorPlan,
    vehicle: VehicleShape,
    min_radius_mm: float,
    start: Pose,
    goal: Pose,
    occupied: Set[ZoneId] = frozenset(),
) -> Drive | NotFound | Impossible:
    """From one pose of the rear axle's middle to another, searched ever more finely."""
    reach_map = fresh_map(plan, vehicle, min_radius_mm, start, occupied)
    return _answer(reach_map, goal, None, THOROUGH_FINENESS, MOST_SLICES)


def reversing_needed(
    plan: FloorPlan,
    vehicle: VehicleShape,
    min_radius_mm: float,
    start: Pose,
    goal: Pose,
    occupied: Set[ZoneId] = frozenset(),
) -> bool | None:
    """``False``: a path without reverse gear is known. ``True``: proven that without it none
    exists (with it there may be one or not). ``None``: neither is known."""
    return drive_forward(plan, vehicle, min_radius_mm, start, goal, occupied).reversing_needed


class Onward(NamedTuple):
    """A way without reverse gear where one is found, and what is known of the need for it."""

    drive: Drive | None
    reversing_needed: bool | None


def drive_forward(
    plan: FloorPlan,
    vehicle: VehicleShape,
    min_radius_mm: float,
    start: Pose,
    goal: Pose,
    occupied: Set[ZoneId] = frozenset(),
) -> Onward:
    """A way without reverse gear, or as :func:`reversing_needed` what is known of it."""
    reach_map = fresh_map(plan, vehicle, min_radius_mm, start, occupied)
    for n, fineness in enumerate(THOROUGH_FINENESS if reach_map.starts else ()):
        track = _search(reach_map, goal, None, fineness, "forward only")
        if track is not None:
            return Onward(_drive(reach_map, track), False)
        if n == 0 and only_with_reverse(reach_map.room, min_radius_mm, start, goal):
            return Onward(None, True)
    return Onward(None, None)


def _answer(
    reach_map: ReachMap,
    goal: Pose,
    entry: Entry | None,
    finenesses: Sequence[Fineness],
    most_slices: int,
) -> Drive | NotFound | Impossible:
    """The coarse search first; proofs and finer searches only where it finds nothing."""
    asked = (reach_map.plan, reach_map.vehicle, reach_map.door, goal, reach_map.occupied)
    proof = quick_proof(*asked)
    if proof is None:
        for n, fineness in enumerate(finenesses):
            track = _search(reach_map, goal, entry, fineness, "both")
            if track is not None:
                return _drive(reach_map, track)
            if n == 0:
                proof = sliced_proof(*asked, most_slices)
            if proof is not None:
                break
    if proof is not None:
        return Impossible("The vehicle cannot be driven there.", proof.says, proof.reason)
    if not reach_map.starts:
        return NotFound("There is no room before the door for the vehicle to start from.")
    return NotFound()


def _search(
    reach_map: ReachMap,
    goal: Pose,
    entry: Entry | None,
    fineness: Fineness,
    directions: Directions,
) -> Track | None:
    flood = reach_map.flood(fineness, entry, directions)
    return find_track(reach_map.room, flood, goal, directions)


def _drive(reach_map: ReachMap, track: Track) -> Drive:
    length_mm, changes = length_of(track.pieces), direction_changes(track.pieces)
    swept = swept_floor(reach_map.vehicle, track.start, track.pieces)
    path = drawn_out(track.start, track.pieces)
    if isinstance(reach_map.door, Door):
        enters = next(entry for entry, pose in reach_map.starts if pose == track.start)
    else:
        enters = "forward" if path[0].direction > 0 else "reverse"
    return Drive(
        path=path,
        swept=swept,
        zones_crossed=zones_met(reach_map.plan, swept),
        direction_changes=changes,
        length_mm=length_mm,
        minutes=minutes_for(length_mm, changes),
        enters=enters,
    )
