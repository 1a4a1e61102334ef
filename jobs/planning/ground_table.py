"""Bay by bay and procedure by procedure: is the floor level and lit enough there?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from shapely.geometry import Polygon

from bays import floor
from bays.floor.words import Units
from bays.selectors.floor import CurrentFloor
from bays.selectors.surveys import Surveys, bay_floor, level_there, light_there
from jobs.models import VehicleModel
from jobs.planning.ground import Ground, ground_of, level_tolerance, light_tolerance
from jobs.planning.kept_places import kept_placements
from jobs.planning.space import clear_zone_of, shape_of
from jobs.procedures import ProcedureContent
from jobs.selectors.procedures import content_of, current_editions

WORDS = {"yes": ("ok", "yes"), "no": ("stop", "no"), "unknown": ("tape", "unknown")}


@dataclass(frozen=True)
class Cell:
    """One procedure in one bay: ``word`` is yes, no, unknown or "no room"."""

    tag: str
    word: str
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class BayRow:
    name: str
    level: str
    light: str
    cells: tuple[Cell, ...]
    remarks: tuple[tuple[str, str, str], ...] = field(default=())  # tag, procedures, reason

    @property
    def remark_words(self) -> str:
        """ "no for 2, unknown for 1": procedures counted."""
        words = [cell.word for cell in self.cells]
        found = [(word, words.count(word)) for word in ("no", "unknown")]
        return ", ".join(f"{word} for {count}" for word, count in found if count)


@dataclass(frozen=True)
class GroundTable:
    """``procedures`` head the columns; those on the road and those that ask for nothing are out."""

    procedures: tuple[str, ...]
    rows: tuple[BayRow, ...]


def ground_table(
    current: CurrentFloor, units: Units, vehicle: VehicleModel | None = None
) -> GroundTable:
    """Judge every bay by every procedure in force that asks something of the floor.

    Without a vehicle the whole floor of the bay is judged; with one, its clear zone where it has
    most room with its middle in that bay.
    """
    editions = current_editions(current.edition.shop_id)
    contents = [content_of(edition) for edition in editions]
    asking = [content for content in contents if content.floor or content.light]
    areas = {c.code: _areas(current, c, vehicle) for c in asking}
    rows = []
    for bay in current.plan.bays:
        cells = [
            _cell(current.surveys, areas[content.code].get(bay.id), content, units)
            for content in asking
        ]
        rows.append(_row(current, bay, cells, [content.name for content in asking], units))
    return GroundTable(tuple(content.name for content in asking), tuple(rows))


_Area = tuple[Polygon | Sequence[Sequence[float]], float]


def _areas(
    current: CurrentFloor, content: ProcedureContent, vehicle: VehicleModel | None
) -> dict[str, _Area]:
    """What is judged in each bay, with the heading; bays where the clear zone has no room lack."""
    plan = current.plan
    if vehicle is None:
        return {bay.id: (bay_floor(plan, bay), bay.heading_deg) for bay in plan.bays}
    best: dict[str, floor.Placement] = {}
    for found in kept_placements(plan, shape_of(vehicle), clear_zone_of(content)):
        for bay_id in found.bay_ids:
            if bay_id not in best or found.margin_mm > best[bay_id].margin_mm:
                best[bay_id] = found
    return {bay: (found.polygon, found.pose.heading_deg) for bay, found in best.items()}


def _cell(surveys: Surveys, area: _Area | None, content: ProcedureContent, units: Units) -> Cell:
    if area is None:
        return Cell("", "no room")
    ground = ground_of(surveys, area[0], area[1], content)
    tag, word = WORDS[ground.verdict]
    return Cell(tag, word, _reasons(ground, content, units))


def _reasons(ground: Ground, content: ProcedureContent, units: Units) -> tuple[str, ...]:
    said = []
    if ground.level and content.floor and ground.level.found.verdict == ground.verdict:
        tolerance = level_tolerance(content.floor)
        said.append(floor.level_words(ground.level.found, tolerance, units))
    if ground.light and content.light and ground.light.found.verdict == ground.verdict:
        asked = light_tolerance(content.light)
        said.append(floor.light_words(ground.light.found, asked, units))
    return tuple(said)


def _row(
    current: CurrentFloor,
    bay: floor.Bay,
    cells: Sequence[Cell],
    names: Sequence[str],
    units: Units,
) -> BayRow:
    area = bay_floor(current.plan, bay)
    none = floor.LevelTolerance(None, None)
    level = level_there(current.surveys, area, bay.heading_deg, none).found
    light = light_there(current.surveys, area, floor.LightTolerance(None)).found
    by_reason: dict[tuple[str, str], list[str]] = {}
    for cell, name in zip(cells, names, strict=True):
        if cell.word in ("no", "unknown"):
            for reason in cell.reasons:
                by_reason.setdefault((cell.tag, reason), []).append(name)
    remarks = tuple((tag, ", ".join(told), reason) for (tag, reason), told in by_reason.items())
    return BayRow(bay.name, _slope(level), _least(light, units), tuple(cells), remarks)


def _slope(level: floor.Level) -> str:
    return "–" if level.slope_percent is None else f"{level.slope_percent:.2f} %"


def _least(light: floor.Light, units: Units) -> str:
    if light.least_lux is None:
        return "–"
    if units == "us":
        return f"{light.least_lux / floor.LUX_PER_FOOTCANDLE:.0f} fc"
    return f"{light.least_lux:.0f} lux"
