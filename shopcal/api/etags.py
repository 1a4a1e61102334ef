"""Entity tags from version numbers (RFC 9110, sections 8.8.3 and 13.1)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Protocol

from django.http import HttpRequest
from rest_framework.request import Request

from shopcal.api import kinds
from shopcal.errors import Refusal, Stale


class Versioned(Protocol):
    """A row with a number that grows by one with every change."""

    version: int


# entity-tag = [ "W/" ] DQUOTE *etagc DQUOTE
_TAG = re.compile(r'(W/)?"([\x21\x23-\x7e\x80-\xff]*)"')


def etag_for(version: int) -> str:
    """The strong tag of a version: ``"v7"``. It is compared under one address only."""
    return f'"v{version}"'


def check_if_match(
    request: Request | HttpRequest, version: int, current: Mapping[str, Any] | None = None
) -> int:
    """Return the version if the request's ``If-Match`` names it.

    A weak tag never matches (RFC 9110, 13.1.1: strong comparison); ``*`` names whatever is there.

    Raises:
        Refusal: 428 ``version_needed``: there is no ``If-Match``.
        Stale: 412 ``changed_meanwhile``, with ``current`` as the fact.
    """
    header = require_if_match(request)
    if header == "*" or etag_for(version) in strong_tags(header):
        return version
    facts = {"current": {"version": version, "etag": etag_for(version), **(current or {})}}
    raise Stale(
        kinds.STALE.code,
        kinds.STALE.title,
        detail="Read it again, apply your change to what is there now, and send that.",
        facts=facts,
    )


def require_if_match(request: Request | HttpRequest) -> str:
    """The ``If-Match`` header.

    Raises:
        Refusal: 428 ``version_needed``: there is none.
    """
    header: str = request.headers.get("If-Match", "").strip()
    if not header:
        raise Refusal(
            kinds.VERSION_NEEDED.code,
            kinds.VERSION_NEEDED.title,
            detail="Send the ETag you read as If-Match.",
            status=kinds.VERSION_NEEDED.status,
        )
    return header


def is_unchanged(request: Request | HttpRequest, tag: str) -> bool:
    """True where ``If-None-Match`` names the tag, by weak comparison (RFC 9110, 13.1.2)."""
    header = request.headers.get("If-None-Match", "").strip()
    if header == "*":
        return True
    return any(f'"{opaque}"' == tag for _, opaque in _TAG.findall(header))


def strong_tags(header: str) -> set[str]:
    """The strong tags listed in a header."""
    return {f'"{opaque}"' for weak, opaque in _TAG.findall(header) if not weak}
