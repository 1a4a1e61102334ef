"""What a DXF file brought, made a drawing of the floor once its layers are told apart.

On the safe side throughout: what is solid never gets smaller, floor never larger. The lower left
corner of the outline becomes [0, 0]; corners are whole millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from shapely.geometry import LineString, MultiPoint, Polygon
from shapely.geometry import Point as Place
from shapely.ops import nearest_points

from bays.floor.names import Names, heading_along, in_reading_order
from bays.transfer.curves import Path, Point, Side, Vertex, chords, straightened, whole_mm
from bays.transfer.dxf import UNITS
from bays.transfer.dxf_entities import ROUGH
from bays.transfer.loops import closed_loops

OBSTACLES: Final = ("column", "lift post", "equipment", "room")
ZONES: Final = ("bay", "rack", "aisle")
MEANINGS: Final = ("ignore", "outline", "door", *ZONES, *OBSTACLES)

# An inner face of walls drawn as two lines leaves more than this of the area inside the outer one.
_INNER_FACE: Final = 0.5
# A door's opening is drawn in the wall or on its face (common practice, no source).
_NEAR_WALL_MM: Final = 400.0
_TOUCH_MM: Final = 0.5


@dataclass(frozen=True)
class Ring:
    """A closed line in millimetres; ``off_mm`` is how far it may be from what it stands for."""

    vertices: Path
    off_mm: float = 0.0

    def polygon(self, side: Side) -> Polygon:
        shape = Polygon(straightened(self.vertices, side))
        if self.off_mm and shape.is_valid:
            off = self.off_mm if side == "outside" else -self.off_mm
            moved = shape.buffer(off, join_style="mitre")
            shape = moved if isinstance(moved, Polygon) and not moved.is_empty else shape
        return shape

    def corners(self, side: Side) -> list[list[int]]:
        return whole_mm([(x, y) for x, y in self.polygon(side).exterior.coords[:-1]], side)


@dataclass
class Made:
    """The drawing, and what a person should know about how it was made."""

    drawing: dict[str, Any]
    notes: list[str] = field(default_factory=list)


def drawing_from(
    imported: Mapping[str, Any], meanings: Mapping[int, str], *, mm_per_unit: float, name: str
) -> Made:
    """A drawing with the layers (by their number) meaning what is said; its faults are not judged.

    ``imported`` is what ``DxfFile.as_values`` wrote. Without an outline's layer, the outline is a
    rectangle round all that is drawn.
    """
    layers = [_Layer.of(values, mm_per_unit) for values in imported["layers"]]
    texts = [(x * mm_per_unit, y * mm_per_unit, words) for x, y, words in imported["texts"]]
    by_meaning: dict[str, list[_Layer]] = {meaning: [] for meaning in MEANINGS}
    for number, layer in enumerate(layers):
        by_meaning[meanings.get(number, "ignore")].append(layer)
    making = _Making(texts)
    making.outline(by_meaning["outline"], layers)
    for kind in OBSTACLES:
        making.obstacles(kind, by_meaning[kind])
    for kind in ZONES:
        making.zones(kind, by_meaning[kind])
    making.doors(by_meaning["door"])
    return making.made(name)


def guessed_units(insunits: int) -> float | None:
    """Millimetres of one unit of the file, or None where the file does not say."""
    return UNITS.get(insunits)


@dataclass
class _Layer:
    """One layer in millimetres: rings, with loose lines closed where they close."""

    name: str
    rings: list[Ring]
    loose: list[Path]
    groups: list[list[Point]]  # the points of each thing: a block, a ring, a line

    @classmethod
    def of(cls, values: Mapping[str, Any], scale: float) -> _Layer:
        rings = [_ring(shape, scale) for shape in values["rings"]]
        paths = [_scaled(shape["at"], scale) for shape in values["paths"]]
        loops, loose = closed_loops(paths)
        for loop in loops:
            rough = [_rough_mm(paths[i]) for i in loop.members if values["paths"][i]["rough"]]
            off_mm = max(rough, default=0.0) if loop.exact else max([_TOUCH_MM, *rough])
            rings.append(Ring(loop.ring, off_mm))
        groups = _groups([*values["rings"], *values["paths"]], scale)
        return cls(values["name"], rings, [paths[i] for i in loose], groups)


def _ring(shape: Mapping[str, Any], scale: float) -> Ring:
    vertices = _scaled(shape["at"], scale)
    return Ring(vertices, _rough_mm(vertices) if shape["rough"] else 0.0)


def _scaled(vertices: Sequence[Sequence[float]], scale: float) -> Path:
    return [(x * scale, y * scale, bulge) for x, y, bulge in vertices]


def _rough_mm(vertices: Sequence[Vertex]) -> float:
    xs, ys = [x for x, _, _ in vertices], [y for _, y, _ in vertices]
    return math.hypot(max(xs) - min(xs), max(ys) - min(ys)) * ROUGH


def _groups(shapes: Iterable[Mapping[str, Any]], scale: float) -> list[list[Point]]:
    blocks: dict[int, list[Point]] = {}
    found: list[list[Point]] = []
    for shape in shapes:
        points = [(x * scale, y * scale) for x, y, _ in shape["at"]]
        if shape["block"] is None:
            found.append(points)
        else:
            blocks.setdefault(shape["block"], []).extend(points)
    return [*found, *blocks.values()]


class _Making:
    """Gathers the drawing in the file's own place, and moves it to the lower left at the end."""

    def __init__(self, texts: Sequence[tuple[float, float, str]]) -> None:
        self.names = Names(texts)
        self.notes: list[str] = []
        self.shell: list[list[int]] = []
        self.content: dict[str, list[Any]] = {
            "holes": [], "obstacles": [], "doors": [], "zones": [], "bays": [],
        }  # fmt: skip

    def outline(self, given: Sequence[_Layer], every: Sequence[_Layer]) -> None:
        rings = [ring for layer in given for ring in layer.rings if _area(ring)]
        for layer in given:
            if layer.loose:
                self.notes.append(
                    f"{_counted(len(layer.loose), 'line')} on layer {layer.name} close no shape "
                    "and are left out."
                )
        if not rings:
            self._frame(every)
            return
        rings.sort(key=_area, reverse=True)
        shell = rings[0]
        inner = [
            r for r in rings[1:] if _within(r, shell) and _area(r) > _INNER_FACE * _area(shell)
        ]
        if inner:
            shell = inner[-1]
            self.notes.append("The walls are drawn as two lines: the inner one is the outline.")
        self.shell = shell.corners("inside")
        holes = [r for r in rings if r is not shell and _within(r, shell)]
        self.content["holes"] = [ring.corners("outside") for ring in holes]
        left = len(rings) - 1 - len(holes) - len(inner)
        if left > 0:
            self.notes.append(f"{_counted(left, 'shape')} outside the outline left out.")

    def _frame(self, every: Sequence[_Layer]) -> None:
        points = [point for layer in every for group in layer.groups for point in group]
        xs, ys = [x for x, _ in points] or [0.0], [y for _, y in points] or [0.0]
        low, high = (math.ceil(min(xs)), math.ceil(min(ys))), (int(max(xs)), int(max(ys)))
        self.shell = [[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]]
        self.notes.append(
            "No layer has a closed outline: a rectangle round everything stands in for it. "
            "Draw the walls before you publish."
        )

    def obstacles(self, kind: str, layers: Sequence[_Layer]) -> None:
        rings = _outermost([ring for layer in layers for ring in layer.rings if _area(ring)])
        shapes = [ring.corners("outside") for ring in rings]
        for shape in in_reading_order(shapes):
            found = {"id": self.names.obstacle(kind, shape), "kind": kind, "polygon": shape}
            self.content["obstacles"].append(found)
        self._tell_loose(kind, layers)

    def zones(self, kind: str, layers: Sequence[_Layer]) -> None:
        rings = [ring for layer in layers for ring in layer.rings if _area(ring)]
        shapes = [ring.corners("inside") for ring in rings]
        for shape in in_reading_order(shapes):
            zone_id, called = self.names.zone(kind, shape)
            self.content["zones"].append(
                {"id": zone_id, "name": called, "kind": kind, "polygon": shape}
            )
            if kind != "aisle":
                self.content["bays"].append(_bay(zone_id, called, shape))
        self._tell_loose(kind, layers)

    def doors(self, layers: Sequence[_Layer]) -> None:
        walls = _boundary(self.shell, self.content["holes"])
        for layer in layers:
            for points in layer.groups:
                opening = _opening(points, walls)
                if opening is not None:
                    number = len(self.content["doors"]) + 1
                    start, end = opening
                    self.content["doors"].append({"id": f"D{number}", "from": start, "to": end})

    def _tell_loose(self, kind: str, layers: Sequence[_Layer]) -> None:
        for layer in layers:
            if layer.loose:
                lines = _counted(len(layer.loose), "line")
                says = f"{lines} on layer {layer.name} close no {kind} and are left out."
                self.notes.append(says)

    def made(self, name: str) -> Made:
        """The drawing with the outline's lower left corner at [0, 0]."""
        left = min((x for x, _ in self.shell), default=0)
        low = min((y for _, y in self.shell), default=0)
        drawing = {"name": name, "outline": self.shell, **self.content}
        if not drawing["holes"]:
            del drawing["holes"]
        return Made(_moved(drawing, -left, -low), self.notes)


def _moved(value: Any, dx: int, dy: int) -> Any:
    """The same drawing elsewhere: every pair of whole numbers in it is a point."""
    if isinstance(value, dict):
        return {key: _moved(entry, dx, dy) for key, entry in value.items()}
    if isinstance(value, list):
        if len(value) == 2 and all(isinstance(entry, int) for entry in value):
            return [value[0] + dx, value[1] + dy]
        return [_moved(entry, dx, dy) for entry in value]
    return value


def _bay(zone_id: str, called: str, shape: Sequence[Sequence[int]]) -> dict[str, Any]:
    polygon = Polygon(shape)
    middle = polygon.centroid if polygon.is_valid else Place(shape[0])
    if not polygon.is_valid or not polygon.covers(middle):
        middle = polygon.representative_point() if polygon.is_valid else middle
    return {
        "id": zone_id,
        "name": called,
        "zones": [zone_id],
        "centre": [round(middle.x), round(middle.y)],
        "heading_deg": heading_along(shape),
    }


def _area(ring: Ring) -> float:
    return float(abs(Polygon(straightened(ring.vertices, "inside")).area))


def _within(inner: Ring, outer: Ring) -> bool:
    a, b = inner.polygon("inside"), outer.polygon("outside")
    return bool(a.is_valid and b.is_valid and b.covers(a))


def _outermost(rings: Sequence[Ring]) -> list[Ring]:
    """A ring inside another adds nothing solid: the hatching of a column, the bolts of a post."""
    ordered = sorted(rings, key=_area, reverse=True)
    kept: list[Ring] = []
    for ring in ordered:
        if not any(_within(ring, other) for other in kept):
            kept.append(ring)
    return kept


def _boundary(shell: Sequence[Sequence[int]], holes: Sequence[Any]) -> LineString | None:
    if len(shell) < 3:
        return None
    return Polygon(shell, [hole for hole in holes if len(hole) > 2]).boundary


def _opening(points: Sequence[Point], walls: Any) -> tuple[list[int], list[int]] | None:
    """The two ends of a door: of its points near a wall, the two farthest apart, on the wall.

    A door drawn with its leaf and swing has its hinge and the end of its swing there.
    """
    near = []
    if walls is not None:
        for point in points:
            if walls.distance(Place(point)) <= _NEAR_WALL_MM:
                on_wall, _ = nearest_points(walls, Place(point))
                near.append((on_wall.x, on_wall.y))
    found = near if len(near) > 1 else list(points)
    hull = MultiPoint(found).convex_hull
    corners = chords([(x, y, 0.0) for x, y in getattr(hull, "exterior", hull).coords])
    pairs = ((math.dist(a, b), a, b) for a in corners for b in corners)
    width, start, end = max(pairs, default=(0.0, (0.0, 0.0), (0.0, 0.0)))
    if width < 1:
        return None
    first, second = sorted([[round(v) for v in start], [round(v) for v in end]])
    return first, second


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"
