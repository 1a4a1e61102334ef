"""What every page knows about who reads it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest


def actor(request: HttpRequest) -> dict[str, Any]:
    """``actor`` and ``shop`` for templates; None for strangers."""
    membership = getattr(request, "membership", None)
    return {
        "actor": getattr(request, "actor", None),
        "shop": membership.shop if membership is not None else None,
    }
