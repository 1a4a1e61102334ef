"""How the set-out of a kind of procedure looks from above: shapes and the distances to tape.

Vehicle frame, millimetres: origin under the middle of the rear axle, x ahead, y to the left.
A layout is known by the fixed values its worksheet names; anything else shows its clear zone.
Widths of mats, targets and boards are for the eye alone, no distance is taken from them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from bays.floor import ClearZone, VehicleShape, resolve
from jobs.drawing import SetOutDimension, SetOutShape, ShapeKind
from jobs.metrology import Results, Units, Value, format_quantity
from jobs.procedures import ProcedureContent

MAT_WIDTH_MM = 900.0
MATS = frozenset({"between_mats", "least_reach"})
Point = tuple[float, float]


@dataclass(frozen=True)
class Scene:
    """What a layout draws from: the vehicle, the edition and the values known so far."""

    content: ProcedureContent
    vehicle: VehicleShape
    results: Results
    checking: bool  # set out already, now measured
    units: Units = "metric"
    orders: Mapping[str, int] = field(default_factory=dict)

    @property
    def front_mm(self) -> float:
        return float(self.vehicle.wheelbase_mm + self.vehicle.front_overhang_mm)

    @property
    def rear_mm(self) -> float:
        return -float(self.vehicle.rear_overhang_mm)

    @property
    def tyre_mm(self) -> float:
        """Half the distance across the tyres: as measured, or as in the vehicle library."""
        measured = self.results.values.get("across_rear_tyres")
        across = measured.value if measured else self.vehicle.tyre_track_outer_mm
        return (across or self.vehicle.width_mm) / 2

    def value(self, name: str) -> Value | None:
        return self.results.values.get(name)

    def number(self, name: str) -> float:
        found = self.results.values[name]
        return found.value

    def says(self, name: str) -> str:
        """A value in shop units; an ellipsis while it is not known."""
        found = self.value(name)
        return format_quantity(found.value, found.unit, self.units) if found else "…"

    def spread(self, name: str) -> str:
        """Expanded uncertainty (k = 2) in words, nothing for fixed or unknown values."""
        found = self.value(name)
        if found is None or not found.standard_uncertainty:
            return ""
        told = format_quantity(2 * found.standard_uncertainty, found.unit, self.units, finely=True)
        return f"± {told}"

    def order(self, name: str, otherwise: int) -> int:
        return self.orders.get(name, otherwise)


@dataclass(frozen=True)
class Layout:
    shapes: tuple[SetOutShape, ...]
    dimensions: tuple[SetOutDimension, ...]


def lay_out(scene: Scene) -> Layout:
    """The layout of this procedure."""
    known = {fixed.name for fixed in scene.content.worksheet.constants}
    for system, needs, draw in LAYOUTS:
        if needs <= known and system in ("", scene.content.system):
            return draw(scene)
    return _clear_zone(scene)


def tape_orders(content: ProcedureContent) -> dict[str, int]:
    """Orders the drawing gives to inputs that no setting-out step names."""
    known = {fixed.name for fixed in content.worksheet.constants}
    return {"reach_front": 4, "reach_rear": 4} if known >= MATS else {}


def _mats(scene: Scene) -> Layout:
    inner = scene.number("between_mats") / 2
    reach = scene.number("least_reach")
    front, rear = scene.front_mm + reach, scene.rear_mm - reach
    shapes = [
        SetOutShape(
            ShapeKind.MAT,
            (
                (front, side * inner),
                (front, side * (inner + MAT_WIDTH_MM)),
                (rear, side * (inner + MAT_WIDTH_MM)),
                (rear, side * inner),
            ),
            facing_deg=0,
        )
        for side in (1, -1)
    ]
    outer = -(inner + MAT_WIDTH_MM)
    beyond = (
        ("reach_front", (scene.front_mm, outer), (front, outer)),
        ("reach_rear", (scene.rear_mm, outer), (rear, outer)),
    )
    least = f"≥ {scene.says('least_reach')}"
    reaches = tuple(
        SetOutDimension(
            4,
            start,
            end,
            scene.says(name) if scene.value(name) else least,
            says=f"Mats beyond the {'front' if name == 'reach_front' else 'rear'} bumper"
            if scene.value(name)
            else "Mats beyond each bumper",
            shift_mm=(0, -350),
        )
        for name, start, end in beyond
    )
    gaps = _gaps(scene, inner) if scene.checking else _marks(scene, inner)
    return Layout(tuple(shapes), (_across(scene), *gaps, *reaches))


def _across(scene: Scene) -> SetOutDimension:
    half = scene.tyre_mm
    return SetOutDimension(
        scene.order("across_rear_tyres", 1),
        (0, half),
        (0, -half),
        scene.says("across_rear_tyres"),
        scene.spread("across_rear_tyres"),
        "Across the rear tyres",
        shift_mm=(scene.rear_mm - 300, 0),
    )


def _marks(scene: Scene, inner: float) -> tuple[SetOutDimension, ...]:
    return tuple(
        SetOutDimension(
            2,
            (x, side * scene.tyre_mm),
            (x, side * inner),
            scene.says("mark_offset"),
            scene.spread("mark_offset"),
            "Tread edge to mark, all four corners",
        )
        for x in (0.0, float(scene.vehicle.wheelbase_mm))
        for side in (1, -1)
    )


def _gaps(scene: Scene, inner: float) -> tuple[SetOutDimension, ...]:
    # Dimensions alike in order and text are worded once; a hair space keeps equal gaps apart.
    return tuple(
        SetOutDimension(
            6,
            (x, side * scene.tyre_mm),
            (x, side * inner),
            scene.says(name) + number * "\u200a",
            says=name.replace("_", " ").capitalize(),
        )
        for number, (name, x, side) in enumerate(
            (
                ("left_gap_front", float(scene.vehicle.wheelbase_mm), 1),
                ("right_gap_front", float(scene.vehicle.wheelbase_mm), -1),
                ("left_gap_rear", 0.0, 1),
                ("right_gap_rear", 0.0, -1),
            )
        )
    )


def _target_ahead(scene: Scene) -> Layout:
    hubs = float(scene.vehicle.wheelbase_mm)
    half = scene.number("frame_foot") / 2
    x = hubs + scene.number("wanted_distance")
    sides = (("left_distance", 1), ("right_distance", -1))
    return Layout(
        (
            SetOutShape(ShapeKind.TARGET, ((x, half), (x, -half)), "target", 180),
            SetOutShape(ShapeKind.LINE, ((scene.rear_mm - 300, 0), (x, 0))),
        ),
        tuple(
            SetOutDimension(
                scene.order("wanted_distance", 3),
                (hubs, side * half),
                (x, side * half),
                scene.says(name) if scene.value(name) else scene.says("wanted_distance"),
                says=("Left" if side > 0 else "Right") + " hub to target"
                if scene.value(name)
                else "Front hubs to target",
                shift_mm=(0, side * 500),
            )
            for name, side in sides
        ),
    )


def _reflector_ahead(scene: Scene) -> Layout:
    x = scene.front_mm + scene.number("wanted_distance")
    name = "reflector_distance" if scene.value("reflector_distance") else "wanted_distance"
    return Layout(
        (
            SetOutShape(
                ShapeKind.TARGET,
                ((x, 150), (x + 150, 0), (x, -150)),
                "reflector",
            ),
            SetOutShape(ShapeKind.LINE, ((scene.rear_mm - 300, 0), (x, 0))),
        ),
        (
            SetOutDimension(
                scene.order("wanted_distance", 3),
                (scene.front_mm, 0),
                (x, 0),
                scene.says(name),
                scene.spread(name),
                "Radar to reflector",
                shift_mm=(0, -900),
            ),
        ),
    )


def _board_behind(scene: Scene) -> Layout:
    x = -scene.number("wanted_distance")
    half = 900.0
    return Layout(
        (SetOutShape(ShapeKind.TARGET, ((x, half), (x, -half)), "board", 0),),
        tuple(
            SetOutDimension(
                scene.order("wanted_distance", 2),
                (0, side * half),
                (x, side * half),
                scene.says(name) if scene.value(name) else scene.says("wanted_distance"),
                says=("Left" if side > 0 else "Right") + " hub to board"
                if scene.value(name)
                else "Rear hubs to board",
                shift_mm=(0, side * 500),
            )
            for name, side in (("left_distance", 1), ("right_distance", -1))
        ),
    )


def _stands_behind(scene: Scene) -> Layout:
    x, y = -scene.number("wanted_behind"), scene.number("wanted_aside")
    stands = tuple(
        SetOutShape(
            ShapeKind.STAND,
            tuple((x + dx, side * y + dy) for dx, dy in _SQUARE),
            "left stand" if side > 0 else "right stand",
        )
        for side in (1, -1)
    )
    dimensions = []
    for side, hand in ((1, "left"), (-1, "right")):
        behind, aside = f"{hand}_behind", f"{hand}_aside"
        dimensions.append(
            SetOutDimension(
                scene.order("wanted_behind", 2),
                (0, side * y),
                (x, side * y),
                scene.says(behind if scene.value(behind) else "wanted_behind"),
                says=f"{hand.capitalize()} stand behind the rear axle"
                if scene.value(behind)
                else "Stands behind the rear axle",
                shift_mm=(0, side * 500),
            )
        )
        dimensions.append(
            SetOutDimension(
                scene.order("wanted_aside", 3),
                (x, 0),
                (x, side * y),
                scene.says(aside if scene.value(aside) else "wanted_aside"),
                says=f"{hand.capitalize()} stand beside the centreline"
                if scene.value(aside)
                else "Stands beside the centreline",
                shift_mm=(-450, 0),
            )
        )
    return Layout(stands, tuple(dimensions))


_SQUARE = ((120.0, 120.0), (120.0, -120.0), (-120.0, -120.0), (-120.0, 120.0))


def _clear_zone(scene: Scene) -> Layout:
    """The floor that must stay free, for a procedure nothing more is known of."""
    if scene.content.clear_zone is None:
        return Layout((), ())
    parts = resolve(ClearZone.from_content(dict(scene.content.clear_zone)), scene.vehicle)
    shapes = tuple(
        SetOutShape(ShapeKind.KEEP_OUT, tuple((float(x), float(y)) for x, y in part.ring))
        for part in parts
        if part.name != "body"
    )
    return Layout(shapes, ())


# (system, "" for any; the fixed values the layout needs; how it is drawn)
LAYOUTS: tuple[tuple[str, frozenset[str], Callable[[Scene], Layout]], ...] = (
    ("", MATS, _mats),
    ("", frozenset({"frame_foot", "wanted_distance", "wanted_height"}), _target_ahead),
    ("", frozenset({"wanted_behind", "wanted_aside"}), _stands_behind),
    ("front_radar", frozenset({"wanted_distance"}), _reflector_ahead),
    ("rear_camera", frozenset({"wanted_distance"}), _board_behind),
)
