"""The floor on paper: the scale that is stated is the scale that is drawn."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from jobs.drawing.floor_paper import PAPERS_MM, RATIOS, fitting_sheet
from tests.jobs.pages import cast

pytestmark = pytest.mark.django_db

HALL = ((0.0, 0.0), (40_000.0, 0.0), (40_000.0, 20_000.0), (0.0, 20_000.0))


def page_of(client: Client, query: str) -> str:
    answer = client.get(f"/floor/print/?{query}")
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize(("paper", "ratio"), [("a4", 150), ("a3", 100)])
def test_walls_of_forty_metres_measure_what_the_stated_scale_makes_them(
    office: Client, paper: str, ratio: int
) -> None:
    """The SVG's own size in millimetres over its viewBox gives millimetres of paper for a unit."""
    page = page_of(office, f"paper={paper}")
    assert f"1:{ratio}" in page
    wide, high = map(float, re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', page).groups())  # type: ignore[union-attr]
    size = re.search(r'width="([\d.]+)mm" height="([\d.]+)mm"', page)
    assert size
    per_unit = float(size[1]) / wide
    assert per_unit == pytest.approx(float(size[2]) / high, rel=1e-4)
    wall = re.search(r'class="wall" points="([^"]+)"', page)
    assert wall
    xs = [float(spot.split(",")[0]) for spot in wall[1].split()]
    assert (max(xs) - min(xs)) * per_unit == pytest.approx(40_000 / ratio, abs=0.1)
    bar = re.search(r"M0 -5 v10 M0 0 h([\d.]+) m0", page)
    assert bar
    assert float(bar[1]) * per_unit == pytest.approx(10_000 / ratio, abs=0.1)
    assert ">10 m" in page


@pytest.mark.parametrize("paper", sorted(PAPERS_MM))
def test_sheet_holds_the_whole_floor_at_the_largest_scale_there_is(paper: str) -> None:
    sheet = fitting_sheet(HALL, paper)
    wide, high = PAPERS_MM[paper]
    assert 40_000 / sheet.ratio <= wide - 16
    assert 20_000 / sheet.ratio <= high - 16
    larger = RATIOS[RATIOS.index(sheet.ratio) - 1]
    assert 40_000 / larger > wide - 20 or 20_000 / larger > high - 60


def test_tall_floor_stands_upright_where_that_draws_it_larger() -> None:
    tall = tuple((y, x) for x, y in HALL)
    assert fitting_sheet(tall, "a4").page == "a4-upright"
    assert fitting_sheet(HALL, "a4").page == "a4-across"


def test_title_block_names_shop_edition_moment_scale_and_cautions(
    office: Client, service_writer: cast.Any
) -> None:
    cast.book(service_writer.actor)
    page = page_of(office, "paper=a4&on=2026-03-04&at=10:00")
    for said in ("Main hall, edition 1", "Wed 4 Mar 2026, 10:00", "Scale on A4", "Printed",
                 "look before you drive", "go before anything shown here"):  # fmt: skip
        assert said in page


def test_paper_that_is_not_known_is_a4(office: Client) -> None:
    assert "Scale on A4" in page_of(office, "paper=napkin")


def test_stranger_may_not_print(client: Client, db: None) -> None:
    assert client.get("/floor/print/").status_code == 302
