"""Reads loosely typed content that is in metres into millimetres, noting every fault."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

import shapely
from shapely.geometry import Polygon
from shapely.validation import explain_validity

from bays.floor.faults import FARTHEST_MM, FaultList
from bays.floor.placement import Pose
from shopcal.errors import FieldError, Invalid

FARTHEST_M = FARTHEST_MM / 1000
MOST_CORNERS = 2000
# 1000 x 6.3999999999999995 m is meant to be 6400 mm: floating-point noise ends here, a millionth
# of a millimetre, and fractions of a millimetre that were meant are kept.
KEPT_PLACES = 6
SMALLEST_MM2 = 1.0
WORDS_ALIKE = 0.8


class CaseFaults(Invalid):
    """A case that cannot be read; ``errors`` names every fault with its path."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__("floor_case_faults", "The case cannot be read.", errors=errors)


class MetreFaults(FaultList):
    """As :class:`FaultList`, for content in metres; ``None`` for what is unusable."""

    def mapping(
        self, value: object, path: str, *, needed: Sequence[str] = (), may: Sequence[str] = ()
    ) -> Mapping[str, Any] | None:
        """A mapping with the needed keys; others are left alone, unless one looks like a slip for
        a key of ``may`` that is absent and whose absence would change the answer."""
        if not isinstance(value, Mapping):
            self.note(path or "case", f"is {kind_of(value)}", "an object")
            return None
        for key in needed:
            if key not in value:
                self.note(join(path, key), "is missing")
        absent = [key for key in may if key not in value]
        for key in value:
            if key not in may and key not in needed:
                meant = _meant(key, absent)
                if meant:
                    self.note(join(path, key), "is not known here", meant)
        return value

    def list_of(self, value: object, path: str, *, at_most: int) -> list[Any]:
        """The rows of a list; ``null`` is an empty one."""
        return [] if value is None else self.rows(value, path, at_most=at_most)

    def measure(
        self, value: object, path: str, *, lowest: float = -FARTHEST_M, highest: float = FARTHEST_M
    ) -> float | None:
        """A length given in metres, in millimetres; the limits are in metres."""
        metres = self.number(value, path, lowest=lowest, highest=highest)
        return None if metres is None else round(1000 * metres, KEPT_PLACES)

    def spot(self, value: object, path: str) -> tuple[float, float] | None:
        if not isinstance(value, list) or len(value) != 2:
            self.note(path, f"is {shown(value)}", "a point [x, y] in metres")
            return None
        x, y = (self.measure(entry, f"{path}[{i}]") for i, entry in enumerate(value))
        return None if x is None or y is None else (x, y)

    def pose(self, value: object, path: str) -> Pose | None:
        if not isinstance(value, list) or len(value) != 3:
            self.note(path, f"is {shown(value)}", "a pose [x, y, heading] in metres and degrees")
            return None
        x, y = (self.measure(entry, f"{path}[{i}]") for i, entry in enumerate(value[:2]))
        heading = self.degrees(value[2], f"{path}[2]")
        return None if x is None or y is None or heading is None else Pose(x, y, heading)

    def degrees(self, value: object, path: str) -> float | None:
        return self.number(value, path, lowest=-3600, highest=3600)

    def ring(self, value: object, path: str) -> Polygon | None:
        """A polygon; it may be given closed, and a corner may be repeated."""
        rows = self.rows(value, path, at_most=MOST_CORNERS)
        spots = [self.spot(row, f"{path}[{i}]") for i, row in enumerate(rows)]
        corners = [spot for spot in spots if spot is not None]
        if len(corners) < len(spots) or not isinstance(value, list):
            return None
        corners = [spot for i, spot in enumerate(corners) if spot != corners[i - 1]]
        if len(corners) < 3:
            self.note(path, f"has {len(corners)} corners", "at least 3 corners")
            return None
        polygon = Polygon(corners)
        if polygon.convex_hull.area < SMALLEST_MM2:
            self.note(path, "encloses no floor", "corners that are not on one line")
            return None
        if not polygon.is_valid:
            self.note(path, _crossing(polygon), "a line that meets itself nowhere")
            return None
        return shapely.normalize(polygon)


def _meant(key: str, absent: Sequence[str]) -> str | None:
    """The absent key that this one looks like a slip for: by letters, or by words in any order."""
    for name in absent:
        if sorted(key.lower().split("_")) == sorted(name.split("_")):
            return name
    alike = get_close_matches(key.lower(), absent, 1, WORDS_ALIKE)
    return alike[0] if alike else None


def _crossing(polygon: Polygon) -> str:
    where = explain_validity(polygon).partition("[")[2].rstrip("]").split()
    x, y = (float(number) / 1000 for number in where)
    return f"crosses or touches itself near ({x:.6g}, {y:.6g})"


def join(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


def kind_of(value: object) -> str:
    """What a value of JSON is, in words."""
    kinds = {bool: "yes or no", int: "a number", float: "a number", str: "a text", list: "a list"}
    return "null" if value is None else kinds.get(type(value), "an object")


def shown(value: object) -> str:
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, float) and not math.isfinite(value):
        return "not a finite number"
    said = repr(value) if isinstance(value, str | int | float) else kind_of(value)
    return said if len(said) <= 40 else said[:37] + "..."
