"""Where each bar of the day board stands, what it says, and what is cut off."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.utils.html import format_html
from django.utils.safestring import SafeString

from jobs.drawing.page import first_that_fits, rounded, shortened, text_width, wordings
from jobs.drawing.time_axis import TimeAxis

if TYPE_CHECKING:
    from jobs.drawing.day_board import Bar, DrawnRow, StepFacts

LANE_HEIGHT, PAD, INSET = 46.0, 3.0, 6.0
GAP = 1.5  # kept free at both ends, so that steps that follow at once stay two
LEAST_WIDTH = 4.0  # a five-minute step on a fourteen-hour day must still be seen
LABEL_SIZE, LINE_SIZE = 13.0, 13.0
END_ROOM = 3.0
FLAG_WIDTH = 12.0
MARK_SIZE, MARK_ROOM = 10.0, 13.0
# Shapes on a 10 × 10 field, so that a state is never told by colour alone.
DIAMOND = "M5 0L10 5L5 10L0 5Z"
MARK_PATHS = {
    "doing": "M1 0L10 5L1 10Z",
    "done": "M0 5L4 9L10 1",
    "late": DIAMOND,
    "at-risk": DIAMOND,
    "on-hold": "M1 0h3v10h-3zM6 0h3v10h-3z",
}


@dataclass(frozen=True)
class Lane:
    """Bars that overlap in one row share it: lane `index` of `of`."""

    index: int
    of: int


@dataclass(frozen=True)
class DrawnBar:
    """One rectangle with its words. `x` and `width` are its minutes to scale; the rectangle that
    is drawn, and that its words are clipped to, keeps a gap free at both ends."""

    x: float
    y: float
    width: float
    height: float
    kind: str
    state: str  # as a class: "at-risk"
    title: str
    url: str
    label: str
    line: str
    text_x: float
    line_x: float
    mark: bool
    mark_x: float
    seams: tuple[float, ...]  # heights at which a joined bar crosses from row to row
    flag_x: float | None  # where the pennant of a late bar starts
    words: str  # the state in words beside the bar; empty when said inside it
    words_x: float
    cut_left: bool
    cut_right: bool
    row_span: int
    row: str  # the first row it stands in
    step: StepFacts | None
    starts_minute: int  # minutes since 1970

    @property
    def pin_x(self) -> float:
        return rounded(self.end - 12)

    @property
    def facts(self) -> SafeString:
        """What the page's script reads of a step, as attributes; nothing where there is none."""
        if self.step is None:
            return SafeString("")
        return format_html(
            ' id="s{}-{}" data-step="{}" data-version="{}" data-row="{}" data-from="{}"{}{}',
            self.step.id,
            self.row.replace(":", "-"),
            self.step.id,
            self.step.version,
            self.row,
            self.starts_minute,
            SafeString(" data-movable") if self.step.movable else "",
            SafeString(" data-pinned") if self.step.pinned else "",
        )

    @property
    def box(self) -> SafeString:
        """The rectangle's attributes, numbers only: one variable in the template instead of four,
        twice a bar, which is what a full day spends its time on."""
        return SafeString(
            f'x="{self.body_x:g}" y="{self.y:g}" width="{self.body_width:g}"'
            f' height="{self.height:g}"'
        )

    @property
    def body_x(self) -> float:
        return rounded(self.x + GAP)

    @property
    def body_width(self) -> float:
        return rounded(max(self.width - 2 * GAP, LEAST_WIDTH / 2))

    @property
    def mark_path(self) -> str:
        return MARK_PATHS.get(self.state, "") if self.mark else ""

    @property
    def end(self) -> float:
        return rounded(self.body_x + self.body_width)

    @property
    def half_height(self) -> float:
        return self.height / 2

    @property
    def label_y(self) -> float:
        return self.y + 17

    @property
    def line_y(self) -> float:
        return self.y + (33 if self.label else 25)

    @property
    def mark_y(self) -> float:
        return self.line_y - 10 if self.line else self.y + (self.height - MARK_SIZE) / 2

    @property
    def words_y(self) -> float:
        return self.y + self.height / 2 + 5


def lanes_of(bars: Sequence[Bar]) -> dict[tuple[int, str], Lane]:
    """A lane for every (bar number, row), the lowest one free at its start."""
    by_row: dict[str, list[int]] = defaultdict(list)
    for nth, bar in enumerate(bars):
        for row_id in bar.row_ids:
            by_row[row_id].append(nth)
    lanes: dict[tuple[int, str], Lane] = {}
    for row_id, members in by_row.items():
        members.sort(key=lambda nth: (bars[nth].starts_at, nth))
        free_from: list[datetime] = []
        placed: list[tuple[int, int]] = []
        for nth in members:
            index = next(
                (at for at, free in enumerate(free_from) if free <= bars[nth].starts_at),
                len(free_from),
            )
            free_from[index : index + 1] = [bars[nth].ends_at]
            placed.append((nth, index))
        for nth, index in placed:
            lanes[nth, row_id] = Lane(index, len(free_from))
    return lanes


def drawn_bars(
    bars: Sequence[Bar],
    axis: TimeAxis,
    groups: Sequence[Sequence[str]],
    rows: Mapping[str, DrawnRow],
    lanes: Mapping[tuple[int, str], Lane],
) -> tuple[DrawnBar, ...]:
    by_row: dict[str, list[Bar]] = defaultdict(list)
    for bar in bars:
        for row_id in bar.row_ids:
            by_row[row_id].append(bar)
    drawn = []
    for nth, bar in enumerate(bars):
        names = [row.name for row_id, row in rows.items() if row_id in bar.row_ids]
        for run in _runs(nth, bar, groups, lanes):
            room = _room_after(bar, run, by_row, axis)
            drawn.append(_draw_bar(nth, bar, run, axis, rows, lanes, names, room))
    return tuple(drawn)


def _runs(
    nth: int,
    bar: Bar,
    groups: Sequence[Sequence[str]],
    lanes: Mapping[tuple[int, str], Lane],
) -> list[list[str]]:
    """Rows of a bar that stand together. A row shared with another bar stands alone, or the
    joined bar would cover the other one."""
    runs: list[list[str]] = []
    for group in groups:
        joined: list[str] = []
        for row_id in group:
            if row_id not in bar.row_ids:
                joined = []
                continue
            shared = lanes[nth, row_id].of > 1
            if joined and not shared:
                joined.append(row_id)
            else:
                runs.append([row_id])
                joined = [] if shared else runs[-1]
    return runs


def _room_after(
    bar: Bar, run: Sequence[str], by_row: Mapping[str, list[Bar]], axis: TimeAxis
) -> float:
    """Free room to the right of a bar before the next one in any of its rows."""
    following = [
        other.starts_at
        for row_id in run
        for other in by_row[row_id]
        if other is not bar and other.ends_at > bar.ends_at
    ]
    edge = axis.held(min(following)) if following else axis.left + axis.width
    return edge - axis.held(bar.ends_at)


def _draw_bar(
    nth: int,
    bar: Bar,
    run: Sequence[str],
    axis: TimeAxis,
    rows: Mapping[str, DrawnRow],
    lanes: Mapping[tuple[int, str], Lane],
    names: Sequence[str],
    room: float,
) -> DrawnBar:
    first, last = rows[run[0]], rows[run[-1]]
    x = axis.held(bar.starts_at)
    width = max(axis.held(bar.ends_at) - x, LEAST_WIDTH)
    y = first.y + lanes[nth, run[0]].index * LANE_HEIGHT + PAD
    bottom = last.y + last.height - PAD if len(run) > 1 else y + LANE_HEIGHT - 2 * PAD
    marked = bar.state != "planned" and width >= MARK_ROOM
    inset = INSET if width >= 40 else 4.0
    indent = MARK_ROOM if marked else 0.0
    words = _state_words(bar)
    flag = FLAG_WIDTH if bar.state == "late" and room >= FLAG_WIDTH else 0.0
    beside = bool(words) and text_width(words, LINE_SIZE, bold=True) + flag + 8 <= room
    label, line = _lines(bar, width - inset - END_ROOM, indent, "" if beside else words)
    return DrawnBar(
        x=x,
        y=rounded(y),
        width=rounded(width),
        height=rounded(bottom - y),
        kind=str(bar.kind),
        state=str(bar.state).replace(" ", "-"),
        title=_title(bar, axis, names),
        url=bar.url,
        label=label,
        line=line,
        text_x=rounded(x + inset),
        line_x=rounded(x + inset + indent),  # after the mark: the label keeps its room
        mark=marked,
        mark_x=rounded(x + inset if line else x + (width - MARK_SIZE) / 2),
        seams=tuple(rows[row_id].y for row_id in run[1:]),
        flag_x=rounded(x + width) if flag else None,
        words=words if beside else "",
        words_x=rounded(x + width + flag + 5),
        cut_left=bar.starts_at < axis.opens_at,
        cut_right=bar.ends_at > axis.closes_at,
        row_span=len(run),
        row=run[0],
        step=bar.step,
        starts_minute=int(bar.starts_at.timestamp() // 60),
    )


def _state_words(bar: Bar) -> str:
    if bar.state in {"late", "at risk", "on hold"}:
        return bar.says or str(bar.state)
    return ""


def _lines(bar: Bar, room: float, indent: float, words: str) -> tuple[str, str]:
    """Two lines: what is done, then for whom; a state that found no room beside comes second.
    What has no room for the whole reference says nothing: half a number is another number."""
    names = tuple(wordings(bar.label, bar.short_label))
    whose = f"{bar.vehicle} · {bar.reference}" if bar.vehicle else bar.reference
    line = first_that_fits((whose, bar.reference), LINE_SIZE, room - indent, bold=True)
    if not line:
        return "", ""
    if words and text_width(words, LINE_SIZE, bold=True) <= room - indent:
        both = (f"{bar.reference} {name}" for name in names)
        return first_that_fits((*both, bar.reference), LABEL_SIZE, room), words
    label = first_that_fits(names, LABEL_SIZE, room)
    label = label or shortened(bar.short_label or bar.label, LABEL_SIZE, room)
    return label, line


def _title(bar: Bar, axis: TimeAxis, names: Sequence[str]) -> str:
    vehicle = f", {bar.vehicle}" if bar.vehicle else ""
    who = f", {bar.who}" if bar.who else ""
    state = bar.says or str(bar.state)
    hours = f"{axis.clock(bar.starts_at)} to {axis.clock(bar.ends_at)}"
    kept = ", kept there" if bar.step is not None and bar.step.pinned else ""
    place = " and ".join(names)
    return f"{bar.reference}{vehicle}: {bar.label}. {hours}, {place}{who}. {state}{kept}."
