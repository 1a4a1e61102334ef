"""Reads a drawing into a :class:`FloorPlan`, naming every fault with its path."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.validation import explain_validity

from bays.floor.faults import LONGEST_ID, FaultList, Mark, PlanFaults
from bays.floor.marks import area_marks, crossing_marks, ring_mark
from bays.floor.plan import ZONE_KINDS, Bay, Door, FloorPlan, Obstacle, Zone, ZoneId

MOST_POINTS = 500
MOST_ENTRIES = 400
MOST_ZONES = 120
# Corners are whole millimetres: edges meant to coincide along a slanted line may cross by a hair.
SHARED_AREA_MM2 = 1.0
# A door's ends are whole millimetres and can only lie this near a slanted wall.
DOOR_OFF_WALL_MM = 2.0
# No road vehicle with its mirrors passes a narrower opening (common practice, no source).
NARROWEST_DOOR_MM = 1800
LOWEST_DOOR_MM = 500


def read_plan(content: Mapping[str, Any]) -> FloorPlan:
    """See :meth:`FloorPlan.from_content`."""
    faults = FaultList()
    top = faults.keys(
        content,
        "",
        needed=("name", "outline", "obstacles", "doors", "zones", "bays"),
        may=("holes",),
    )
    if top is None:
        raise PlanFaults(faults.errors)
    name = faults.text(top["name"], "name") if "name" in top else None
    outline = _read_outline(faults, top)
    obstacles = _read_obstacles(faults, top.get("obstacles", []), outline)
    doors = _read_doors(faults, top.get("doors", []), outline)
    zones = _read_zones(faults, top.get("zones", []), outline)
    bays = _read_bays(faults, top.get("bays", []), zones)
    if faults.errors or outline is None or name is None:
        raise PlanFaults(faults.errors)
    for rest in _remainder(outline, zones):
        zones[rest.id] = rest
    return FloorPlan(
        name=name,
        outline=outline,
        obstacles=tuple(obstacles),
        doors=tuple(doors),
        zones=MappingProxyType(zones),
        bays=tuple(bays),
        digest=_digest(content),
        content=MappingProxyType(dict(content)),
    )


def _digest(content: Mapping[str, Any]) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _read_ring(faults: FaultList, value: object, path: str) -> Polygon | None:
    rows = faults.rows(value, path, at_most=MOST_POINTS)
    if not rows:
        if value in ([], ()):
            faults.note(path, "has no points", "at least 3 points")
        return None
    points = [faults.point(row, f"{path}[{i}]") for i, row in enumerate(rows)]
    corners = [point for point in points if point is not None]
    if len(corners) < len(points):
        return None
    if len(corners) > 1 and corners[0] == corners[-1]:
        corners.pop()  # a ring may be given closed
    if len(corners) < 3:
        faults.note(path, f"has {len(corners)} points", "at least 3 points")
        return None
    for i, corner in enumerate(corners):
        if corner == corners[i - 1]:
            faults.note(f"{path}[{i}]", "repeats the point before it", marks=[(corner,)])
            return None
    return _valid_polygon(faults, corners, path)


def _valid_polygon(faults: FaultList, corners: list[tuple[int, int]], path: str) -> Polygon | None:
    polygon = Polygon(corners)
    if polygon.convex_hull.area < SHARED_AREA_MM2:
        faults.note(path, "encloses no floor", "corners that are not on one line", [tuple(corners)])
        return None
    if not polygon.is_valid:
        where = explain_validity(polygon).partition("[")[2].rstrip("]").replace(" ", ", ")
        faults.note(
            path,
            f"crosses or touches itself near ({where})",
            "a line that meets itself nowhere",
            crossing_marks(corners),
        )
        return None
    return shapely.normalize(polygon)


def _read_outline(faults: FaultList, top: Mapping[str, Any]) -> Polygon | None:
    shell = _read_ring(faults, top["outline"], "outline") if "outline" in top else None
    rows = faults.rows(top.get("holes", []), "holes", at_most=MOST_ENTRIES)
    holes: list[tuple[int, Polygon]] = []
    for i, row in enumerate(rows):
        hole = _read_ring(faults, row, f"holes[{i}]")
        if hole is None:
            continue
        if shell is not None and not shell.contains_properly(hole):
            out = area_marks(hole.difference(shell)) or (ring_mark(hole),)
            faults.note(f"holes[{i}]", "is not inside the outline", "inside, touching no wall", out)
        for j, other in holes:
            if hole.intersects(other):
                both = area_marks(hole.intersection(other)) or (ring_mark(hole),)
                faults.note(f"holes[{i}]", f"meets holes[{j}]", "holes apart from each other", both)
        holes.append((i, hole))
    if shell is None or faults.errors:
        return shell
    return Polygon(shell.exterior, [hole.exterior for _, hole in holes])


def _read_id(faults: FaultList, row: Mapping[str, Any], path: str, seen: dict[str, str]) -> str:
    found = faults.text(row["id"], f"{path}.id", at_most=LONGEST_ID) if "id" in row else None
    if found is None:
        return ""
    if found in seen:
        faults.note(f"{path}.id", f"is {found!r}, as is {seen[found]}", "an id used only once")
    seen.setdefault(found, path)
    return found


def _read_obstacles(faults: FaultList, value: object, outline: Polygon | None) -> list[Obstacle]:
    found: list[Obstacle] = []
    seen: dict[str, str] = {}
    for i, entry in enumerate(faults.rows(value, "obstacles", at_most=MOST_ENTRIES)):
        path = f"obstacles[{i}]"
        row = faults.keys(entry, path, needed=("id", "kind", "polygon"))
        if row is None:
            continue
        obstacle_id = _read_id(faults, row, path, seen)
        kind = faults.text(row["kind"], f"{path}.kind") if "kind" in row else None
        shape = _read_ring(faults, row["polygon"], f"{path}.polygon") if "polygon" in row else None
        if shape is None or kind is None:
            continue
        if outline is not None and not shape.intersects(outline):
            where = [ring_mark(shape)]
            faults.note(f"{path}.polygon", "is not on the floor", "inside the outline", where)
        found.append(Obstacle(obstacle_id, kind, shape))
    return found


def _read_doors(faults: FaultList, value: object, outline: Polygon | None) -> list[Door]:
    found: list[Door] = []
    seen: dict[str, str] = {}
    for i, entry in enumerate(faults.rows(value, "doors", at_most=MOST_ENTRIES)):
        path = f"doors[{i}]"
        row = faults.keys(entry, path, needed=("id", "from", "to"), may=("height_mm",))
        if row is None:
            continue
        door_id = _read_id(faults, row, path, seen)
        start = faults.point(row["from"], f"{path}.from") if "from" in row else None
        end = faults.point(row["to"], f"{path}.to") if "to" in row else None
        height = row.get("height_mm")
        if height is not None:
            height = faults.whole_mm(height, f"{path}.height_mm", lowest=LOWEST_DOOR_MM)
        if start is None or end is None:
            continue
        _check_door(faults, path, LineString([start, end]), outline)
        found.append(Door(door_id, start, end, height))
    return found


def _check_door(faults: FaultList, path: str, line: LineString, outline: Polygon | None) -> None:
    across: Mark = tuple((float(x), float(y)) for x, y in line.coords)
    if line.length < NARROWEST_DOOR_MM:
        says = f"is {line.length:.0f} mm wide, and no vehicle passes it"
        faults.note(
            path, says, f"at least {NARROWEST_DOOR_MM} mm; doors for people are left out", [across]
        )
    elif outline is not None:
        walls = outline.boundary
        for end, at in (("from", across[0]), ("to", across[1])):
            off = walls.distance(Point(at))
            if off > DOOR_OFF_WALL_MM:
                says = f"is {off:.0f} mm off the nearest wall"
                faults.note(f"{path}.{end}", says, "on a wall", [(at,), across])
                return
        if line.difference(walls.buffer(DOOR_OFF_WALL_MM + 0.1)).length > 1:
            faults.note(path, "leaves the wall between its ends", "along one wall", [across])


def _read_zones(faults: FaultList, value: object, outline: Polygon | None) -> dict[ZoneId, Zone]:
    found: dict[ZoneId, Zone] = {}
    seen: dict[str, str] = {}
    drawn: list[tuple[str, Zone]] = []
    for i, entry in enumerate(faults.rows(value, "zones", at_most=MOST_ZONES)):
        path = f"zones[{i}]"
        row = faults.keys(entry, path, needed=("id", "name", "kind", "polygon"))
        if row is None:
            continue
        zone_id = ZoneId(_read_id(faults, row, path, seen))
        name = faults.text(row["name"], f"{path}.name") if "name" in row else None
        kind = faults.choice(row["kind"], f"{path}.kind", ZONE_KINDS) if "kind" in row else None
        shape = _read_ring(faults, row["polygon"], f"{path}.polygon") if "polygon" in row else None
        if shape is not None:
            zone = Zone(zone_id, name or "", kind or "", shape)
            _check_zone(faults, path, zone, outline, drawn)
            drawn.append((path, zone))
            found.setdefault(zone_id, zone)
        elif zone_id:
            # kept by name, so that a bay naming it is not called wrong as well
            found.setdefault(zone_id, Zone(zone_id, "", "", Polygon()))
    return found


def _check_zone(
    faults: FaultList,
    path: str,
    zone: Zone,
    outline: Polygon | None,
    drawn: list[tuple[str, Zone]],
) -> None:
    if outline is not None:
        outside = zone.polygon.difference(outline)
        if outside.area > SHARED_AREA_MM2:
            faults.note(
                f"{path}.polygon",
                f"reaches outside the floor by {outside.area / 1e6:.3g} m²",
                "wholly on the floor",
                area_marks(outside, 0.0),
            )
    for other_path, other in drawn:
        shared = zone.polygon.intersection(other.polygon)
        if shared.area > SHARED_AREA_MM2:
            faults.note(
                f"{path}.polygon",
                f"overlaps {other_path} ({other.id}) by {shared.area / 1e6:.3g} m²",
                "zones that at most touch",
                area_marks(shared, 0.0),
            )


def _read_bays(faults: FaultList, value: object, zones: Mapping[ZoneId, Zone]) -> list[Bay]:
    found: list[Bay] = []
    seen: dict[str, str] = {}
    for i, entry in enumerate(faults.rows(value, "bays", at_most=MOST_ENTRIES)):
        path = f"bays[{i}]"
        row = faults.keys(entry, path, needed=("id", "name", "zones", "centre", "heading_deg"))
        if row is None:
            continue
        bay_id = _read_id(faults, row, path, seen)
        name = faults.text(row["name"], f"{path}.name") if "name" in row else None
        centre = faults.point(row["centre"], f"{path}.centre") if "centre" in row else None
        heading = None
        if "heading_deg" in row:
            heading = faults.number(
                row["heading_deg"], f"{path}.heading_deg", lowest=-360, highest=360
            )
        members: tuple[ZoneId, ...] = ()
        if "zones" in row:
            members = _read_members(faults, row["zones"], f"{path}.zones", zones)
        if not members or centre is None or heading is None:
            continue
        area = shapely.union_all([zones[zone_id].polygon for zone_id in members])
        if not area.is_empty and not area.covers(Point(centre)):
            where = [((float(centre[0]), float(centre[1])),), *area_marks(area)]
            faults.note(f"{path}.centre", "is outside the bay's zones", "a point in the bay", where)
        found.append(Bay(bay_id, name or "", members, centre, heading, area))
    return found


def _read_members(
    faults: FaultList, value: object, path: str, zones: Mapping[ZoneId, Zone]
) -> tuple[ZoneId, ...]:
    rows = faults.rows(value, path, at_most=MOST_ZONES)
    if value in ([], ()):
        faults.note(path, "names no zone", "at least one zone id")
    members: list[ZoneId] = []
    for i, entry in enumerate(rows):
        named = faults.text(entry, f"{path}[{i}]")
        if named is None:
            continue
        zone_id = ZoneId(named)
        if zone_id not in zones:
            faults.note(f"{path}[{i}]", f"names {named!r}, which is no zone", "the id of a zone")
        elif zone_id in members:
            faults.note(f"{path}[{i}]", f"names {named!r} again", "each zone once")
        else:
            members.append(zone_id)
    return tuple(members)


def _remainder(outline: Polygon, zones: Mapping[ZoneId, Zone]) -> list[Zone]:
    """One zone for each connected piece of floor that the drawn zones leave uncovered.

    Hairlines of at most 1 mm² are left to nobody: no vehicle needs them alone.
    """
    left = outline.difference(shapely.union_all([zone.polygon for zone in zones.values()]))
    pieces = [
        piece
        for piece in shapely.get_parts(left)
        if isinstance(piece, Polygon) and piece.area > SHARED_AREA_MM2
    ]
    pieces.sort(key=lambda piece: (-piece.area, piece.bounds))
    rest: list[Zone] = []
    number = 0
    for piece in pieces:
        number += 1
        while f"rest-{number}" in zones:
            number += 1
        name = "Open floor" if len(pieces) == 1 else f"Open floor {number}"
        rest.append(Zone(ZoneId(f"rest-{number}"), name, "rest", piece))
    return rest
