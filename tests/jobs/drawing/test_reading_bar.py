"""A reading against its limits: true positions, words that stay on the page, a verdict in words."""

import pytest

from jobs.drawing import ReadingBar, Verdict, draw_reading_bar
from jobs.drawing.page import text_width
from jobs.drawing.reading_bar import LEFT, LIMIT_SIZE, PLOT, WIDTH, lay_out_reading


def reading(value: float, spread: float = 0.1, **more: object) -> ReadingBar:
    values: dict[str, object] = {"verdict": Verdict.PASS, "value_says": f"{value} V", **more}
    return ReadingBar("Battery", value, spread, **values)  # type: ignore[arg-type]


def test_value_spread_and_limits_share_one_scale() -> None:
    layout = lay_out_reading(reading(13.0, 0.2, lower=12.0, upper=14.0))
    lower, upper = (limit.x for limit in layout.limits)
    per_volt = (upper - lower) / 2
    assert layout.point_x == pytest.approx((lower + upper) / 2, abs=0.02)
    assert layout.spread[1] - layout.spread[0] == pytest.approx(0.4 * per_volt, abs=0.03)


def test_bands_fill_the_bar_without_gap_or_overlap() -> None:
    layout = lay_out_reading(reading(13.0, lower=12.0, upper=14.0))
    assert [band.kind for band in layout.bands] == ["outside", "inside", "outside"]
    assert layout.bands[0].x == LEFT
    for one, other in zip(layout.bands, layout.bands[1:], strict=False):
        assert one.x + one.width == pytest.approx(other.x, abs=0.02)
    assert sum(band.width for band in layout.bands) == pytest.approx(PLOT, abs=0.05)


def test_a_size_with_only_an_upper_limit_starts_at_zero() -> None:
    layout = lay_out_reading(reading(12.0, 1.2, upper=12.5))
    assert [band.kind for band in layout.bands] == ["inside", "outside"]
    assert layout.bands[0].x == LEFT
    (limit,) = layout.limits
    assert (layout.point_x - LEFT) / (limit.x - LEFT) == pytest.approx(12.0 / 12.5, abs=0.001)


def test_a_spread_across_the_limit_shows_on_both_sides_of_it() -> None:
    layout = lay_out_reading(reading(12.0, 1.2, upper=12.5, verdict=Verdict.TOO_CLOSE))
    assert layout.spread[0] < layout.limits[0].x < layout.spread[1]
    assert (layout.verdict, layout.verdict_class) == ("too close to call", "tape")


@pytest.mark.parametrize(("value", "side"), [(-300.0, "left"), (400.0, "right")])
def test_a_reading_far_away_is_shown_at_the_edge_and_said(value: float, side: str) -> None:
    bar = reading(value, lower=12.0, upper=14.0, verdict=Verdict.FAIL)
    layout = lay_out_reading(bar)
    assert layout.off_scale == side
    assert layout.point_x in (LEFT, LEFT + PLOT)
    assert "far outside this scale" in draw_reading_bar(bar)


def test_words_of_close_limits_are_pushed_apart() -> None:
    layout = lay_out_reading(
        reading(
            40, lower=0.0, upper=1.0, lower_says="not below 0.0 V", upper_says="not above 1.0 V"
        )
    )
    first, second = layout.limits
    halves = (text_width(first.text, LIMIT_SIZE) + text_width(second.text, LIMIT_SIZE)) / 2
    assert second.text_x - first.text_x >= halves


@pytest.mark.parametrize("value", [12.0, 14.0, 400.0])
def test_the_value_words_stay_on_the_page(value: float) -> None:
    layout = lay_out_reading(
        reading(value, lower=12.0, upper=14.0, value_says="a rather long value ± 0.1")
    )
    half = text_width(layout.value.text, 17, bold=True) / 2
    assert half <= layout.value.text_x <= WIDTH - half


@pytest.mark.parametrize(
    ("limits", "says"),
    [
        ({}, "needs a limit"),
        ({"lower": 2.0, "upper": 2.0}, "must lie below"),
        ({"lower": 3.0, "upper": 2.0}, "must lie below"),
    ],
)
def test_limits_that_make_no_range_are_refused(limits: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        lay_out_reading(reading(1.0, **limits))


@pytest.mark.parametrize("upper", [0.0, -5.0, 1e-9])
def test_odd_single_limits_still_make_a_bar(upper: float) -> None:
    layout = lay_out_reading(reading(upper, 0.0, upper=upper))
    assert all(band.width > 0 for band in layout.bands)


def test_verdict_has_word_and_shape_and_hostile_words_stay_text() -> None:
    drawn = draw_reading_bar(reading(1.0, upper=2.0, value_says="<b>1</b>"))
    assert "<b>" not in drawn
    assert ">pass</text>" in drawn
    assert '<circle cx="7"' in drawn
    assert '<path d="M7 -1' in draw_reading_bar(reading(1.0, upper=2.0, verdict=Verdict.TOO_CLOSE))
    assert '<rect width="14"' in draw_reading_bar(reading(1.0, upper=2.0, verdict=Verdict.FAIL))
