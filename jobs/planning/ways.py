"""The way in to a place: through which door, over which zones, in how many minutes.

Flooding the floor takes seconds, so ways are worked out by a task and only read when something is
planned. A way not known yet takes the shop's usual minutes and claims no floor.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, hypot
from typing import Any, Final

from bays import floor
from bays.convert.planner import zone_key
from bays.floor.drive import QUERY_FINENESS, Drive, Impossible, drive_in
from bays.floor.motion import rear_axle_radius_mm
from bays.floor.reach import COARSE, Fineness, reach
from bays.planner import GRID_MINUTES
from bays.services.answers import answer_key, kept_answer, known_answers
from jobs.models.vehicle import Dimensions
from jobs.planning.kept_places import shape_facts
from shopcal.errors import FieldError

# Counts up when the method changes, so that nothing old is served.
WAYS_VERSION: Final = 1
# For a vehicle whose turning circle nobody has entered: kerb to kerb, wide for a car and usual
# for a van (common practice, no source). Too wide at worst hides a way; it never promises one.
DEFAULT_TURNING_CIRCLE_MM: Final = 11_600
WIDEST_TURNING_CIRCLE_MM: Final = 40_000
# Zones made to be driven through; any other that is crossed is somebody's place to stand.
PASSAGES: Final = ("aisle", "rest")


@dataclass(frozen=True)
class Way:
    """How a vehicle gets to a placement and out again; ``crosses`` are zones not its own.

    ``verdict``: "found"; "not found", which proves nothing; "impossible", with a proof in ``says``.
    """

    verdict: str
    says: str
    door: str = ""
    minutes: int | None = None
    crosses: frozenset[str] = frozenset()
    direction_changes: int = 0
    enters: str = ""

    @property
    def planner_zones(self) -> frozenset[str]:
        return frozenset(zone_key(code) for code in self.crosses)


def turning_circle_of(vehicle: Dimensions) -> int:
    """Kerb to kerb in millimetres; the usual one where it is not known."""
    return vehicle.turning_circle_mm or DEFAULT_TURNING_CIRCLE_MM


def least_radius_mm(shape: floor.VehicleShape, turning_circle_mm: float) -> float | None:
    """The least radius of the rear axle's middle; None where no such vehicle can exist."""
    track = shape.tyre_track_outer_mm or shape.width_mm
    try:
        return rear_axle_radius_mm(turning_circle_mm, shape.wheelbase_mm, track)
    except ValueError:
        return None


def turning_faults(shape: floor.VehicleShape, turning_circle_mm: int | None) -> list[FieldError]:
    """What is wrong with a turning circle, beside a vehicle's other sizes."""
    if turning_circle_mm is None:
        return []
    tight = least_radius_mm(shape, turning_circle_mm) is None
    if not tight and turning_circle_mm <= WIDEST_TURNING_CIRCLE_MM:
        return []
    says = "is too small for the wheelbase" if tight else "is wider than any vehicle's"
    right = "the diameter from kerb to kerb, such as 11600 mm"
    return [FieldError("turning_circle_mm", says, right)]


def known_way(
    plan: floor.FloorPlan,
    shape: floor.VehicleShape,
    turning_circle_mm: int,
    found: floor.Placement,
) -> Way | None:
    """The way as far as it was worked out before; computes nothing."""
    return known_ways(plan, shape, turning_circle_mm, [found])[0]


def known_ways(
    plan: floor.FloorPlan,
    shape: floor.VehicleShape,
    turning_circle_mm: int,
    places: Sequence[floor.Placement],
) -> list[Way | None]:
    """As :func:`known_way` for each of many places, in one query."""
    keys = [way_key(plan, shape, turning_circle_mm, found) for found in places]
    known = known_answers(keys, way_read)
    return [known.get(key) for key in keys]


def find_way(
    plan: floor.FloorPlan,
    shape: floor.VehicleShape,
    turning_circle_mm: int,
    found: floor.Placement,
) -> Way:
    """The way to a placement, worked out and kept for every process where it is not known.

    From the nearest door, where that crosses nobody's place to stand; else of all doors the way
    that crosses the fewest of these, then the quickest.
    Takes up to some seconds for each door and vehicle: never call it in a transaction.
    """
    return kept_answer(
        way_key(plan, shape, turning_circle_mm, found),
        lambda: _searched(plan, shape, turning_circle_mm, found),
        way_written,
        way_read,
    )


def way_written(way: Way) -> dict[str, Any]:
    return {
        "verdict": way.verdict,
        "says": way.says,
        "door": way.door,
        "minutes": way.minutes,
        "crosses": sorted(way.crosses),
        "direction_changes": way.direction_changes,
        "enters": way.enters,
    }


def way_read(content: Mapping[str, Any]) -> Way:
    return Way(**{**content, "crosses": frozenset(content["crosses"])})


def way_key(
    plan: floor.FloorPlan,
    shape: floor.VehicleShape,
    turning_circle_mm: int,
    found: floor.Placement,
) -> str:
    """The name under which the way is kept; zones that are the placement's own are not crossed."""
    place = tuple(map(float, found.pose)), sorted(found.zones)
    facts = (plan.digest, shape_facts(shape), turning_circle_mm, place)
    return answer_key("way", WAYS_VERSION, *facts)


def _searched(
    plan: floor.FloorPlan,
    shape: floor.VehicleShape,
    turning_circle_mm: int,
    found: floor.Placement,
) -> Way:
    radius = least_radius_mm(shape, turning_circle_mm)
    if radius is None:
        return Way("not found", "the turning circle is too small for the wheelbase")
    if not plan.doors:
        return Way("not found", "the floor plan has no door")
    case = _Case(plan, shape, radius, found)
    # Most ways are found by the quick search; the thorough one takes many times as long.
    for finenesses in ((COARSE,), QUERY_FINENESS):
        drives, proofs = _through_doors(case, finenesses)
        if drives:
            door, best = min(drives, key=lambda one: case.rank(one[1]))
            return _way(door, _round_others(case, door, best), found)
        if len(proofs) == len(plan.doors):
            return Way("impossible", "; ".join(dict.fromkeys(proofs)))
    return Way("not found", "no way in was found; that there is none is not proven")


@dataclass(frozen=True)
class _Case:
    plan: floor.FloorPlan
    shape: floor.VehicleShape
    radius_mm: float
    found: floor.Placement

    def places_crossed(self, drive: Drive) -> frozenset[floor.ZoneId]:
        """Zones crossed that are somebody's place to stand."""
        crossed = drive.zones_crossed - self.found.zones
        return frozenset(zone for zone in crossed if self.plan.zones[zone].kind not in PASSAGES)

    def rank(self, drive: Drive) -> tuple[int, int, int, float]:
        return (
            len(self.places_crossed(drive)),
            _on_grid(drive.minutes),
            len(drive.zones_crossed - self.found.zones),
            drive.length_mm,
        )


def _through_doors(
    case: _Case, finenesses: Sequence[Fineness]
) -> tuple[list[tuple[floor.Door, Drive]], list[str]]:
    """The drive through each door, the nearest first, and the proofs for doors without one."""
    drives: list[tuple[floor.Door, Drive]] = []
    proofs: list[str] = []
    pose = case.found.pose
    for door in sorted(case.plan.doors, key=lambda door: _away_mm(door, pose)):
        answer = drive_in(reach(case.plan, case.shape, case.radius_mm, door), pose, finenesses)
        if isinstance(answer, Drive):
            drives.append((door, answer))
            if not case.places_crossed(answer):
                break  # a farther door has nothing better to offer
        elif isinstance(answer, Impossible):
            proofs.append(answer.proof)
    return drives, proofs


def _away_mm(door: floor.Door, pose: floor.Pose) -> float:
    middle = (door.start[0] + door.end[0]) / 2, (door.start[1] + door.end[1]) / 2
    return hypot(middle[0] - pose.x_mm, middle[1] - pose.y_mm)


def _round_others(case: _Case, door: floor.Door, best: Drive) -> Drive:
    """The same drive round the places where others stand, if there is room to."""
    if not case.places_crossed(best):
        return best
    kept_clear = frozenset(
        zone.id
        for zone in case.plan.zones.values()
        if zone.kind not in PASSAGES and zone.id not in case.found.zones
    )
    room = reach(case.plan, case.shape, case.radius_mm, door, kept_clear)
    answer = drive_in(room, case.found.pose, (COARSE,))
    return answer if isinstance(answer, Drive) else best


def _way(door: floor.Door, drive: Drive, found: floor.Placement) -> Way:
    how = "in reverse" if drive.enters == "reverse" else "forward"
    changes = drive.direction_changes
    turns = f", {changes} change{'s' * (changes != 1)} of direction" if changes else ""
    return Way(
        verdict="found",
        says=f"through {door.id} {how}{turns}",
        door=door.id,
        minutes=_on_grid(drive.minutes),
        crosses=frozenset(str(zone) for zone in drive.zones_crossed - found.zones),
        direction_changes=changes,
        enters=drive.enters,
    )


def _on_grid(minutes: float) -> int:
    """Minutes rounded up to the planner's grid; no drive takes none."""
    return max(1, ceil(minutes / GRID_MINUTES)) * GRID_MINUTES
