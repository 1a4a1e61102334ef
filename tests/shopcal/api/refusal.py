"""One check of everything that RFC 9457 and our own members ask of a problem."""

from __future__ import annotations

from typing import Any


def problem_in(response: Any, status: int, code: str) -> dict[str, Any]:
    """The body of a problem answer, once its shape is checked."""
    body: dict[str, Any] = response.json()
    assert (response.status_code, body["code"]) == (status, code), body
    assert response["Content-Type"] == "application/problem+json"
    assert body["type"] == f"/api/problems/{code}"
    assert body["status"] == status
    assert body["title"]
    assert body["instance"].startswith("/api/")
    assert all(set(error) == {"path", "says", "right"} for error in body["errors"])
    return body
