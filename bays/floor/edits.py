"""Changes to a drawing that is still being drawn, and may have faults. Pure; whole millimetres.

A drawing here has the shape that ``FloorPlan.from_content`` reads, with every list present; whether
it makes sense is judged there. A thing in it is named by where it is: ``outline``, ``holes.0``,
``obstacles.2``, ``doors.1``, ``zones.3``, ``bays.5``.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from shapely.geometry import Point as Place
from shapely.geometry import Polygon

from bays.floor.drawing import MOST_ENTRIES, MOST_POINTS
from bays.floor.faults import FARTHEST_MM, FaultList, PlanFaults
from bays.floor.names import Names, heading_along
from shopcal.errors import NotFound

Drawing = dict[str, Any]
Ring = list[list[int]]

LISTS: Final = ("holes", "obstacles", "doors", "zones", "bays")
# Kinds that a vehicle may stand in; the others are driven through or kept free.
STANDING: Final = ("bay", "rack")
OBSTACLE_KINDS: Final = ("column", "lift post", "equipment", "room")


@dataclass(frozen=True)
class Box:
    """A rectangle by its first corner, its sides, and its turn about that corner."""

    x: int
    y: int
    width: int
    depth: int
    turn_deg: float = 0.0

    def ring(self) -> Ring:
        turn = math.radians(self.turn_deg)
        ahead, left = (math.cos(turn), math.sin(turn)), (-math.sin(turn), math.cos(turn))
        sides = ((0, 0), (self.width, 0), (self.width, self.depth), (0, self.depth))
        return [
            [
                round(self.x + along * ahead[0] + across * left[0]),
                round(self.y + along * ahead[1] + across * left[1]),
            ]
            for along, across in sides
        ]


# What a thing is when nobody has drawn its size yet (common practice, no source).
USUAL: Final = {
    "outline": Box(0, 0, 20_000, 12_000),
    "hole": Box(0, 0, 2_000, 2_000),
    "column": Box(0, 0, 300, 300),
    "lift post": Box(0, 0, 400, 600),
    "equipment": Box(0, 0, 1_200, 600),
    "room": Box(0, 0, 4_000, 3_000),
    "bay": Box(0, 0, 3_600, 7_000),
    "rack": Box(0, 0, 3_600, 7_000),
    "aisle": Box(0, 0, 8_000, 3_600),
    "rest": Box(0, 0, 3_000, 3_000),
}
USUAL_DOOR_MM: Final = 3_000


def blank(name: str, width_mm: int, depth_mm: int) -> Drawing:
    """An empty rectangular hall."""
    lists: Drawing = {key: [] for key in LISTS}
    return {"name": name, "outline": Box(0, 0, width_mm, depth_mm).ring(), **lists}


def as_drawing(value: object) -> Drawing:
    """A drawing with every list present and every corner a pair of whole millimetres.

    Raises:
        PlanFaults: what is given has another shape, so that it could not even be drawn.
    """
    faults = FaultList()
    top = faults.keys(value, "", needed=(), may=("name", "outline", *LISTS)) or {}
    name = top.get("name", "")
    found: Drawing = {
        "name": name if isinstance(name, str) else "",
        "outline": _ring(faults, top.get("outline", []), "outline"),
    }
    for key in LISTS:
        rows = faults.rows(top.get(key, []), key, at_most=MOST_ENTRIES)
        found[key] = [_row(faults, key, row, f"{key}[{i}]") for i, row in enumerate(rows)]
    if faults.errors:
        raise PlanFaults(faults.errors)
    return found


def for_publishing(drawing: Mapping[str, Any]) -> Drawing:
    """The same without an empty list of holes, which most plans leave out."""
    return {key: value for key, value in drawing.items() if key != "holes" or value}


def add(drawing: Drawing, kind: str, ring: Ring) -> tuple[Drawing, str]:
    """A new thing of this kind with a name of its own; answers where it is."""
    changed, names = copy.deepcopy(drawing), Names.of(drawing)
    if kind == "outline":
        changed["outline"] = ring
        return changed, "outline"
    if kind == "hole":
        changed["holes"].append(ring)
        return changed, f"holes.{len(changed['holes']) - 1}"
    if kind in OBSTACLE_KINDS:
        row = {"id": names.obstacle(kind, ring), "kind": kind, "polygon": ring}
        changed["obstacles"].append(row)
        return changed, f"obstacles.{len(changed['obstacles']) - 1}"
    zone_id, called = names.zone(kind, ring)
    changed["zones"].append({"id": zone_id, "name": called, "kind": kind, "polygon": ring})
    if kind in STANDING:
        changed["bays"].append(bay_of(zone_id, called, ring, _free_bay_id(changed, zone_id)))
    return changed, f"zones.{len(changed['zones']) - 1}"


def add_door(drawing: Drawing, start: Sequence[int], end: Sequence[int]) -> tuple[Drawing, str]:
    changed = copy.deepcopy(drawing)
    taken = {str(door["id"]).lower() for door in changed["doors"]}
    number = next(n for n in range(1, len(taken) + 2) if f"d{n}" not in taken)
    changed["doors"].append({"id": f"D{number}", "from": list(start), "to": list(end)})
    return changed, f"doors.{len(changed['doors']) - 1}"


def add_joined_bay(drawing: Drawing, zone_ids: Sequence[str]) -> tuple[Drawing, str]:
    """Zones that are also used as one bay."""
    changed = copy.deepcopy(drawing)
    members = [zone for zone in changed["zones"] if zone["id"] in zone_ids]
    rings = [zone["polygon"] for zone in members]
    bay_id = _free_bay_id(changed, "+".join(zone["id"] for zone in members)[:70] or "joined")
    row = {
        "id": bay_id,
        "name": " + ".join(zone["name"] for zone in members)[:100] or "Joined bay",
        "zones": [zone["id"] for zone in members],
        "centre": _middle(rings),
        "heading_deg": heading_along(rings[0]) if rings else 90.0,
    }
    changed["bays"].append(row)
    return changed, f"bays.{len(changed['bays']) - 1}"


def remove(drawing: Drawing, ref: str) -> Drawing:
    """Without this thing; a bay that loses its last zone goes with it."""
    changed = copy.deepcopy(drawing)
    if ref == "outline":
        changed["outline"] = []
        return changed
    key, at = place_of(changed, ref)
    gone = changed[key].pop(at)
    if key == "zones" and gone["id"] not in {zone["id"] for zone in changed["zones"]}:
        for bay in changed["bays"]:
            bay["zones"] = [zone_id for zone_id in bay["zones"] if zone_id != gone["id"]]
        changed["bays"] = [bay for bay in changed["bays"] if bay["zones"]]
    return changed


def own_bay(drawing: Drawing, zone_id: str) -> int | None:
    """Where the bay is that is just this zone."""
    return next((i for i, bay in enumerate(drawing["bays"]) if bay["zones"] == [zone_id]), None)


def bay_of(zone_id: str, name: str, ring: Ring, bay_id: str | None = None) -> dict[str, Any]:
    return {
        "id": bay_id or zone_id,
        "name": name,
        "zones": [zone_id],
        "centre": _middle([ring]),
        "heading_deg": heading_along(ring),
    }


def settled(before: Mapping[str, Any], after: Drawing) -> Drawing:
    """The same with the middles of bays moved along with their zones.

    Where all zones of a bay moved by the same way the middle moves with them; where they changed
    otherwise and the middle is outside, it is put inside again.
    """
    old_rings = {zone["id"]: zone["polygon"] for zone in before.get("zones", [])}
    old_bays = {bay["id"]: bay for bay in before.get("bays", [])}
    rings = {zone["id"]: zone["polygon"] for zone in after["zones"]}
    for bay in after["bays"]:
        members = [zone_id for zone_id in bay["zones"] if zone_id in rings]
        if all(old_rings.get(zone_id) == rings[zone_id] for zone_id in members):
            continue
        old = old_bays.get(bay["id"])
        ways = {_way(old_rings.get(zone_id, []), rings[zone_id]) for zone_id in members}
        way = ways.pop() if len(ways) == 1 else None
        if old is not None and way is not None and old["zones"] == bay["zones"]:
            bay["centre"] = [old["centre"][0] + way[0], old["centre"][1] + way[1]]
        elif not _holds([rings[zone_id] for zone_id in members], bay["centre"]):
            bay["centre"] = _middle([rings[zone_id] for zone_id in members])
    return after


def place_of(drawing: Mapping[str, Any], ref: str) -> tuple[str, int]:
    """List and number of a thing.

    Raises:
        NotFound: there is no such thing in the drawing.
    """
    key, _, number = ref.partition(".")
    if key in LISTS and number.isdecimal() and int(number) < len(drawing[key]):
        return key, int(number)
    raise NotFound("no_such_thing", "This is not in the drawing any more.")


def as_box(ring: Sequence[Sequence[int]]) -> Box | None:
    """The rectangle that a ring is, to 3 mm; None where it is another shape."""
    if len(ring) != 4:
        return None
    (x, y), (bx, by), _, (dx, dy) = (corner[:2] for corner in ring)
    width, depth = math.hypot(bx - x, by - y), math.hypot(dx - x, dy - y)
    # whole millimetres tell the turn of the longer side better
    turn = math.degrees(
        math.atan2(by - y, bx - x) if width >= depth else math.atan2(x - dx, dy - y)
    )
    box = Box(x, y, round(width), round(depth), round(turn, 3))
    if (bx - x) * (dy - y) - (by - y) * (dx - x) < 0:  # it runs clockwise
        return as_box([ring[0], ring[3], ring[2], ring[1]])
    near = zip(box.ring(), ring, strict=True)
    return box if all(math.dist(made, given) < 3 for made, given in near) else None


def fitted(ring: Sequence[Sequence[int]], box: Box) -> Ring:
    """The ring stretched so that it just fills the box, then turned about the box's corner."""
    xs, ys = [corner[0] for corner in ring], [corner[1] for corner in ring]
    wide, deep = max(xs) - min(xs) or 1, max(ys) - min(ys) or 1
    turn = math.radians(box.turn_deg)
    found = []
    for cx, cy in ring:
        along = (cx - min(xs)) / wide * box.width
        across = (cy - min(ys)) / deep * box.depth
        x = box.x + along * math.cos(turn) - across * math.sin(turn)
        y = box.y + along * math.sin(turn) + across * math.cos(turn)
        found.append([round(x), round(y)])
    return found


def quarter_turned(ring: Sequence[Sequence[int]]) -> Ring:
    """Turned to the left by 90 degrees about the middle of its bounds, to the whole millimetre."""
    xs, ys = [corner[0] for corner in ring], [corner[1] for corner in ring]
    mx, my = (min(xs) + max(xs)) // 2, (min(ys) + max(ys)) // 2
    return [[mx - (y - my), my + (x - mx)] for x, y in ring]


def _way(old: Ring, new: Ring) -> tuple[int, int] | None:
    """How far a ring moved, or None where it changed otherwise."""
    if len(old) != len(new) or not old:
        return None
    ways = {(b[0] - a[0], b[1] - a[1]) for a, b in zip(old, new, strict=True)}
    return ways.pop() if len(ways) == 1 else None


def _middle(rings: Sequence[Ring]) -> list[int]:
    """The middle of all the rings where that is on one of them, else a place inside the first."""
    corners = [corner for ring in rings for corner in ring]
    if not corners:
        return [0, 0]
    xs, ys = [corner[0] for corner in corners], [corner[1] for corner in corners]
    middle = [(min(xs) + max(xs)) // 2, (min(ys) + max(ys)) // 2]
    if _holds(rings, middle):
        return middle
    for ring in rings:
        shape = Polygon(ring) if len(ring) > 2 else Polygon()
        if shape.is_valid and not shape.is_empty:
            inside = shape.representative_point()
            return [round(inside.x), round(inside.y)]
    return middle


def _holds(rings: Sequence[Ring], point: Sequence[int]) -> bool:
    shapes = [Polygon(ring) for ring in rings if len(ring) > 2]
    return any(shape.is_valid and shape.covers(Place(point)) for shape in shapes)


def _free_bay_id(drawing: Drawing, wanted: str) -> str:
    taken = {bay["id"] for bay in drawing["bays"]}
    if wanted not in taken:
        return wanted
    return next(f"{wanted}-{n}" for n in range(2, len(taken) + 3) if f"{wanted}-{n}" not in taken)


def _ring(faults: FaultList, value: object, path: str) -> Ring:
    rows = faults.rows(value, path, at_most=MOST_POINTS)
    return [_point(faults, row, f"{path}[{i}]") for i, row in enumerate(rows)]


def _point(faults: FaultList, value: object, path: str) -> list[int]:
    if not isinstance(value, list | tuple) or len(value) != 2:
        faults.note(path, "is no point", "[x, y] in millimetres")
        return [0, 0]
    found = [faults.number(v, path, lowest=-FARTHEST_MM, highest=FARTHEST_MM) for v in value]
    return [round(v) if v is not None else 0 for v in found]


def _text(faults: FaultList, row: Mapping[str, Any], key: str, path: str) -> str:
    value = row.get(key, "")
    if not isinstance(value, str):
        faults.note(f"{path}.{key}", "is no text", "a text")
        return ""
    return value


def _row(faults: FaultList, key: str, value: object, path: str) -> Any:
    if key == "holes":
        return _ring(faults, value, path)
    may = {
        "obstacles": ("id", "kind", "polygon"),
        "doors": ("id", "from", "to", "height_mm"),
        "zones": ("id", "name", "kind", "polygon"),
        "bays": ("id", "name", "zones", "centre", "heading_deg"),
    }[key]
    row = faults.keys(value, path, needed=(), may=may) or {}
    found: dict[str, Any] = {"id": _text(faults, row, "id", path)}
    if "name" in may:
        found["name"] = _text(faults, row, "name", path)
    if "kind" in may:
        found["kind"] = _text(faults, row, "kind", path)
    if "polygon" in may:
        found["polygon"] = _ring(faults, row.get("polygon", []), f"{path}.polygon")
    if key == "doors":
        found["from"] = _point(faults, row.get("from", [0, 0]), f"{path}.from")
        found["to"] = _point(faults, row.get("to", [0, 0]), f"{path}.to")
        if row.get("height_mm") is not None:
            height = faults.number(row["height_mm"], f"{path}.height_mm", lowest=0, highest=1e5)
            found["height_mm"] = round(height or 0)
    if key == "bays":
        zones = faults.rows(row.get("zones", []), f"{path}.zones", at_most=MOST_ENTRIES)
        found["zones"] = [str(zone_id) for zone_id in zones]
        found["centre"] = _point(faults, row.get("centre", [0, 0]), f"{path}.centre")
        heading = faults.number(row.get("heading_deg", 0), f"{path}.heading_deg")
        # 270 stays 270, not 270.0: a drawing that says the same must be the same, letter by letter
        found["heading_deg"] = int(heading) if heading == round(heading or 0) else heading or 0
    return found
