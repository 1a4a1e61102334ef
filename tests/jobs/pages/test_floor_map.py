"""The floor map: what stands where at a moment."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.test import Client

from bays.models import Hold, HoldReason, Resource
from bays.planner.holding import DRIVES_IN
from jobs.models import Step, Visit
from jobs.selectors.floor_now import floor_now
from jobs.services.steps import finish_step, start_step
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from tests.conftest import Person
from tests.jobs.pages import cast
from tests.jobs.pages.conftest import Clock

pytestmark = pytest.mark.django_db


def calibration_of(visit: Visit) -> tuple[Step, datetime]:
    step = visit.steps.get(kind=Step.Kind.CALIBRATION)
    assert step.starts_at is not None
    return step, step.starts_at


def text_of(client: Client, url: str = "/floor/") -> str:
    answer = client.get(url)
    assert answer.status_code == 200
    return answer.content.decode()


def test_stranger_is_sent_to_sign_in(client: Client, db: None) -> None:
    assert client.get("/floor/").status_code == 302


def test_shop_without_a_floor_plan_is_told_to_publish_one(
    clock: Clock, service_writer: Person, client_for: Callable[[Person], Client]
) -> None:
    assert "no floor plan yet" in text_of(client_for(service_writer))


def test_empty_floor_says_so_and_names_the_free_bays(fitter: Client) -> None:
    page = text_of(fitter)
    assert "No vehicle is on the floor at this time." in page
    assert "free: Bay 1" in page


def test_planned_vehicle_is_shown_as_expected_at_its_time(
    office: Client, service_writer: Person, furnished: Shop
) -> None:
    visit = cast.book(service_writer.actor)
    step, starts_at = calibration_of(visit)
    at = starts_at.astimezone(furnished.zone)
    page = text_of(office, f"/floor/?at={at:%H:%M}")
    assert f"Floor, today {at:%H:%M}" in page
    assert "not begun" in page
    assert step.placement_label in page
    assert "to spare" in page
    assert f'href="/visits/{visit.pk}/"' in page
    assert "vehicle proposed" in page  # dashed in the drawing


def test_vehicle_is_at_work_then_waits_then_is_gone(
    service_writer: Person, furnished: Shop, clock: Clock
) -> None:
    visit = cast.book(service_writer.actor)
    step, starts_at = calibration_of(visit)
    by = Actor.system(furnished.pk)
    clock.move_to(starts_at)
    Step.objects.filter(visit=visit, order=1).update(state=Step.State.DONE, ended_at=starts_at)
    start_step(by=by, step=step)
    (there,) = floor_now(furnished.pk, starts_at).standing
    assert (there.step.pk, there.expected, there.waiting) == (step.pk, False, False)
    step.refresh_from_db()
    assert step.ends_at is not None
    clock.move_to(step.ends_at)
    finish_step(by=by, step=step)
    after = [one for one in floor_now(furnished.pk, step.ends_at).standing if one.waiting]
    assert all(one.step.pk == step.pk for one in after)


def test_closed_floor_is_named_with_its_reason(
    office: Client, furnished: Shop, clock: Clock
) -> None:
    bay = Resource.objects.get(shop=furnished, code="bay-2")
    Hold.objects.create(
        shop=furnished,
        resource=bay,
        starts_at=datetime.fromisoformat("2026-03-03T14:00+00:00"),
        ends_at=datetime.fromisoformat("2026-03-03T20:00+00:00"),
        reason=HoldReason.CLOSED,
        note="wet paint",
    )
    page = text_of(office)
    assert "Bay 2: wet paint" in page
    assert "closed until 14:00: wet paint" in page  # on the map as well
    assert 'class="zone bay closed"' in page
    assert "free: Bay 1, Bay 3" in page


def test_vehicle_in_the_shop_but_not_on_the_floor_is_listed(
    office: Client, service_writer: Person
) -> None:
    visit = cast.book(service_writer.actor)
    Visit.objects.filter(pk=visit.pk).update(state="checked_in")
    assert "Here, but not on the floor" in text_of(office)
    assert "checked in" in text_of(office)


def test_nonsense_time_shows_now(office: Client) -> None:
    assert "Floor, today 08:30" in text_of(office, "/floor/?at=noon")


def test_zone_taken_by_a_clear_zone_where_nobody_stands_is_hatched(
    office: Client, service_writer: Person, furnished: Shop
) -> None:
    visit = cast.book(service_writer.actor)
    step, starts_at = calibration_of(visit)
    neighbour = Resource.objects.get(shop=furnished, code="prep-3")
    assert step.ends_at is not None
    assert step.placement is not None
    Hold.objects.create(
        shop=furnished,
        resource=neighbour,
        starts_at=starts_at,
        ends_at=step.ends_at,
        step_id=step.pk,
    )
    step.placement["zones"] = [*step.placement["zones"], "prep-3"]
    step.save()
    page = text_of(office, f"/floor/?at={starts_at.astimezone(furnished.zone):%H:%M}")
    assert 'class="zone bay blocked"' in page
    assert f"taken by {visit.ro_number}" in page
    assert "taken by a clear zone, nobody stands there" in page  # said in words beside the sign


def test_zone_held_only_for_the_way_in_shows_the_vehicle_on_the_move(
    office: Client, service_writer: Person, furnished: Shop
) -> None:
    visit = cast.book(service_writer.actor)
    step, starts_at = calibration_of(visit)
    aisle = Resource.objects.get(shop=furnished, code="aisle-west")
    assert "aisle-west" not in (step.placement or {})["zones"]
    Hold.objects.create(
        shop=furnished,
        resource=aisle,
        starts_at=starts_at,
        ends_at=starts_at + timedelta(minutes=5),
        step_id=step.pk,
        note=DRIVES_IN,
    )
    (moving,) = floor_now(furnished.pk, starts_at).moving
    assert (moving.step.pk, moving.zones) == (step.pk, frozenset({"aisle-west"}))
    page = text_of(office, f"/floor/?at={starts_at.astimezone(furnished.zone):%H:%M}")
    assert "On the move" in page
    assert f"driving in, {step.placement_label}" in page
    assert 'class="zone aisle crossed"' in page
    assert f"{visit.ro_number} drives here" in page
    assert "Working out the way" in page  # the picture comes first, the way is fetched after it
    assert floor_now(furnished.pk, starts_at + timedelta(minutes=5)).moving == ()


def test_room_of_the_vehicle_is_told_on_each_side_and_drawn(
    office: Client, service_writer: Person, furnished: Shop
) -> None:
    """The drawn distance is the one between the stored clear zone and the wall below it."""
    visit = cast.book(service_writer.actor)
    step, starts_at = calibration_of(visit)
    assert step.placement is not None
    lowest = min(y for _, y in step.placement["polygon"])
    page = text_of(office, f"/floor/?at={starts_at.astimezone(furnished.zone):%H:%M}")
    assert "Room on each side" in page
    assert f"{int(lowest / 10)} cm to the wall" in page
    assert f">{int(lowest / 10)} cm</text>" in page


def test_distances_can_be_taken_from_vehicles_or_left_out(
    office: Client, service_writer: Person, furnished: Shop
) -> None:
    visit = cast.book(service_writer.actor)
    _, starts_at = calibration_of(visit)
    at = f"{starts_at.astimezone(furnished.zone):%H:%M}"
    on_map = '<g class="dimension'
    bodies = text_of(office, f"/floor/?at={at}&measure=bodies").split("floor-legend")[0]
    assert f"{on_map} from-body" in bodies
    assert on_map not in text_of(office, f"/floor/?at={at}&measure=none").split("floor-legend")[0]
    assert on_map in text_of(office, f"/floor/?at={at}&measure=rubbish").split("floor-legend")[0]


def test_slider_spans_the_opening_hours_of_the_day_asked_for(office: Client) -> None:
    page = text_of(office, "/floor/?on=2026-03-04&at=10:35")
    assert "Floor, tomorrow 10:35" in page
    # 08:00 to 18:00 in five minutes
    assert 'min="0" max="600" step="5" value="155"' in page
    assert 'href="?on=2026-03-04&amp;at=18:00"'.replace(":", "%3A") in page


def test_day_the_shop_is_shut_says_so(office: Client) -> None:
    assert "the shop is shut that day" in text_of(office, "/floor/?on=2026-03-08")  # a Sunday


def test_another_day_without_a_time_begins_when_the_shop_opens(office: Client) -> None:
    assert "Floor, tomorrow 08:00" in text_of(office, "/floor/?on=2026-03-04")


def test_panel_carries_the_moment_it_shows(office: Client) -> None:
    page = text_of(office, "/floor/panel/?on=2026-03-04&at=10:35")
    assert 'data-title="Floor, tomorrow 10:35"' in page
    assert "on=2026-03-04&amp;at=10%3A35" in page
    assert "every 120s" not in page
    assert "every 120s" in text_of(office, "/floor/panel/")


def test_way_of_a_vehicle_on_the_move_is_drawn_from_the_door_to_its_place(
    office: Client, service_writer: Person, furnished: Shop
) -> None:
    visit = cast.book(service_writer.actor)
    step, starts_at = calibration_of(visit)
    Hold.objects.create(
        shop=furnished,
        resource=Resource.objects.get(shop=furnished, code="aisle-west"),
        starts_at=starts_at,
        ends_at=starts_at + timedelta(minutes=5),
        step_id=step.pk,
        note=DRIVES_IN,
    )
    at = f"{starts_at.astimezone(furnished.zone):%H:%M}"
    page = text_of(office, f"/floor/panel/?at={at}&ways=1")
    assert 'class="swept" d="M' in page
    assert f"{visit.ro_number}: In by the " in page
    assert "Working out the way" not in page
