"""The pose farthest from everything that blocks, found by branch and bound.

Distance to the edge of the free region changes by at most the distance moved, so a square cell of
poses cannot hold more than the distance at its middle plus its half diagonal. Cells that cannot
beat the best pose so far are dropped, the others split in four. (The scheme of "polylabel" and of
GEOS' maximum inscribed circle, with the poses allowed kept apart from what the distance is to.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

# The margin found falls short of the greatest by at most this; it is never more than the truth.
SHORT_OF_BEST_MM = 1.0
MOST_CELLS = 60_000

Floats = NDArray[np.float64]


def deepest_pose(
    free: Any, allowed: Any | None, seeds: Iterable[tuple[float, float]] = ()
) -> tuple[float, float, float] | None:
    """x, y and distance to the edge of ``free``, greatest over the poses in ``free`` and
    ``allowed`` (``None``: all of ``free``), short of the greatest by at most 1 mm.

    ``seeds`` are poses known to be good; the answer is at least as good as the best of them.
    ``None`` when no pose is left.
    """
    domain = free if allowed is None else free.intersection(allowed)
    pieces = [p for p in shapely.get_parts(domain) if isinstance(p, Polygon) and p.area > 0]
    if not pieces:
        return None
    edge = free.boundary
    shapely.prepare([free, edge, domain])
    starts = [*seeds, *(centre for piece in pieces for centre in _middle(piece))]
    best = _best_of(np.array(starts, dtype=float), free, edge)
    best = _search(free, edge, domain, best)
    return best if best[2] > 0 else None


def _middle(piece: Polygon) -> list[tuple[float, float]]:
    """The centre of a large circle inside: good even where the piece is a hairline."""
    west, south, east, north = piece.bounds
    coarse = max(min(east - west, north - south) / 50, 1e-4)
    circle = shapely.maximum_inscribed_circle(piece, tolerance=coarse)
    inside = piece.representative_point()
    return [circle.coords[0], (inside.x, inside.y)]


def _depth(points: Floats, free: Any, edge: Any) -> Floats:
    """Distance to the edge, negative outside."""
    spots = shapely.points(points)
    distance: Floats = shapely.distance(edge, spots)
    return np.where(shapely.contains_xy(free, points[:, 0], points[:, 1]), distance, -distance)


def _best_of(points: Floats, free: Any, edge: Any) -> tuple[float, float, float]:
    depth = _depth(points, free, edge)
    top = int(np.argmax(depth))
    return float(points[top, 0]), float(points[top, 1]), float(depth[top])


def _search(
    free: Any, edge: Any, domain: Any, best: tuple[float, float, float]
) -> tuple[float, float, float]:
    west, south, east, north = domain.bounds
    size = max(min(east - west, north - south), max(east - west, north - south) / 64, 1e-3)
    across = np.arange(math.ceil((east - west) / size)) * size + west + size / 2
    up = np.arange(math.ceil((north - south) / size)) * size + south + size / 2
    cells = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
    while len(cells) and size > SHORT_OF_BEST_MM / 4:
        reach = size * math.sqrt(0.5)
        depth = _depth(cells, free, edge)
        possible = depth + reach > best[2] + SHORT_OF_BEST_MM
        cells, depth = cells[possible], depth[possible]
        off = shapely.distance(domain, shapely.points(cells)) if len(cells) else depth
        inside = off == 0
        if inside.any():
            top = int(np.argmax(np.where(inside, depth, -np.inf)))
            if depth[top] > best[2]:
                best = (float(cells[top, 0]), float(cells[top, 1]), float(depth[top]))
        # a cell partly outside holds no better pose than its nearest allowed one plus the way back
        keep = (off <= reach) & (depth + reach > best[2] + SHORT_OF_BEST_MM)
        cells = cells[keep]
        if len(cells) > MOST_CELLS:
            break
        size /= 2
        cells = (cells[:, None, :] + size / 2 * _CORNERS[None, :, :]).reshape(-1, 2)
    return best


_CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]])
