"""A drawing of the floor as a picture, faults and all: SVG in millimetres, without any script.

It takes a drawing that may be wrong, so that what is wrong can be seen. Within the picture y runs
downwards, so every y is written with its sign turned.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from bays.floor import FloorPlan, PlanFault
from bays.lengths import MM_PER_FOOT, Units

Point = Sequence[float]

# Letters are this part of the longer side of the picture.
_LETTER = 1 / 62
_MARGIN = 0.04
_SCALE_BARS_M = (1, 2, 5, 10, 20, 50)
_SCALE_BARS_FT = (5, 10, 20, 50, 100)


@dataclass(frozen=True)
class Area:
    """A filled shape with its name in the middle of it."""

    points: str
    kind: str
    name: str
    x: float
    y: float
    title: str = ""

    @property
    def named(self) -> bool:
        """Columns are many and small: only larger things are named in the picture."""
        return self.kind in {"room", "equipment"}


@dataclass(frozen=True)
class DoorLine:
    x1: float
    y1: float
    x2: float
    y2: float
    name: str


@dataclass(frozen=True)
class FaultMark:
    """Where a fault is, with the number it has in the list of faults."""

    number: int
    kind: str  # point, line, ring
    points: str
    x: float
    y: float


@dataclass(frozen=True)
class Frame:
    """The part of the plan shown, in the picture's millimetres."""

    left: float
    top: float
    width: float
    height: float

    @property
    def letter(self) -> float:
        return round(max(self.width, self.height) * _LETTER)


def plan_picture(
    drawing: Mapping[str, Any],
    *,
    title: str,
    units: Units,
    plan: FloorPlan | None = None,
    faults: Sequence[PlanFault] = (),
    chosen: Sequence[Point] = (),
    picture_id: str = "plan",
) -> SafeString:
    """The picture. With ``plan``, floor that no zone covers is hatched; ``faults`` are marked, and
    the corners of one thing ``chosen`` drawn over."""
    frame = _frame(drawing, faults)
    rest = [zone for zone in plan.zones.values() if zone.kind == "rest"] if plan else []
    bar_mm, bar_says = _scale_bar(frame.width * 0.3, units)
    return render_to_string(
        "bays/_plan_picture.html",
        {
            "id": picture_id,
            "title": title,
            "frame": frame,
            "outline": _points(drawing.get("outline", [])),
            "rest": [_ring_path(zone.polygon) for zone in rest],
            "zones": [_zone(row) for row in drawing.get("zones", []) if row["polygon"]],
            "holes": [_points(hole) for hole in drawing.get("holes", [])],
            "obstacles": [_obstacle(row) for row in drawing.get("obstacles", []) if row["polygon"]],
            "doors": [_door(row) for row in drawing.get("doors", [])],
            "chosen": _points(chosen),
            "marks": list(_marks(faults)),
            "mark_size": frame.letter * 0.85,
            "bar": bar_mm,
            "bar_says": bar_says,
            "bar_y": frame.top + frame.height - frame.letter * 0.8,
        },
    )


def _frame(drawing: Mapping[str, Any], faults: Iterable[PlanFault]) -> Frame:
    points: list[Point] = [*drawing.get("outline", [])]
    for key in ("obstacles", "zones"):
        points += [corner for row in drawing.get(key, []) for corner in row["polygon"]]
    points += [end for row in drawing.get("doors", []) for end in (row["from"], row["to"])]
    points += [point for fault in faults for mark in fault.marks for point in mark]
    xs, ys = [p[0] for p in points] or [0, 10_000], [p[1] for p in points] or [0, 6_000]
    wide, deep = max(max(xs) - min(xs), 1000), max(max(ys) - min(ys), 1000)
    margin = max(wide, deep) * _MARGIN
    below = margin + max(wide, deep) * _LETTER * 2.2  # room for the scale
    return Frame(
        left=round(min(xs) - margin),
        top=round(-max(ys) - margin),
        width=round(wide + 2 * margin),
        height=round(deep + margin + below),
    )


def _points(ring: Iterable[Point]) -> str:
    return " ".join(f"{x:g},{-y:g}" for x, y in ring)


def _ring_path(polygon: Any) -> str:
    """An SVG path with its holes, which the even-odd rule leaves open."""
    rings = (polygon.exterior, *polygon.interiors)
    return " ".join(f"M{_points(list(ring.coords)[:-1])}Z" for ring in rings)


def _middle(ring: Sequence[Point]) -> tuple[float, float]:
    xs, ys = [corner[0] for corner in ring], [corner[1] for corner in ring]
    return (min(xs) + max(xs)) / 2, -(min(ys) + max(ys)) / 2


def _zone(row: Mapping[str, Any]) -> Area:
    x, y = _middle(row["polygon"])
    return Area(_points(row["polygon"]), row["kind"], row["name"], x, y)


def _obstacle(row: Mapping[str, Any]) -> Area:
    x, y = _middle(row["polygon"])
    title = f"{row['kind']} {row['id']}"
    return Area(_points(row["polygon"]), row["kind"], row["id"], x, y, title)


def _door(row: Mapping[str, Any]) -> DoorLine:
    (x1, y1), (x2, y2) = row["from"], row["to"]
    return DoorLine(x1, -y1, x2, -y2, row["id"])


def _marks(faults: Sequence[PlanFault]) -> Iterable[FaultMark]:
    for number, fault in enumerate(faults, start=1):
        for mark in fault.marks:
            kind = "point" if len(mark) == 1 else "line" if len(mark) == 2 else "ring"
            x, y = _middle(mark)
            yield FaultMark(number, kind, _points(mark), x, y)


def _scale_bar(longest_mm: float, units: Units) -> tuple[float, str]:
    if units == "us":
        choices = [(feet * MM_PER_FOOT, f"{feet} ft") for feet in _SCALE_BARS_FT]
    else:
        choices = [(metres * 1000.0, f"{metres} m") for metres in _SCALE_BARS_M]
    fitting = [choice for choice in choices if choice[0] <= longest_mm]
    return fitting[-1] if fitting else choices[0]
