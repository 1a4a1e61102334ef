"""What is sure of all poses of a box against one kind of piece, and what holds at its middle;
compiled. See :mod:`bays.floor.subdivision`."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from bays.floor.clearance import TOUCH_MM
from bays.floor.pieces import SOLID, Bools, Floats, Ints
from bays.floor.separation import Ring, Rings, facing, greatest_gap, into_frame


class Known(NamedTuple):
    """What is known of each box: all poses meet a wall or an obstacle, its middle does; and of
    each box and zone: all poses take the zone, its middle does."""

    blocked: Bools
    middle_blocked: Bools
    taken: Bools
    middle_taken: Bools


class Middles(NamedTuple):
    """The middles of boxes: positions, cosines and sines of the headings."""

    x: Floats
    y: Floats
    cos: Floats
    sin: Floats


@njit(cache=True, nogil=True)
def judge(
    part: Ring,
    solid: Rings,
    owner: Ints,
    boxes: Middles,
    pairs: tuple[Ints, Ints],
    margin_mm: float,
    moves_mm: float,
    known: Known,
    open_still: Bools,
) -> None:
    """Note what each pair (box, piece) shows, when no point of the part moves more than
    ``moves_mm`` in a box. ``open_still``: a smaller box may yet show more."""
    box, piece = pairs
    seen = np.empty((4, solid.corners.shape[1]))
    for p in range(len(box)):
        b, zone = box[p], owner[piece[p]]
        open_still[p] = False
        if known.blocked[b] or (zone != SOLID and known.taken[b, zone]):
            continue
        into_frame(solid, piece[p], boxes.x[b], boxes.y[b], boxes.cos[b], boxes.sin[b], seen)
        gap, side, mine = greatest_gap(part, seen, margin_mm + moves_mm)
        if 0 < gap < margin_mm:
            gap = facing(part, seen, gap, side, mine)[0]
        room = gap - margin_mm
        sure = room < -moves_mm - TOUCH_MM
        open_still[p] = not sure and room <= moves_mm
        if room >= -TOUCH_MM / 2:
            continue
        if zone == SOLID:
            known.middle_blocked[b] = True
            known.blocked[b] |= sure
        else:
            known.middle_taken[b, zone] = True
            known.taken[b, zone] |= sure
