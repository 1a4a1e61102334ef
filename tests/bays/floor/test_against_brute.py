"""The exact answers against distances worked out pose by pose, by code that shares none with them.

400 random floors with 75 poses or more each. Differences allowed are well inside the 2 mm that the
answers may be on the safe side: rounding for rectangles; for sectors the 2 mm by which their chords
lie outside the arc, and the 1 mm by which the check's own lie inside. On the other side, none.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from bays.floor import Part, Pose, best_fit, check_pose, feasible, placements
from tests.bays.floor import brute_distance as brute
from tests.bays.floor.random_floors import Floor, Need, random_floor, random_need

FLOORS, BLOCKS = 400, 20
POSES_EACH = 27  # at each of three headings
ROUNDING_MM = 0.05
# Touching is allowed by 0.01 mm along an edge, at the tip of the thinnest sector by 0.01 / sin 8°.
TOUCHING_MM = 0.08
SECTOR_SLACK_MM = 3.2
# What the search for the best margin may leave, and the touching allowance.
SEARCH_MM = 1.05


def _slack(need: Need) -> float:
    return SECTOR_SLACK_MM if need.has_sector else ROUNDING_MM


def _headings(rng: np.random.Generator, floor: Floor) -> list[float]:
    along = floor.along_deg + 90 * int(rng.integers(4))
    return [along, along + float(rng.uniform(-1, 1)), float(rng.uniform(0, 360))]


def _poses(rng: np.random.Generator, floor: Floor, free: object, heading: float) -> np.ndarray:
    """Some anywhere, most close beside the edge of the region, where an error would show."""
    low, high = floor.walls[0].min(axis=0), floor.walls[0].max(axis=0)
    spots = rng.uniform(low, high, (POSES_EACH, 2))
    if not shapely.is_empty(free):
        edge = shapely.boundary(free)
        on_edge = shapely.line_interpolate_point(
            shapely.line_merge(edge), rng.uniform(0, edge.length, POSES_EACH - 8)
        )
        reach = rng.choice([0.5, 2, 10, 100, 500], POSES_EACH - 8)
        way = rng.uniform(0, 2 * np.pi, POSES_EACH - 8)
        aside = np.column_stack([reach * np.cos(way), reach * np.sin(way)])
        spots[8:] = shapely.get_coordinates(on_edge) + aside
    return np.column_stack([spots, np.full(len(spots), heading)])


@pytest.mark.slow
@pytest.mark.parametrize("block", range(BLOCKS))
def test_regions_and_margins_agree_with_distances_pose_by_pose(block: int) -> None:
    judged = free_poses = 0
    for seed in range(block * FLOORS // BLOCKS, (block + 1) * FLOORS // BLOCKS):
        rng = np.random.default_rng(seed)
        floor, need = random_floor(rng), random_need(rng)
        plan = floor.plan()
        for heading in _headings(rng, floor):
            free = feasible(plan, need.parts, heading).without(floor.occupied)
            poses = _poses(rng, floor, free, heading)
            gap = brute.gaps(need.zone, poses, floor.walls, floor.all_solids)
            room = shapely.distance(shapely.boundary(free), shapely.points(poses[:, :2]))
            room = np.where(np.isnan(room), np.inf, room)
            clear = room > TOUCHING_MM
            poses, gap, room = poses[clear], gap[clear], room[clear]
            inside = shapely.contains_xy(free, poses[:, 0], poses[:, 1])
            assert (gap[inside] >= 0).all(), f"floor {seed} at {heading}: free, yet blocked"
            assert (gap[~inside] <= _slack(need)).all(), f"floor {seed} at {heading}: room missed"
            over = room[inside] - gap[inside]
            assert (over <= TOUCHING_MM).all(), f"floor {seed} at {heading}: margin too large"
            assert (over >= -_slack(need)).all(), f"floor {seed} at {heading}: margin too small"
            told = check_pose(plan, need.parts, Pose(*poses[-1]), floor.occupied)
            assert told.ok == bool(inside[-1])
            assert told.margin_mm == pytest.approx(max(room[-1] if told.ok else 0, 0), abs=0.05)
            judged += len(poses)
            free_poses += int(inside.sum())
    assert judged >= 75 * FLOORS // BLOCKS
    assert judged / 10 < free_poses < judged * 0.9


@pytest.mark.slow
def test_no_pose_searched_for_beats_the_best_margin() -> None:
    fits = 0
    for seed in range(1000, 1060):
        rng = np.random.default_rng(seed)
        floor, need = random_floor(rng), random_need(rng)
        heading = _headings(rng, floor)[int(rng.integers(2))]
        fit = best_fit(floor.plan(), need.parts, [heading], floor.occupied)
        found, _ = climb(rng, floor, need, heading)
        if fit is None:
            assert found <= _slack(need), f"floor {seed}: {found:.1f} mm to spare, called nowhere"
            continue
        fits += 1
        assert found <= fit.margin_mm + SEARCH_MM + _slack(need), f"floor {seed}"
        (there,) = brute.gaps(need.zone, np.array([fit.pose]), floor.walls, floor.all_solids)
        assert fit.margin_mm - TOUCHING_MM <= there <= fit.margin_mm + SEARCH_MM + _slack(need)
    assert fits >= 20


def climb(
    rng: np.random.Generator,
    floor: Floor,
    need: Need,
    heading: float | None,
    tries: int = 250,
    rounds: int = 9,
) -> tuple[float, np.ndarray]:
    """The largest gap that random poses, and closer and closer ones beside the best, come upon;
    with ``None`` at any heading."""
    low, high = floor.walls[0].min(axis=0), floor.walls[0].max(axis=0)
    ways = rng.uniform(0, 360, tries) if heading is None else np.full(tries, heading)
    poses = np.column_stack([rng.uniform(low, high, (tries, 2)), ways])
    gap = brute.gaps(need.zone, poses, floor.walls, floor.all_solids)
    reach = 400.0
    for _ in range(rounds):
        best = poses[np.argsort(-gap)[:6]]
        near = np.repeat(best, 12, axis=0)
        near[:, :2] += rng.normal(0, reach, (len(near), 2))
        if heading is None:
            near[:, 2] += rng.normal(0, reach / 100, len(near))
        beside = brute.gaps(need.zone, near, floor.walls, floor.all_solids)
        poses, gap = np.concatenate([best, near]), np.concatenate([np.sort(gap)[::-1][:6], beside])
        reach *= 0.6
    top = int(np.argmax(gap))
    return float(gap[top]), poses[top]


@pytest.mark.slow
@pytest.mark.parametrize("block", range(4))
def test_minimal_zone_sets_agree_with_sampled_poses(block: int) -> None:
    taking = 0
    for seed in range(4000 + 15 * block, 4015 + 15 * block):
        rng = np.random.default_rng(seed)
        floor, need = random_floor(rng, zones=(2, 6)), random_need(rng)
        for heading in _headings(rng, floor)[:2]:
            found = placements(floor.plan(), need.parts, [heading])
            sets = [frozenset(placement.zones) for placement in found]
            assert not any(a < b for a in sets for b in sets)
            for placement in found:
                # at its pose the placement takes no zone that it does not name
                pose = np.array([placement.pose])
                assert brute.gaps(need.zone, pose, floor.walls, floor.solids)[0] >= -TOUCHING_MM
                (taken,) = _zones_taken(floor, need, pose, -TOUCHING_MM)
                assert taken <= placement.zones, f"floor {seed} at {heading}"
            low, high = floor.walls[0].min(axis=0), floor.walls[0].max(axis=0)
            poses = np.column_stack([rng.uniform(low, high, (600, 2)), np.full(600, heading)])
            free = brute.gaps(need.zone, poses, floor.walls, floor.solids) > _slack(need)
            for taken in set(_zones_taken(floor, need, poses[free], _slack(need))):
                assert any(held <= taken for held in sets), f"floor {seed} at {heading}: {taken}"
                taking += len(taken)
    assert taking > 50


def _zones_taken(
    floor: Floor, need: Need, poses: np.ndarray, within_mm: float
) -> list[frozenset[str]]:
    """The zones overlapped, or nearer than so much, at each pose."""
    far = brute.rectangle(-1e6, -1e6, 1e6, 1e6)
    near = np.array(
        [brute.gaps(need.zone, poses, [far], [ring]) < within_mm for ring in floor.zones]
    ).reshape(len(floor.zones), len(poses))
    return [frozenset(f"Z{i}" for i in np.flatnonzero(row)) for row in near.T]


def _margin(floor: Floor, need: Need, heading: float) -> float:
    fit = best_fit(floor.plan(), need.parts, [heading], floor.occupied)
    return -1.0 if fit is None else fit.margin_mm


@pytest.mark.parametrize("seed", range(2000, 2024))
def test_turning_or_mirroring_the_floor_changes_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    floor, need = random_floor(rng), random_need(rng)
    heading = _headings(rng, floor)[0]
    before = _margin(floor, need, heading)
    by = float(rng.choice([90.0, 180.0, 30.0, 101.7, rng.uniform(0, 360)]))
    after = _margin(floor.turned(by), need, heading + by)
    assert after == pytest.approx(before, abs=SEARCH_MM)
    mirrored = tuple(
        Part(part.name, tuple((x, -y) for x, y in reversed(part.ring))) for part in need.parts
    )
    there = _margin(floor.mirrored(), replace(need, parts=mirrored), 180 - heading)
    assert there == pytest.approx(before, abs=SEARCH_MM)


@pytest.mark.parametrize("seed", range(2100, 2124))
def test_growing_an_obstacle_never_helps(seed: int) -> None:
    rng = np.random.default_rng(seed)
    floor, need = random_floor(rng), random_need(rng)
    heading = _headings(rng, floor)[0]
    larger = [shapely.buffer(shapely.Polygon(ring), 150, quad_segs=2) for ring in floor.solids]
    grown = replace(floor, solids=tuple(shapely.get_coordinates(s.exterior)[:-1] for s in larger))
    assert _margin(grown, need, heading) <= _margin(floor, need, heading) + SEARCH_MM


@pytest.mark.parametrize("seed", range(2200, 2224))
def test_an_occupied_zone_is_an_obstacle(seed: int) -> None:
    rng = np.random.default_rng(seed)
    floor, need = random_floor(rng), random_need(rng)
    heading = _headings(rng, floor)[0]
    solid = floor.with_zones_as_obstacles()
    assert _margin(solid, need, heading) == pytest.approx(
        _margin(floor, need, heading), abs=SEARCH_MM
    )
