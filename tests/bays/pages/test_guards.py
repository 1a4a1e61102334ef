"""Every page of this app with a stranger, the wrong role, the wrong method, another shop's row."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from django.test import Client
from django.urls import reverse

from bays.models import Closure, EquipmentUnit, FloorSurvey
from bays.services.transfer import import_shop
from shopcal.accounts.models import Shop
from shopcal.accounts.roles import Role
from tests.bays.pages.conftest import demo_shop
from tests.conftest import JoinShop, Person

EVERYONE, FLOOR, MANAGER = set(Role), {Role.TECHNICIAN, Role.MANAGER}, {Role.MANAGER}


@dataclass(frozen=True)
class Page:
    name: str
    method: str
    roles: set[Role]
    row: str = ""
    args: tuple[str, ...] = ()


PAGES = [
    Page("upkeep", "get", EVERYONE),
    Page("equipment-unit", "get", EVERYONE, "unit"),
    Page("upkeep-done", "post", FLOOR, "unit"),
    Page("unit-out", "post", EVERYONE, "unit"),
    Page("unit-back", "post", FLOOR, "unit"),
    Page("shop-setup", "get", MANAGER),
    Page("shop-import", "post", MANAGER),
    Page("shop-export", "get", MANAGER, args=("yaml",)),
    Page("add-absence", "post", MANAGER),
    Page("add-closure", "post", MANAGER),
    Page("drop-closure", "post", MANAGER, "closure"),
    Page("draw-floor", "get", MANAGER),
    Page("draw-begin", "get", MANAGER),
    Page("draw-hall", "post", MANAGER),
    Page("draw-file", "post", MANAGER),
    Page("draw-dxf", "post", MANAGER),
    Page("draw-layers", "get", MANAGER),
    Page("draw-layers-told", "post", MANAGER),
    Page("draw-save", "post", MANAGER),
    Page("draw-thing", "post", MANAGER),
    Page("draw-publish", "post", MANAGER),
    Page("draw-discard", "post", MANAGER),
    Page("floor-edition", "get", EVERYONE, args=("1",)),
    Page("draw-from-edition", "post", MANAGER, args=("1",)),
    Page("surveys", "get", EVERYONE),
    Page("survey", "get", EVERYONE, "survey", args=("floor",)),
    Page("survey-new", "get", MANAGER, args=("light",)),
    Page("survey-add", "post", MANAGER, args=("light",)),
]
each_page = pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)


def address(page: Page, shop: Shop) -> str:
    rows = {"unit": EquipmentUnit, "closure": Closure, "survey": FloorSurvey}
    if page.row:
        row = rows[page.row].objects.for_shop(shop.pk)[0]
        return reverse(page.name, args=[*page.args, row.pk])
    return reverse(page.name, args=page.args)


def test_the_list_of_pages_is_whole() -> None:
    from bays.urls import urlpatterns

    assert {pattern.name for pattern in urlpatterns} == {page.name for page in PAGES}


@each_page
def test_a_stranger_signs_in_first(page: Page, furnished: Shop) -> None:
    answer = getattr(Client(), page.method)(address(page, furnished))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("sign-in"))


@each_page
def test_only_the_roles_it_is_for_come_in(
    page: Page, furnished: Shop, join_shop: JoinShop, client_for: Callable[[Person], Client]
) -> None:
    where = address(page, furnished)
    for role in Role:
        client = client_for(join_shop(furnished, role, f"Someone {role.value}"))
        refused = getattr(client, page.method)(where).status_code == 403
        assert refused == (role not in page.roles), role


@each_page
def test_the_other_method_is_refused(page: Page, furnished: Shop, in_charge: Client) -> None:
    other = "post" if page.method == "get" else "get"
    assert getattr(in_charge, other)(address(page, furnished)).status_code == 405


@pytest.mark.parametrize("page", [p for p in PAGES if p.row], ids=lambda page: page.name)
def test_another_shops_row_is_missing(
    page: Page, furnished: Shop, other_shop: Shop, other_manager: Person, in_charge: Client
) -> None:
    import_shop(by=other_manager.actor, document=demo_shop())
    assert getattr(in_charge, page.method)(address(page, other_shop)).status_code == 404
    missing = reverse(page.name, args=[*page.args, 999_999])
    assert getattr(in_charge, page.method)(missing).status_code == 404
