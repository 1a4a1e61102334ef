"""The drawing and the judged limits beside the act, from the demo editions."""

from __future__ import annotations

from pathlib import Path

import pytest

from bays.floor import VehicleShape
from jobs.metrology import Results, evaluate
from jobs.pages.work.layouts import Scene, lay_out
from jobs.pages.work.sheet import draw_sheet, orders_of
from jobs.pages.work.strip import Place, strip
from jobs.pages.work.worksheet import check_views, step_views
from jobs.procedures import ProcedureContent, load_yaml

DEMO = Path(__file__).parents[4] / "jobs" / "demo" / "procedures"
# 193 cm across the rear tyres: a practitioner's number (common practice, no source).
VAN = VehicleShape(2030, 3300, 980, 1080, 1930)


def edition(code: str) -> ProcedureContent:
    return ProcedureContent.from_content(load_yaml((DEMO / f"{code}.yaml").read_text()))


def scene(code: str, checking: bool = False, **readings: str) -> Scene:
    content = edition(code)
    results: Results = evaluate(content.worksheet, readings)
    return Scene(content, VAN, results, checking)


def test_mats_lie_as_far_apart_as_the_edition_says_and_reach_far_enough() -> None:
    layout = lay_out(scene("surround_view_mats"))
    inner = {abs(y) for mat in layout.shapes for _, y in mat.points}
    assert min(inner) == 2270 / 2
    assert max(x for mat in layout.shapes for x, _ in mat.points) == 3300 + 980 + 2400
    assert min(x for mat in layout.shapes for x, _ in mat.points) == -1080 - 2400


def test_marks_run_from_the_tyre_as_measured_to_the_mat() -> None:
    layout = lay_out(scene("surround_view_mats", across_rear_tyres="187 cm"))
    marks = [d for d in layout.dimensions if d.order == 2 and "Tread edge" in d.says]
    assert len(marks) == 4
    assert {abs(d.from_point[1]) for d in marks} == {935}
    assert {abs(d.to_point[1]) for d in marks} == {1135}
    assert {d.text for d in marks} == {"20 cm"}


def test_an_unknown_value_is_an_ellipsis_not_a_number() -> None:
    layout = lay_out(scene("surround_view_mats"))
    assert {d.text for d in layout.dimensions if "Tread edge" in d.says} == {"…"}


def test_equal_gaps_are_each_listed() -> None:
    gaps = dict.fromkeys(
        ("left_gap_front", "left_gap_rear", "right_gap_front", "right_gap_rear"), "17 cm"
    )
    drawn = draw_sheet(
        edition("surround_view_mats"),
        VAN,
        evaluate(edition("surround_view_mats").worksheet, gaps),
        checking=True,
        units="metric",
    )
    for name in ("Left gap front", "Left gap rear", "Right gap front", "Right gap rear"):
        assert name in str(drawn)


def test_what_is_measured_carries_the_order_of_the_step_it_serves() -> None:
    orders = orders_of(edition("surround_view_mats"))
    assert orders["across_rear_tyres"] == 2
    assert orders["reach_front"] == 4
    assert orders["left_gap_rear"] == 6


@pytest.mark.parametrize("path", sorted(DEMO.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_demo_procedure_with_a_set_out_has_its_drawing(path: Path) -> None:
    content = edition(path.stem)
    drawn = draw_sheet(
        content, VAN, evaluate(content.worksheet, {}), checking=False, units="metric"
    )
    wanted = content.clear_zone is not None and bool(content.set_out)
    assert (drawn is not None) == wanted


def test_the_target_stands_its_distance_ahead_of_the_front_hubs() -> None:
    layout = lay_out(scene("front_camera_static"))
    (target,) = [shape for shape in layout.shapes if shape.name == "target"]
    assert {x for x, _ in target.points} == {3300 + 4000}


def test_the_board_lies_behind_the_rear_hubs() -> None:
    layout = lay_out(scene("rear_camera"))
    (board,) = [shape for shape in layout.shapes if shape.name == "board"]
    assert {x for x, _ in board.points} == {-2500}


def test_a_limit_waits_for_its_readings_in_words_and_is_judged_when_they_are_there() -> None:
    content = edition("surround_view_mats")
    some = evaluate(content.worksheet, {"left_gap_front": "17.0 cm", "left_gap_rear": "18.2 cm"})
    views = {view.name: view for view in check_views(content, some, "metric")}
    assert views["right_parallel"].waits_for == (
        "right gap at the front tyre",
        "right gap at the rear tyre",
    )
    # 18.2 cm - 17.0 cm against 13 mm
    assert views["left_parallel"].says.startswith("12 mm, limit 13 mm")
    assert views["left_parallel"].bar is not None
    assert "limit 13 mm" in views["left_parallel"].bar


def test_a_setting_out_sentence_tells_its_value_and_how_sure_it_is() -> None:
    content = edition("surround_view_mats")
    results = evaluate(content.worksheet, {"across_rear_tyres": "193 cm"})
    step = next(s for s in step_views(content, results, "metric") if s.mark == "②")
    assert "Mark 17 cm outside the tread edge" in step.says
    assert step.spread.startswith("± 0.")


def test_a_us_shop_reads_inches() -> None:
    content = edition("surround_view_mats")
    results = evaluate(content.worksheet, {"across_rear_tyres": "76 in"}, units="us")
    step = next(s for s in step_views(content, results, "us") if s.mark == "②")
    assert " in outside the tread edge" in step.says


def test_the_strip_shows_what_is_done_and_where_it_stopped() -> None:
    states = [step.state for step in strip(Place.RUN, stopped=True)]
    assert states == ["done", "done", "done", "stop", "", ""]
    assert {step.state for step in strip(None)} == {"done"}
