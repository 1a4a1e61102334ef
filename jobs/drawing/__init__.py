"""Drawings made on the server from plain values: the day, the floor, the set-out, a reading, use.

Each `draw_*` takes a frozen dataclass and returns safe SVG inside a <figure>. Nothing here reads
the database; a caller brings names, words and numbers already in the shop's units and language.
"""

from jobs.drawing.day_board import (
    Bar,
    BarKind,
    BarState,
    BoardRow,
    DayBoard,
    RowGroup,
    Shade,
    StepFacts,
    draw_day_board,
)
from jobs.drawing.floor_map import draw_floor_map
from jobs.drawing.floor_shapes import (
    FloorDimension,
    FloorDoor,
    FloorMap,
    FloorMove,
    FloorObstacle,
    FloorPlaced,
    FloorVehicle,
    FloorZone,
)
from jobs.drawing.meters import UseMeters, UseRow, WeekBars, WeekRow, draw_use, draw_weeks
from jobs.drawing.reading_bar import ReadingBar, Verdict, draw_reading_bar
from jobs.drawing.set_out import (
    SetOutDimension,
    SetOutShape,
    SetOutSheet,
    SetOutVehicle,
    ShapeKind,
    draw_set_out,
)

__all__ = [
    "Bar",
    "BarKind",
    "BarState",
    "BoardRow",
    "DayBoard",
    "FloorDimension",
    "FloorDoor",
    "FloorMap",
    "FloorMove",
    "FloorObstacle",
    "FloorPlaced",
    "FloorVehicle",
    "FloorZone",
    "ReadingBar",
    "RowGroup",
    "SetOutDimension",
    "SetOutShape",
    "SetOutSheet",
    "SetOutVehicle",
    "Shade",
    "ShapeKind",
    "StepFacts",
    "UseMeters",
    "UseRow",
    "Verdict",
    "WeekBars",
    "WeekRow",
    "draw_day_board",
    "draw_floor_map",
    "draw_reading_bar",
    "draw_set_out",
    "draw_use",
    "draw_weeks",
]
