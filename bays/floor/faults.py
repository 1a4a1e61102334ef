"""Faults in a floor plan, a clear zone or a vehicle, gathered so that all are told at once."""

from __future__ import annotations

import math
import sys
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from shopcal.errors import FieldError, Invalid

# Nothing in a shop is farther off than this; larger values are slips of the keyboard or the unit.
FARTHEST_MM = 1_000_000
LONGEST_TEXT = 120
LONGEST_ID = 80

# A place on the plan in millimetres: one point, the two ends of a line, or the corners of a ring.
Mark = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class PlanFault(FieldError):
    """A fault of a drawing with the places on the plan where it can be seen."""

    marks: tuple[Mark, ...] = ()


class PlanFaults(Invalid):
    """A floor plan that cannot be used; ``errors`` names every fault with its path.

    ``facts["marks"]`` says where on the plan to look: for each fault that has a place, its path
    and the points, lines or rings in millimetres.
    """

    def __init__(self, errors: Sequence[FieldError]) -> None:
        self.faults = tuple(
            error
            if isinstance(error, PlanFault)
            else PlanFault(error.path, error.says, error.right)
            for error in errors
        )
        marked = [
            {"path": fault.path, "marks": [[list(point) for point in mark] for mark in fault.marks]}
            for fault in self.faults
            if fault.marks
        ]
        super().__init__(
            "floor_plan_faults",
            "The floor plan has faults.",
            errors=self.faults,
            facts={"marks": marked} if marked else None,
        )


class ClearZoneFaults(Invalid):
    """A clear zone that cannot be used, on its own or around one vehicle."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__("clear_zone_faults", "The clear zone has faults.", errors=errors)


class VehicleFaults(Invalid):
    """Vehicle measurements that no vehicle can have."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__(
            "vehicle_shape_faults", "The vehicle's measurements have faults.", errors=errors
        )


class FaultList:
    """Reads loosely typed content; what is wrong is noted with its path and reading goes on.

    A reader answers ``None`` for a value it could not use, so that one fault never hides another.
    """

    def __init__(self) -> None:
        self.errors: list[FieldError] = []

    def note(self, path: str, says: str, right: str = "", marks: Sequence[Mark] = ()) -> None:
        fault = (
            PlanFault(path, says, right, tuple(marks)) if marks else FieldError(path, says, right)
        )
        self.errors.append(fault)

    def keys(
        self, value: object, path: str, *, needed: Collection[str], may: Collection[str] = ()
    ) -> Mapping[str, Any] | None:
        """A mapping with the needed keys. Unknown keys are faults: a misspelt "obstacles" would
        otherwise silently leave every column out of the plan."""
        if not isinstance(value, Mapping):
            self.note(path, f"is {_kind(value)}", "an object with " + ", ".join(sorted(needed)))
            return None
        for key in needed:
            if key not in value:
                self.note(_join(path, key), "is missing")
        for key in value:
            if key not in needed and key not in may:
                self.note(_join(path, str(key)), "is not known here")
        return value

    def rows(self, value: object, path: str, *, at_most: int) -> list[Any]:
        if not isinstance(value, list | tuple):
            self.note(path, f"is {_kind(value)}", "a list")
            return []
        if len(value) > at_most:
            self.note(path, f"has {len(value)} entries", f"at most {at_most}")
            return []
        return list(value)

    def text(self, value: object, path: str, *, at_most: int = LONGEST_TEXT) -> str | None:
        if not isinstance(value, str):
            self.note(path, f"is {_kind(value)}", "a text")
            return None
        if not value.strip():
            self.note(path, "is empty", "a text")
            return None
        if len(value) > at_most:
            self.note(path, f"has {len(value)} characters", f"at most {at_most}")
            return None
        return value.strip()

    def choice(self, value: object, path: str, options: Sequence[str]) -> str | None:
        if not isinstance(value, str) or value not in options:
            self.note(path, f"is {_show(value)}", "one of " + ", ".join(options))
            return None
        return value

    def number(
        self, value: object, path: str, *, lowest: float = -math.inf, highest: float = math.inf
    ) -> float | None:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.note(path, f"is {_kind(value)}", "a number")
            return None
        # a whole number of hundreds of digits is compared, but not turned into a float
        if not abs(value) <= sys.float_info.max:
            self.note(path, "is not a finite number", "a number")
            return None
        if not lowest <= value <= highest:
            self.note(path, f"is {value:g}", f"from {lowest:g} to {highest:g}")
            return None
        return float(value)

    def whole_mm(
        self, value: object, path: str, *, lowest: int = -FARTHEST_MM, highest: int = FARTHEST_MM
    ) -> int | None:
        number = self.number(value, path, lowest=lowest, highest=highest)
        if number is None:
            return None
        if number != int(number):
            self.note(path, f"is {number:g}", "a whole number of millimetres")
            return None
        return int(number)

    def point(self, value: object, path: str) -> tuple[int, int] | None:
        if not isinstance(value, list | tuple) or len(value) != 2:
            self.note(path, f"is {_show(value)}", "a point [x, y] in millimetres")
            return None
        x = self.whole_mm(value[0], f"{path}[0]")
        y = self.whole_mm(value[1], f"{path}[1]")
        return None if x is None or y is None else (x, y)


def _join(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


def _kind(value: object) -> str:
    if value is None:
        return "missing"
    names = {bool: "yes or no", int: "a number", float: "a number", str: "a text", list: "a list"}
    return names.get(type(value), "an object" if isinstance(value, Mapping) else "not usable")


def _show(value: object) -> str:
    shown = repr(value) if isinstance(value, str | int | float) else _kind(value)
    return shown if len(shown) <= 40 else shown[:37] + "..."
