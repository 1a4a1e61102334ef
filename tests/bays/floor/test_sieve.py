"""What the coarse look and the halving claim of a whole box holds for every pose in it."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon

from bays.floor import FloorPlan, Part
from bays.floor.boxes import Question
from bays.floor.needed import Needed, needed
from bays.floor.pieces import Convex, convex_rings, pieces_of
from bays.floor.roomiest import Best, Span, roomiest
from bays.floor.separation import facing, greatest_gap, into_frame, ring_of, rings_of
from bays.floor.sieve import Boxes, Grid, sieve
from tests.bays.floor.cases import column, drawing, parts_of, zone
from tests.bays.floor.test_clearance import ELL

RNG = np.random.default_rng(7)
PLAN = FloorPlan.from_content(
    drawing(
        ELL,
        obstacles=[
            column("C1", 5000, 3000, 5400, 3400),
            {"id": "V", "kind": "post", "polygon": [[2000, 8000], [2900, 8000], [2000, 8900]]},
        ],
        zones=[zone("B1", 0, 0, 4000, 6000), zone("B2", 8000, 1000, 12000, 7000)],
    )
)


def _whole(asked: Needed, x: float, y: float, heading: float) -> shapely.Geometry:
    placed = [
        translate(rotate(Polygon(s.corners[0]), heading, (0, 0), use_radians=True), x, y)
        for s in asked.shapes
    ]
    return shapely.union_all(placed).buffer(asked.margin_mm, quad_segs=64)


@pytest.mark.parametrize("needs", [{}, {"position_tolerance_mm": 60, "angle_tolerance_deg": 0.5}])
@pytest.mark.parametrize("half_deg", [3.75, 0.5, 0.0])
def test_what_the_sieve_says_of_a_box_holds_for_poses_in_it(
    half_deg: float, needs: dict[str, float]
) -> None:
    asked, floor = needed(parts_of(300, 900, 400, **needs)), pieces_of(PLAN)
    grid, half = Grid.over(floor.bounds), math.radians(half_deg)
    heading = 0.9
    left = Boxes.joined(list(sieve(floor, asked, grid, np.array([heading]), half)))
    known = {
        (round(x), round(y)): row for x, y, row in zip(left.x, left.y, left.taken, strict=True)
    }
    assert 0 < len(left) < grid.rows * grid.columns
    for _ in range(400):
        x, y = RNG.choice(grid.x), RNG.choice(grid.y)
        dx, dy, turn = RNG.uniform(-1, 1, 3) * [grid.step_mm / 2, grid.step_mm / 2, half]
        whole = _whole(asked, x + dx, y + dy, heading + turn)
        solid = max(o.polygon.intersection(whole).area for o in PLAN.obstacles)
        free = solid <= 1 and whole.difference(PLAN.outline).area <= 1
        row = known.get((round(x), round(y)))
        if row is None:
            assert not free
            continue
        for zone_id, taken in zip(floor.zones, row, strict=True):
            if taken:
                assert whole.intersects(PLAN.zones[zone_id].polygon)


def _ring(count: int) -> np.ndarray:
    while True:
        hull = shapely.MultiPoint(RNG.uniform(-900, 900, (count + 3, 2))).convex_hull
        ring = shapely.get_coordinates(shapely.orient_polygons(hull).exterior)[:-1]
        if len(ring) == count:
            return ring


def test_distances_agree_with_the_geometry_library() -> None:
    part = Convex.of(_ring(5)[None])
    solids = Convex.of(np.stack([_ring(4) for _ in range(20)]))
    x, y, heading = RNG.uniform([-2500, -2500, 0], [2500, 2500, 7], (500, 3)).T
    which = RNG.integers(0, 20, 500)
    seen = np.empty((4, 4))
    for i, piece in enumerate(which):
        c, s = math.cos(heading[i]), math.sin(heading[i])
        into_frame(rings_of(solids), piece, x[i], y[i], c, s, seen)
        gap, side, mine = greatest_gap(ring_of(part), seen, math.inf)
        distance, ux, uy, _, _ = facing(ring_of(part), seen, gap, side, mine)
        assert gap <= distance + 1e-9
        # told that this is enough, it may stop at less, but not on the other side of that
        assert (greatest_gap(ring_of(part), seen, 50.0)[0] > 50.0) == (gap > 50.0)
        own = rotate(Polygon(part.corners[0]), heading[i], (0, 0), use_radians=True)
        own, solid = translate(own, x[i], y[i]), Polygon(solids.corners[piece])
        apart = own.distance(solid)
        if apart > 0:
            assert distance == pytest.approx(apart, abs=1e-6)
            continue
        # moved out by the depth they touch, and by less they still overlap
        out = -distance * np.array([c * ux - s * uy, s * ux + c * uy])
        assert translate(own, *(1.0001 * out)).intersection(solid).area < 1
        assert translate(own, *(0.98 * out)).intersects(solid)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(300, 2000), min_size=4, max_size=12), st.floats(0, 1))
def test_convex_pieces_make_up_the_shape_without_overlap(radii: list[float], turn: float) -> None:
    angles = 2 * math.pi * (np.arange(len(radii)) + turn) / len(radii)
    star = Polygon(np.stack([np.cos(angles), np.sin(angles)], axis=1) * np.array(radii)[:, None])
    pieces = [Polygon(ring) for ring in convex_rings(star)]
    assert shapely.union_all(pieces).symmetric_difference(star).area < 1e-3
    assert sum(piece.area for piece in pieces) == pytest.approx(star.area)
    for piece in pieces:
        assert piece.area == pytest.approx(piece.convex_hull.area)


def _room(asked: Needed, x: float, y: float, heading: float) -> float:
    whole = _whole(asked, x, y, heading)
    if not PLAN.outline.covers(whole):
        return -1.0
    gaps_left = [PLAN.outline.boundary.distance(whole)]
    return min(gaps_left + [o.polygon.distance(whole) for o in PLAN.obstacles])


@pytest.mark.parametrize("parts", [parts_of(300, 900, 400), parts_of(0, 0, 0)])
def test_no_pose_in_a_box_beats_the_roomiest_by_more_than_a_millimetre(
    parts: tuple[Part, ...],
) -> None:
    asked, floor = needed(parts), pieces_of(PLAN)
    open_to = np.ones((1, len(floor.zones)), dtype=bool)
    for _ in range(8):
        middle = RNG.uniform([2000, 2000, 0], [10000, 9000, 6.3])
        half = RNG.uniform(0.05, 1, 3) * [600, 600, 0.2]
        best = Best(np.zeros((1, 3)), np.array([-np.inf]))
        span = Span(np.zeros(1, dtype=np.int64), middle[None], half[None])
        assert roomiest(Question(floor, asked, None), open_to, span, best) is None
        for spot in middle + half * RNG.uniform(-1, 1, (150, 3)):
            assert _room(asked, *spot) <= max(best.room_mm[0], -0.5) + 1
        if best.room_mm[0] > 0:
            assert _room(asked, *best.pose[0]) == pytest.approx(best.room_mm[0], abs=1e-6)
