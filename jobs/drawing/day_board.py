"""The day as bars: bays above, people below, one time axis for both."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from django.utils.safestring import SafeString

from jobs.drawing.board_bars import LANE_HEIGHT, DrawnBar, Lane, drawn_bars, lanes_of
from jobs.drawing.page import render_drawing, rounded, shortened, text_width
from jobs.drawing.time_axis import Tick, TimeAxis

# One drawing unit is one pixel where the page is as wide as a desk's screen lets it be.
WIDTH, LABELS, RIGHT = 1250.0, 146.0, 22.0
HEAD, GROUP_HEAD, FOOT = 32.0, 30.0, 4.0
LOW_ROW = 28.0  # a row nothing stands in all day: only to say so
NAME_SIZE, NOTE_SIZE, HOUR_SIZE = 14.0, 13.0, 13.0
NAMES_EDGE = LABELS - 6


class BarKind(StrEnum):
    CALIBRATION = "calibration"
    PREPARATION = "preparation"
    SCAN = "scan"
    DRIVE = "drive"
    OTHER = "other"


class BarState(StrEnum):
    PLANNED = "planned"
    DOING = "doing"
    DONE = "done"
    LATE = "late"
    AT_RISK = "at risk"
    ON_HOLD = "on hold"


@dataclass(frozen=True)
class BoardRow:
    """A bay or a person. `note` is the second line: the bay's size, the person's shift."""

    id: str
    name: str
    note: str = ""


@dataclass(frozen=True)
class RowGroup:
    name: str
    rows: tuple[BoardRow, ...]


@dataclass(frozen=True)
class StepFacts:
    """What the page's script must know to move a step: its row in the database and the version
    seen. `movable` is false where it has begun or the viewer may not move it."""

    id: int
    version: int
    movable: bool = False
    pinned: bool = False


@dataclass(frozen=True)
class Bar:
    """One step. Adjacent rows become one bar; rows apart are drawn once in each.

    `says` is the state in full where the state's own word is not enough: "25 min late".
    """

    row_ids: tuple[str, ...]
    starts_at: datetime
    ends_at: datetime
    label: str
    reference: str
    kind: BarKind = BarKind.CALIBRATION
    state: BarState = BarState.PLANNED
    short_label: str = ""
    vehicle: str = ""
    who: str = ""
    says: str = ""
    url: str = ""
    step: StepFacts | None = None


@dataclass(frozen=True)
class Shade:
    """A time nobody may plan in one row (`row_id`), or in every row (None), and why."""

    row_id: str | None
    starts_at: datetime
    ends_at: datetime
    says: str


@dataclass(frozen=True)
class DayBoard:
    title: str
    opens_at: datetime
    closes_at: datetime
    zone: ZoneInfo
    groups: tuple[RowGroup, ...]
    bars: tuple[Bar, ...] = ()
    shades: tuple[Shade, ...] = ()
    now_at: datetime | None = None
    empty_says: str = "Nothing planned. Book the first vehicle."
    twelve_hour: bool = False
    id: str = "day-board"


@dataclass(frozen=True)
class DrawnRow:
    id: str
    name: str
    short_name: str
    note: str
    y: float
    height: float

    @property
    def bottom(self) -> float:
        return self.y + self.height

    @property
    def low(self) -> bool:
        return self.height < LANE_HEIGHT

    @property
    def name_y(self) -> float:
        return self.y + (19 if self.low or self.note else 28)

    @property
    def note_y(self) -> float:
        return self.y + (19 if self.low else 36)

    @property
    def note_x(self) -> float:
        """A low row has its note on the name's line, at the far end of the column."""
        room = NAMES_EDGE - 2 - text_width(self.note, NOTE_SIZE)
        return rounded(2 + room) if self.low else 2.0

    @property
    def title(self) -> str:
        return f"{self.name}, {self.note}" if self.note else self.name

    @property
    def shown_note(self) -> str:
        taken = text_width(self.short_name, NAME_SIZE, bold=True) + 6 if self.low else 0.0
        fits = text_width(self.note, NOTE_SIZE) + taken <= NAMES_EDGE - 2
        return self.note if fits else ""


@dataclass(frozen=True)
class DrawnShade:
    x: float
    y: float
    width: float
    height: float
    title: str
    word: str  # empty where the hatching leaves no room for words

    @property
    def word_x(self) -> float:
        return rounded(self.x + self.width / 2)

    @property
    def word_y(self) -> float:
        return self.y + self.height / 2 + 4.5


@dataclass(frozen=True)
class NowLine:
    x: float
    label_x: float
    label: str
    box_width: float

    @property
    def box_x(self) -> float:
        return rounded(self.label_x - self.box_width / 2)


@dataclass(frozen=True)
class BoardLayout:
    """Everything the template needs, in drawing units."""

    id: str
    title: str
    says: str
    width: float
    height: float
    left: float
    plot_width: float
    bottom: float
    rows: tuple[DrawnRow, ...]
    headings: tuple[tuple[float, str], ...]
    ticks: tuple[Tick, ...]
    shades: tuple[DrawnShade, ...]
    bars: tuple[DrawnBar, ...]
    now: NowLine | None
    outside: tuple[str, ...]
    empty_says: str
    opens_minute: int  # minutes since 1970, as the script counts
    minutes: float
    zone: str

    @property
    def chart_width(self) -> float:
        """What is right of the names: drawn apart from them, so that they stay in view."""
        return self.width - self.left

    @property
    def middle_x(self) -> float:
        return self.left + self.plot_width / 2

    @property
    def middle_y(self) -> float:
        return (HEAD + self.bottom) / 2 + 6

    @property
    def grid(self) -> str:
        """Hour lines through the rows as one path, leaving the gaps between groups free."""
        return " ".join(
            f"M{tick.x:g} {row.y:g}V{row.bottom:g}" for tick in self.ticks for row in self.rows
        )


def lay_out_day(board: DayBoard) -> BoardLayout:
    """Place every row, bar and shade. Positions come from elapsed minutes, never from wall time."""
    axis = TimeAxis(
        board.opens_at,
        board.closes_at,
        board.zone,
        LABELS,
        WIDTH - LABELS - RIGHT,
        board.twelve_hour,
    )
    shown = [bar for bar in board.bars if _within(bar.starts_at, bar.ends_at, axis)]
    lanes = lanes_of(shown)
    rows, headings, bottom = _rows(board, lanes)
    now = _now_line(board.now_at, axis)
    return BoardLayout(
        id=board.id,
        title=board.title,
        says=_summary(board),
        width=WIDTH,
        height=bottom + FOOT,
        left=LABELS,
        plot_width=axis.width,
        bottom=bottom,
        rows=tuple(rows.values()),
        headings=headings,
        ticks=tuple(_beside_now(tick, now) for tick in axis.ticks()),
        shades=_shades(board, axis, rows),
        bars=drawn_bars(shown, axis, _groups_of(board), rows, lanes),
        now=now,
        outside=tuple(
            f"{bar.reference} {bar.label}, {axis.clock(bar.starts_at)} to {axis.clock(bar.ends_at)}"
            for bar in board.bars
            if bar not in shown
        ),
        empty_says="" if board.bars else board.empty_says,
        opens_minute=int(board.opens_at.timestamp() // 60),
        minutes=axis.minutes,
        zone=board.zone.key,
    )


def draw_day_board(board: DayBoard) -> SafeString:
    return render_drawing("day_board", board=lay_out_day(board))


def _within(starts_at: datetime, ends_at: datetime, axis: TimeAxis) -> bool:
    return starts_at < axis.closes_at and ends_at > axis.opens_at


def _groups_of(board: DayBoard) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(row.id for row in group.rows) for group in board.groups)


def _rows(
    board: DayBoard, lanes: Mapping[tuple[int, str], Lane]
) -> tuple[dict[str, DrawnRow], tuple[tuple[float, str], ...], float]:
    rows: dict[str, DrawnRow] = {}
    headings: list[tuple[float, str]] = []
    deepest: dict[str, int] = {}
    for (_, row_id), lane in lanes.items():
        deepest[row_id] = max(deepest.get(row_id, 1), lane.of)
    y = HEAD
    for nth, group in enumerate(board.groups):
        y += GROUP_HEAD if nth else 0.0  # the first heading stands on the line of the hours
        headings.append((rounded(y - 10), group.name))
        for row in group.rows:
            height = LANE_HEIGHT * deepest[row.id] if row.id in deepest else LOW_ROW
            short = shortened(row.name, NAME_SIZE, NAMES_EDGE - 2, bold=True)
            rows[row.id] = DrawnRow(row.id, row.name, short, row.note, rounded(y), height)
            y += height
    return rows, tuple(headings), rounded(y)


def _shades(
    board: DayBoard, axis: TimeAxis, rows: Mapping[str, DrawnRow]
) -> tuple[DrawnShade, ...]:
    drawn: list[DrawnShade] = []
    for shade in board.shades:
        if not _within(shade.starts_at, shade.ends_at, axis):
            continue
        x, end = axis.held(shade.starts_at), axis.held(shade.ends_at)
        hours = f"{axis.clock(shade.starts_at)} to {axis.clock(shade.ends_at)}"
        word = shade.says if text_width(shade.says, 13) <= end - x - 6 else ""
        targets = rows.values() if shade.row_id is None else [rows[shade.row_id]]
        drawn.extend(
            DrawnShade(
                x,
                row.y,
                rounded(end - x),
                row.height,
                f"{row.name}: {shade.says}, {hours}",
                word,
            )
            for row in targets
        )
    return tuple(drawn)


def _now_line(now_at: datetime | None, axis: TimeAxis) -> NowLine | None:
    if now_at is None or not axis.shows(now_at):
        return None
    x = axis.x(now_at)
    label = axis.clock(now_at)
    box_width = rounded(text_width(label, HOUR_SIZE, bold=True) + 14)
    label_x = min(max(x, axis.left + box_width / 2), WIDTH - box_width / 2)
    return NowLine(x, rounded(label_x), label, box_width)


def _beside_now(tick: Tick, now: NowLine | None) -> Tick:
    """An hour whose words would stand under the clock of the now-line keeps only its line."""
    if now is None or not tick.label:
        return tick
    reach = (text_width(tick.label, HOUR_SIZE) + now.box_width) / 2 + 4
    return tick if abs(tick.x - now.label_x) >= reach else Tick(tick.x, "")


def _summary(board: DayBoard) -> str:
    if not board.bars:
        return board.empty_says
    visits = {bar.reference for bar in board.bars}
    late = {bar.reference for bar in board.bars if bar.state == BarState.LATE}
    words = f"{len(board.bars)} steps of {len(visits)} visits"
    return f"{words}; late: {', '.join(sorted(late))}." if late else f"{words}; none late."
