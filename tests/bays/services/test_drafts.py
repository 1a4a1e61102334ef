"""Drawing the shop: begun, saved version by version, published, discarded."""

from __future__ import annotations

from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from bays.floor import PlanFaults
from bays.models import FloorDraft, FloorPlanEdition, Hold, Resource
from bays.selectors.drafts import draft_of
from bays.services.drafts import begin_draft, discard_draft, publish_draft, save_draft
from bays.services.floor import publish_floor_plan
from shopcal.accounts.roles import Role
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound, Stale
from shopcal.history.models import Event
from tests.bays.services.shop_file import FLOOR
from tests.conftest import JoinShop, Person

pytestmark = pytest.mark.django_db


def _moved(by_mm: int) -> dict[str, Any]:
    content = deepcopy(FLOOR)
    content["zones"][0]["polygon"] = [[x + by_mm, y] for x, y in content["zones"][0]["polygon"]]
    return content


def test_a_drawing_is_kept_as_it_is_with_its_faults(manager: Person) -> None:
    begin_draft(by=manager.actor, drawing=FLOOR)
    save_draft(by=manager.actor, version=1, drawing=_moved(50_000))
    draft = draft_of(manager.shop_id)
    assert draft is not None
    assert (draft.version, draft.saved_by) == (2, "Maud Ellery")
    assert draft.drawing["zones"][0]["polygon"][0][0] == FLOOR["zones"][0]["polygon"][0][0] + 50_000
    with pytest.raises(PlanFaults):
        publish_draft(by=manager.actor, version=2)
    assert draft_of(manager.shop_id) is not None
    assert not FloorPlanEdition.objects.exists()


def test_who_saves_second_is_told_who_saved_first(
    manager: Person, join_shop: JoinShop, shop: Any
) -> None:
    other = join_shop(shop, Role.MANAGER, "Odo Park")
    begin_draft(by=manager.actor, drawing=FLOOR)
    save_draft(by=other.actor, version=1, drawing=_moved(100))
    with pytest.raises(Stale, match="Odo Park saved this drawing meanwhile") as refused:
        save_draft(by=manager.actor, version=1, drawing=_moved(200))
    assert refused.value.facts["version"] == 2
    for act in (publish_draft, discard_draft):
        with pytest.raises(Stale):
            act(by=manager.actor, version=1)


def test_publishing_makes_the_next_edition_and_clears_the_table(manager: Person) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    begin_draft(by=manager.actor, drawing=FLOOR)
    save_draft(by=manager.actor, version=1, drawing=_moved(100))
    assert publish_draft(by=manager.actor, version=2).number == 2
    assert draft_of(manager.shop_id) is None
    kinds = [*Event.objects.order_by("seq").values_list("kind", flat=True)]
    assert kinds == [
        "floor.published", "floor.draft_begun", "floor.draft_saved", "floor.published",
    ]  # fmt: skip
    with pytest.raises(NotFound):
        save_draft(by=manager.actor, version=2, drawing=FLOOR)


def test_an_unchanged_drawing_makes_no_new_edition(manager: Person) -> None:
    first = publish_floor_plan(by=manager.actor, content=FLOOR)
    begin_draft(by=manager.actor, drawing=first.content)
    assert publish_draft(by=manager.actor, version=1) == first


def test_a_zone_that_is_booked_keeps_the_draft_and_names_the_booking(manager: Person) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    now = timezone.now()
    Hold.objects.create(
        shop_id=manager.shop_id,
        resource=Resource.objects.get(code="bay-1"),
        starts_at=now,
        ends_at=now + timedelta(hours=1),
        note="RO 3121",
    )
    without = deepcopy(FLOOR)
    without["zones"], without["bays"] = [], []
    begin_draft(by=manager.actor, drawing=without)
    with pytest.raises(Conflict) as refused:
        publish_draft(by=manager.actor, version=1)
    assert refused.value.code == "zones_in_use"
    assert "RO 3121 in Bay 1" in refused.value.detail
    assert draft_of(manager.shop_id) is not None


def test_one_drawing_for_a_shop_and_none_of_anothers(
    manager: Person, other_manager: Person
) -> None:
    begin_draft(by=manager.actor, drawing=FLOOR)
    with pytest.raises(Conflict, match="not been published"):
        begin_draft(by=manager.actor, drawing=FLOOR)
    assert draft_of(other_manager.shop_id) is None
    with pytest.raises(NotFound):
        save_draft(by=other_manager.actor, version=1, drawing=FLOOR)
    begin_draft(by=other_manager.actor, drawing=FLOOR)
    discard_draft(by=other_manager.actor, version=1)
    assert FloorDraft.objects.count() == 1


@pytest.mark.parametrize("drawing", [{"outline": "big"}, {"walls": []}, {"zones": [{"id": 7}]}])
def test_what_is_no_drawing_is_not_kept(manager: Person, drawing: dict[str, Any]) -> None:
    with pytest.raises(PlanFaults):
        begin_draft(by=manager.actor, drawing=drawing)
    assert not FloorDraft.objects.exists()


def test_what_is_too_large_is_not_kept(manager: Person) -> None:
    with pytest.raises(Invalid, match="too large"):
        begin_draft(by=manager.actor, drawing={}, imported={"layers": ["x" * 4_000_000]})


def test_what_a_file_brought_stays_beside_the_drawing_until_it_is_published(
    manager: Person,
) -> None:
    begin_draft(by=manager.actor, drawing={}, imported={"layers": []})
    save_draft(by=manager.actor, version=1, drawing=FLOOR)
    save_draft(by=manager.actor, version=2, drawing=_moved(100))
    draft = draft_of(manager.shop_id)
    assert draft is not None
    assert draft.imported == {"layers": []}
    published = publish_draft(by=manager.actor, version=3).content
    assert published["zones"] == _moved(100)["zones"]
    assert "imported" not in published
    # the middle of the bay moved along
    assert published["bays"][0]["centre"][0] == FLOOR["bays"][0]["centre"][0] + 100


def test_only_a_manager_draws(technician: Person, service_writer: Person) -> None:
    for person in (technician, service_writer):
        with pytest.raises(NotAllowed):
            begin_draft(by=person.actor, drawing=FLOOR)
        with pytest.raises(NotAllowed):
            save_draft(by=person.actor, version=1, drawing=FLOOR)
        with pytest.raises(NotAllowed):
            publish_draft(by=person.actor, version=1)
        with pytest.raises(NotAllowed):
            discard_draft(by=person.actor, version=1)
