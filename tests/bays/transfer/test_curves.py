"""Arcs made straight on the safe side, against closed formulas and a library's own flattening."""

from __future__ import annotations

import math

import ezdxf.path
import pytest
import shapely
from ezdxf.entities.lwpolyline import LWPolyline
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from bays.transfer.curves import OFF_MM, backwards, chords, straightened, whole_mm

ROUND = [(0.0, 0.0, 1.0), (400.0, 0.0, 1.0)]  # a circle of 200 mm radius as two half arcs


def test_a_column_made_straight_holds_the_circle_and_little_more() -> None:
    # area of a circle: pi r²; of a ring OFF_MM wide about it: less than 2 pi (r + off) off
    shape = Polygon(straightened(ROUND, "outside"))
    true = math.pi * 200**2
    assert true < shape.area < true + 2 * math.pi * (200 + OFF_MM) * OFF_MM
    assert shape.covers(shapely.Point(200, 0).buffer(199.999, quad_segs=64))


def test_floor_made_straight_stays_within_the_circle() -> None:
    shape = Polygon(straightened(ROUND, "inside"))
    assert math.pi * (200 - OFF_MM) ** 2 < shape.area < math.pi * 200**2
    assert all(math.dist(corner, (200, 0)) <= 200 + 1e-9 for corner in shape.exterior.coords)


def test_a_bulge_is_the_tangent_of_a_quarter_of_the_angle() -> None:
    # DXF reference, group code 42: 1 is half a circle; the arc's top is bulge * chord / 2
    # off its chord, right of the way when it turns left
    for bulge in (0.2, 0.5, 1.0):
        points = chords([(0.0, 0.0, bulge), (1000.0, 0.0, 0.0)], off_mm=0.01)
        assert min(y for _, y in points) == pytest.approx(-bulge * 500, abs=0.02)


VERTEX = st.tuples(
    st.integers(0, 40), st.integers(0, 40), st.sampled_from([0.0, 0.0, 0.3, -0.3, 0.9, -0.7])
)


@settings(max_examples=150, deadline=None)
@given(st.lists(VERTEX, min_size=3, max_size=6, unique_by=lambda vertex: vertex[:2]))
def test_solid_things_never_shrink_and_floor_never_grows(given_ring: list) -> None:
    ring = [(x * 250.0 + 0.4, y * 250.0 + 0.3, bulge) for x, y, bulge in given_ring]
    line = LWPolyline.new(dxfattribs={"flags": 1})
    line.set_points(ring, format="xyb")
    fine = [(p.x, p.y) for p in ezdxf.path.make_path(line).flattening(0.005)]
    true = Polygon(fine)
    outside, inside = (straightened(ring, side) for side in ("outside", "inside"))  # type: ignore[arg-type]
    if not (true.is_valid and Polygon(outside).is_valid and Polygon(inside).is_valid):
        return
    # The library draws an arc by curves that leave it by 0.03 % of its radius at most.
    slack = 0.0006 * max(true.length, 1)
    for points, bigger in ((outside, True), (inside, False)):
        for shape in (
            Polygon(points),
            Polygon(whole_mm(points, "outside" if bigger else "inside")),
        ):
            if not shape.is_valid:
                continue
            left_over = true.difference(shape) if bigger else shape.difference(true)
            assert left_over.buffer(-slack).area == 0


@given(st.lists(VERTEX, min_size=2, max_size=6, unique_by=lambda vertex: vertex[:2]))
def test_a_way_back_is_the_same_way(given_path: list) -> None:
    path = [(x * 100.0, y * 100.0, bulge) for x, y, bulge in given_path]
    there, back = chords(path), chords(backwards(path))
    assert len(there) == len(back)
    for a, b in zip(there, reversed(back), strict=True):
        assert math.dist(a, b) < 1e-6


@pytest.mark.parametrize("side", ["outside", "inside"])
def test_whole_millimetres_stay_as_they_are(side: str) -> None:
    ring = [(0.0, 0.0), (300.0, 0.0), (300.0, 450.0), (0.0, 450.0)]
    assert whole_mm(ring, side) == [[0, 0], [300, 0], [300, 450], [0, 450]]  # type: ignore[arg-type]


def test_broken_millimetres_are_rounded_to_the_safe_side() -> None:
    ring = [(0.4, 0.4), (300.4, 0.4), (300.4, 450.4), (0.4, 450.4)]
    exact = Polygon(ring)
    assert Polygon(whole_mm(ring, "outside")).covers(exact)
    assert exact.covers(Polygon(whole_mm(ring, "inside")))
