"""What shapes are called: by a text that stands in them, else numbered as one reads a page."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any, Final

from shapely.geometry import Point, Polygon

Shape = list[list[int]]

_LETTERS: Final = {
    "bay": "B", "rack": "R", "aisle": "A", "column": "C", "lift post": "L", "equipment": "E",
    "room": "K",
}  # fmt: skip
_LONGEST_NAME: Final = 40


def in_reading_order(shapes: Sequence[Shape]) -> list[Shape]:
    """From the top left, line by line. Shapes whose middles differ by less than half a shape's
    depth stand in one line."""
    boxes = [(shape, _box(shape)) for shape in shapes]
    boxes.sort(key=lambda entry: -(entry[1][1] + entry[1][3]))
    lines: list[list[tuple[Shape, tuple[float, float, float, float]]]] = []
    for entry in boxes:
        middle = (entry[1][1] + entry[1][3]) / 2
        if lines:
            _, (_, low, _, high) = lines[-1][0]
            if abs((low + high) / 2 - middle) < (high - low) / 2:
                lines[-1].append(entry)
                continue
        lines.append([entry])
    return [shape for line in lines for shape, _ in sorted(line, key=lambda entry: entry[1])]


def _box(shape: Shape) -> tuple[float, float, float, float]:
    xs, ys = [corner[0] for corner in shape], [corner[1] for corner in shape]
    return (min(xs), min(ys), max(xs), max(ys)) if shape else (0.0, 0.0, 0.0, 0.0)


def heading_along(shape: Sequence[Sequence[int]]) -> float:
    """The direction of the longest edge, from 0 to below 180 degrees."""
    edges = [(shape[i - 1], shape[i]) for i in range(len(shape))]
    start, end = max(
        edges, key=lambda edge: (round(math.dist(*edge)), edge), default=([0, 0], [1, 0])
    )
    turn = math.degrees(math.atan2(end[1] - start[1], end[0] - start[0])) % 180.0
    return round(turn, 2) % 180.0


class Names:
    """Gives every shape an id of its own, and each text to one shape only."""

    def __init__(self, texts: Sequence[tuple[float, float, str]] = ()) -> None:
        self._texts = [(Point(x, y), words) for x, y, words in texts if words.strip()]
        self._zones: set[str] = set()
        self._obstacles: set[str] = set()

    @classmethod
    def of(cls, drawing: Any) -> Names:
        """Names that are free in a drawing; loosely typed, as a draft is."""
        names = cls()
        for key, taken in (("zones", names._zones), ("obstacles", names._obstacles)):
            for row in drawing.get(key) or []:
                if isinstance(row, dict):
                    taken.add(str(row.get("id")).lower())
        return names

    def obstacle(self, kind: str, shape: Sequence[Sequence[int]]) -> str:
        return self._free(self._taken_text(shape), _LETTERS[kind], self._obstacles)

    def zone(self, kind: str, shape: Sequence[Sequence[int]]) -> tuple[str, str]:
        """Id and name: "bay-3", "Bay 3"."""
        found = self._taken_text(shape)
        zone_id = self._free(_slug(found), _LETTERS[kind], self._zones)
        return zone_id, found or f"{kind.capitalize()} {zone_id[1:]}"

    def _taken_text(self, shape: Sequence[Sequence[int]]) -> str:
        polygon = Polygon(shape) if len(shape) > 2 else Polygon()
        if not polygon.is_valid or polygon.is_empty:
            return ""
        inside = [entry for entry in self._texts if polygon.covers(entry[0])]
        if not inside:
            return ""
        nearest = min(inside, key=lambda entry: (polygon.centroid.distance(entry[0]), entry[1]))
        self._texts.remove(nearest)
        return nearest[1].strip()[:_LONGEST_NAME]

    def _free(self, wanted: str, letter: str, taken: set[str]) -> str:
        if wanted and wanted.lower() not in taken:
            taken.add(wanted.lower())
            return wanted
        number = 1
        while f"{letter}{number}".lower() in taken:
            number += 1
        taken.add(f"{letter}{number}".lower())
        return f"{letter}{number}"


def _slug(words: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")
