from __future__ import annotations

import pytest

from bays.floor import FloorPlan, why_not
from bays.floor.sayings import Phone
from bays.floor.words import AND, floor_size, listed, names_together, short_length, to_spare
from tests.bays.floor.cases import (
    bay,
    case_parts,
    column,
    drawing,
    parts_of,
    plan_of,
    read_case,
    rect,
    zone,
)

THREE = drawing(
    rect(0, 0, 9600, 6000),
    obstacles=[column("C4", 800, 2000, 1200, 4000)],
    zones=[zone(f"B{i}", 3200 * i - 3200, 0, 3200 * i, 6000) for i in (1, 2, 3)],
    bays=[bay(str(i), [f"B{i}"], [3200 * i - 1600, 3000]) for i in (1, 2, 3)],
)


def test_it_is_said_which_bay_would_have_to_be_empty() -> None:
    case = read_case("three_bays_and_a_rack")
    occupied = frozenset(case["occupied"])
    answer = why_not(plan_of(case), case_parts(case), case["headings_deg"], occupied)
    assert [sorted(held) for held in answer.zones_to_empty] == case["expect"]["fits_if_emptied"]
    assert answer.says == "It fits if B3 is empty, with 2 cm to spare."
    assert answer.proven


def test_words_name_the_bay() -> None:
    answer = why_not(FloorPlan.from_content(THREE), parts_of(500, 600, 1800), None, {"B1", "B3"})  # type: ignore[arg-type]
    assert answer.says == "It fits if Bay 3 is empty, with 2 cm to spare."
    both = why_not(FloorPlan.from_content(THREE), parts_of(500, 600, 1800), None, {"B2", "B3"})  # type: ignore[arg-type]
    assert both.says == "It fits if Bays 2 and 3 are empty, with 2 cm to spare."


def test_it_is_said_when_it_does_fit() -> None:
    answer = why_not(FloorPlan.from_content(THREE), parts_of(500, 600, 1800), None, frozenset())
    assert answer.says == "It fits in Bays 2 and 3 with 2 cm to spare."
    assert answer.fits is not None
    assert answer.spare_mm == pytest.approx(25, abs=1)
    assert answer.outcome == "fits"
    assert answer.zones_to_empty == ()


def test_nearest_miss_tells_side_length_and_column() -> None:
    # 7000 long, 2900 wide; the lane of 7400 has a column in its last 520 at one end
    lane = drawing(
        rect(0, 0, 7400, 3000),
        obstacles=[column("C4", 0, 1300, 520, 1700)],
        zones=[zone("B1", 0, 0, 7400, 3000)],
        bays=[bay("1", ["B1"], [3700, 1500], heading=0)],
    )
    answer = why_not(FloorPlan.from_content(lane), parts_of(1150, 1000, 500), None, frozenset())
    assert answer.proven
    (short,) = answer.shortfalls
    assert short.side in ("front", "rear")
    assert short.by_mm == pytest.approx(120, abs=0.5)
    # as short in front, against the wall; a column tells more
    assert (short.side, short.against) == ("rear", ("C4",))
    assert answer.says.startswith(
        "The shop has no floor of 7 x 2.9 m around a bay, at any heading. Nearest, in 1: short by "
    )
    assert "12 cm" in answer.says


def test_an_obstacle_that_is_in_the_way_is_named_with_its_kind() -> None:
    # the vehicle can only stand with its long side of the zone towards the column
    lane = drawing(
        rect(0, 0, 7000, 6000),
        obstacles=[column("C4", 3300, 5880, 3700, 6000)],
        zones=[zone("B1", 0, 0, 7000, 6000)],
        bays=[bay("1", ["B1"], [3500, 3000], heading=0)],
    )
    answer = why_not(FloorPlan.from_content(lane), parts_of(1150, 1000, 2050), None, frozenset())
    (short,) = answer.shortfalls
    assert short.side in ("left", "right")
    assert short.by_mm == pytest.approx(120, abs=0.5)
    assert short.against in (("C4",), ("wall",))
    words = {"C4": "column C4", "wall": "the wall"}[short.against[0]]
    assert f"short by 12 cm on the {short.side}, against {words}." in answer.says


def test_a_room_too_narrow_is_short_at_a_side_by_what_is_missing() -> None:
    narrow = drawing(
        rect(0, 0, 9000, 3000),
        zones=[zone("B1", 0, 0, 9000, 3000)],
        bays=[bay("1", ["B1"], [4500, 1500], heading=0)],
    )
    answer = why_not(FloorPlan.from_content(narrow), parts_of(500, 500, 700), None, frozenset())
    (short,) = answer.shortfalls
    assert short.side in ("left", "right")
    assert short.by_mm == pytest.approx(300, abs=0.5)
    assert short.against == ("wall",)


def test_no_floor_at_all_is_said_with_its_size() -> None:
    shed = drawing(
        rect(0, 0, 4000, 3000),
        zones=[zone("B1", 0, 0, 4000, 3000)],
        bays=[bay("1", ["B1"], [2000, 1500], heading=0)],
    )
    plan, parts = FloorPlan.from_content(shed), parts_of(2000, 3350, 1850)
    answer = why_not(plan, parts, None, frozenset())
    assert answer.says == "The shop has no floor of 10.2 x 5.6 m around a bay, at any heading."
    assert answer.shortfalls == ()
    assert answer.proven
    in_feet = why_not(plan, parts, None, frozenset(), units="us")
    assert in_feet.says == "The shop has no floor of 33.5 x 18.4 ft around a bay, at any heading."


def test_a_plan_without_bays_says_so() -> None:
    bare = FloorPlan.from_content(drawing(rect(0, 0, 9000, 9000)))
    assert why_not(bare, parts_of(0, 0, 0), None, frozenset()).says == "The floor plan has no bays."


@pytest.mark.parametrize(
    ("mm", "units", "said"),
    [
        (3.2, "metric", "3 mm"),
        (3.3, "metric", "4 mm"),
        (120.0, "metric", "12 cm"),
        (120.4, "metric", "13 cm"),
        (3010, "metric", "3.1 m"),
        (25.4, "us", "1 in"),
        (30, "us", "1.25 in"),
        (7.9, "us", "0.5 in"),
    ],
)
def test_shortfalls_are_never_said_too_small(mm: float, units: str, said: str) -> None:
    assert short_length(mm, units) == said  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("mm", "units", "said"),
    [
        (349.9, "metric", "34 cm to spare"),
        (340.0, "metric", "34 cm to spare"),
        (10.0, "metric", "1 cm to spare"),
        (9.9, "metric", "9 mm to spare"),
        (0.4, "metric", "no room to spare"),
        (3190, "metric", "3.1 m to spare"),
        (345.0, "us", "13 in to spare"),
        (25.3, "us", "0.75 in to spare"),
        (6.0, "us", "no room to spare"),
    ],
)
def test_room_to_spare_is_never_said_too_large(mm: float, units: str, said: str) -> None:
    assert to_spare(mm, units) == said  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("mm", "said"),
    [(0.4, "It just fits in Bay 2."), (12.0, "It fits in Bay 2 with 1 cm to spare.")],
)
def test_less_than_a_millimetre_just_fits(mm: float, said: str) -> None:
    assert Phone(FloorPlan.from_content(THREE)).fits(" in Bay 2", mm) == said


def test_sizes_and_lists_are_said_as_people_say_them() -> None:
    assert floor_size(10200, 5600, "metric") == "10.2 x 5.6 m"
    assert names_together(["Bay 1", "East aisle", "Bay 2"], " + ") == ["Bays 1 + 2", "East aisle"]
    assert names_together(["Bay 1", "Bay 2", "Bay 3"], AND) == ["Bays 1, 2 and 3"]
    assert names_together(["Lift", "Bay A"], " + ") == ["Lift", "Bay A"]
    assert listed(["a", "b", "c"], "or") == "a, b or c"
