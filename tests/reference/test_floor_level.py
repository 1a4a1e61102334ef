"""Level and light against what others have computed, and against closed formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import linalg
from shapely.geometry import MultiPoint

from bays.floor import LUX_PER_FOOTCANDLE, LevelTolerance, LightTolerance, level, light
from bays.lengths import MM_PER_FOOT, MM_PER_INCH

NONE = LevelTolerance(slope_percent=None, deviation_mm=None)
GRID = [(x, y) for x in range(0, 8001, 1000) for y in range(0, 6001, 1000)]
ZONE = [(0, 0), (8000, 0), (8000, 6000), (0, 6000)]

# NIST Statistical Reference Datasets, linear least squares, "Pontius" (deflection of a load cell
# under load): 20 loads, each twice, y = B0 + B1 x + B2 x^2. Certified values as published there.
LOADS = [150_000 * step for step in range(1, 21)]
DEFLECTIONS = [
    0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146,
    1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844,
    0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300, 1.09150,
    1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829,
]  # fmt: skip
CERTIFIED_B1, CERTIFIED_B1_DEVIATION = 0.732059160401003e-06, 0.157817399981659e-09
CERTIFIED_B2, CERTIFIED_B2_DEVIATION = -0.316081871345029e-14, 0.486652849992036e-16
CERTIFIED_RESIDUAL_DEVIATION = 0.205177424076185e-03


def test_a_plane_and_its_uncertainty_are_the_certified_ones() -> None:
    # a parabola over x is a plane over the places (x, x^2 / 1e6); heights in thousandths
    points = [
        (load, load**2 / 1e6, 1000 * deflection)
        for load, deflection in zip([*LOADS, *LOADS], DEFLECTIONS, strict=True)
    ]
    zone = MultiPoint([point[:2] for point in points]).convex_hull
    found = level(points, zone, 0, NONE, reading_uncertainty_mm=1000 * CERTIFIED_RESIDUAL_DEVIATION)
    assert found.along_percent == pytest.approx(1e5 * CERTIFIED_B1, rel=1e-9)
    assert found.across_percent == pytest.approx(1e5 * CERTIFIED_B2 * 1e6, rel=1e-9)
    assert found.along_uncertainty_percent == pytest.approx(1e5 * CERTIFIED_B1_DEVIATION, rel=1e-9)
    assert found.across_uncertainty_percent == pytest.approx(
        1e5 * CERTIFIED_B2_DEVIATION * 1e6, rel=1e-9
    )


@pytest.mark.parametrize("heading", [0, 33, 90, 215])
def test_a_plane_agrees_with_scipy_and_the_full_covariance_matrix(heading: float) -> None:
    random = np.random.default_rng(20)
    places = random.uniform([0, 0], [8000, 6000], size=(60, 2))
    heights = 0.004 * places[:, 0] - 0.007 * places[:, 1] + random.normal(0, 2, 60)
    found = level(
        np.column_stack([places, heights]).tolist(), ZONE, heading, NONE, reading_uncertainty_mm=0.7
    )
    # the whole plane, constant and all, by another routine, and all of its covariance inverted
    design = np.column_stack([np.ones(60), places])
    plane, *_ = linalg.lstsq(design, heights)
    covariance = 0.7**2 * np.linalg.inv(design.T @ design)
    a = math.radians(heading)
    ahead, left = np.array([0, math.cos(a), math.sin(a)]), np.array([0, -math.sin(a), math.cos(a)])
    off = heights - design @ plane
    worst = int(np.argmax(np.abs(off)))
    hat = design @ np.linalg.inv(design.T @ design) @ design.T
    for value, expected in (
        (found.along_percent, 100 * plane @ ahead),
        (found.across_percent, 100 * plane @ left),
        (found.along_uncertainty_percent, 100 * math.sqrt(ahead @ covariance @ ahead)),
        (found.across_uncertainty_percent, 100 * math.sqrt(left @ covariance @ left)),
        (found.max_deviation_mm, abs(off[worst])),
        (found.deviation_uncertainty_mm, 0.7 * math.sqrt(1 - hat[worst, worst])),
    ):
        assert value == pytest.approx(float(expected), rel=1e-7)


def test_a_grid_has_the_uncertainty_of_the_closed_formula() -> None:
    # n equal steps d either way: var(slope) = s^2 / sum of (x - mean)^2
    found = level([(x, y, 0.0) for x, y in GRID], ZONE, 0, NONE, reading_uncertainty_mm=0.5)
    about_x = sum((x - 4000) ** 2 for x, _ in GRID)
    about_y = sum((y - 3000) ** 2 for _, y in GRID)
    assert found.along_uncertainty_percent == pytest.approx(50 / math.sqrt(about_x))
    assert found.across_uncertainty_percent == pytest.approx(50 / math.sqrt(about_y))
    # on a level floor the steepest way is chance, so the worse of both is said
    assert found.slope_uncertainty_percent == pytest.approx(50 / math.sqrt(about_y))


def test_twenty_thousand_surveys_scatter_as_much_as_one_says() -> None:
    random = np.random.default_rng(11)
    true = np.array([(x, y, 0.009 * x + 0.004 * y) for x, y in GRID])
    told = level(true.tolist(), ZONE, 25, NONE, reading_uncertainty_mm=0.8)
    noise = random.normal(0, 0.8, size=(20_000, len(GRID)))
    found = [
        level(np.column_stack([true[:, :2], true[:, 2] + each]), ZONE, 25, NONE)  # type: ignore[arg-type]
        for each in noise[:2_000]
    ]
    for name in ("slope", "along", "across"):
        scatter = np.std([getattr(one, f"{name}_percent") for one in found], ddof=1)
        # 2,000 draws know a scatter to 1.6 %
        assert scatter == pytest.approx(getattr(told, f"{name}_uncertainty_percent"), rel=0.05)
    # all 20,000 at once by the normal equations, which the routine itself does not use
    design = np.column_stack([np.ones(len(GRID)), true[:, :2]])
    planes = (true[:, 2] + noise) @ design @ np.linalg.inv(design.T @ design)
    a = math.radians(25)
    along = 100 * (planes[:, 1] * math.cos(a) + planes[:, 2] * math.sin(a))
    across = 100 * (planes[:, 2] * math.cos(a) - planes[:, 1] * math.sin(a))
    slope = 100 * np.hypot(planes[:, 1], planes[:, 2])
    assert np.std(along) == pytest.approx(told.along_uncertainty_percent, rel=0.03)
    assert np.std(across) == pytest.approx(told.across_uncertainty_percent, rel=0.03)
    assert np.std(slope) == pytest.approx(told.slope_uncertainty_percent, rel=0.03)


def test_about_95_of_100_true_slopes_lie_within_the_expanded_uncertainty() -> None:
    random = np.random.default_rng(5)
    heights = np.array([0.006 * x for x, _ in GRID])
    within = 0
    for _ in range(1_000):
        read = heights + random.normal(0, 0.6, len(GRID))
        points = [(x, y, float(z)) for (x, y), z in zip(GRID, read, strict=True)]
        found = level(points, ZONE, 0, NONE, reading_uncertainty_mm=0.6)
        assert found.along_percent is not None
        assert found.along_uncertainty_percent is not None
        within += abs(found.along_percent - 0.6) <= 2 * found.along_uncertainty_percent
    # JCGM 100:2008, table G.1: 95.45 %; four standard deviations of a count of 1,000
    assert within / 1_000 == pytest.approx(0.9545, abs=4 * math.sqrt(0.9545 * 0.0455 / 1_000))


@pytest.mark.parametrize(
    ("factor", "published"),
    [
        # NIST SP 811 (2008), appendix B.8: inch and foot to metre, footcandle to lux
        (MM_PER_INCH / 1000, 2.54e-02),
        (MM_PER_FOOT / 1000, 3.048e-01),
        (LUX_PER_FOOTCANDLE, 1.076391e01),
    ],
)
def test_unit_factors_are_those_published(factor: float, published: float) -> None:
    assert factor == pytest.approx(published, rel=1e-6)


def test_light_of_one_lamp_is_the_inverse_square_of_its_distance() -> None:
    # A lamp of 1,000 cd in all directions, 3 m above the middle of the floor: E = I h / d^3
    # (inverse square and cosine law). Darkest in the corners, brightest below the lamp.
    def lux(x: float, y: float) -> float:
        return float(1000 * 3 / math.hypot(x / 1000 - 4, y / 1000 - 3, 3) ** 3)

    points = [(x, y, lux(x, y)) for x, y in GRID]
    found = light(points, ZONE, LightTolerance(min_lux=20))
    assert found.least_lux == pytest.approx(3000 / math.hypot(4, 3, 3) ** 3)
    assert found.most_lux == pytest.approx(1000 / 9)
    assert found.brightest_point == (4000, 3000)
    # mean of the triangles, against a fine sampling of the law itself
    fine = [lux(x, y) for x in range(25, 8000, 50) for y in range(25, 6000, 50)]
    assert found.mean_lux == pytest.approx(np.mean(fine), rel=0.02)
