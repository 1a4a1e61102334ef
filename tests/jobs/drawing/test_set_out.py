"""The set-out sheet in the vehicle's frame: ahead is up, left is left, one scale."""

import pytest

from jobs.drawing import (
    SetOutDimension,
    SetOutShape,
    SetOutSheet,
    SetOutVehicle,
    ShapeKind,
    draw_set_out,
)
from jobs.drawing.dimensions import circled
from jobs.drawing.set_out import lay_out_set_out

VAN = SetOutVehicle(2030, 3300, 980, 1080, 1874, 235, 700)
ACROSS = SetOutDimension(1, (0, 937), (0, -937), "187.4 cm", "± 0.5 mm", "Across the rear tyres")


def corner(x: float, side: int) -> SetOutDimension:
    return SetOutDimension(2, (x, side * 937), (x, side * 1105), "16.8 cm")


def test_ahead_is_up_and_the_vehicles_left_is_on_the_left() -> None:
    layout = lay_out_set_out(SetOutSheet("Sheet", VAN, dimensions=(ACROSS,)))
    (line,) = layout.dimensions
    assert line.start[0] < line.end[0]  # y = +937 is the vehicle's left
    front_left, _, rear_left, _ = layout.tyres
    assert front_left.y < rear_left.y


def test_lengths_on_the_sheet_are_true_to_one_scale() -> None:
    layout = lay_out_set_out(SetOutSheet("Sheet", VAN, dimensions=(ACROSS,)))
    scale = layout.plane.scale
    assert layout.body.width == pytest.approx(2030 * scale, abs=0.02)
    assert layout.body.height == pytest.approx((3300 + 980 + 1080) * scale, abs=0.02)
    line = layout.dimensions[0]
    assert line.end[0] - line.start[0] == pytest.approx(1874 * scale, abs=0.02)


def test_tyres_touch_the_outer_track_and_stand_on_the_axles() -> None:
    layout = lay_out_set_out(SetOutSheet("Sheet", VAN))
    front_left, front_right, rear_left, _ = layout.tyres
    scale = layout.plane.scale
    outer = front_right.x + front_right.width - front_left.x
    assert outer == pytest.approx(1874 * scale, abs=0.03)
    assert rear_left.y - front_left.y == pytest.approx(3300 * scale, abs=0.03)


def test_the_same_distance_at_four_corners_is_worded_once_and_marked_four_times() -> None:
    layout = lay_out_set_out(
        SetOutSheet(
            "Sheet", VAN, dimensions=tuple(corner(x, s) for x in (0, 3300) for s in (1, -1))
        )
    )
    assert [line.mark for line in layout.dimensions] == ["②"] * 4
    assert [line.text for line in layout.dimensions] == ["16.8 cm", "", "", ""]
    assert [(step.mark, step.text) for step in layout.steps] == [("②", "16.8 cm")]


def test_words_cover_neither_tyres_nor_each_other() -> None:
    dimensions = (ACROSS, *(corner(x, s) for x in (0, 3300) for s in (1, -1)))
    layout = lay_out_set_out(SetOutSheet("Sheet", VAN, dimensions=dimensions))
    labels = [line.label for line in layout.dimensions]
    for nth, label in enumerate(labels):
        assert not any(label.overlaps(other) for other in labels[nth + 1 :])
        assert not any(label.overlaps(tyre) for tyre in layout.tyres)


def test_words_beside_the_outermost_line_widen_the_view_box() -> None:
    far = SetOutDimension(3, (4280, -1015), (6500, -1015), "at least 2.2 m of clear floor ahead")
    sheet = SetOutSheet("Sheet", VAN, dimensions=(far,))
    layout = lay_out_set_out(sheet)
    (line,) = layout.dimensions
    assert layout.left <= line.label.x
    assert line.label.x + line.label.width <= layout.left + layout.width
    assert f'viewBox="{layout.left} 0 {layout.width} {layout.height}"' in draw_set_out(sheet)


def test_a_shifted_line_keeps_its_length_and_leads_back_to_what_it_measures() -> None:
    shifted = SetOutDimension(1, (0, 937), (0, -937), "187.4 cm", shift_mm=(-1500, 0))
    (line,) = lay_out_set_out(SetOutSheet("Sheet", VAN, dimensions=(shifted,))).dimensions
    assert line.start[1] == line.end[1]
    assert [to for _, to in line.leaders] == [line.start, line.end]
    assert all(at[1] < to[1] for at, to in line.leaders)


@pytest.mark.parametrize(
    ("facing_deg", "dx", "dy"),
    [(0, 0, -1), (90, -1, 0), (180, 0, 1), (-90, 1, 0)],  # ahead, left, back, right
)
def test_an_arrow_points_where_its_shape_faces(facing_deg: float, dx: int, dy: int) -> None:
    mat = SetOutShape(
        ShapeKind.MAT, ((0, -1000), (3000, -1000), (3000, -3000), (0, -3000)), facing_deg=facing_deg
    )
    layout = lay_out_set_out(SetOutSheet("Sheet", VAN, shapes=(mat,)))
    points = [tuple(map(float, p.split(","))) for p in layout.shapes[0].arrow.split()]
    (tip_x, tip_y), (a_x, a_y), (b_x, b_y) = points
    ahead = (tip_x - (a_x + b_x) / 2, tip_y - (a_y + b_y) / 2)
    assert ahead == pytest.approx((dx * 15, dy * 15), abs=0.05)


def test_orders_past_twenty_are_still_numbered() -> None:
    assert [circled(n) for n in (1, 4, 20, 21)] == ["①", "④", "⑳", "(21)"]


def test_hostile_words_stay_text() -> None:
    bad = "<img src=x onerror=alert(1)>"
    drawn = draw_set_out(
        SetOutSheet(
            bad,
            VAN,
            shapes=(SetOutShape(ShapeKind.MARK, ((0, 1000), (0, 1200)), name=bad),),
            dimensions=(SetOutDimension(1, (0, 0), (0, 500), bad, bad, bad),),
        )
    )
    assert "<img" not in drawn
    assert "style=" not in drawn
    assert 'role="img"' in drawn
