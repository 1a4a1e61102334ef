"""One reading with its spread against its limits, and the verdict by word and shape."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

from django.utils.safestring import SafeString

from jobs.drawing.page import render_drawing, rounded, text_width

WIDTH, LEFT, TOP, HEIGHT = 480.0, 12.0, 34.0, 24.0
PLOT = WIDTH - 2 * LEFT
PAGE_HEIGHT = 124.0
VALUE_SIZE, LIMIT_SIZE = 17.0, 14.5
FARTHEST = 3.0  # limits' own span a reading may lie outside before it is shown at the edge

Place = Callable[[float], float]


class Verdict(StrEnum):
    PASS = "pass"  # noqa: S105
    FAIL = "fail"
    TOO_CLOSE = "too close to call"


@dataclass(frozen=True)
class ReadingBar:
    """`expanded_uncertainty` is the half width of the spread, in the unit of the value.

    Words come in shop units: `value_says` "12.0 mm ± 1.2", `upper_says` "limit 12.5".
    """

    name: str
    value: float
    expanded_uncertainty: float
    verdict: Verdict
    value_says: str
    lower: float | None = None
    upper: float | None = None
    lower_says: str = ""
    upper_says: str = ""
    id: str = "reading"


@dataclass(frozen=True)
class Band:
    x: float
    width: float
    kind: str  # inside, outside


@dataclass(frozen=True)
class Mark:
    x: float
    text_x: float
    text: str


@dataclass(frozen=True)
class ReadingLayout:
    id: str
    title: str
    says: str
    width: float
    height: float
    bands: tuple[Band, ...]
    limits: tuple[Mark, ...]
    point_x: float
    spread: tuple[float, float]
    value: Mark
    off_scale: str  # "", "left", "right"
    verdict: str
    verdict_class: str


def lay_out_reading(reading: ReadingBar) -> ReadingLayout:
    """Raises ValueError when there is no limit, or the lower one is not below the upper one."""
    low, high = _domain(reading)

    def place(value: float) -> float:
        share = (value - low) / (high - low)
        return rounded(LEFT + PLOT * min(max(share, 0.0), 1.0))

    x = place(reading.value)
    off = "left" if reading.value < low else "right" if reading.value > high else ""
    spread = reading.expanded_uncertainty
    return ReadingLayout(
        id=reading.id,
        title=f"{reading.name}: {reading.value_says}, {reading.verdict}",
        says="; ".join(word for word in (reading.lower_says, reading.upper_says) if word),
        width=WIDTH,
        height=PAGE_HEIGHT,
        bands=_bands(reading, place),
        limits=_limits(reading, place),
        point_x=x,
        spread=(place(reading.value - spread), place(reading.value + spread)),
        value=Mark(
            x, _held(x, text_width(reading.value_says, VALUE_SIZE, bold=True)), reading.value_says
        ),
        off_scale=off,
        verdict=str(reading.verdict),
        verdict_class={Verdict.PASS: "ok", Verdict.FAIL: "stop"}.get(reading.verdict, "tape"),
    )


def draw_reading_bar(reading: ReadingBar) -> SafeString:
    return render_drawing("reading_bar", reading=lay_out_reading(reading))


def _domain(reading: ReadingBar) -> tuple[float, float]:
    """What the bar spans: limits and spread with air around, zero for a one-sided size."""
    lower, upper = reading.lower, reading.upper
    limits = [limit for limit in (lower, upper) if limit is not None]
    if not limits:
        raise ValueError("a reading bar needs a limit")
    if lower is not None and upper is not None and lower >= upper:
        raise ValueError("the lower limit must lie below the upper one")
    span = max(limits) - min(limits)
    span = span or abs(limits[0]) or 4 * reading.expanded_uncertainty or 1.0
    floor, roof = min(limits) - FARTHEST * span, max(limits) + FARTHEST * span
    low = max(min(*limits, reading.value - reading.expanded_uncertainty), floor)
    high = min(max(*limits, reading.value + reading.expanded_uncertainty), roof)
    if lower is None:
        low = min(low, 0.0 if max(limits) > 0 else max(limits) - span)
    if upper is None:
        high = max(high, min(limits) + span)
    air = 0.14 * (high - low)
    starts_at_zero = lower is None and low == 0.0
    return (low if starts_at_zero else low - air, high + air)


def _bands(reading: ReadingBar, place: Place) -> tuple[Band, ...]:
    start = LEFT if reading.lower is None else place(reading.lower)
    end = LEFT + PLOT if reading.upper is None else place(reading.upper)
    bands = [Band(start, rounded(end - start), "inside")]
    if reading.lower is not None:
        bands.insert(0, Band(LEFT, rounded(start - LEFT), "outside"))
    if reading.upper is not None:
        bands.append(Band(end, rounded(LEFT + PLOT - end), "outside"))
    return tuple(bands)


def _limits(reading: ReadingBar, place: Place) -> tuple[Mark, ...]:
    """Limit words centred under their lines, pushed apart when they would touch."""
    marks = [
        Mark(place(limit), _held(place(limit), text_width(says, LIMIT_SIZE)), says)
        for limit, says in (
            (reading.lower, reading.lower_says),
            (reading.upper, reading.upper_says),
        )
        if limit is not None
    ]
    if len(marks) < 2:
        return tuple(marks)
    first, second = marks
    need = text_width(first.text + second.text, LIMIT_SIZE) / 2 + 10
    missing = max(need - (second.text_x - first.text_x), 0.0)
    return (
        replace(first, text_x=rounded(first.text_x - missing / 2)),
        replace(second, text_x=rounded(second.text_x + missing / 2)),
    )


def _held(x: float, width: float) -> float:
    """Middle of a text of this width near x that stays on the page."""
    half = width / 2 + 2
    return rounded(min(max(x, half), WIDTH - half))
