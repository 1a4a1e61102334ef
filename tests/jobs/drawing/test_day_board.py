"""Geometry of the day: positions by elapsed minutes, joined rows, nothing running over."""

import re
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta

import pytest

from jobs.drawing import BarState, BoardRow, RowGroup, Shade, draw_day_board
from jobs.drawing.board_bars import GAP, LANE_HEIGHT, PAD
from jobs.drawing.day_board import HEAD, LABELS, LOW_ROW, RIGHT, WIDTH, lay_out_day
from jobs.drawing.page import text_width
from tests.jobs.drawing.cast import at, day, step

PLOT = WIDTH - LABELS - RIGHT
SVG = "{http://www.w3.org/2000/svg}"


def test_a_bar_stands_where_its_minutes_are() -> None:
    (bar,) = lay_out_day(day(step("bay-1", starts=at(10, 30), ends=at(12)))).bars
    assert bar.x == pytest.approx(LABELS + PLOT * 150 / 600, abs=0.02)
    assert bar.width == pytest.approx(PLOT * 90 / 600, abs=0.02)


def test_moments_in_utc_and_in_shop_time_stand_at_the_same_place() -> None:
    local = lay_out_day(day(step("bay-1", starts=at(9), ends=at(10)))).bars[0]
    utc = lay_out_day(
        day(step("bay-1", starts=at(9).astimezone(UTC), ends=at(10).astimezone(UTC)))
    ).bars[0]
    assert (local.x, local.width, local.title) == (utc.x, utc.width, utc.title)


def test_the_day_clocks_go_forward_has_23_hours_and_no_two_oclock() -> None:
    # 8 March 2026 in the United States (tz database, America/Chicago): 2:00 becomes 3:00.
    board = day(
        step("bay-1", starts=at(1, 30, day=8), ends=at(3, 30, day=8)),
        opens_at=at(0, day=8),
        closes_at=at(0, day=9),
    )
    layout = lay_out_day(board)
    assert layout.bars[0].width == pytest.approx(PLOT * 60 / (23 * 60), abs=0.02)
    assert layout.bars[0].x == pytest.approx(LABELS + PLOT * 90 / (23 * 60), abs=0.02)
    assert len(layout.ticks) == 24
    gaps = {round(b.x - a.x, 1) for a, b in zip(layout.ticks, layout.ticks[1:], strict=False)}
    assert max(gaps) - min(gaps) <= 0.11


def test_the_day_clocks_go_back_shows_one_oclock_twice_and_names_the_second() -> None:
    # 1 November 2026 in the United States (tz database): 2:00 daylight time becomes 1:00.
    board = day(
        step(
            "bay-1",
            starts=at(1, 30, day=1, month=11),
            ends=at(1, 30, day=1, month=11, fold=1),
        ),
        opens_at=at(0, day=1, month=11),
        closes_at=at(6, day=1, month=11),
    )
    layout = lay_out_day(board)
    assert layout.bars[0].width == pytest.approx(PLOT / 7, abs=0.02)
    labels = [tick.label for tick in layout.ticks]
    assert labels[:4] == ["0:00", "1:00", "1:00 CST", "2:00"]


def test_neighbouring_rows_become_one_bar_and_rows_apart_are_drawn_in_each() -> None:
    joined = lay_out_day(day(step("bay-1", "bay-2", starts=at(9), ends=at(10)))).bars
    assert [(bar.row_span, bar.height) for bar in joined] == [(2, 2 * LANE_HEIGHT - 2 * PAD)]
    apart = lay_out_day(day(step("bay-1", "bay-3", "bay-4", starts=at(9), ends=at(10)))).bars
    assert [bar.row_span for bar in apart] == [1, 2]
    assert "Bay 1 and Bay 3 and Bay 4" in apart[0].title


def test_rows_of_two_groups_are_never_joined() -> None:
    bars = lay_out_day(day(step("bay-4", "lind", starts=at(9), ends=at(10)))).bars
    assert [bar.row_span for bar in bars] == [1, 1]


def test_overlapping_bars_of_one_row_take_lanes_and_the_row_grows() -> None:
    layout = lay_out_day(
        day(
            step("osei", starts=at(9), ends=at(11)),
            step("osei", starts=at(10), ends=at(10, 20), reference="3120"),
            step("osei", starts=at(11), ends=at(12), reference="3121"),
        )
    )
    assert layout.rows[-1].height == 2 * LANE_HEIGHT
    first, second, third = layout.bars
    assert second.y == first.y + LANE_HEIGHT
    assert third.y == first.y


def test_a_joined_bar_never_covers_another_bar_of_its_rows() -> None:
    layout = lay_out_day(
        day(
            step("bay-1", "bay-2", starts=at(9), ends=at(11)),
            step("bay-2", starts=at(10), ends=at(12), reference="3120"),
        )
    )
    for nth, one in enumerate(layout.bars):
        for other in layout.bars[nth + 1 :]:
            apart = one.x + one.width <= other.x or other.x + other.width <= one.x
            above = one.y + one.height <= other.y or other.y + other.height <= one.y
            assert apart or above


def test_bars_are_held_to_the_plot_and_marked_where_they_are_cut() -> None:
    (bar,) = lay_out_day(day(step("bay-1", starts=at(6), ends=at(19)))).bars
    assert (bar.x, bar.width) == (LABELS, PLOT)
    assert (bar.cut_left, bar.cut_right) == (True, True)


def test_what_lies_outside_the_hours_is_said_and_not_lost() -> None:
    layout = lay_out_day(day(step("bay-1", starts=at(19), ends=at(20))))
    assert layout.bars == ()
    assert layout.outside == ("3117 Front camera, 19:00 to 20:00",)


def test_the_now_line_stands_at_the_clock_and_only_within_the_day() -> None:
    now = lay_out_day(day(now_at=at(10, 42))).now
    assert now is not None
    assert now.x == pytest.approx(LABELS + PLOT * 162 / 600, abs=0.02)
    assert now.label == "10:42"
    assert lay_out_day(day(now_at=at(18, 1))).now is None


def test_late_is_said_beside_the_bar_where_there_is_room() -> None:
    late = step("bay-1", starts=at(9), ends=at(10), state=BarState.LATE, says="25 min late")
    (bar,) = lay_out_day(day(late)).bars
    assert bar.words == "25 min late"
    assert bar.flag_x == bar.x + bar.width
    assert bar.words_x > bar.x + bar.width


def test_late_is_said_inside_the_bar_when_the_next_one_follows_close() -> None:
    late = step("bay-1", starts=at(9), ends=at(10), state=BarState.LATE, says="25 min late")
    bar = lay_out_day(day(late, step("bay-1", starts=at(10, 5), ends=at(11)))).bars[0]
    assert bar.words == ""
    assert bar.line == "25 min late"


def test_words_beside_a_bar_end_before_the_next_bar_of_any_joined_row() -> None:
    late = step("bay-1", "bay-2", starts=at(9), ends=at(10), state=BarState.LATE, says="late")
    bar = lay_out_day(day(late, step("bay-2", starts=at(10, 5), ends=at(11)))).bars[0]
    assert bar.words == ""


def test_shades_take_their_row_or_every_row_and_say_why() -> None:
    layout = lay_out_day(
        day(
            shades=(
                Shade("lind", at(12), at(13), "lunch"),
                Shade(None, at(17), at(18), "closed for stocktaking until tomorrow"),
            )
        )
    )
    assert len(layout.shades) == 1 + len(layout.rows)
    assert layout.shades[0].title == "M. Lind: lunch, 12:00 to 13:00"
    assert layout.shades[0].word == "lunch"
    assert layout.shades[1].word == ""  # too long for its hour, kept in the title


def test_forty_visits_all_get_a_bar_inside_the_page() -> None:
    bars = [
        step(
            f"bay-{nth % 4 + 1}",
            starts=at(8) + timedelta(minutes=15 * nth),
            ends=at(8) + timedelta(minutes=15 * nth + 5),
            reference=str(3100 + nth),
        )
        for nth in range(40)
    ]
    layout = lay_out_day(day(*bars))
    assert len({bar.title for bar in layout.bars}) == 40
    assert all(bar.x + bar.width <= WIDTH - RIGHT + 4 for bar in layout.bars)
    assert all(bar.y + bar.height <= layout.bottom for bar in layout.bars)


def test_an_empty_day_says_what_to_do_first() -> None:
    drawn = draw_day_board(day())
    assert "Book the first vehicle" in drawn
    assert "Book the first vehicle" not in draw_day_board(
        day(step("bay-1", starts=at(9), ends=at(10)))
    )


def test_the_words_of_every_bar_are_clipped_to_its_own_rectangle() -> None:
    board = day(step("bay-1", starts=at(9), ends=at(9, 40)))
    layout = lay_out_day(board)
    root = _svg(draw_day_board(board))
    clip = root.find(f".//{SVG}clipPath[@id='day-board-c0']/{SVG}rect")
    assert clip is not None
    assert float(clip.get("x", "")) == layout.bars[0].x + GAP
    assert float(clip.get("width", "")) == pytest.approx(layout.bars[0].width - 2 * GAP)
    holder = root.find(f".//{SVG}g[@clip-path='url(#day-board-c0)']")
    assert holder is not None
    assert holder.find(f"{SVG}text") is not None


def test_hostile_names_stay_text_and_the_drawing_stays_well_formed() -> None:
    bad = '"><script>alert(1)</script>&'
    root = _svg(
        draw_day_board(
            day(
                step("bay-1", starts=at(9), ends=at(17), label=bad, vehicle=bad, url="/visits/1/"),
                shades=(Shade("lind", at(9), at(17), bad),),
            )
        )
    )
    assert not [element for element in root.iter() if "script" in element.tag]
    link = root.find(f".//{SVG}a")
    assert link is not None
    assert bad in link.get("aria-label", "")


def test_the_page_size_is_the_view_box_and_a_drawing_with_links_is_a_group() -> None:
    board = day(step("bay-1", starts=at(9), ends=at(10), url="/visits/1/"))
    root = _svg(draw_day_board(board))
    layout = lay_out_day(board)
    assert root.get("viewBox") == f"{LABELS} 0 {WIDTH - LABELS} {layout.height}"
    names = _svg(draw_day_board(board), "names")
    assert names.get("viewBox") == f"0 0 {LABELS} {layout.height}"
    assert root.get("role") == "group"  # role img would hide the links from screen readers
    assert "style" not in {name for element in root.iter() for name in element.keys()}  # noqa: SIM118


def test_a_day_that_closes_before_it_opens_is_refused() -> None:
    with pytest.raises(ValueError, match="closing must be after opening"):
        lay_out_day(day(opens_at=at(18), closes_at=at(8)))


def test_steps_that_follow_at_once_leave_a_gap_between_their_rectangles() -> None:
    first, second = lay_out_day(
        day(
            step("bay-1", starts=at(9), ends=at(10)),
            step("bay-1", starts=at(10), ends=at(10, 15), label="Post-scan"),
        )
    ).bars
    assert first.x + first.width == pytest.approx(second.x, abs=0.02)
    gap = second.body_x - (first.body_x + first.body_width)
    assert gap == pytest.approx(2 * GAP, abs=0.02)


def test_rows_nothing_stands_in_all_day_are_low_and_the_others_are_not() -> None:
    layout = lay_out_day(day(step("bay-2", "lind", starts=at(9), ends=at(10))))
    heights = {row.name: row.height for row in layout.rows}
    assert heights.pop("Bay 2") == heights.pop("M. Lind") == LANE_HEIGHT
    assert set(heights.values()) == {LOW_ROW}
    assert layout.rows[0].y == HEAD
    for above, below in zip(layout.rows[:4], layout.rows[1:4], strict=False):
        assert below.y == above.bottom


def test_a_low_row_says_its_note_on_the_line_of_the_name_and_inside_the_column() -> None:
    low, *_ = lay_out_day(day()).rows
    assert low.note_y == low.name_y < low.bottom
    assert low.shown_note == "6.4 × 3.6 m"
    assert low.note_x > 2 + text_width("Bay 1", 14, bold=True)
    assert low.note_x + text_width(low.note, 13) <= LABELS


def test_every_group_has_its_heading_above_its_first_row() -> None:
    layout = lay_out_day(day())
    assert [name for _, name in layout.headings] == ["Bays", "Technicians"]
    assert layout.headings[0][0] < layout.rows[0].y
    assert layout.rows[3].bottom < layout.headings[1][0] < layout.rows[4].y


def test_eleven_bays_and_four_technicians_fit_the_height_of_a_desk_screen() -> None:
    bays = RowGroup("Bays", tuple(BoardRow(f"b{n}", f"Bay {n}", "11.0 × 4.6 m") for n in range(11)))
    people = RowGroup("Technicians", tuple(BoardRow(f"t{n}", f"T. {n}") for n in range(4)))
    busy = [*(f"b{n}" for n in range(4)), *(f"t{n}" for n in range(4))]
    bars = [step(row, starts=at(9), ends=at(10)) for row in busy]
    assert lay_out_day(day(*bars, groups=(bays, people))).height <= 640


@pytest.mark.parametrize(
    ("label", "minutes", "shown"),
    [
        ("Surround view, floor mats", 60, "Surround view"),
        ("Front camera, target ahead", 60, "Front camera"),
        ("Front radar, reflector ahead", 60, "Front radar"),
        ("Wheel alignment, before cameras and radars", 75, "Wheel alignment"),
        ("Rear corner radars, stand at each corner", 55, "Rear corner"),
        ("Front camera, target ahead", 240, "Front camera, target ahead"),
    ],
)
def test_a_label_is_cut_at_its_comma_then_by_whole_words(
    label: str, minutes: int, shown: str
) -> None:
    ends = at(9) + timedelta(minutes=minutes)
    (bar,) = lay_out_day(day(step("bay-1", starts=at(9), ends=ends, label=label))).bars
    assert (bar.label, bar.line) == (shown, "3117")


def test_a_short_name_that_is_given_goes_before_cutting() -> None:
    board = day(
        step("bay-1", starts=at(9), ends=at(10), label="Wheel alignment, first", short_label="Rack")
    )
    assert lay_out_day(board).bars[0].label == "Rack"


def test_only_a_single_word_too_long_for_its_bar_ends_in_dots() -> None:
    (bar,) = lay_out_day(
        day(step("bay-1", starts=at(9), ends=at(9, 40), label="Recalibration"))
    ).bars
    assert bar.label.endswith("…")
    assert "Recalibration".startswith(bar.label[:-1])


@pytest.mark.parametrize("state", list(BarState))
def test_a_bar_too_narrow_for_the_whole_reference_says_nothing(state: BarState) -> None:
    scan = step("bay-1", starts=at(9), ends=at(9, 15), label="Pre-scan", state=state)
    (bar,) = lay_out_day(day(scan, step("bay-1", starts=at(9, 15), ends=at(10)))).bars[:1]
    assert (bar.label, bar.line, bar.words) == ("", "", "")
    assert bar.title.startswith("3117: Pre-scan. 9:00 to 9:15")
    assert bool(bar.mark_path) == (state != BarState.PLANNED)
    if bar.mark:
        assert bar.body_x <= bar.mark_x
        assert bar.mark_x + 10 <= bar.body_x + bar.body_width


@pytest.mark.parametrize("minutes", range(5, 125, 5))
def test_no_words_run_over_their_bar(minutes: int) -> None:
    for state in BarState:
        ends = at(9) + timedelta(minutes=minutes)
        one = step("bay-1", starts=at(9), ends=ends, state=state, vehicle="Tern Van")
        bar = lay_out_day(day(one, step("bay-1", starts=ends, ends=at(12)))).bars[0]
        right = bar.body_x + bar.body_width
        assert bar.text_x + text_width(bar.label, 13) <= right or not bar.label
        assert bar.line_x + text_width(bar.line, 13, bold=True) <= right or not bar.line
        assert bar.line in {"", "3117", "Tern Van · 3117", "late", "at risk", "on hold"}


def test_the_clock_of_the_now_line_stands_at_the_top_and_no_hour_under_it() -> None:
    board = day(now_at=at(10, 5))
    layout = lay_out_day(board)
    assert layout.now is not None
    labels = [tick.label for tick in layout.ticks]
    assert "10:00" not in labels
    assert {"9:00", "11:00"} <= set(labels)
    assert len(labels) == 11
    tag = _svg(draw_day_board(board)).find(f".//{SVG}g[@class='now']/{SVG}rect")
    assert tag is not None
    assert float(tag.get("y", "")) + float(tag.get("height", "")) <= HEAD


@pytest.mark.parametrize("now_at", [at(8), at(18)])
def test_the_clock_of_the_now_line_stays_inside_the_drawing(now_at: datetime) -> None:
    now = lay_out_day(day(now_at=now_at)).now
    assert now is not None
    assert now.box_x >= LABELS
    assert now.box_x + now.box_width <= WIDTH


def test_a_board_wider_than_the_screen_scrolls_by_keyboard_under_its_names() -> None:
    drawn = draw_day_board(day(step("bay-1", starts=at(9), ends=at(10))))
    box = re.search(r'<div class="board-box"([^>]*)>', drawn)
    assert box is not None
    for part in ('role="region"', 'tabindex="0"', 'aria-label="Tuesday'):
        assert part in box[1]
    names = [text.text for text in _svg(drawn, "names").iter(f"{SVG}text")]
    assert "Bay 1" in names
    assert "Bay 1" not in {text.text for text in _svg(drawn).iter(f"{SVG}text")}


def _svg(drawn: str, which: str = "chart") -> ET.Element:
    start = drawn.index(f'<svg class="{which}"')
    end = drawn.index("</svg>", start) + len("</svg>")
    text = drawn[start:end].replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    return ET.fromstring(text)
