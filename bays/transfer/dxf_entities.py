"""One entity of a DXF file as vertices with bulges, seen from above."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from ezdxf.entities.arc import Arc
from ezdxf.entities.attrib import AttDef, Attrib
from ezdxf.entities.circle import Circle
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.ellipse import Ellipse
from ezdxf.entities.line import Line
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.mtext import MText
from ezdxf.entities.polyline import Polyline
from ezdxf.entities.solid import Solid
from ezdxf.entities.spline import Spline
from ezdxf.entities.text import Text

from bays.transfer.curves import Vertex

LONGEST_TEXT: Final = 60
# Ellipses and splines come as straight lines, this far off the curve as a part of its size.
ROUGH: Final = 0.0005
_SAME: Final = 1e-9


@dataclass(frozen=True)
class Shape:
    """Vertices in file units; a closed one does not repeat its first.

    A ``rough`` one stands for a curve that is no arc, and is off it by ``ROUGH`` of its size.
    """

    vertices: tuple[Vertex, ...]
    closed: bool
    counted_as: str  # closed, lines, circles
    block: int | None = None
    rough: bool = False

    def as_values(self) -> dict[str, Any]:
        at = [list(vertex) for vertex in self.vertices]
        return {"at": at, "block": self.block, "rough": self.rough}


def shape_of(entity: DXFEntity, block: int | None) -> Shape | None:
    """The entity seen from above, or None where it is nothing that stands on a floor.

    Things drawn on a tilted plane are left out; those on a plane turned over are turned back.
    """
    turned = _turned_over(entity)
    if turned is None:
        return None
    if isinstance(entity, Circle) and not isinstance(entity, Arc):
        vertices, closed, kind = _circle(entity), True, "circles"
    elif isinstance(entity, Arc):
        vertices, closed, kind = _arc(entity), False, "lines"
    elif isinstance(entity, Line):
        ends = (entity.dxf.start, entity.dxf.end)
        return _made([(p.x, p.y, 0.0) for p in ends], False, "lines", block)
    elif isinstance(entity, LWPolyline):
        vertices = [(x, y, b) for x, y, b in entity.get_points("xyb")]
        closed, kind = bool(entity.closed), "closed"
    elif isinstance(entity, Polyline):
        return _polyline(entity, turned, block)
    elif isinstance(entity, Solid):
        order = (0, 1, 3, 2)  # the corners of a solid run crosswise
        corners = [entity.dxf.get(f"vtx{i}") for i in order if entity.dxf.hasattr(f"vtx{i}")]
        vertices, closed, kind = [(p.x, p.y, 0.0) for p in corners], True, "closed"
    elif isinstance(entity, Ellipse | Spline):
        return _curve(entity, block)
    else:
        return None
    return _made(_seen_from_above(vertices, turned), closed, kind, block)


def place_of_text(entity: DXFEntity) -> tuple[float, float, str] | None:
    """Where a text stands and what it says on one line; None where it is no text."""
    if isinstance(entity, MText):
        place, words = entity.dxf.insert, str(entity.plain_text())
    elif isinstance(entity, Text | Attrib) and not isinstance(entity, AttDef):
        aligned = entity.dxf.get("halign", 0) or entity.dxf.get("valign", 0)
        place = entity.dxf.get("align_point") if aligned else None
        place, words = place or entity.dxf.insert, entity.plain_text()
    else:
        return None
    x, y = float(place[0]), float(place[1])
    if not (math.isfinite(x) and math.isfinite(y)):
        return (0.0, 0.0, "")
    return x, y, " ".join(words.split())[:LONGEST_TEXT]


def _turned_over(entity: DXFEntity) -> bool | None:
    """Whether the plane it is drawn on is seen from below; None where it is tilted."""
    if not entity.dxf.is_supported("extrusion"):
        return False
    up = entity.dxf.get("extrusion", (0, 0, 1))
    if abs(up[0]) > 1e-6 or abs(up[1]) > 1e-6:
        return None
    return bool(up[2] < 0)


def _seen_from_above(vertices: Sequence[Vertex], turned: bool) -> list[Vertex]:
    """A plane turned over mirrors x (the arbitrary axis rule of the DXF reference)."""
    if not turned:
        return list(vertices)
    return [(-x, y, -bulge) for x, y, bulge in vertices]


def _circle(entity: Circle) -> list[Vertex]:
    middle, radius = entity.dxf.center, abs(entity.dxf.radius)
    return [(middle.x - radius, middle.y, 1.0), (middle.x + radius, middle.y, 1.0)]


def _arc(entity: Arc) -> list[Vertex]:
    """Two halves, each under half a circle: the bulge of a nearly full circle has no bounds."""
    middle, radius = entity.dxf.center, abs(entity.dxf.radius)
    first = math.radians(entity.dxf.start_angle)
    sweep = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0) or 2 * math.pi
    bulge = math.tan(sweep / 8)
    turns = (first, first + sweep / 2, first + sweep)
    return [
        (middle.x + radius * math.cos(turn), middle.y + radius * math.sin(turn), last)
        for turn, last in zip(turns, (bulge, bulge, 0.0), strict=True)
    ]


def _polyline(entity: Polyline, turned: bool, block: int | None) -> Shape | None:
    if not (entity.is_2d_polyline or entity.is_3d_polyline):
        return None
    vertices = [
        (v.dxf.location.x, v.dxf.location.y, float(v.dxf.get("bulge", 0.0)))
        for v in entity.vertices
        if not v.dxf.flags & 16  # the frame of a spline, not the line itself
    ]
    flat = _seen_from_above(vertices, turned and entity.is_2d_polyline)
    return _made(flat, bool(entity.is_closed), "closed", block)


def _curve(entity: Ellipse | Spline, block: int | None) -> Shape | None:
    size = _size(entity)
    if not size:
        return None
    points = list(entity.flattening(size * ROUGH))
    made = _made([(p.x, p.y, 0.0) for p in points], False, "closed", block)
    return replace(made, rough=True) if made else None


def _size(entity: Ellipse | Spline) -> float:
    if isinstance(entity, Ellipse):
        return float(entity.dxf.major_axis.magnitude)
    xs = [point[0] for point in entity.control_points]
    ys = [point[1] for point in entity.control_points]
    return math.hypot(max(xs) - min(xs), max(ys) - min(ys)) if xs else 0.0


def _made(vertices: list[Vertex], closed: bool, kind: str, block: int | None) -> Shape | None:
    """Closed also where the last vertex is the first; without length it is nothing."""
    vertices = [(float(x), float(y), float(b)) for x, y, b in vertices]
    size = max((abs(v) for x, y, _ in vertices for v in (x, y)), default=0.0)
    meets = len(vertices) > 2 and math.dist(vertices[0][:2], vertices[-1][:2]) <= _SAME * size
    if meets:
        vertices.pop()
    closed = closed or meets
    if not closed and kind == "closed":
        kind = "lines"
    if len({(x, y) for x, y, _ in vertices}) < 2:
        return None
    few = 2 if any(bulge for _, _, bulge in vertices) or not closed else 3
    if len(vertices) < few:
        return None
    return Shape(tuple(vertices), closed, kind, block)
