"""Any heading: windows of a degree are found, and "nowhere" is right where it is claimed.

The reference for one rectangle in another is Carver's theorem, as told in J. E. Wetzel, "Rectangles
in Rectangles", Mathematics Magazine 73 (2000): a p x q rectangle (p >= q) fits into an a x b one
(a >= b) just when p <= a and q <= b, or when p > a, q <= b and
b >= (2 p q a + (p² - q²) sqrt(p² + q² - a²)) / (p² + q²).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from bays.floor import search_fit
from tests.bays.floor import brute_distance as brute
from tests.bays.floor.exchange_cases import answered, around, column, fit_case, rect, zone
from tests.bays.floor.random_floors import random_floor, random_need
from tests.bays.floor.test_against_brute import SEARCH_MM, TOUCHING_MM, _slack, climb

# The vehicle of the cases with the clear zone: p long, q wide.
P, Q = 4.85 + 1.5, 1.9
RING = around(0.7, 0.8, 0.0)


def _least_depth(p: float, q: float, a: float) -> float:
    """Carver's theorem for p > a."""
    return (2 * p * q * a + (p * p - q * q) * math.sqrt(p * p + q * q - a * a)) / (p * p + q * q)


def _turned(points: list[list[float]], degrees: float) -> list[list[float]]:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return [[x * c - y * s, x * s + y * c] for x, y in points]


def _case(outline: list[list[float]], **more: Any) -> dict[str, Any]:
    return fit_case(outline, RING, headings_deg=None, **more)


@pytest.mark.parametrize("turned_by", [0, 17.3, 90, 213.77])
@pytest.mark.parametrize("a", [6.34, 6.1, 5.9])
def test_vehicle_longer_than_the_room_fits_aslant_just_when_the_theorem_says(
    a: float, turned_by: float
) -> None:
    b = _least_depth(P, Q, a)
    assert Q < b <= a
    fits = answered(_case(_turned(rect(0, 0, a, b + 0.003), turned_by)))
    assert fits["fits"] is True
    assert 0 <= fits["margin_m"] <= 0.003
    none = answered(_case(_turned(rect(0, 0, a, b - 0.003), turned_by)))
    assert none["fits"] is False
    assert none["proven"] is True


@pytest.mark.parametrize("turned_by", [0, 1, 33.333, 88.9, 301.25])
def test_room_of_exactly_the_zone_is_found_at_whatever_heading_it_lies(turned_by: float) -> None:
    found = answered(_case(_turned(rect(0, 0, P, Q), turned_by)))
    assert found["fits"] is True
    assert found["margin_m"] == pytest.approx(0, abs=0.001)
    off = abs((found["pose"][2] - turned_by + 90) % 180 - 90)
    assert off < 0.01
    short = answered(_case(_turned(rect(0, 0, P, Q - 0.001), turned_by)))
    assert short["fits"] is False
    assert short["proven"] is True


@pytest.mark.parametrize("turned_by", [0, 12.9, 77])
def test_margin_in_a_turned_room_is_half_the_room_to_spare(turned_by: float) -> None:
    found = answered(_case(_turned(rect(0, 0, P + 3, Q + 0.8), turned_by)))
    assert found["margin_m"] == pytest.approx(0.4, abs=0.002)
    assert found["margin_m"] <= 0.4 + 1e-6


def test_corridor_between_two_walls_leaves_a_window_of_headings() -> None:
    # a corridor 2 m wide at 44.5 deg through a hall otherwise full of racks
    along = 44.5
    racks = [
        {"id": "R1", "kind": "rack", "poly": _turned(rect(-20, 1, 20, 20), along)},
        {"id": "R2", "kind": "rack", "poly": _turned(rect(-20, -20, 20, -1), along)},
    ]
    hall = _turned(rect(-15, -15, 15, 15), 0)
    case = _case(hall, floor={"obstacles": racks})
    found = answered(case)
    assert found["fits"] is True
    assert found["margin_m"] == pytest.approx(0.05, abs=0.002)
    assert abs((found["pose"][2] - along + 90) % 180 - 90) < 1.5
    only = answered({**case, "headings_deg": [0, 43, 44.5, 46, 90]})
    assert {h for h, a in only["by_heading"].items() if a["fits"]} == {"44.5"}


def test_minimal_sets_are_found_at_headings_nobody_gave() -> None:
    # two zones side by side, each just as large as the clear zone, at 30 deg
    zones = [
        {"id": "A", "kind": "bay", "poly": _turned(rect(0, 0, P + 0.01, Q + 0.01), 30)},
        {"id": "B", "kind": "bay", "poly": _turned(rect(0, Q + 0.01, P + 0.01, 2 * Q + 0.02), 30)},
    ]
    room = _turned(rect(0, 0, P + 0.01, 2 * Q + 0.02), 30)
    found = answered(_case(room, floor={"zones": zones}))
    assert found["min_blocked_sets"] == [["A"], ["B"]]
    taken = answered(_case(room, floor={"zones": zones}, occupied=["A"]))
    assert taken["min_blocked_sets"] == [["B"]]
    full = answered(_case(room, floor={"zones": zones}, occupied=["A", "B"]))
    assert full["fits"] is False
    assert full["proven"] is True
    assert full["fits_if_emptied"] == [["A"], ["B"]]


def test_one_obstacle_removed_lets_it_stand_aslant() -> None:
    a = 6.0
    b = _least_depth(P, Q, a) + 0.02
    post = column("P1", a / 2 - 0.05, b / 2 - 0.05, a / 2 + 0.05, b / 2 + 0.05)
    bump = column("P2", a - 0.001, b - 0.001, a, b)
    found = answered(_case(rect(0, 0, a, b), floor={"obstacles": [post, bump]}))
    assert found["fits"] is False
    assert found["fits_if_removed"] == ["P1"]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3000, 3016))
def test_no_random_search_over_all_headings_beats_the_answer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    floor, need = random_floor(rng), random_need(rng)
    found = search_fit(floor.plan(), need.parts, floor.occupied)
    best, pose = climb(rng, floor, need, None, tries=800, rounds=14)
    if found.fit is None:
        if found.proven:
            assert best <= _slack(need), f"{best:.1f} mm to spare at {pose}, proven nowhere"
        assert best <= 100, f"{best:.1f} mm to spare at {pose}, not found"
        return
    assert best <= found.fit.margin_mm + SEARCH_MM + _slack(need), f"at {pose}"
    (there,) = brute.gaps(need.zone, np.array([found.fit.pose]), floor.walls, floor.all_solids)
    assert found.fit.margin_mm - TOUCHING_MM <= there


def test_zone_touched_at_an_odd_heading_is_not_taken() -> None:
    # the room is two zones; the vehicle just fits beside the border at 63.4 deg
    zones = [zone("A", 0, 0, P, Q), zone("B", 0, Q, P, 2 * Q)]
    turned = [{**z, "poly": _turned(z["poly"], 63.4)} for z in zones]
    room = _turned(rect(0, 0, P, 2 * Q), 63.4)
    found = answered(_case(room, floor={"zones": turned}))
    assert found["min_blocked_sets"] == [["A"], ["B"]]
