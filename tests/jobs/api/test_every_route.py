"""Every route: stranger, wrong role, wrong method, no such row, another shop's row."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from shopcal.accounts.actor import Role
from shopcal.accounts.permissions import ALLOWED, Action
from shopcal.api.permissions import MEMBER
from tests.jobs.api.operations import METHODS, NOBODY, OPERATIONS, Operation
from tests.jobs.api.world import World

pytestmark = pytest.mark.django_db

each_operation = pytest.mark.parametrize("operation", OPERATIONS, ids=str)
each_with_a_row = pytest.mark.parametrize(
    "operation", [o for o in OPERATIONS if o.has_row], ids=str
)
each_versioned = pytest.mark.parametrize(
    "operation", [o for o in OPERATIONS if o.needs_if_match], ids=str
)
# Posts that change nothing, so that sending one twice is harmless without a key.
QUERIES = {"ground-ask", "placement-ask", "pose-check", "quote-list"}


def call(client: Client, operation: Operation, address: str, **headers: str) -> Any:
    send = getattr(client, operation.method)
    if operation.method == "get":
        return send(address, headers=headers)
    return send(address, data={}, content_type="application/json", headers=headers)


def test_the_walk_finds_the_routes_of_both_apps() -> None:
    routes = {operation.route for operation in OPERATIONS}
    assert {"visit-list", "visit-check-in", "unit-take-out", "shop-file"} <= routes
    assert len(OPERATIONS) > 100


@each_operation
def test_says_which_action_it_needs(operation: Operation) -> None:
    assert operation.needed is MEMBER or isinstance(operation.needed, Action)


@each_operation
def test_a_stranger_is_refused(world: World, operation: Operation) -> None:
    answer = call(world.stranger, operation, operation.address(world.here.shop))
    assert answer.status_code == 401, answer.content
    assert answer.json()["code"] == "not_signed_in"


@pytest.mark.parametrize(
    ("operation", "role"),
    [
        pytest.param(o, role, id=f"{o}-{role}")
        for o in OPERATIONS
        for role in Role
        if isinstance(o.needed, Action) and role not in ALLOWED[o.needed]
    ],
)
def test_a_role_that_may_not_is_refused(world: World, operation: Operation, role: Role) -> None:
    caller = world.here.callers[role]
    answer = call(caller, operation, operation.address(world.here.shop), **{"If-Match": "*"})
    assert answer.status_code == 403, answer.content
    assert answer.json()["facts"]["action"] == operation.needed


@pytest.mark.parametrize("route", sorted({o.route for o in OPERATIONS}))
def test_a_method_it_does_not_take_is_refused(world: World, route: str) -> None:
    known = [o for o in OPERATIONS if o.route == route]
    address = known[0].address(world.here.shop)
    for method in set(METHODS) - {o.method for o in known}:
        answer = getattr(world.manager, method)(address)
        assert answer.status_code == 405, (method, answer.content)


@each_with_a_row
def test_a_row_that_is_not_there_is_missing(world: World, operation: Operation) -> None:
    for pk in (NOBODY, "9" * 30):
        address = operation.address(world.here.shop, pk)
        answer = call(world.manager, operation, address, **{"If-Match": "*"})
        assert answer.status_code == 404, answer.content


@each_with_a_row
def test_another_shops_row_is_missing(world: World, operation: Operation) -> None:
    pk = operation.sample(world.there.shop)
    address = operation.address(world.here.shop, pk)
    answer = call(world.manager, operation, address, **{"If-Match": "*"})
    assert answer.status_code == 404, answer.content
    assert answer.json()["code"] == "missing"


@each_versioned
def test_a_change_without_a_version_is_refused(world: World, operation: Operation) -> None:
    answer = call(world.manager, operation, operation.address(world.here.shop))
    assert answer.status_code == 428, answer.content


@each_versioned
def test_a_change_of_an_old_version_is_refused(world: World, operation: Operation) -> None:
    address = operation.address(world.here.shop)
    answer = call(world.manager, operation, address, **{"If-Match": '"v0"'})
    assert answer.status_code == 412, answer.content
    assert answer.json()["facts"]["current"]["version"] >= 1


@pytest.mark.parametrize("operation", [o for o in OPERATIONS if o.method == "post"], ids=str)
def test_whatever_is_made_or_done_takes_an_idempotency_key(operation: Operation) -> None:
    keyed = getattr(operation.function, "takes_idempotency_key", False)
    assert keyed != (operation.route in QUERIES)


@pytest.mark.parametrize("operation", [o for o in OPERATIONS if o.method == "get"], ids=str)
def test_whoever_may_read_it_gets_an_answer(world: World, operation: Operation) -> None:
    answer = call(world.manager, operation, operation.address(world.here.shop))
    assert answer.status_code == 200, answer.content
