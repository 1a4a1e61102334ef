"""One visit before and after a new plan: two short rows of bars on one axis of time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

WIDTH, LABEL, ROW, BAR = 720.0, 64.0, 34.0, 26.0
LEAST = 4.0
LAST_TICK = 40.0  # px its words take
LETTER = 7.4  # px a letter of 13 px takes at most, on average


@dataclass(frozen=True)
class Placed:
    """A step at a time; `moved` where it is not the same in the other row."""

    starts_at: datetime
    ends_at: datetime
    label: str
    title: str
    moved: bool


@dataclass(frozen=True)
class Difference:
    """`promised_at` is drawn across both rows where it lies in what is shown."""

    title: str
    before: Sequence[Placed]
    after: Sequence[Placed]
    promised_at: datetime | None = None


def draw_difference(found: Difference) -> SafeString:
    """The rows as an <svg>; steps that stay are pale, those that move are filled."""
    placed = [*found.before, *found.after]
    if not placed:
        return SafeString("")
    first = min(one.starts_at for one in placed).replace(minute=0, second=0, microsecond=0)
    last = max(one.ends_at for one in placed)
    if found.promised_at is not None and first <= found.promised_at <= last + timedelta(hours=2):
        last = max(last, found.promised_at + timedelta(minutes=10))
    scale = (WIDTH - LABEL - 4) / max(60.0, (last - first).total_seconds() / 60)

    def x(moment: datetime) -> float:
        return round(LABEL + (moment - first).total_seconds() / 60 * scale, 1)

    hours = int((last - first).total_seconds() // 3600)
    step = max(1, -(-hours // 8))
    ticks = [first + timedelta(hours=hour) for hour in range(0, hours + 1, step)]
    over_night = first.date() != last.date()
    promised = found.promised_at
    context = {
        "title": found.title,
        "width": WIDTH,
        "height": 2 * ROW + 22,
        "ticks": [
            {"x": x(tick), "says": f"{tick:%a %H:%M}" if over_night else f"{tick:%H:%M}"}
            for tick in ticks
            if x(tick) <= WIDTH - LAST_TICK
        ],
        "rows": [
            {
                "name_y": 39 + n * ROW,
                "name": name,
                "bars": [_bar(one, x, 22 + n * ROW) for one in row],
            }
            for n, (name, row) in enumerate((("before", found.before), ("after", found.after)))
        ],
        "promise": x(promised) if promised and first <= promised <= last else None,
    }
    return SafeString(render_to_string("drawing/difference.svg.html", context))


def _bar(one: Placed, x: Callable[[datetime], float], y: float) -> dict[str, object]:
    left = x(one.starts_at)
    width = max(LEAST, x(one.ends_at) - left - 1)
    letters = int((width - 8) / LETTER)
    label = one.label if len(one.label) <= letters else ""
    if not label and letters > 3:
        label = f"{one.label[: letters - 1]}…"
    return {
        "x": left,
        "y": y,
        "width": round(width, 1),
        "height": BAR,
        "label": label,
        "text_x": left + 4,
        "text_y": y + 17,
        "title": one.title,
        "moved": one.moved,
    }
