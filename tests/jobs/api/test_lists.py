"""Lists: as many queries for many rows as for one, pages, and filters that mean what they say."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.jobs.api.operations import OPERATIONS, Operation
from tests.jobs.api.world import NOW, World

pytestmark = pytest.mark.django_db

LISTS = [o for o in OPERATIONS if o.handler == "list"]
MOST_QUERIES = 12


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_more_rows_need_no_more_queries(world: World, operation: Operation) -> None:
    address = operation.address(world.here.shop)
    world.manager.get(address)  # what is read once a process
    with CaptureQueriesContext(
        connection,
    ) as for_one:
        one = world.manager.get(address, {"page_size": 1})
    with CaptureQueriesContext(connection) as for_many:
        many = world.manager.get(address, {"page_size": 200})
    assert len(one.json()["results"]) == 1
    assert len(many.json()["results"]) >= 1
    assert len(for_many) <= len(for_one) <= MOST_QUERIES


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_pages_hold_every_row_once(world: World, operation: Operation) -> None:
    whole = world.manager.get(operation.address(world.here.shop), {"page_size": 200}).json()
    link, found = f"{operation.address(world.here.shop)}?page_size=3", []
    for _ in range(12):
        page = world.manager.get(link).json()
        found += [row["id"] for row in page["results"]]
        link = page["next"]
        if link is None:
            break
    assert found == [row["id"] for row in whole["results"]][: len(found)]
    assert len(found) == len(set(found))


@pytest.mark.parametrize("operation", LISTS, ids=str)
def test_a_misspelt_filter_is_refused(world: World, operation: Operation) -> None:
    answer = world.manager.get(operation.address(world.here.shop), {"stat": "booked"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["path"] == "stat"


def _ids(world: World, route: str, **query: object) -> list[int]:
    answer = world.manager.get(reverse(f"api:{route}"), query)
    assert answer.status_code == 200, answer.content
    return [row["id"] for row in answer.json()["results"]]


def test_visits_are_found_by_state_promise_order_and_vin(world: World) -> None:
    booked, in_work = world.here.booked, world.here.in_work
    assert _ids(world, "visit-list", state="booked") == [booked.pk]
    both = _ids(world, "visit-list", state=["booked", "in_work"])
    assert sorted(both) == sorted([booked.pk, in_work.pk])
    assert _ids(world, "visit-list", ro_number=in_work.ro_number) == [in_work.pk]
    assert _ids(world, "visit-list", vin=booked.vehicle.vin) == [booked.pk]
    late = (booked.promised_at + timedelta(days=30)).isoformat()
    assert _ids(world, "visit-list", promised_from=late) == []
    assert len(_ids(world, "visit-list", promised_before=late, open="true")) == 2


def test_a_state_that_is_none_is_refused(world: World) -> None:
    answer = world.manager.get(reverse("api:visit-list"), {"state": "lost"})
    assert answer.status_code == 422


def test_steps_of_a_day_come_by_their_time(world: World) -> None:
    day = {
        "ends_after": NOW.replace(hour=0).isoformat(),
        "starts_before": (NOW.replace(hour=0) + timedelta(days=1)).isoformat(),
    }
    rows = world.technician.get(reverse("api:step-list"), day).json()["results"]
    starts = [row["starts_at"] for row in rows]
    assert rows
    assert starts == sorted(starts)
    assert _ids(world, "step-list", starts_before=NOW.replace(year=2020).isoformat()) == []


def test_holds_overlap_the_range_asked_for(world: World) -> None:
    found = world.manager.get(
        reverse("api:hold-list"),
        {"kind": "person", "starts_before": (NOW + timedelta(days=30)).isoformat()},
    ).json()["results"]
    assert found
    assert {row["kind"] for row in found} == {"person"}
    assert _ids(world, "hold-list", ends_after=(NOW + timedelta(days=300)).isoformat()) == []


def test_events_of_a_visit_are_in_order_and_only_its_own(world: World) -> None:
    visit = world.here.in_work.pk
    rows = world.writer.get(reverse("api:event-list"), {"visit": visit}).json()["results"]
    assert [row["kind"] for row in rows][:2] == ["visit.booked", "visit.checked_in"]
    assert {row["visit"] for row in rows} == {visit}
    assert _ids(world, "event-list", visit=world.there.in_work.pk) == []
