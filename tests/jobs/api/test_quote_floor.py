"""A quote says of every calibration where it fits, with the facts behind it."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from tests.jobs.api.world import World
from tests.jobs.pages.cast import vin

pytestmark = pytest.mark.django_db


def test_a_quote_tells_where_each_calibration_fits(world: World) -> None:
    body = {"work": ["windscreen_replaced"], "vin": vin("tern", 77)}
    answer = world.writer.post(reverse("api:quote-list"), body, content_type="application/json")
    assert answer.status_code == 200, answer.content
    quote = answer.json()
    (camera,) = quote["floor"]
    assert camera["name"] == "Front camera, target ahead"
    assert quote["no_floor"] == []
    if camera["outcome"] == "fits":
        assert camera["fits"]["margin_mm"] == camera["spare_mm"]
        said = re.search(r"with (\d+) cm to spare", camera["says"])
        assert said is not None
        assert -0.02 <= camera["spare_mm"] - 10 * int(said[1]) < 10
    else:
        assert camera["outcome"] == "occupied"
        assert camera["emptying"]
