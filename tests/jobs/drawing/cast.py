"""The same small day, floor and vehicle for every drawing test."""

from datetime import datetime
from zoneinfo import ZoneInfo

from jobs.drawing import Bar, BoardRow, DayBoard, RowGroup

CHICAGO = ZoneInfo("America/Chicago")
BAYS = RowGroup("Bays", tuple(BoardRow(f"bay-{n}", f"Bay {n}", "6.4 × 3.6 m") for n in range(1, 5)))
PEOPLE = RowGroup("Technicians", (BoardRow("lind", "M. Lind"), BoardRow("osei", "R. Osei")))


def at(hour: int, minute: int = 0, *, day: int = 3, month: int = 3, fold: int = 0) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=CHICAGO, fold=fold)


def step(*rows: str, starts: datetime, ends: datetime, **more: object) -> Bar:
    values: dict[str, object] = {"label": "Front camera", "reference": "3117", **more}
    return Bar(tuple(rows), starts, ends, **values)  # type: ignore[arg-type]


def day(*bars: Bar, **more: object) -> DayBoard:
    values: dict[str, object] = {
        "opens_at": at(8),
        "closes_at": at(18),
        "zone": CHICAGO,
        "groups": (BAYS, PEOPLE),
        **more,
    }
    return DayBoard("Tuesday", bars=bars, **values)  # type: ignore[arg-type]
