"""The description of the API: complete, without warnings, and read without the internet."""

from __future__ import annotations

import re

import pytest
from django.contrib.staticfiles import finders
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema

from shopcal.api.routes import routes_in


@pytest.fixture
def schema():
    return SchemaGenerator().get_schema(request=None, public=True)


def headers_of(operation: dict) -> dict[str, bool]:
    parameters = operation.get("parameters", [])
    return {p["name"]: p.get("required", False) for p in parameters if p["in"] == "header"}


def test_description_is_valid_openapi_without_a_warning(schema, capsys):
    GENERATOR_STATS.reset()
    # The validator checks against the OpenAPI Initiative's own JSON Schema of the format.
    validate_schema(SchemaGenerator().get_schema(request=None, public=True))
    assert capsys.readouterr().err == ""
    assert not GENERATOR_STATS


def test_creating_takes_an_idempotency_key(schema):
    assert headers_of(schema["paths"]["/api/v1/tokens/"]["post"]) == {"Idempotency-Key": False}


def test_changing_needs_a_version_and_reading_may_name_one(schema):
    row = schema["paths"]["/api/v1/shops/{id}/"]
    assert headers_of(row["patch"]) == {"If-Match": True}
    assert headers_of(row["get"]) == {"If-None-Match": False}
    assert "304" in row["get"]["responses"]
    assert {"412", "428"} <= set(row["patch"]["responses"])
    act = schema["paths"]["/api/v1/shops/{id}/shout/"]["post"]
    assert headers_of(act) == {"If-Match": True, "Idempotency-Key": False}


def test_every_operation_says_how_it_refuses(schema):
    operations = [
        operation
        for path in schema["paths"].values()
        for method, operation in path.items()
        if method != "parameters"
    ]
    assert len(operations) >= 12
    for operation in operations:
        refusals = {s: r for s, r in operation["responses"].items() if s >= "400"}
        assert {"429", "503"} <= set(refusals)
        for status, response in refusals.items():
            assert response == {"$ref": f"#/components/responses/Problem{status}"}
            assert f"Problem{status}" in schema["components"]["responses"]


def test_both_ways_to_be_known_are_described(schema):
    assert schema["components"]["securitySchemes"].keys() == {"token", "session"}
    assert schema["paths"]["/api/v1/tokens/"]["get"]["security"] == [{"token": []}, {"session": []}]


def test_description_is_served_to_anyone(stranger, db):
    response = stranger.get("/api/v1/schema/", headers={"Accept": "application/json"})
    assert response.json()["openapi"].startswith("3.")
    assert "/api/v1/tokens/" in response.json()["paths"]


def test_page_of_the_description_needs_only_this_server(stranger, db):
    response = stranger.get("/api/v1/docs/")
    sources = re.findall(r'(?:src|href)="([^"]+)"', response.text)
    static = [source for source in sources if source.startswith("/static/")]
    assert len(static) == 4
    assert all(source.startswith("/") for source in sources)
    assert all(finders.find(source.removeprefix("/static/")) for source in static)


def test_page_of_the_description_has_nothing_inline(stranger, db):
    response = stranger.get("/api/v1/docs/")
    assert "script-src 'self'" in response["Content-Security-Policy"]
    assert not re.findall(r"<style|<script(?![^>]*src=)| on\w+=| style=", response.text)


def test_index_lists_what_can_be_listed(stranger, db):
    links = stranger.get("/api/v1/").json()
    assert links["tokens"] == "http://testserver/api/v1/tokens/"
    assert {"me", "schema", "docs", "problems"} <= links.keys()
    for link in (links["schema"], links["docs"], links["problems"]):
        assert stranger.get(link).status_code == 200


def test_app_without_routes_adds_none():
    assert routes_in("shopcal.nothing.urls") == []
    assert routes_in("nothing.at.all") == []


def test_routes_that_cannot_be_imported_are_a_mistake(tmp_path, monkeypatch):
    (tmp_path / "routes_with_a_mistake.py").write_text("import nothing_of_that_name\n")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(ModuleNotFoundError, match="nothing_of_that_name"):
        routes_in("routes_with_a_mistake")
