"""Small bars: lengths in proportion, numbers on the page, more than all of it said."""

import pytest

from jobs.drawing import UseMeters, UseRow, WeekBars, WeekRow, draw_use, draw_weeks
from jobs.drawing.meters import WIDTH, lay_out_use, lay_out_weeks
from jobs.drawing.page import text_width


def test_use_is_drawn_in_proportion_and_held_to_the_rail() -> None:
    layout = lay_out_use(
        UseMeters("Use", (UseRow("Bay 1", 0.25, "25 %"), UseRow("Rack", 1.2, "120 %")))
    )
    quarter, over = layout.rows
    assert quarter.width == pytest.approx(layout.room / 4, abs=0.02)
    assert (over.width, over.over) == (layout.room, True)


def test_week_bars_share_one_scale_and_their_numbers_stay_on_the_page() -> None:
    weeks = WeekBars("Visits", (WeekRow("Cameras", 14, 7, "14 visits", "7 visits"),))
    (row,) = lay_out_weeks(weeks).rows
    assert row.last_width == pytest.approx(row.this_width / 2, abs=0.02)
    assert row.this_x + text_width("14 visits", 14.5, bold=True) <= WIDTH + 0.02


def test_nothing_measured_is_said_and_nothing_divides_by_zero() -> None:
    assert "Nothing measured yet" in draw_use(UseMeters("Use", ()))
    (row,) = lay_out_weeks(WeekBars("Visits", (WeekRow("Cameras", 0, 0, "0", "0"),))).rows
    assert (row.this_width, row.last_width) == (0, 0)


def test_a_long_name_is_cut_to_its_column_and_kept_whole_for_readers() -> None:
    name = "Bay by the wash door behind the compressor"
    (row,) = lay_out_use(UseMeters("Use", (UseRow(name, 0.5, "50 %"),))).rows
    assert row.name.endswith("…")
    assert text_width(row.name, 14.5) <= 160
    assert name in draw_use(UseMeters("Use", (UseRow(name, 0.5, "50 %"),)))


def test_hostile_names_stay_text() -> None:
    bad = "<script>"
    assert bad not in draw_use(UseMeters(bad, (UseRow(bad, 0.5, bad),)))
    assert bad not in draw_weeks(WeekBars(bad, (WeekRow(bad, 1, 2, bad, bad),)))
