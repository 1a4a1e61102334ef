"""Placing a vehicle by hand: the form and the panel give the same answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from bays.models import Hold, HoldReason, Resource
from jobs.models import Step
from shopcal.accounts.models import Shop
from tests.conftest import Person
from tests.jobs.pages import cast
from tests.jobs.pages.conftest import MORNING

pytestmark = pytest.mark.django_db

# The demo's Heron Sedan is 4,800 long and 1,850 wide, 1,080 of it behind the rear axle; bay 5 is
# 6,400 wide and 11,000 deep, its wall at y = 0.
SEDAN: dict[str, Any] = {"vehicle": "kind-heron-sedan", "procedure": "vehicle-alone"}
AHEAD_MM = 2_790 + 930
IN_BAY_5 = {"x": "21.6 m", "y": "7500 mm", "heading": "270"}


def asked(client: Client, path: str = "/floor/place/", status: int = 200, **said: str) -> str:
    answer = client.get(path, said)
    assert answer.status_code == status, answer.content
    return answer.content.decode()


def test_vehicle_alone_in_a_bay_has_the_room_that_is_left_of_it(office: Client) -> None:
    page = asked(office, **SEDAN, **IN_BAY_5)
    assert "It fits here, " in page
    assert 7_500 - AHEAD_MM == 3_780  # the wall below, said rounded down
    assert "3.7 m to the wall" in page
    assert "Takes" in page
    assert "Bay 5" in page


def test_vehicle_in_the_wall_is_told_how_much_is_short(office: Client) -> None:
    page = asked(office, **SEDAN, x="21600", y=f"{AHEAD_MM - 120} mm", heading="270")
    assert "It does not fit here" in page
    assert "short by 12 cm in front, against the wall" in page
    assert ">12 cm short</text>" in page


def test_panel_gives_map_and_answer_and_the_pose_in_words(office: Client) -> None:
    panel = asked(office, "/floor/place/panel/", **SEDAN, **IN_BAY_5)
    assert 'data-x="21600.0" data-y="7500.0" data-heading="270.0"' in panel
    assert 'data-x-words="21600 mm"' in panel
    assert "data-placed" in panel
    assert "<html" not in panel


def test_bay_closed_at_that_time_is_solid_and_named(office: Client, furnished: Shop) -> None:
    Hold.objects.create(
        shop=furnished,
        resource=Resource.objects.get(shop=furnished, code="bay-5"),
        starts_at=MORNING,
        ends_at=MORNING.replace(hour=20),
        reason=HoldReason.CLOSED,
        note="wet paint",
    )
    page = asked(office, **SEDAN, **IN_BAY_5, at="09:00")
    assert "It does not fit here" in page
    assert "if Bay 5 is empty (from 14:30 it is)" in page
    assert "Bay 5, closed" in page
    assert "It fits here" in asked(office, **SEDAN, **IN_BAY_5, at="14:30")


def test_own_booking_does_not_stand_in_the_way_of_a_visit(
    office: Client, service_writer: Person
) -> None:
    visit = cast.book(service_writer.actor)
    step = visit.steps.get(kind=Step.Kind.CALIBRATION)
    assert step.starts_at is not None
    at = step.starts_at.astimezone(visit.shop.zone)
    page = asked(office, vehicle=f"visit-{visit.pk}", on=f"{at:%Y-%m-%d}", at=f"{at:%H:%M}")
    assert "It fits here" in page
    x, y, heading = (step.placement or {})["pose"]  # it begins where it is planned to stand
    assert f'value="{x:.0f} mm"' in page
    assert f'value="{y:.0f} mm"' in page
    assert f'value="{heading:g}"' in page


def test_roomiest_nearby_is_no_worse_and_at_the_same_heading(office: Client) -> None:
    page = asked(office, **SEDAN, x="19.5 m", y="5 m", heading="270", find="near")
    assert "It fits here" in page
    assert 'name="heading" value="270"' in page
    assert 'value="19500 mm"' not in page


def test_roomiest_place_and_the_list_of_places_agree(office: Client) -> None:
    said = {"vehicle": "kind-tern-van", "procedure": "surround_view_mats"}
    listed = asked(office, "/floor/place/options/", **said)
    first = listed.split('data-x="')[1].split('"')[0]
    assert f'value="{first}"' in asked(office, **said, find="roomiest")


def test_way_in_is_drawn_when_asked_for(office: Client) -> None:
    page = asked(office, **SEDAN, **IN_BAY_5, find="way")
    assert "In by the " in page
    assert 'class="swept" d="M' in page
    assert 'class="swept" d="M' not in asked(office, **SEDAN, **IN_BAY_5)


def test_no_way_in_is_proven_only_where_the_pose_itself_is_blocked(office: Client) -> None:
    page = asked(office, **SEDAN, x="38 m", y="5 m", heading="270", find="way")  # in the store
    assert "It cannot be driven there from a door." in page
    assert 'class="swept"' not in page


def test_nothing_near_is_said(office: Client) -> None:
    page = asked(office, **SEDAN, x="38 m", y="5 m", heading="270", find="near")
    assert "does not fit within 1 m of here at this heading" in page


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"x": "near the door"}, "is no length"),
        ({"x": "5 parsecs"}, "is no unit of length here"),
        ({"y": "9000 m"}, "farther than any floor reaches"),
        ({"heading": "north"}, "Enter a number."),
        ({"vehicle": "visit-999999"}, "no vehicle"),
        ({"procedure": "witchcraft"}, "no such procedure"),
    ],
)
def test_what_cannot_be_read_is_told_beside_its_field(
    office: Client, said: dict[str, str], words: str
) -> None:
    page = asked(office, **{**SEDAN, **IN_BAY_5, **said})
    assert words in page
    assert "It fits here" not in page


def test_feet_and_inches_are_read_and_written_in_a_us_shop(office: Client, furnished: Shop) -> None:
    furnished.units = "us"
    furnished.save()
    page = asked(office, **SEDAN, x="70 ft 10.4 in", y="24 ft 7 in", heading="270")
    assert "ft" in page
    assert 'value="70 ft 10.4 in"' in page
    assert " in to spare" in page


def test_another_shops_visit_is_no_vehicle_here(
    office: Client, service_writer: Person, other_shop: Shop
) -> None:
    visit = cast.book(service_writer.actor)
    visit.shop = other_shop
    visit.save()
    page = asked(office, vehicle=f"visit-{visit.pk}", **IN_BAY_5)
    assert visit.ro_number not in page


def test_stranger_is_sent_to_sign_in(client: Client, db: None) -> None:
    for path in ("/floor/place/", "/floor/place/panel/", "/floor/place/options/"):
        assert client.get(path).status_code == 302


def test_bare_address_places_the_first_vehicle_there_is(office: Client) -> None:
    assert "data-placed" in asked(office)


def test_shop_without_a_floor_plan_is_told_to_publish_one(
    service_writer: Person, client_for: Callable[[Person], Client]
) -> None:
    client = client_for(service_writer)
    assert "no floor plan yet" in asked(client)
    assert "no floor plan yet" in asked(client, "/floor/print/", status=404)
