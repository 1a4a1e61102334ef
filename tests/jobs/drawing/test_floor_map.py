"""The floor to one scale, north of the page being the plan's +y."""

import math

import pytest

from jobs.drawing import (
    FloorDimension,
    FloorDoor,
    FloorMap,
    FloorMove,
    FloorObstacle,
    FloorPlaced,
    FloorVehicle,
    FloorZone,
    draw_floor_map,
)
from jobs.drawing.floor_labels import label_box
from jobs.drawing.floor_map import MARGIN, PIXELS_PER_MM, lay_out_floor
from jobs.drawing.plane import ScaleBar, scale_bar

HALL = ((0.0, 0.0), (20000.0, 0.0), (20000.0, 10000.0), (0.0, 10000.0))


def body(heading_deg: float, x: float = 5000, y: float = 4000) -> tuple[tuple[float, float], ...]:
    turn = math.radians(heading_deg)
    corners = [(-900, -900), (3800, -900), (3800, 900), (-900, 900)]
    return tuple(
        (
            x + a * math.cos(turn) - b * math.sin(turn),
            y + a * math.sin(turn) + b * math.cos(turn),
        )
        for a, b in corners
    )


def test_both_directions_share_one_scale_and_y_runs_up_the_page() -> None:
    layout = lay_out_floor(FloorMap("Floor", HALL))
    scale = (720 - 2 * MARGIN) / 20000
    assert layout.plane.scale == pytest.approx(scale)
    assert layout.plane.at((0, 10000)) == (MARGIN, MARGIN)
    assert layout.plane.at((20000, 0)) == pytest.approx(
        (720 - MARGIN, MARGIN + 10000 * scale), abs=0.02
    )


def test_a_tall_plan_is_held_to_its_height_and_centred() -> None:
    tall = ((0.0, 0.0), (5000.0, 0.0), (5000.0, 50000.0), (0.0, 50000.0))
    layout = lay_out_floor(FloorMap("Floor", tall))
    assert layout.height <= 760
    left, right = layout.plane.at((0, 0))[0], layout.plane.at((5000, 0))[0]
    assert left == pytest.approx(720 - right, abs=0.02)


@pytest.mark.parametrize("heading", [0, 30, 90, 145, 180, 270])
def test_a_turned_vehicle_keeps_its_size_and_its_middle(heading: float) -> None:
    layout = lay_out_floor(
        FloorMap("Floor", HALL, vehicles=(FloorVehicle("3121", body(heading), heading),))
    )
    (vehicle,) = layout.vehicles
    scale = layout.plane.scale
    assert vehicle.length == pytest.approx(4700 * scale, abs=0.02)
    assert vehicle.width == pytest.approx(1800 * scale, abs=0.02)
    turn = math.radians(heading)
    middle = layout.plane.at((5000 + 1450 * math.cos(turn), 4000 + 1450 * math.sin(turn)))
    assert vehicle.middle == pytest.approx(middle, abs=0.02)
    assert vehicle.turn_deg == -heading


def test_the_nose_points_where_the_vehicle_heads() -> None:
    layout = lay_out_floor(FloorMap("Floor", HALL, vehicles=(FloorVehicle("3121", body(90), 90),)))
    tip = layout.vehicles[0].nose.split()[0]
    x, y = (float(part) for part in tip.split(","))
    assert x > 0  # ahead in its own frame, which is turned by -90°: up the page
    assert y == 0


def test_the_scale_bar_has_its_length_in_both_systems() -> None:
    # 10 ft are exactly 3048 mm (international foot, 1959).
    assert scale_bar(0.035, "us", 216) == ScaleBar(213.36, "20 ft")
    assert scale_bar(0.035, "us", 200) == ScaleBar(106.68, "10 ft")
    assert scale_bar(0.035, "metric", 216).label == "5 m"
    assert scale_bar(0.035, "metric", 216).width == 175.0


def test_a_zone_is_named_inside_itself_even_when_its_corner_is_cut_away() -> None:
    notched = ((0, 0), (9000, 0), (9000, 9000), (4000, 9000), (4000, 5000), (0, 5000))
    layout = lay_out_floor(
        FloorMap("Floor", HALL, zones=(FloorZone("z", "Bay 1", "bay", notched),))
    )
    (label,) = layout.zones[0].labels
    cut_x, cut_y = layout.plane.at((4000, 5000))
    assert label.x > cut_x or label.y > cut_y


def test_remaining_floor_carries_no_name() -> None:
    layout = lay_out_floor(
        FloorMap("Floor", HALL, zones=(FloorZone("rest-1", "rest-1", "rest", HALL),))
    )
    assert layout.zones[0].labels == ()


def test_a_short_distance_keeps_its_true_ends_and_its_words_on_the_page() -> None:
    short = FloorDimension((19900, 5000), (20000, 5000), "12 cm short", short=True)
    layout = lay_out_floor(FloorMap("Floor", HALL, dimensions=(short,)))
    (line,) = layout.dimensions
    assert line.end[0] - line.start[0] == pytest.approx(100 * layout.plane.scale, abs=0.02)
    assert line.label.x + 80 / 2 < layout.width


def test_a_small_map_leaves_words_to_the_titles() -> None:
    vehicle = FloorVehicle("3121", body(0), 0, says="45 cm to spare")
    layout = lay_out_floor(FloorMap("Floor", HALL, vehicles=(vehicle,), width=340))
    assert [label.text for label in layout.vehicles[0].labels] == ["3121"]
    assert "45 cm to spare" in layout.vehicles[0].title


def test_hostile_names_stay_text() -> None:
    bad = "<script>x</script>"
    drawn = draw_floor_map(
        FloorMap(
            bad,
            HALL,
            zones=(FloorZone("z", bad, "bay", HALL),),
            obstacles=(FloorObstacle(bad, ((0, 0), (100, 0), (100, 100))),),
            doors=(FloorDoor((0, 1000), (0, 4000), bad),),
            vehicles=(FloorVehicle(bad, body(0), 0, url="/visits/1/"),),
        )
    )
    assert "<script" not in drawn
    assert drawn.count("&lt;script&gt;") >= 6
    assert 'href="/visits/1/"' in drawn
    assert "style=" not in drawn


def test_an_outline_without_area_is_refused() -> None:
    with pytest.raises(ValueError, match="no area"):
        lay_out_floor(FloorMap("Floor", ((0, 0), (1, 0))))


def test_taken_and_closed_zones_are_hatched_apart_and_said_in_words() -> None:
    narrow = ((0.0, 0.0), (3500.0, 0.0), (3500.0, 9000.0), (0.0, 9000.0))
    zones = (
        FloorZone("a", "Bay 1", "bay", HALL, note="taken by 3121", brief="3121", state="blocked"),
        FloorZone("b", "Bay 2", "bay", narrow, "closed until 14:00: wet paint", "closed", "closed"),
    )
    drawn = draw_floor_map(FloorMap("Floor", HALL, zones=zones))
    assert 'fill="url(#floor-map-blocked)"' in drawn
    assert 'fill="url(#floor-map-closed)"' in drawn
    layout = lay_out_floor(FloorMap("Floor", HALL, zones=zones))
    assert [label.text for label in layout.zones[0].labels] == ["Bay 1 · taken by 3121"]
    assert [label.text for label in layout.zones[1].labels] == ["Bay 2", "closed"]


def test_words_of_a_dimension_keep_off_the_vehicle() -> None:
    vehicle = FloorVehicle("3121", body(90, x=3000, y=2000), 90)
    beside = FloorDimension((0, 4000), (2100, 4000), "2.1 m")
    layout = lay_out_floor(FloorMap("Floor", HALL, vehicles=(vehicle,), dimensions=(beside,)))
    words = label_box(layout.dimensions[0].label)
    left = layout.plane.at((2100, 0))[0]
    assert words.x + words.width <= left or words.y + words.height < layout.plane.at((0, 5800))[1]


def test_placed_vehicle_is_drawn_in_its_own_frame_at_its_pose() -> None:
    placed = FloorPlaced(
        (5000.0, 4000.0, 90.0),
        ((-900.0, -900.0), (3800.0, -900.0), (3800.0, 900.0), (-900.0, 900.0)),
        (((-1900.0, -1900.0), (4800.0, -1900.0), (4800.0, 1900.0), (-1900.0, 1900.0)),),
        "3121",
        fits=True,
    )
    layout = lay_out_floor(FloorMap("Floor", HALL, placed=placed))
    assert layout.placed is not None
    x, y = layout.plane.at((5000, 4000))
    assert layout.placed.transform == f"translate({x:g} {y:g}) rotate(-90)"
    front_left = layout.placed.body.split()[2]
    scale = layout.plane.scale
    # ahead is +x of its frame and left is up the page before it is turned
    assert tuple(map(float, front_left.split(","))) == pytest.approx(
        (3800 * scale, -900 * scale), abs=0.01
    )


def test_swept_floor_keeps_the_floor_it_goes_round() -> None:
    outer = ((0.0, 0.0), (9000.0, 0.0), (9000.0, 9000.0), (0.0, 9000.0))
    inner = ((3000.0, 3000.0), (6000.0, 3000.0), (6000.0, 6000.0), (3000.0, 6000.0))
    move = FloorMove("3121", (outer, inner), ((0.0, 0.0), (9000.0, 9000.0)), "3121 drives in")
    drawn = draw_floor_map(FloorMap("Floor", HALL, moves=(move,)))
    assert 'fill-rule="evenodd"' in drawn
    (laid,) = lay_out_floor(FloorMap("Floor", HALL, moves=(move,))).moves
    assert laid.swept.count("M") == 2


@pytest.mark.parametrize("ratio", [50, 100, 150, 200])
def test_on_paper_a_metre_is_as_long_as_the_scale_makes_it(ratio: int) -> None:
    # 96 CSS pixels are an inch of 25.4 mm (W3C, CSS Values and Units 3).
    layout = lay_out_floor(FloorMap("Floor", HALL, ratio=ratio))
    (ax, _), (bx, _) = layout.plane.at((0, 0)), layout.plane.at((1000, 0))
    assert (bx - ax) * 25.4 / 96 == pytest.approx(1000 / ratio, abs=0.01)
    assert layout.paper_mm is not None
    assert layout.paper_mm[0] == pytest.approx(layout.width / PIXELS_PER_MM, abs=0.01)
