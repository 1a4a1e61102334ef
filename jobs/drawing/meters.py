"""Small bars with their numbers: how much of a bay or a person is used, this week against last."""

from dataclasses import dataclass

from django.utils.safestring import SafeString

from jobs.drawing.page import render_drawing, rounded, shortened, text_width

WIDTH, NAMES, GAP = 560.0, 168.0, 8.0
ROW, PAIR_ROW = 34.0, 52.0
SIZE = 14.5


@dataclass(frozen=True)
class UseRow:
    """`share` is used over available time, 1.0 being all of it; `says` is the number in words."""

    name: str
    share: float
    says: str


@dataclass(frozen=True)
class UseMeters:
    title: str
    rows: tuple[UseRow, ...]
    id: str = "use"


@dataclass(frozen=True)
class WeekRow:
    name: str
    this_week: float
    last_week: float
    this_says: str
    last_says: str


@dataclass(frozen=True)
class WeekBars:
    title: str
    rows: tuple[WeekRow, ...]
    id: str = "weeks"


@dataclass(frozen=True)
class DrawnMeter:
    name: str
    full_name: str
    y: float
    width: float
    over: bool
    says: str

    @property
    def text_y(self) -> float:
        return self.y + 16


@dataclass(frozen=True)
class MetersLayout:
    id: str
    title: str
    width: float
    height: float
    left: float
    room: float
    words_x: float
    rows: tuple[DrawnMeter, ...]


@dataclass(frozen=True)
class DrawnPair:
    name: str
    full_name: str
    y: float
    this_width: float
    last_width: float
    this_x: float
    last_x: float
    this_says: str
    last_says: str

    @property
    def this_y(self) -> float:
        return self.y + 15

    @property
    def last_y(self) -> float:
        return self.y + 36


@dataclass(frozen=True)
class PairsLayout:
    id: str
    title: str
    width: float
    height: float
    left: float
    rows: tuple[DrawnPair, ...]


def lay_out_use(meters: UseMeters) -> MetersLayout:
    words = max((text_width(row.says, SIZE, bold=True) for row in meters.rows), default=0.0)
    room = rounded(WIDTH - NAMES - GAP - words)
    rows = tuple(
        DrawnMeter(
            name=_short(row.name),
            full_name=row.name,
            y=rounded(4 + nth * ROW),
            width=rounded(room * min(max(row.share, 0.0), 1.0)),
            over=row.share > 1.0,
            says=row.says,
        )
        for nth, row in enumerate(meters.rows)
    )
    return MetersLayout(
        meters.id,
        meters.title,
        WIDTH,
        ROW * max(len(rows), 1),
        NAMES,
        room,
        rounded(NAMES + room + GAP),
        rows,
    )


def lay_out_weeks(weeks: WeekBars) -> PairsLayout:
    """All rows share one scale, the longest bar leaving room for its number."""
    says = [word for row in weeks.rows for word in (row.this_says, row.last_says)]
    words = max((text_width(word, SIZE, bold=True) for word in says), default=0.0)
    room = WIDTH - NAMES - GAP - words
    most = max((max(row.this_week, row.last_week) for row in weeks.rows), default=0.0) or 1.0

    def length(value: float) -> float:
        return rounded(room * max(value, 0.0) / most)

    rows = tuple(
        DrawnPair(
            name=_short(row.name),
            full_name=row.name,
            y=rounded(4 + nth * PAIR_ROW),
            this_width=length(row.this_week),
            last_width=length(row.last_week),
            this_x=rounded(NAMES + length(row.this_week) + GAP),
            last_x=rounded(NAMES + length(row.last_week) + GAP),
            this_says=row.this_says,
            last_says=row.last_says,
        )
        for nth, row in enumerate(weeks.rows)
    )
    return PairsLayout(weeks.id, weeks.title, WIDTH, PAIR_ROW * max(len(rows), 1), NAMES, rows)


def draw_use(meters: UseMeters) -> SafeString:
    return render_drawing("use", meters=lay_out_use(meters))


def draw_weeks(weeks: WeekBars) -> SafeString:
    return render_drawing("weeks", weeks=lay_out_weeks(weeks))


def _short(name: str) -> str:
    """A name cut to its column; the whole of it stays in the title."""
    return shortened(name, SIZE, NAMES - GAP)
