"""What every drawing shares: numbers, the room a word takes, and the way to the template."""

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

Point = tuple[float, float]

# Mean advances in ems of DejaVu Sans as Chromium sets it, measured on a canvas; it is the widest
# of the usual system faces, so a word that is said to fit does fit in the others.
NARROW, WIDE = frozenset("iljtfrI.,:;'|!()[]/ ·-"), frozenset("mwMWOQ@%—…")
NARROW_EM, LETTER_EM, UPPER_EM, WIDE_EM = 0.35, 0.62, 0.67, 0.93
BOLD = 1.14


def rounded(value: float) -> float:
    """Hundredths of a drawing unit: finer than any screen shows."""
    return round(float(value), 2) + 0.0


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Room in drawing units a line of text takes, estimated on the safe side."""
    return sum(map(_advance_em, text)) * size * (BOLD if bold else 1.0)


def _advance_em(letter: str) -> float:
    if letter in NARROW:
        return NARROW_EM
    if letter in WIDE or unicodedata.east_asian_width(letter) in "WF":
        return WIDE_EM
    return UPPER_EM if letter.isupper() else LETTER_EM


def first_that_fits(choices: Iterable[str], size: float, room: float, *, bold: bool = False) -> str:
    """The first wording that fits, or nothing."""
    return next(
        (choice for choice in choices if choice and text_width(choice, size, bold=bold) <= room),
        "",
    )


def shortened(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """The text, cut with an ellipsis to fit; nothing when under four letters would stay."""
    if text_width(text, size, bold=bold) <= room:
        return text
    cuts = (f"{text[:end].rstrip()}…" for end in range(len(text) - 1, 3, -1))
    return first_that_fits(cuts, size, room, bold=bold)


def wordings(text: str, short: str = "") -> Iterator[str]:
    """Ever shorter ways to say it, each of whole words: all of it, the short name where there is
    one, what stands before the first comma or bracket, then without its last words."""
    yield text
    if short:
        yield short
    words = (short or re.split(r",| \(", text, maxsplit=1)[0]).split()
    for end in range(len(words), 0, -1):
        yield " ".join(words[:end])


def svg_points(points: Sequence[Point]) -> str:
    """Points for a polygon or polyline."""
    return " ".join(f"{rounded(x):g},{rounded(y):g}" for x, y in points)


@dataclass(frozen=True)
class Box:
    """An upright rectangle in drawing units, y downwards."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: "Box") -> bool:
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )

    def inside(self, other: "Box") -> bool:
        return (
            self.x >= other.x
            and self.y >= other.y
            and self.x + self.width <= other.x + other.width
            and self.y + self.height <= other.y + other.height
        )


def render_drawing(template: str, **context: object) -> SafeString:
    return render_to_string(f"drawing/{template}.svg.html", context)
