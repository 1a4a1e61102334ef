"""The OpenAPI description: what every endpoint has in common is said here once."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter

from shopcal.api import kinds
from shopcal.api.problems import MEDIA_TYPE

METHODS = ("get", "post", "put", "patch", "delete")

IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "minLength": 1, "maxLength": 255},
    OpenApiParameter.HEADER,
    description=(
        "Recommended: a random UUID for each new request. A request that is sent again with the "
        "same key has its effect once, and its first answer is given again with "
        "`Idempotency-Replayed: true`."
    ),
)
IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="The `ETag` of the answer this change is based on.",
)
IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    str,
    OpenApiParameter.HEADER,
    description="An `ETag` read before: the answer is 304 where nothing has changed since.",
)
ETAG = OpenApiParameter(
    "ETag",
    str,
    OpenApiParameter.HEADER,
    response=["200"],
    description="The version of what is shown, for `If-Match` and `If-None-Match`.",
)

PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "Why the request was refused (RFC 9457).",
    "required": ["type", "title", "status", "detail", "instance", "code", "errors"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference", "example": "/api/problems/invalid"},
        "title": {"type": "string", "description": "What is wrong, in one line for people."},
        "status": {"type": "integer", "example": 422},
        "detail": {"type": "string", "description": "More about this case; may be empty."},
        "instance": {"type": "string", "description": "The path that was asked for."},
        "code": {"type": "string", "description": "What is wrong, for programs; never changes."},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["path", "says", "right"],
                "properties": {
                    "path": {"type": "string", "example": "zones[2].polygon"},
                    "says": {"type": "string", "description": "What is wrong there."},
                    "right": {"type": "string", "description": "What would be right."},
                },
            },
        },
        "facts": {
            "type": "object",
            "additionalProperties": True,
            "description": "What a program may want to know about this case.",
        },
    },
}


class ShopAutoSchema(AutoSchema):
    """Adds the headers that the decorators of a handler call for."""

    def get_override_parameters(self) -> list[Any]:
        handler = getattr(
            self.view, getattr(self.view, "action", None) or self.method.lower(), None
        )
        headers = []
        if getattr(handler, "takes_idempotency_key", False):
            headers.append(IDEMPOTENCY_KEY)
        if getattr(handler, "needs_if_match", False):
            headers.append(IF_MATCH)
        if self._shows_a_version():
            headers += [IF_NONE_MATCH, ETAG]
        return headers

    def _shows_a_version(self) -> bool:
        rows = getattr(self.view, "queryset", None)
        return (
            getattr(self.view, "action", None) == "retrieve"
            and rows is not None
            and any(field.name == "version" for field in rows.model._meta.get_fields())
        )


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "shopcal.api.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        return {"type": "http", "scheme": "bearer", "description": "A token of a member."}


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "shopcal.api.authentication.SignedInAuthentication"
    name = "session"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        return {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME}


def add_problem_responses(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Say at every operation which refusals it can answer with."""
    components = result.setdefault("components", {})
    components.setdefault("schemas", {})["Problem"] = PROBLEM
    used: set[int] = set()
    for path, operations in result.get("paths", {}).items():
        for method in METHODS:
            if method in operations:
                used |= _add_to(operations[method], path, method)
    components["responses"] = {f"Problem{status}": _response(status) for status in sorted(used)}
    return result


def _add_to(operation: dict[str, Any], path: str, method: str) -> set[int]:
    statuses = set(_refusals(operation, path, method))
    responses = operation.setdefault("responses", {})
    for status in statuses:
        responses.setdefault(str(status), {"$ref": f"#/components/responses/Problem{status}"})
    if "If-None-Match" in _headers(operation):
        responses.setdefault("304", {"description": "Nothing has changed since."})
    return statuses


def _refusals(operation: dict[str, Any], path: str, method: str) -> list[int]:
    headers = _headers(operation)
    statuses = [406, 429, 500, 503]
    if {} not in operation.get("security", [{}]):
        statuses += [401, 403]
    if "{" in path:
        statuses.append(404)
    if "requestBody" in operation:
        statuses += [400, 415]
    if method != "get":
        statuses += [400, 409, 422]
    elif any(p["in"] == "query" for p in operation.get("parameters", [])):
        statuses += [404, 422]
    if "If-Match" in headers:
        statuses += [412, 428]
    return statuses


def _headers(operation: dict[str, Any]) -> set[str]:
    return {p["name"] for p in operation.get("parameters", []) if p["in"] == "header"}


def _response(status: int) -> dict[str, Any]:
    found = [kind for kind in kinds.every_kind() if kind.status == status]
    return {
        "description": " ".join(f"`{kind.code}`: {kind.title}" for kind in found) or "Refused.",
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
