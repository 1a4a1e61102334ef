"""Floor plan editions, and the zones they bring."""

from __future__ import annotations

from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from bays.floor import PlanFaults
from bays.models import FloorPlanEdition, Hold, Resource
from bays.services.floor import publish_floor_plan
from shopcal.errors import Conflict, NotAllowed
from shopcal.history.models import Event
from tests.bays.services.shop_file import FLOOR
from tests.conftest import Person

pytestmark = pytest.mark.django_db


def _two_bays() -> dict[str, Any]:
    content = deepcopy(FLOOR)
    content["zones"].append(
        {
            "id": "bay-2",
            "name": "Bay 2",
            "kind": "bay",
            "polygon": [[5000, 0], [10000, 0], [10000, 8000], [5000, 8000]],
        }
    )
    return content


def _zones(active: bool = True) -> dict[str, str]:
    rows = Resource.objects.filter(kind="zone", active=active)
    return dict(rows.values_list("code", "name"))


def test_zones_and_the_rest_of_the_floor_become_resources(manager: Person) -> None:
    edition = publish_floor_plan(by=manager.actor, content=FLOOR, name="Hall")
    assert (edition.number, edition.name, edition.content["name"]) == (1, "Hall", "Hall")
    assert set(_zones()) == {"bay-1", "rest-1"}
    event = Event.objects.get(kind="floor.published")
    assert event.after == {"number": 1, "name": "Hall", "digest": edition.digest}


def test_a_new_edition_renames_adds_and_deactivates_zones(manager: Person) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    content = _two_bays()
    content["zones"][0]["name"] = "First bay"
    assert publish_floor_plan(by=manager.actor, content=content).number == 2
    assert _zones() == {"bay-1": "First bay", "bay-2": "Bay 2"}
    assert set(_zones(active=False)) == {"rest-1"}
    publish_floor_plan(by=manager.actor, content=FLOOR)
    assert set(_zones()) == {"bay-1", "rest-1"}


def test_the_same_drawing_makes_no_new_edition(manager: Person) -> None:
    first = publish_floor_plan(by=manager.actor, content=FLOOR)
    turned = dict(reversed(list(deepcopy(FLOOR).items())))
    assert publish_floor_plan(by=manager.actor, content=turned) == first
    assert Event.objects.count() == 1


def test_a_zone_that_is_booked_cannot_be_drawn_away(manager: Person) -> None:
    publish_floor_plan(by=manager.actor, content=_two_bays())
    now = timezone.now()
    Hold.objects.create(
        shop_id=manager.shop_id,
        resource=Resource.objects.get(code="bay-2"),
        starts_at=now,
        ends_at=now + timedelta(hours=1),
    )
    with pytest.raises(Conflict) as refused:
        publish_floor_plan(by=manager.actor, content=FLOOR)
    assert (refused.value.code, refused.value.facts["zones"]) == ("zones_in_use", ["bay-2"])
    assert FloorPlanEdition.objects.count() == 1
    Hold.objects.update(starts_at=now - timedelta(hours=2), ends_at=now - timedelta(hours=1))
    assert publish_floor_plan(by=manager.actor, content=FLOOR).number == 2


def test_faults_of_the_drawing_are_told_and_nothing_saved(manager: Person) -> None:
    content = deepcopy(FLOOR)
    content["zones"][0]["polygon"] = [[0, 0], [99000, 0], [99000, 8000]]
    with pytest.raises(PlanFaults) as refused:
        publish_floor_plan(by=manager.actor, content=content)
    assert refused.value.errors[0].path.startswith("zones[0]")
    assert not Resource.objects.exists()


def test_shops_number_their_editions_apart(manager: Person, other_manager: Person) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    assert publish_floor_plan(by=other_manager.actor, content=_two_bays()).number == 1
    assert Resource.objects.filter(shop=manager.shop_id, active=True).count() == 2


def test_only_a_manager_changes_the_floor(technician: Person, service_writer: Person) -> None:
    for person in (technician, service_writer):
        with pytest.raises(NotAllowed):
            publish_floor_plan(by=person.actor, content=FLOOR)


@pytest.mark.parametrize("act", ["update", "delete"])
def test_the_database_refuses_to_change_an_edition(manager: Person, act: str) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    rows = FloorPlanEdition.objects.all()
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        rows.update(name="Other") if act == "update" else rows.delete()
    assert FloorPlanEdition.objects.get().name == "Small hall"
