"""The way in as it can be drawn: the floor swept and the line driven, worked out when asked for.

The first question for a vehicle and a door floods the floor, which takes a second or more.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

from bays import floor
from bays.floor.drive import Drive, Impossible, drive_in
from bays.floor.reach import reach
from jobs.planning.ways import least_radius_mm


@dataclass(frozen=True)
class WayDrawn:
    """How it is driven there, in words; ``drive`` is None where no way was found."""

    says: str
    door: str = ""
    drive: Drive | None = None


def way_to_draw(
    plan: floor.FloorPlan,
    shape: floor.VehicleShape,
    turning_circle_mm: int,
    pose: floor.Pose,
    occupied: Set[floor.ZoneId] = frozenset(),
    door_id: str = "",
) -> WayDrawn:
    """The easiest way in to a pose: fewest changes of direction, then the shortest.

    Occupied zones are solid. ``door_id`` asks for one door only. "Cannot be driven" is said only
    where it is proven for every door asked.
    """
    radius = least_radius_mm(shape, turning_circle_mm)
    if radius is None:
        return WayDrawn("The turning circle is too small for the wheelbase.")
    doors = [door for door in plan.doors if not door_id or door.id == door_id]
    if not doors:
        return WayDrawn("The floor plan has no door to drive in by.")
    found: list[tuple[floor.Door, Drive]] = []
    proofs: list[str] = []
    for door in doors:
        answer = drive_in(reach(plan, shape, radius, door, frozenset(occupied)), pose)
        if isinstance(answer, Drive):
            found.append((door, answer))
        elif isinstance(answer, Impossible):
            proofs.append(answer.proof)
    if found:
        door, best = min(found, key=lambda one: (one[1].direction_changes, one[1].length_mm))
        return WayDrawn(_words(door, best), door.id, best)
    if len(proofs) == len(doors):
        why = " ".join(dict.fromkeys(proofs))
        return WayDrawn(f"It cannot be driven there from a door. {why}")
    return WayDrawn("No way in was found; that there is none is not proven.")


def _words(door: floor.Door, drive: Drive) -> str:
    how = "in reverse" if drive.enters == "reverse" else "forward"
    changes = drive.direction_changes
    turns = {0: "without a change of direction", 1: "with one change of direction"}.get(
        changes, f"with {changes} changes of direction"
    )
    return f"In by the {door.id}, {how}, {turns}."
