"""Contrast of the design tokens, light and dark."""

import re
from pathlib import Path

import pytest
from django.conf import settings

TOKENS = Path(settings.BASE_DIR, "shopcal", "static", "tokens.css").read_text(encoding="utf-8")
PAIRS = {
    name: (light, dark)
    for name, light, dark in re.findall(
        r"--([\w-]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", TOKENS
    )
}
TEXT = [
    ("ink", "floor"),
    ("ink", "sheet"),
    ("ink-2", "floor"),
    ("ink-2", "sheet"),
    ("work", "sheet"),
    ("work", "work-soft"),
    ("sheet", "work"),
    ("tape", "sheet"),
    ("tape", "tape-soft"),
    ("stop", "sheet"),
    ("stop", "stop-soft"),
    ("ok", "sheet"),
    ("ok", "ok-soft"),
    ("ink", "tape-soft"),
    ("ink", "stop-soft"),
    ("ink", "work-soft"),
    ("sheet", "ink"),
]


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (W3C Recommendation, "relative luminance")."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_21_for_black_on_white() -> None:
    # WCAG 2.2: contrast ratios range from 1 to 21.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(("front", "back"), TEXT)
def test_text_reaches_four_and_a_half(front: str, back: str, scheme: int) -> None:
    # WCAG 2.2, success criterion 1.4.3.
    assert contrast(PAIRS[front][scheme], PAIRS[back][scheme]) >= 4.5


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("front", "back"), [("edge", "sheet"), ("edge", "floor"), ("work", "floor"), ("tape", "floor")]
)
def test_borders_of_things_pressed_reach_three(front: str, back: str, scheme: int) -> None:
    # WCAG 2.2, success criterion 1.4.11.
    assert contrast(PAIRS[front][scheme], PAIRS[back][scheme]) >= 3.0
