"""The floor on a sheet of paper: which sheet, which way round, and at which scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.drawing.floor_map import PAPER_FOOT, PAPER_MARGIN, PIXELS_PER_MM
from jobs.drawing.page import Point
from jobs.drawing.plane import Extent

# ISO 216 for A4 and A3; ANSI/ASME Y14.1 for letter (A) and tabloid (B): 8.5 x 11 in, 11 x 17 in.
PAPERS_MM = {
    "a4": (297.0, 210.0),
    "a3": (420.0, 297.0),
    "letter": (279.4, 215.9),
    "tabloid": (431.8, 279.4),
}
EDGE_MM = 8.0  # what printers leave white, and a little more
WORDS_MM = 38.0  # legend and title block below the map
# The reductions of ISO 5455 (from memory) with those between them that building drawings use.
RATIOS = (20, 25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 2000)


@dataclass(frozen=True)
class Sheet:
    """A sheet with the largest scale at which the whole floor is on it."""

    paper: str
    upright: bool
    ratio: int

    @property
    def page(self) -> str:
        """The name of the page in the stylesheet."""
        return f"{self.paper}-{'upright' if self.upright else 'across'}"


def fitting_sheet(outline: Sequence[Point], paper: str) -> Sheet:
    """Across unless the floor is so tall that upright gives a larger scale.

    Raises:
        KeyError: a paper that is not known.
        ValueError: a floor too large for any scale.
    """
    extent = Extent.around(outline)
    long, short = PAPERS_MM[paper]
    across = _ratio(extent, long, short)
    upright = _ratio(extent, short, long)
    if across is None and upright is None:
        raise ValueError("no scale is small enough for this floor")
    if across is None or (upright is not None and upright < across):
        assert upright is not None
        return Sheet(paper, True, upright)
    return Sheet(paper, False, across)


def _ratio(extent: Extent, wide_mm: float, high_mm: float) -> int | None:
    width_mm, height_mm = wide_mm - 2 * EDGE_MM, high_mm - 2 * EDGE_MM - WORDS_MM
    around = 2 * PAPER_MARGIN / PIXELS_PER_MM
    below = (PAPER_MARGIN + PAPER_FOOT) / PIXELS_PER_MM
    for ratio in RATIOS:
        wide, high = extent.width / ratio + around, extent.height / ratio + below
        if wide <= width_mm and high <= height_mm:
            return ratio
    return None
