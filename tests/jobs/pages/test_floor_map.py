"""The floor map: what stands where at a moment."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from django.test import Client

from bays.models import Hold, HoldReason, Resource
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
    assert "closed until 14:00" in page


def test_vehicle_in_the_shop_but_not_on_the_floor_is_listed(
    office: Client, service_writer: Person
) -> None:
    visit = cast.book(service_writer.actor)
    Visit.objects.filter(pk=visit.pk).update(state="checked_in")
    assert "Here, but not on the floor" in text_of(office)
    assert "checked in" in text_of(office)


def test_nonsense_time_shows_now(office: Client) -> None:
    assert "Floor, today 08:30" in text_of(office, "/floor/?at=noon")
