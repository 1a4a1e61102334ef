"""The description of the API, and a walk with values drawn from it."""

from __future__ import annotations

import json
from typing import Any

import pytest
import schemathesis
from django.db import transaction
from django.test import Client
from django.urls import reverse
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.core import NotSet

from shopcal.api.kinds import kind_of
from tests.jobs.api.operations import OPERATIONS, Operation
from tests.jobs.api.world import World

pytestmark = pytest.mark.django_db

EXAMPLES = 3
SCHEMA: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)


def test_every_operation_is_described() -> None:
    described = {
        (method, path)
        for path, operations in SCHEMA["paths"].items()
        for method in operations
        if method != "parameters"
    }
    for operation in OPERATIONS:
        assert _described_at(operation) in described, operation


def test_operations_have_names_of_their_own() -> None:
    names = [
        operation["operationId"]
        for operations in SCHEMA["paths"].values()
        for operation in operations.values()
    ]
    assert len(names) == len(set(names))


@pytest.mark.slow
@pytest.mark.parametrize("operation", OPERATIONS, ids=str)
def test_whatever_the_description_allows_is_answered_without_a_failure(
    world: World, operation: Operation
) -> None:
    loaded = schemathesis.openapi.from_dict(SCHEMA)
    method, path = _described_at(operation)
    api_operation = loaded[path][method.upper()]
    address = operation.address(world.here.shop)

    @settings(
        max_examples=EXAMPLES,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=api_operation.as_strategy())
    def walk(case: Any) -> None:
        with transaction.atomic():
            answer = _send(world.manager, operation, address, case)
            transaction.set_rollback(True)
        assert answer.status_code < 500, (case.query, case.body, answer.content)
        if answer.status_code >= 400:
            assert kind_of(answer.json()["code"]), answer.json()

    walk()


def _send(client: Client, operation: Operation, address: str, case: Any) -> Any:
    query = {
        name: value if isinstance(value, list) else str(value)
        for name, value in (case.query or {}).items()
    }
    has_body = operation.method != "get" and not isinstance(case.body, NotSet)
    return client.generic(
        operation.method.upper(),
        address,
        data=json.dumps(case.body) if has_body else "",
        content_type="application/json",
        query_params=query,
        headers={"If-Match": "*"} if operation.needs_if_match else {},
    )


def _described_at(operation: Operation) -> tuple[str, str]:
    marks = {"pk": "77777", "vin": "VINVIN"}
    address = reverse(
        f"api:{operation.route}", kwargs={name: marks[name] for name in operation.names}
    )
    return operation.method, address.replace("77777", "{id}").replace("VINVIN", "{vin}")
