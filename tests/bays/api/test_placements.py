"""Placements asked for by a program: what is said, and every fact behind it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bays.models import FloorPlanEdition, FloorSurvey, Hold, Resource
from shopcal.accounts.models import Shop
from tests.bays.api.test_physical_world import PICKUP, around
from tests.jobs.api.world import NOW, World

pytestmark = pytest.mark.django_db

CAR = {
    "width_mm": 1900,
    "wheelbase_mm": 2850,
    "front_overhang_mm": 950,
    "rear_overhang_mm": 1050,
}


def asked(client: Client, **body: Any) -> dict[str, Any]:
    given = {"vehicle": CAR, **body}
    answer = client.post(reverse("api:placement-ask"), given, content_type="application/json")
    assert answer.status_code == 200, answer.content
    found: dict[str, Any] = answer.json()
    return found


def refused(client: Client, **body: Any) -> list[dict[str, Any]]:
    given = {"vehicle": CAR, **body}
    answer = client.post(reverse("api:placement-ask"), given, content_type="application/json")
    assert answer.status_code == 422, answer.content
    errors: list[dict[str, Any]] = answer.json()["errors"]
    return errors


def rect(x0: int, y0: int, x1: int, y1: int) -> list[list[int]]:
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]


@pytest.fixture
def small(world: World) -> Shop:
    """Two bays of 3.2 x 7 m side by side, a rack behind the second, a door before the first."""
    shop = world.here.shop
    newest = FloorPlanEdition.objects.for_shop(shop.pk).order_by("-number")[0]
    content = {
        "name": "Small",
        "outline": rect(0, 0, 6400, 7000),
        "obstacles": [{"id": "R2", "kind": "rack", "polygon": rect(3200, 0, 6400, 1500)}],
        "doors": [{"id": "door", "from": [0, 7000], "to": [3200, 7000]}],
        "zones": [
            {
                "id": f"bay-{i}",
                "name": f"Bay {i}",
                "kind": "bay",
                "polygon": rect(x, 0, x + 3200, 7000),
            }
            for i, x in ((1, 0), (2, 3200))
        ],
        "bays": [
            {
                "id": f"bay-{i}",
                "name": f"Bay {i}",
                "zones": [f"bay-{i}"],
                "centre": [x + 1600, 3500],
                "heading_deg": 270,
            }
            for i, x in ((1, 0), (2, 3200))
        ],
    }
    FloorPlanEdition.objects.create(
        shop=shop,
        number=newest.number + 1,
        name="Small",
        content=content,
        digest="small floor of the placement tests",
        published_at=NOW,
        published_by="test",
    )
    return shop


def test_where_it_fits_is_said_with_the_room_to_spare(world: World, small: Shop) -> None:
    # 3200 - 1900 - 2 x 300 = 700 left across, 350 a side; 7000 - 4850 - 600 along
    found = asked(
        world.writer,
        clear_zone={**around(300), "position_tolerance_mm": 0, "angle_tolerance_deg": 0},
    )
    assert found["fits"] is True
    assert found["why_not"] is None
    answer = found["answer"]
    assert answer["outcome"] == "fits"
    assert answer["says"] in (
        "It fits in Bay 1 with 35 cm to spare.",
        "It fits in Bay 1 with 34 cm to spare.",
    )
    assert answer["spare_mm"] == pytest.approx(350, abs=1.1)
    assert answer["fits"]["zones"] == ["bay-1"]


def test_what_has_to_be_empty_is_told_with_its_time_by_the_shops_clock(
    world: World, small: Shop
) -> None:
    free = NOW + timedelta(hours=2)
    found = asked(
        world.writer,
        clear_zone=around(300),
        occupied_zones=["bay-1", "bay-2"],
        free_from={"bay-1": free.isoformat()},
    )
    assert found["fits"] is False
    why = found["why_not"]
    assert why["outcome"] == "occupied"
    assert why["zones_to_empty"] == [["bay-1"]]
    assert why["says"].startswith("It fits if Bay 1 is empty (from 10:15 it is)")
    (way,) = why["emptying"]
    assert datetime.fromisoformat(way["free_at"]) == free
    assert way["placement"]["zones"] == ["bay-1"]


def test_asked_of_a_moment_the_holds_of_the_shop_count(world: World, small: Shop) -> None:
    zone = Resource.objects.get(shop=small, kind="zone", code="bay-1")
    Hold.objects.filter(resource=zone).delete()
    until = NOW + timedelta(hours=1, minutes=30)
    Hold.objects.create(shop=small, resource=zone, starts_at=NOW, ends_at=until)
    found = asked(world.writer, clear_zone=around(300), at=NOW.isoformat(), minutes=45)
    assert found["fits"] is False
    assert "(from 09:45 it is)" in found["why_not"]["says"]
    later = asked(world.writer, clear_zone=around(300), at=until.isoformat(), minutes=45)
    assert later["fits"] is True


def test_one_bay_is_short_by_so_much_and_the_rack_that_could_be_moved_is_named(
    world: World, small: Shop
) -> None:
    # 7000 - 1500 = 5500 before the rack; 4850 + 2 x 400 = 5650 needed
    clear = {**around(400), "position_tolerance_mm": 0, "angle_tolerance_deg": 0}
    found = asked(world.writer, clear_zone=clear, at_bay="bay-2", square=True)
    why = found["why_not"]
    (short,) = why["shortfalls"]
    assert short["side"] in ("front", "rear")
    assert short["against"] == ["R2"]
    assert short["by_mm"] == pytest.approx(150, abs=0.6)
    assert "short by 15 cm" in why["says"]
    assert "; it fits if rack R2 is moved." in why["says"]
    assert [(r["obstacle"], r["movable"]) for r in why["removals"]] == [("R2", True)]
    assert why["turned_round"] is False
    assert why["bay"] == "bay-2"


def test_one_bay_may_do_at_an_angle_where_it_does_not_along_its_line(
    world: World, small: Shop
) -> None:
    clear = {**around(400), "position_tolerance_mm": 0, "angle_tolerance_deg": 0}
    found = asked(world.writer, clear_zone=clear, at_bay="bay-2")
    assert found["fits"] is True
    assert found["answer"]["outcome"] == "turned"
    assert "short by 15 cm" in found["answer"]["says"]
    assert "off the bay's line: then it" in found["answer"]["says"]


def test_one_pose_is_judged_as_it_stands(world: World, small: Shop) -> None:
    pose = {"x_mm": 1600, "y_mm": 5000, "heading_deg": 270}
    good = asked(world.writer, at_pose=pose)
    assert good["answer"]["says"].startswith("It fits here with 65 cm to spare")
    assert [one["zones"] for one in good["placements"]] == [["bay-1"]]
    high = asked(world.writer, at_pose={**pose, "y_mm": 6000})
    # the rear is 1050 behind the axle, the wall 1000
    (short,) = high["why_not"]["shortfalls"]
    assert (short["side"], short["against"]) == ("rear", ["wall"])
    assert short["by_mm"] == pytest.approx(50, abs=0.1)


def test_the_way_in_from_the_door_is_looked_for_where_it_is_asked_for(
    world: World, small: Shop
) -> None:
    # the first bay lies straight behind a door of 3.2 m, the car is 1.9 m wide
    found = asked(world.writer, min_turning_radius_mm=5000)
    drive = found["answer"]["drive"]
    assert drive["drivable"] == "yes"
    assert drive["zones_to_empty"] == []
    assert asked(world.writer)["answer"]["drive"] is None


def test_lengths_are_said_in_the_shops_units(world: World, small: Shop) -> None:
    small.units = "us"
    small.save()
    said = asked(world.writer, at_pose={"x_mm": 1600, "y_mm": 5000, "heading_deg": 270})
    # 650 mm is 25.59 in
    assert said["answer"]["says"].startswith("It fits here with 25 in to spare")


def test_light_that_nobody_surveyed_is_told_where_it_matters(world: World, small: Shop) -> None:
    found = asked(world.writer, light={"min_lux": 300})
    assert found["fits"] is True
    (light,) = found["answer"]["floor"]
    assert (light["of"], light["verdict"]) == ("light", "unknown")
    assert light["reason"] in ("no_survey", "too_few")
    assert found["answer"]["remarks"] == ["The light was not surveyed there."]


def test_a_floor_that_slopes_too_much_is_no_place(world: World, small: Shop) -> None:
    points = [[x, y, 0.014 * y] for x in range(0, 6401, 800) for y in range(0, 7001, 700)]
    FloorSurvey.objects.create(
        shop=small,
        number=99,
        surveyed_on=NOW.date(),  # the newest
        instrument="rotating laser",
        reading_uncertainty_mm=0.1,
        points=points,
        recorded_by="test",
    )
    found = asked(world.writer, level={"slope_percent": 1.0})
    assert found["fits"] is False
    assert found["placements"] == []
    why = found["why_not"]
    assert why["outcome"] == "floor_unfit"
    assert "but the floor slopes 1.4" in why["says"]
    assert "1 % allowed" in why["says"]


def test_an_unknown_bay_or_zone_is_refused_where_it_was_given(world: World) -> None:
    assert refused(world.writer, at_bay="bay-99")[0]["path"] == "at_bay"
    free = {"free_from": {"nowhere": NOW.isoformat()}}
    assert refused(world.writer, **free)[0]["path"] == "free_from.nowhere"


@pytest.mark.parametrize("moment", ["9999-12-31T23:59:59Z", "0001-01-01T00:00:00Z"])
def test_a_moment_beyond_any_calendar_is_refused(world: World, moment: str) -> None:
    assert refused(world.writer, at=moment)[0]["path"] == "at"
    assert refused(world.writer, free_from={"bay-1": moment})[0]["path"] == "free_from.bay-1"


def test_a_pose_beyond_any_floor_is_refused(world: World) -> None:
    pose = {"x_mm": 1e300, "y_mm": 0, "heading_deg": 0}
    assert refused(world.writer, at_pose=pose)[0]["path"] == "at_pose.x_mm"


def test_a_bay_and_headings_cannot_be_asked_of_together(world: World) -> None:
    errors = refused(world.writer, at_bay="bay-1", headings_deg=[0])
    assert errors[0]["path"] == "headings_deg"


def test_a_zone_too_large_is_told_with_the_nearest_miss(world: World) -> None:
    found = asked(world.writer, vehicle=PICKUP, clear_zone=around(6000))
    why = found["why_not"]
    assert why["outcome"] in ("too_small", "not_found")
    assert why["proven"] is (why["outcome"] == "too_small")
    assert why["shortfalls"]
    assert "Nearest, in " in why["says"]
    assert why["fits"] is None
